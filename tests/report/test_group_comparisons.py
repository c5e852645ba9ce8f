"""Groups compared, and fields in specimens."""

import math

import pytest

from surfscan.estimates.comparing import TwoGroups
from surfscan.report.group_comparisons import (
    compare_groups,
    comparison_rows,
    nested_groups,
    nested_rows,
    small_groups,
)


def test_groups_of_one_exposure(sides):
    found = sides.found()
    assert {each.exposure_h for each in found.compared} == {336.0}
    section = next(e for e in found.compared if e.figure == "remaining_section_fraction")
    assert isinstance(section.result, TwoGroups) and section.result.names == ("bare 14 d", "coated 14 d")
    assert section.result.difference > 0 and section.result.test == "Welch"
    assert section.sentence.index("effect") < section.sentence.index("p ")


def test_depths_by_permutation_and_bounds_are_said(sides):
    depth = next(e for e in sides.found().compared if e.figure == "max_depth_um")
    assert depth.result.test == "permutation" or depth.result.refused
    assert "Lower bounds among the values: 2." in depth.sentence


def test_below_three_points_only(sides):
    sides.summaries = [s for s in sides.summaries if s.specimen.id != "C3"]
    sides.rates = [r for r in sides.rates if r.record.specimens[0].id != "C3"]
    sides.text = sides.text.replace(
        'id = "C3"\ngroup = "coated 14 d"', 'id = "C3"\ngroup = "bare as received"'
    )
    found = sides.found()
    section = next(e for e in found.compared if e.figure == "remaining_section_fraction")
    assert "at least 3 are needed" in section.result.refused
    assert [len(points) for points in section.points.values()] == [3, 2]
    assert small_groups(sides.groups) == ["coated 14 d"]


def test_different_exposures_are_said(sides):
    sides.found()
    two = [g for g in sides.groups if g.name.startswith("bare") and g.baseline]
    compared = compare_groups(two, [])
    assert all(math.isnan(e.exposure_h) and "differ in exposure" in e.sentence for e in compared)
    assert compared


def test_rows(sides):
    rows = comparison_rows(sides.found().compared)
    row = next(r for r in rows if r["figure"] == "mass_loss_rate_mm_per_y")
    assert (row["n_first"], row["n_second"]) == (3, 3)
    assert row["difference_ci95_low"] < row["difference"] < row["difference_ci95_high"] < 0
    assert row["p"] == pytest.approx(row["p"]) and not row["refused"]


def test_one_group_has_nothing_to_compare_with(sides):
    sides.found()
    assert compare_groups(sides.groups[:1], []) == []


def test_fields_in_specimens(study_records_groups):
    """Two or three fields on some plates of the drawn study; too few specimens is said."""
    found = nested_groups(study_records_groups)
    assert {each.figure for each in found} == {"degraded_area_fraction", "pitted_area_fraction"}
    assert all(each.result.fields > each.result.specimens for each in found)
    rows = nested_rows(found)
    assert len(rows) == len(found)


@pytest.fixture
def study_records_groups(study_folder):
    from surfscan.report.groups import summarise_groups
    from surfscan.report.records import gather
    from surfscan.report.specimens import summarise_specimens
    from surfscan.store.results import ResultsStore
    from surfscan.study.manifest import load_study

    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study_folder).all())
    return summarise_groups(study.groups, summarise_specimens(study.specimens, records))
