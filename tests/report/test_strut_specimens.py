"""Figures of struts pooled over the pictures of a specimen."""

import math

import numpy as np
import pytest

from surfscan.columns import TABLES
from surfscan.estimates import fields
from surfscan.estimates.combining import combined_half_width
from surfscan.images import Calibration
from surfscan.measurement.strut_faults import Fault
from surfscan.report.groups import summarise_groups
from surfscan.report.records import FieldRecord
from surfscan.report.specimens import summarise_specimens
from surfscan.report.strut_specimens import strut_specimen_table
from surfscan.store.results import StoredResult
from surfscan.study.entries import Group, ImageEntry, Specimen

SPECIMEN = Specimen(id="S", group="g", drawn_strut_width_um=12.0)
DRAWN = {"drawn_width_um": 12.0, "drawn_thickness_um": 12.0}
GAP = Fault("gap", 1, 2, 100.0, 150.0, 24.0, math.nan, True)
OTHER = Calibration(0.5, 0.5, 0.005, "file")


def as_record(result, name, specimen=SPECIMEN, **entry):
    """A picture with that result as a store would give it."""
    stored = StoredResult(
        name, specimen.id, "struts", "f", "done", "", None, result.calibration, dict(result.settings),
        dict(result.summary), dict(result.tables), result.warnings, "0", {}, {},
    )  # fmt: skip
    taken = {"condition": "cleaned", "field_choice": "systematic"} | entry
    image = ImageEntry(file=name, specimen=specimen.id, shows="strut", **taken)
    return FieldRecord(name, image, specimen, {"struts": stored})


@pytest.fixture
def row(strut_result):
    """Row of a specimen from pictures, each (widths of one strut, what else the picture or its entry has)."""

    def of(*pictures):
        return summary_of(strut_result, *pictures).by_kind["strut"].row

    return of


def summary_of(strut_result, *pictures, specimen=SPECIMEN):
    records = []
    for k, (widths, more) in enumerate(pictures):
        entry = {n: more[n] for n in ("condition", "field_choice") if n in more}
        rest = {n: v for n, v in more.items() if n not in entry}
        records.append(as_record(strut_result(*widths, **{**DRAWN, **rest}), f"{k}.png", specimen, **entry))
    return summarise_specimens([specimen], records)[0]


def wide(px, n=60):
    return [np.full(n, float(px))]


def half(row, name):
    return (row[f"{name}_ci95_high"] - row[f"{name}_ci95_low"]) / 2


def test_one_picture_keeps_its_own_figures(row, strut_result):
    own = strut_result(*wide(20), **DRAWN).summary
    found = row((wide(20), {}))
    assert found["mean_strut_width_um"] == pytest.approx(10.0)
    assert found["mean_strut_width_um_ci95_low"] == pytest.approx(own["mean_width_um_ci95"][0])
    assert found["mean_strut_width_um_ci95_high"] == pytest.approx(own["mean_width_um_ci95"][1])
    assert found["mean_strut_width_interval"] == "one image"
    assert found["strut_loss_fraction"] == pytest.approx(1 / 6)
    assert half(found, "strut_loss_fraction") == pytest.approx(np.diff(own["loss_fraction_ci95"])[0] / 2)
    assert (found["n_images"], found["n_pooled"], found["strut_count"]) == (1, 1, 1)


def test_mean_goes_by_counted_length(row):
    """(20 x 120 px + 16 x 40 px) / 160 px, in µm."""
    found = row((wide(20, 60), {}), (wide(16, 20), {}))
    assert found["mean_strut_width_um"] == pytest.approx((20 * 120 + 16 * 40) / 160 / 2)
    assert found["mean_strut_width_interval"] == "between 2 images"
    assert found["total_length_um"] == pytest.approx(80)


def test_scatter_between_pictures_is_added_to_what_they_share(row):
    """t-interval of the ratio estimator, combined with the interval that one picture alone has."""
    one = half(row((wide(20), {})), "mean_strut_width_um")
    found = row(*((wide(w), {}) for w in (19, 20, 21)))
    between = fields.area_weighted_mean(np.array([9.5, 10, 10.5]) * 60, np.full(3, 60.0)).half_width
    assert half(found, "mean_strut_width_um") == pytest.approx(combined_half_width(between, 2, one), rel=1e-3)
    assert found["mean_strut_width_interval"] == "between 3 images"


def test_scale_of_one_origin_does_not_average_out_and_that_of_several_does(row):
    one = half(row((wide(20), {})), "mean_strut_width_um")
    same = half(row((wide(20), {}), (wide(20), {})), "mean_strut_width_um")
    apart = half(row((wide(20), {}), (wide(20), {"scale": OTHER})), "mean_strut_width_um")
    assert same == pytest.approx(one)
    scale = 1.959964 * 0.005 * 10
    assert one**2 - apart**2 == pytest.approx(scale**2 / 2, rel=1e-6)


def test_least_width_and_section_are_those_of_the_worst_picture(row, strut_result):
    notched = np.r_[np.full(30, 20.0), np.full(6, 12.0), np.full(30, 20.0)]
    own = strut_result(notched, **DRAWN).summary
    found = row((wide(20), {}), ([notched], {}))
    assert found["min_width_image"] == found["least_section_image"] == "1.png"
    assert found["min_strut_width_um"] == own["min_width_um"]
    assert found["min_strut_width_um_ci95_low"] == own["min_width_um_ci95"][0]
    assert found["least_section_fraction"] == own["least_section_fraction"]
    assert found["least_section_equal_loss_fraction"] == own["least_section_equal_loss_fraction"]
    assert found["least_section_strut"] == 1


def test_drawn_thickness_makes_the_section_an_upper_bound_without_lower_limit(row):
    drawn = row((wide(20), {}))
    assert drawn["section_basis"] == "drawn"
    assert math.isnan(drawn["least_section_fraction_ci95_low"])
    assert drawn["least_section_fraction_ci95_high"] > drawn["least_section_fraction"]
    assert drawn["least_section_equal_loss_fraction"] == pytest.approx((10 / 12) ** 2, abs=0.01)
    measured = row((wide(20), {"thickness_um": 11.0}))
    assert measured["section_basis"] == "measured"
    assert measured["least_section_fraction_ci95_low"] < measured["least_section_fraction"]


def test_one_drawn_thickness_among_measured_ones_bounds_the_least_of_all(strut_result):
    summary = summary_of(strut_result, (wide(20), {}), (wide(16), {"thickness_um": 11.0}))
    assert summary.by_kind["strut"].row["section_basis"] == "measured and drawn"
    assert math.isnan(summary.by_kind["strut"].row["least_section_fraction_ci95_low"])
    assert any("the least of all is an upper bound" in text for text in summary.warnings)


def test_worst_seen_picture_enters_no_figure(row):
    found = row((wide(20), {}), (wide(8), {"field_choice": "worst_seen"}))
    assert found["mean_strut_width_um"] == pytest.approx(10)
    assert found["min_strut_width_um"] == pytest.approx(10, abs=0.1)
    assert found["worst_seen_min_strut_width_um"] == pytest.approx(4, abs=0.1)
    assert (found["n_images"], found["n_pooled"], found["n_worst_seen"]) == (2, 1, 1)


def test_only_one_surface_condition_is_pooled(strut_result):
    """Product widens struts: cleaned ones come first."""
    summary = summary_of(strut_result, (wide(22), {"condition": "with_product"}), (wide(20), {}))
    assert summary.by_kind["strut"].row["condition"] == "cleaned"
    assert summary.by_kind["strut"].row["mean_strut_width_um"] == pytest.approx(10)
    assert any(text.startswith("Strut widths: only fields of surface") for text in summary.warnings)


def test_penetration_is_half_of_the_width_lost(row):
    found = row((wide(20), {}))
    assert found["width_penetration_um"] == pytest.approx(1.0)
    own, scale, drawn = half(found, "mean_strut_width_um"), 0.005 * 12, 0.01 * 12
    expected = math.hypot(own, 1.96 * math.hypot(scale, drawn)) / 2
    assert half(found, "width_penetration_um") == pytest.approx(expected, rel=0.1)


def test_gap_counts_as_zero_width_beside_the_survivors(row):
    """A gap of 24 px between two struts of 120 px: lost 24 of 264 px."""
    found = row(([np.full(60, 20.0)] * 2, {"faults": [GAP]}))
    assert found["lost_length_fraction"] == pytest.approx(24 / 264)
    assert found["loss_of_survivors_fraction"] == pytest.approx(1 / 6)
    assert found["loss_with_lost_fraction"] == pytest.approx(1 - (1 - 24 / 264) * 5 / 6)
    assert found["gap_count"] == 1


def test_missing_struts_are_pooled_over_the_length_before(row):
    """One picture has lost one of three struts, the other none of two: 1 of 5 of the length."""
    lost = ([np.full(60, 20.0)] * 2, {"before": [np.full(60, 24.0)] * 3})
    kept = ([np.full(60, 20.0)] * 2, {"before": [np.full(60, 24.0)] * 2})
    found = row(lost, kept)
    assert found["missing_count"] == 1
    assert found["lost_length_fraction"] == pytest.approx(0.2, abs=1e-6)
    assert found["loss_of_survivors_fraction"] == pytest.approx(1 / 6)
    assert found["loss_with_lost_fraction"] == pytest.approx(1 - 0.8 * 5 / 6)


def test_picture_without_scale_is_left_out_and_said(strut_result):
    summary = summary_of(strut_result, (wide(20), {"scale": None}))
    assert math.isnan(summary.by_kind["strut"].row["mean_strut_width_um"])
    assert summary.by_kind["strut"].row["strut_count"] == 1
    assert any("without a width in µm" in text for text in summary.warnings)


def test_broken_struts_and_product_are_said(strut_result):
    pair = ([np.full(60, 20.0)] * 2, {"faults": [GAP], "condition": "with_product"})
    warnings = summary_of(strut_result, pair).warnings
    assert any(text.startswith("Broken struts: 2. Mean and least width") for text in warnings)
    assert any("product as dark as the metal widens them (1 picture)" in text for text in warnings)


def test_specimen_without_pictures_of_struts_has_no_row():
    (summary,) = summarise_specimens([SPECIMEN], [])
    assert summary.by_kind["strut"].row == {}
    assert strut_specimen_table([summary])["specimen"].size == 0


def test_table_has_the_columns_of_the_registry(strut_result):
    table = strut_specimen_table([summary_of(strut_result, (wide(20), {}))])
    assert list(table) == [c.name for c in TABLES["study_strut_specimens"]]


def test_group_mean_with_an_upper_bound_gets_no_interval(strut_result):
    members = []
    for name, px, more in (("A", 20, {"thickness_um": 11}), ("B", 19, {"thickness_um": 11}), ("C", 21, {})):
        own = Specimen(id=name, group="g")
        members.append(summary_of(strut_result, (wide(px), more), specimen=own))
    (group,) = summarise_groups([Group(name="g")], members)
    assert group.upper_bounds("least_section_fraction") == [False, False, True]
    assert group.means["least_section_fraction"].ci95 is None
    assert "1 of 3 values are upper bounds" in group.means["least_section_fraction"].refused
    assert group.upper_bounds("least_section_equal_loss_fraction") == [False] * 3
    assert group.means["least_section_equal_loss_fraction"].ci95 is not None


def test_least_section_left_is_the_measured_one_and_else_that_with_equal_loss(row):
    measured = row((wide(20), {"thickness_um": 11.0}))
    assert measured["least_section_left_basis"] == "measured thickness"
    assert measured["least_section_left_fraction"] == measured["least_section_fraction"]
    drawn = row((wide(20), {}))
    assert drawn["least_section_left_basis"] == "equal loss all round"
    assert drawn["least_section_left_fraction"] == drawn["least_section_equal_loss_fraction"]
    both = row((wide(20), {"thickness_um": 11.0}), (wide(16), {}))
    assert both["least_section_image"] == "1.png"
    assert both["least_section_left_basis"] == "equal loss all round"
    assert "Thickness measured on 1 of 2 pictures" in both["warnings"].replace("thickness m", "Thickness m")


def test_wider_than_drawn_beyond_the_interval_is_named_and_enters_no_loss(strut_result):
    """12 times as wide as drawn, as where the drawn size was given in another unit."""
    other = {"drawn_width_um": 1.0}
    summary = summary_of(strut_result, (wide(20), {}), (wide(24), other))
    found = summary.by_kind["strut"].row
    assert found["mean_strut_width_um"] == pytest.approx(11.0)
    assert found["strut_loss_fraction"] == pytest.approx(1 / 6)
    assert found["least_section_image"] == "0.png"
    assert any("1.png shows struts 12.0 times as wide as before or as drawn" in w for w in summary.warnings)
    alone = summary_of(strut_result, (wide(24), other)).by_kind["strut"].row
    for name in ("strut_loss_fraction", "width_penetration_um", "least_section_left_fraction"):
        assert math.isnan(alone[name])
    assert math.isnan(alone["loss_with_lost_fraction"])


def test_wider_than_drawn_within_the_interval_stays(row):
    found = row((wide(24.1), {}))
    assert found["strut_loss_fraction"] < 0 < found["strut_loss_fraction_ci95_high"]
    assert found["least_section_left_fraction"] > 1


def test_group_names_who_is_left_out_and_who_has_another_basis(strut_result):
    members = []
    for name, more in (("A", {"thickness_um": 11}), ("B", {}), ("C", {"drawn_width_um": 1.0})):
        own = Specimen(id=name, group="g")
        members.append(summary_of(strut_result, (wide(20), more), specimen=own))
    (group,) = summarise_groups([Group(name="g")], members)
    assert group.means["strut_loss_fraction"].n == 2 and group.means["mean_strut_width_um"].n == 3
    said = group.kind_warnings["strut"]
    assert any(text.startswith("C: more metal than before or as drawn") for text in said)
    assert any("with measured thickness on 1 of 2 specimens" in text for text in said)
