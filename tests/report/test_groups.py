"""Groups of specimens: the specimen is the replicate."""

import math

import numpy as np
import pytest

from surfscan.estimates.groups import specimen_mean, subtract_baseline
from surfscan.report.groups import group_table, summarise_groups
from surfscan.report.pooling import POOLS, Figures, SpecimenSummary
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.entries import Group, Specimen
from surfscan.study.manifest import load_study


@pytest.fixture
def groups(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return {g.name: g for g in summarise_groups(study.groups, summarise_specimens(study.specimens, records))}


def test_mean_is_over_specimens_not_fields_or_pits(groups):
    group = groups["uncoated 7 d"]
    degraded = group.means["degraded_area_fraction"]
    assert degraded.n == 3  # six fields, 95 pits
    assert degraded.value == pytest.approx(np.mean([0.22, 0.32, 0.41]))
    expected = specimen_mean([0.22, 0.32, 0.41], lowest=0, highest=1)
    assert group.row["mean_degraded_area_fraction_ci95_low"] == pytest.approx(expected.ci95[0])


def test_baseline_is_subtracted_with_its_uncertainty(groups):
    group, control = groups["uncoated 7 d"], groups["as received"]
    name = "degraded_area_fraction"
    expected = subtract_baseline(group.means[name], control.means[name])
    assert group.row[f"baseline_subtracted_{name}"] == pytest.approx(
        group.means[name].value - control.means[name].value
    )
    assert group.row[f"baseline_subtracted_{name}_ci95_low"] == pytest.approx(expected.ci95[0])
    assert group.row[f"mean_{name}"] == pytest.approx(group.means[name].value)


def test_the_scale_does_not_average_out_over_specimens(groups):
    """Scatter and 2 u of the mean density, as root sum of squares, in means and in differences."""
    group, control, name = groups["uncoated 7 d"], groups["as received"], "pit_density_per_mm2"
    alone, other = (specimen_mean(g.values(name), lowest=0) for g in (group, control))
    half = math.hypot(alone.ci95[1] - alone.value, 1.959964 * 0.02 * alone.value)
    assert group.row[f"mean_{name}_ci95_high"] == pytest.approx(alone.value + half)
    bare = subtract_baseline(alone, other)
    both = math.hypot(0.02 * alone.value, 0.02 * other.value)
    half = math.hypot(bare.ci95[1] - bare.value, 1.959964 * both)
    assert group.row[f"baseline_subtracted_{name}_ci95_high"] == pytest.approx(bare.value + half)
    fraction = specimen_mean(group.values("pitted_area_fraction"), lowest=0, highest=1)
    assert group.row["mean_pitted_area_fraction_ci95_high"] == fraction.ci95[1]


@pytest.mark.parametrize(
    ("kind", "name", "values"),
    [
        ("strut", "strut_loss_fraction", [-0.02, -0.01, -0.015]),
        ("strut", "width_penetration_um", [-2.0, -1.0, -1.5]),
        ("section", "remaining_section_fraction", [1.01, 1.02, 1.015]),
    ],
)
def test_what_was_not_exposed_scatters_about_no_loss(kind, name, values):
    """The interval is not cut where the mean of such figures lies beyond none lost."""
    rest = {"least_section_image": "", "original_outline": "twin", "section_penetration_um": math.nan}
    members = []
    for number, value in enumerate(values):
        by_kind = {k: Figures([]) for k in ("surface", "heights", "strut", "section")}
        by_kind["surface"].row |= {"exposure_h": 0.0, "material": ""}
        by_kind[kind].row |= rest | {name: value}
        specimen = Specimen(id=str(number), group="g", exposure_h=0.0)
        members.append(SpecimenSummary(specimen, by_kind, {pool: [] for pool in POOLS}))
    [group] = summarise_groups([Group(name="g")], members)
    expected = specimen_mean(values)
    assert group.means[name].ci95 == expected.ci95
    assert expected.ci95[0] < expected.value < expected.ci95[1]


def test_no_baseline_no_difference(groups):
    assert math.isnan(groups["as received"].row["baseline_subtracted_degraded_area_fraction"])
    assert groups["as received"].differences == {}


def test_below_three_specimens_the_interval_is_refused_with_a_reason(groups):
    reference = groups["reference & <b>$x$</b>"]
    assert math.isnan(reference.row["mean_pitted_area_fraction_ci95_low"])
    assert reference.row["n_specimens_pitted_area_fraction"] == 2
    assert any("2 specimens, at least 3 are needed" in w for w in reference.warnings)


def test_uncleaned_specimens_mark_their_group(groups):
    assert any("Pits on 1 of 3 specimens" in w for w in groups["uncoated 7 d"].warnings)


def test_specimens_in_different_conditions_are_warned_of(groups):
    warnings = groups["uncoated 7 d"].warnings
    assert any(
        w.startswith("Degraded area: specimens differ in surface condition (cleaned, with") for w in warnings
    )
    assert not any("surface condition" in w for w in groups["as received"].warnings)


def test_exposures_that_differ_are_not_averaged(study_folder):
    manifest = study_folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(text.replace("exposure_h = 168.0", "exposure_h = 336.0", 1), encoding="utf-8")
    study = load_study(study_folder)
    specimens = summarise_specimens(study.specimens, [])
    group = next(g for g in summarise_groups(study.groups, specimens) if g.name == "uncoated 7 d")
    assert math.isnan(group.row["exposure_h"])
    assert any("differ in exposure" in w for w in group.warnings)


def test_table_keeps_the_order_of_the_study(groups):
    table = group_table(list(groups.values()))
    assert table["group"].tolist() == list(groups)
    assert table["n_specimens"].tolist() == [3, 3, 2]
    assert table["baseline"].tolist() == ["", "as received", ""]


@pytest.fixture
def height_groups(height_folder):
    study = load_study(height_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return {g.name: g for g in summarise_groups(study.groups, summarise_specimens(study.specimens, records))}


def test_a_lower_bound_makes_the_mean_one_without_interval(height_groups):
    group = height_groups["uncoated 7 d"]
    row = group.row
    assert row["mean_max_depth_um"] == pytest.approx((10 + 12 + 5) / 3)
    assert row["n_lower_bound_max_depth_um"] == 1
    assert math.isnan(row["mean_max_depth_um_ci95_low"])
    assert any("1 of 3 values are lower bounds, and so is the mean" in w for w in group.warnings)
    assert group.lower_bounds("max_depth_um") == [True, False, False]
    assert not any(group.lower_bounds("median_depth_um"))


def test_figures_of_height_maps_are_means_over_specimens(height_groups):
    group = height_groups["uncoated 7 d"]
    expected = specimen_mean([6.0, 7.5, 3.5], lowest=0)
    assert group.row["mean_median_depth_um"] == pytest.approx(expected.value)
    assert group.row["mean_median_depth_um_ci95_high"] == pytest.approx(expected.ci95[1])
    assert group.row["n_specimens_pit_density_per_mm2"] == 0  # no picture in this group


def test_volumes_add_up_and_depths_do_not(height_groups):
    group, control = height_groups["uncoated 7 d"], height_groups["as received"]
    difference = group.means["volume_per_area_um"].value - control.means["volume_per_area_um"].value
    assert group.row["baseline_subtracted_volume_per_area_um"] == pytest.approx(difference)
    assert "baseline_subtracted_max_depth_um" not in group.row
    assert "baseline_subtracted_Sq_um" not in group.row


def test_areas_that_differ_are_said_of_the_greatest_depth(height_groups):
    assert any("the greatest depth grows with it" in w for w in height_groups["uncoated 7 d"].warnings)
    assert not any("grows with it" in w for w in height_groups["as received"].warnings)
