"""Two reviewers of the same images side by side."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.report.by_hand_agreement import compare_two, reviewer_agreement
from surfscan.report.records import FieldRecord
from surfscan.store.corrections import save_correction


def test_both_who_saved_are_compared(reviewed_records: list[FieldRecord]) -> None:
    """On a.png A rejects 1, B 1 and 2; on b.png A rejects 1, B none."""
    pairs, faults = reviewer_agreement(reviewed_records)
    assert faults == []
    [pair] = pairs
    assert (pair.procedure, pair.first, pair.second) == ("pits", "A", "B")
    a, b = pair.images
    assert [one.record.image_id for one in pair.images] == ["a.png", "b.png"]
    assert (a.agreement.first_count, a.agreement.second_count, a.agreement.matched_count) == (3, 2, 2)
    assert (b.agreement.first_count, b.agreement.second_count, b.agreement.matched_count) == (3, 4, 3)
    assert a.judged == ([False, True, True, True], [False, False, True, True])
    # of eight verdicts six alike; A rejects 2 of 8, B 2 of 8: expected 0.25² + 0.75²
    assert pair.kappa is not None and pair.kappa.count == 8
    assert pair.kappa.value == pytest.approx((0.75 - 0.625) / (1 - 0.625))
    counts = pair.limits["pit_count"]
    assert (counts.count, counts.bias) == (2, 0.0)  # 3 - 2 and 3 - 4
    assert counts.sd == pytest.approx(2**0.5)
    areas = pair.limits["area_fraction"]
    assert areas.bias == pytest.approx(np.mean([one.areas[0] - one.areas[1] for one in pair.images]))


def _with_classes(
    folder: Path, record: FieldRecord, sha256: str = "x", **shapes: tuple[int, int]
) -> FieldRecord:
    saved = []
    for reviewer, width in (("A", 4), ("B", 6)):
        mask = np.zeros(shapes.get(reviewer, (10, 10)), np.uint8)
        mask[:, :width] = 2
        mask[:, -1] = 1
        saved.append(
            save_correction(
                folder,
                image_id=record.image_id,
                procedure="degraded",
                reviewer=reviewer,
                reason="",
                image_sha256=sha256 if reviewer == "B" else "x",
                mask=mask,
            )
        )
    return replace(record, saved={"degraded": tuple(saved)}, results={}, automatic={}, corrections={})


def test_classes_are_compared_by_area(tmp_path: Path, reviewed_records: list[FieldRecord]) -> None:
    record = _with_classes(tmp_path, reviewed_records[0])
    [pair], faults = reviewer_agreement([record])
    assert faults == [] and pair.kappa is None and pair.limits == {}
    assert pair.images[0].agreement.dice == pytest.approx(2 * 40 / (40 + 60))


def test_other_files_are_not_compared(tmp_path: Path, reviewed_records: list[FieldRecord]) -> None:
    record = _with_classes(tmp_path, reviewed_records[0], sha256="y")
    assert reviewer_agreement([record]) == ([], [])


def test_masks_that_do_not_fit_are_told(tmp_path: Path, reviewed_records: list[FieldRecord]) -> None:
    record = _with_classes(tmp_path, reviewed_records[0], B=(10, 11))
    pairs, [(where, text)] = reviewer_agreement([record])
    assert pairs == [] and where == "a.png" and "differ in size" in text
    first, second = record.saved["degraded"]
    with pytest.raises(InputError, match="differ in size"):
        compare_two(record, "degraded", first, second)
