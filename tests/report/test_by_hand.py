"""What share of each figure came by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from surfscan.report.by_hand import (
    HandFigure,
    all_changes,
    changes_of,
    hand_figures,
    share_of_area,
    share_of_length,
    share_of_objects,
)
from surfscan.report.groups import summarise_groups
from surfscan.report.records import FieldRecord
from surfscan.report.specimens import summarise_specimens
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def figures(reviewed_folder: Path, reviewed_records: list[FieldRecord]) -> dict[tuple[str, str], HandFigure]:
    """By whose they are and what."""
    study = load_study(reviewed_folder)
    specimens = summarise_specimens(study.specimens, reviewed_records)
    groups = summarise_groups(study.groups, specimens)
    found = hand_figures(study, reviewed_records, specimens, groups, all_changes(reviewed_records))
    return {(f.name, f.figure): f for f in found}


def test_automatic_figures_stand_beside_corrected_ones(
    figures: dict[tuple[str, str], HandFigure], reviewed_records: list[FieldRecord]
) -> None:
    """a.png lost 2 of 4 pits, b.png 1 of 4: five of eight are left on P1, and three were rejected."""
    of = {r.image_id: r for r in reviewed_records}
    density = figures["P1", "pit_density_per_mm2"]
    plain = [of[n].as_automatic() for n in ("a.png", "b.png")]
    weights = [r.figure("pits", "pit_density_per_mm2") for r in plain]
    assert density.automatic == pytest.approx(np.mean(weights))
    assert [r.figure("pits", "pit_count") for r in plain] == [4, 4]
    assert [of[n].figure("pits", "pit_count") for n in ("a.png", "b.png")] == [2, 3]
    assert density.share == pytest.approx(3 / 8)
    assert (density.n_images, density.n_corrected) == (2, 2)
    assert density.change == pytest.approx(density.value / density.automatic - 1) and density.change < -0.3


def test_a_rejection_is_as_much_of_the_area_as_it_took(
    figures: dict[tuple[str, str], HandFigure],
) -> None:
    area = figures["P1", "pitted_area_fraction"]
    assert area.share == pytest.approx(-area.change, rel=1e-9)


def test_fields_as_found_weigh_too(figures: dict[tuple[str, str], HandFigure]) -> None:
    """On P2 one of four pits of c.png was redrawn, and d.png is as found."""
    density, area = figures["P2", "pit_density_per_mm2"], figures["P2", "pitted_area_fraction"]
    assert density.share == pytest.approx(1 / 8)
    assert (density.n_images, density.n_corrected) == (2, 1)
    assert 0 < area.share < density.share


def test_a_group_is_the_mean_over_its_specimens(figures: dict[tuple[str, str], HandFigure]) -> None:
    for name in ("pit_density_per_mm2", "pitted_area_fraction"):
        one, two, group = (figures[who, name] for who in ("P1", "P2", "bare"))
        assert group.share == pytest.approx((one.share + two.share) / 2)
        assert group.value == pytest.approx((one.value + two.value) / 2)
        assert group.automatic == pytest.approx((one.automatic + two.automatic) / 2)
        assert (group.level, group.n_images, group.n_corrected) == ("group", 4, 3)


def test_nothing_corrected_nothing_said(reviewed_folder: Path, reviewed_records: list[FieldRecord]) -> None:
    study = load_study(reviewed_folder)
    plain = [record.as_automatic() for record in reviewed_records]
    specimens = summarise_specimens(study.specimens, plain)
    assert hand_figures(study, plain, specimens, summarise_groups(study.groups, specimens), {}) == []


def test_masks_are_compared_again_where_the_automatic_one_is_another(
    reviewed_records: list[FieldRecord],
) -> None:
    record = next(r for r in reviewed_records if r.image_id == "a.png")
    saved = record.corrections["pits"]
    assert changes_of(record, "pits") is saved.changes
    other = replace(record, corrections={"pits": replace(saved, base_mask_sha256="another", changes={})})
    again = changes_of(other, "pits")
    assert dict(again) == dict(saved.changes)
    redrawn = next(r for r in reviewed_records if r.image_id == "c.png")  # saved without changes
    assert not redrawn.corrections["pits"].changes
    assert changes_of(redrawn, "pits")["outline_moved_count"] == 1


def test_without_an_automatic_result_changes_are_as_saved(reviewed_records: list[FieldRecord]) -> None:
    record = next(r for r in reviewed_records if r.image_id == "a.png")
    assert changes_of(replace(record, automatic={}), "pits") is record.corrections["pits"].changes


def test_changes_that_a_save_tells_half_of_are_compared_again(reviewed_records: list[FieldRecord]) -> None:
    record = next(r for r in reviewed_records if r.image_id == "a.png")
    half = replace(record.corrections["pits"], changes={"rejected_count": 9})
    found = changes_of(replace(record, corrections={"pits": half}), "pits")
    assert found == record.corrections["pits"].changes


def test_shares_by_closed_forms() -> None:
    """100 px stand, 25 of them drawn; 60 px were taken away: 85 of 160 by hand."""
    changes = {"corrected_area_px": 100, "area_by_hand_fraction": 0.25, "rejected_area_px": 60}
    assert share_of_area(changes) == pytest.approx(85 / 160)
    emptied = {"corrected_area_px": 0, "area_by_hand_fraction": 0.0, "rejected_area_px": 7}
    assert share_of_area(emptied) == 1
    assert share_of_area(emptied | {"rejected_area_px": 0}) == 0
    assert share_of_objects({"touched_fraction": 0.5}) == 0.5
    assert share_of_length({"by_hand_fraction": 0.2}) == 0.2
    for share in (share_of_area, share_of_objects, share_of_length):
        assert math.isnan(share({}))


def test_change_of_nothing_is_none() -> None:
    figure = HandFigure("specimen", "s", "pit_density_per_mm2", 1.0, 0.0, 1.0, 1, 1)
    assert math.isnan(figure.change) and figure.unit == "mm⁻²"
    assert math.isnan(replace(figure, automatic=math.nan).change)
    assert replace(figure, automatic=2.0).change == -0.5
