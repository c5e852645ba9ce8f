"""What a study lacks and why, in lines for the head of the page and a terminal."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.report.page_parts import PageContent
from surfscan.report.pooling import count
from surfscan.report.rate_records import NOUNS, RateRecord
from surfscan.report.records import FieldRecord

if TYPE_CHECKING:
    from surfscan.study.entries import Shows

_NO_IMAGE: dict[tuple[Shows, ...], str] = {
    ("surface",): "no micrograph of a surface (area degraded, density of pits)",
    ("heights",): "no height map (depth of pits)",
    ("strut", "section"): "no picture of struts or of cross-sections (section that is left)",
}
_NO_LOG = "no rig log (whether the exposure was valid)"
_NO_SWEEP = "no sweep (electrochemical rate)"
_NO_AVERAGE = "no weighing, gas series or rig log (mean rate by mass, gas or acid)"


def lacking_lines(content: PageContent) -> list[str]:
    """What failed, has no scale, or is not in the study at all; empty where nothing is lacking."""
    return [
        *_failed(content.records),
        *_without_result(content.rates),
        *_unscaled(content),
        *_absent(content),
    ]


def _failed(records: Sequence[FieldRecord]) -> list[str]:
    lines = []
    failed = {
        r.image_id: r.results[p].message
        for r in records
        for p in r.image.procedures
        if r.status(p) == "failed"
    }
    if failed:
        image, reason = next(iter(failed.items()))
        more = f" and {count(len(failed) - 1, 'more image')}" if len(failed) > 1 else ""
        lines.append(f"Failed: {image} ({reason.rstrip('.')}){more}.")
    waiting = sum(any(r.status(p) == "not measured" for p in r.image.procedures) for r in records)
    if waiting:
        lines.append(f"{count(waiting, 'image')} not measured yet: run surfscan measure.")
    return lines


def _without_result(entries: Sequence[RateRecord]) -> list[str]:
    lost = [entry for entry in entries if entry.done is None]
    if not lost:
        return []
    more = f" and {len(lost) - 1} more" if len(lost) > 1 else ""
    named = f"{NOUNS[lost[0].procedure]} {lost[0].entry_id}"
    return [f"Without a result: {named} ({lost[0].message.rstrip('.')}){more}."]


def _unscaled(content: PageContent) -> list[str]:
    found = [done for record in content.records if (done := record.any_done())]
    unscaled = sum(done.calibration is None for done in found)
    if not unscaled:
        return []
    return [
        f"{unscaled} of {count(len(found), 'image')} without a known scale: sizes in px, and nothing in µm, "
        "per mm² or mm/y. State pixel_size_um, or confirm the scale bar."
    ]


def _absent(content: PageContent) -> list[str]:
    kinds = {record.kind for record in content.records}
    procedures = {entry.procedure for entry in content.rates}
    exposed = any((s.specimen.exposure_h or 0) > 0 for s in content.specimens)
    absent = [words for shown, words in _NO_IMAGE.items() if not kinds.intersection(shown)]
    if exposed and "exposure" not in procedures:
        absent.append(_NO_LOG)
    if "sweep" not in procedures:
        absent.append(_NO_SWEEP)
    if exposed and not procedures.intersection(("mass_loss", "gas", "exposure")):
        absent.append(_NO_AVERAGE)
    return [f"The study has {'; '.join(absent)}."] if absent else []
