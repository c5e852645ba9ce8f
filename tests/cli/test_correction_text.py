"""What a terminal says of corrections."""

from __future__ import annotations

from surfscan.cli.correction_text import correction_lines
from surfscan.images import Calibration
from surfscan.report.records import FieldRecord
from surfscan.store.corrections import Correction
from surfscan.study.entries import ImageEntry, Specimen
from surfscan.study.reviewed import ImageReviews


def _record(name: str, **given: object) -> FieldRecord:
    image = ImageEntry(file=name, specimen="s")
    return FieldRecord(name, image, Specimen(id="s", group="g"), **given)  # type: ignore[arg-type]


def _correction(reviewer: str, procedure: str = "pits") -> Correction:
    empty = dict.fromkeys(Correction.__dataclass_fields__, "")
    return Correction(**empty | {"reviewer": reviewer, "procedure": procedure})  # type: ignore[arg-type]


def test_nothing_corrected_nothing_said() -> None:
    assert correction_lines([_record("a.png")]) == []


def test_says_who_corrected_and_who_gave_a_scale() -> None:
    scale = ImageReviews(
        scale=Calibration(0.5, 0.5, 0.01, "confirmed by C"), scale_from=_correction("C", "scale")
    )
    records = [
        _record("a.png", corrections={"pits": _correction("A"), "degraded": _correction("B")}),
        _record("b.png", corrections={"pits": _correction("A")}),
        _record("c.png", reviews=scale),
    ]
    assert correction_lines(records) == [
        "",
        "2 images measured as corrected by hand, by A, B",
        "1 image with a scale by hand, by C",
    ]


def test_lists_what_is_not_in_the_figures() -> None:
    records = [_record(f"{k:02d}.png", remarks=("the file changed.",)) for k in range(11)]
    lines = correction_lines(records, ["corrections/x.toml: this correction is damaged."])
    assert lines[:3] == ["", "Corrections that are not in the figures:", "  00.png: the file changed."]
    assert lines[-1] == "  and 2 more: see 'surfscan check'"
    assert len(lines) == 13
