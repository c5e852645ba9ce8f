"""Fields pooled to specimens."""

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.calibration.uncertainty import widened
from surfscan.estimates import counting, fields
from surfscan.estimates.combining import combined_half_width
from surfscan.report.pooling import density
from surfscan.report.records import gather
from surfscan.report.specimens import specimen_table, summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def summaries(folder):
    study = load_study(folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return {s.specimen.id: s for s in summarise_specimens(study.specimens, records)}


@pytest.fixture
def pooled(study_folder):
    return summaries(study_folder)


def edit(folder, old, new, count=1):
    manifest = folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    assert old in text
    manifest.write_text(text.replace(old, new, count), encoding="utf-8")


AREA = 300 * 400 * 0.25e-6
SCALE = 0.01  # relative standard uncertainty of the scale of every field


def test_one_field_has_its_poisson_interval(pooled):
    row = pooled["A2"].row
    expected = counting.density(np.full(2, 1.1), AREA)
    assert row["pit_density_per_mm2"] == pytest.approx(expected.value)
    own = widened(expected.value, expected.ci95, SCALE, power=2)  # as the field's own interval
    assert row["pit_density_per_mm2_ci95_low"] == pytest.approx(own[0])
    assert row["pit_density_per_mm2_ci95_high"] == pytest.approx(own[1])
    assert row["pit_density_interval"] == "Poisson, one field"


def test_several_fields_have_the_between_field_interval_and_no_worst_seen(pooled):
    row = pooled["U1"].row
    expected = fields.area_weighted_mean(np.array([12, 16, 14]) * 1.1, [AREA] * 3)
    assert row["pit_count"] == 42  # the 40 pits of the worst-seen field stay out
    assert row["pit_density_per_mm2"] == pytest.approx(42 * 1.1 / (3 * AREA))
    low, high = widened(expected.mean, expected.ci95, SCALE, power=2)  # the fields share one scale
    assert (low, high) != expected.ci95
    assert row["pit_density_per_mm2_ci95_low"] == pytest.approx(low)
    assert row["pit_density_per_mm2_ci95_high"] == pytest.approx(high)
    assert row["pit_density_interval"] == "between 3 fields"
    assert row["n_pit_fields"] == 3
    assert row["n_worst_seen"] == 1


def test_worst_seen_is_shown_apart(pooled):
    row = pooled["U1"].row
    assert row["worst_seen_pit_density_per_mm2"] == pytest.approx(40 * 1.1 / AREA)
    assert row["worst_seen_degraded_area_fraction"] == pytest.approx(0.6)
    assert math.isnan(pooled["U2"].row["worst_seen_degraded_area_fraction"])


def test_degraded_interval_adds_the_class_boundary_to_field_sampling(pooled):
    row = pooled["U1"].row
    values = np.array([0.20, 0.24, 0.22])
    half = fields.field_mean(values).half_width
    assert row["degraded_area_fraction"] == pytest.approx(0.22)
    assert row["degraded_area_fraction_ci95_low"] == pytest.approx(0.22 - combined_half_width(half, 2, 0.004))
    assert row["degraded_area_fraction_ci95_high"] == pytest.approx(
        0.22 + combined_half_width(half, 2, 0.006)
    )
    assert row["degraded_area_fraction_relative_accuracy_percent"] == pytest.approx(100 * half / 0.22)


def test_one_field_keeps_its_own_interval(pooled):
    row = pooled["A1"].row
    assert row["degraded_area_fraction_ci95_low"] == pytest.approx(row["degraded_area_fraction"] - 0.004)
    assert math.isnan(row["degraded_area_fraction_relative_accuracy_percent"])


def test_fields_alike_fall_back_to_poisson(study_folder, pooled):
    edit(study_folder, 'specimen = "R1"', 'specimen = "A3"')  # two fields without a pit
    edit(study_folder, 'condition = "as_received"', 'condition = "cleaned"', 3)
    row = summaries(study_folder)["A3"].row
    assert row["pit_density_per_mm2"] == 0
    assert row["pit_density_per_mm2_ci95_high"] == pytest.approx(3.689 / (2 * AREA), rel=1e-3)
    assert row["pit_density_interval"] == "Poisson, 2 fields alike"


def test_unknown_scale_gives_density_per_million_pixels(pooled):
    row = pooled["R2"].row
    assert math.isnan(row["pit_density_per_mm2"])
    assert row["pit_density_per_mpx"] == pytest.approx(3 * 1.1 / 0.12)
    assert row["g46_density_class"] == ""
    assert row["pitted_area_fraction"] > 0


def test_a_field_without_scale_stays_out_of_a_specimen_that_has_one(study_folder):
    edit(study_folder, 'file = "images/11.png"\nspecimen = "R2"', 'file = "images/11.png"\nspecimen = "U2"')
    edit(study_folder, '"not_stated"\nfield_choice', '"cleaned"\nfield_choice')
    summary = summaries(study_folder)["U2"]
    assert summary.row["n_pit_fields"] == 3
    assert summary.row["pit_density_per_mm2"] == pytest.approx(44 * 1.1 / (2 * AREA))
    assert any("without a known scale" in w for w in summary.warnings)


def test_product_on_the_surface_is_warned_of(pooled):
    hidden = [s for s, summary in pooled.items() if any("product may hide" in w for w in summary.warnings)]
    assert hidden == ["X<script>alert(1)</script>"]
    assert any("Surface condition not stated (1 field)" in w for w in pooled["R2"].warnings)


WITH_PRODUCT = 'specimen = "U1"\ncondition = "with_product"'
CLEANED = 'specimen = "U1"\ncondition = "cleaned"'


def test_condition_of_most_specimens_of_the_group_is_pooled(study_folder):
    edit(study_folder, f'file = "images/03.png"\n{CLEANED}', f'file = "images/03.png"\n{WITH_PRODUCT}')
    summary = summaries(study_folder)["U1"]  # cleaned: U1 and U2; with product: U1 and the hostile one
    assert (summary.row["pits_condition"], summary.row["pit_count"]) == ("cleaned", 30)
    assert summary.row["degraded_condition"] == "with_product"  # a tie, decided by preference
    assert summary.row["degraded_area_fraction"] == pytest.approx(0.20)
    assert any("only fields of surface condition 'cleaned' are pooled" in w for w in summary.warnings)
    hostile = 'condition = "with_product"\nfield_choice = "systematic"\n[[image]]\nfile = "images/10'
    edit(study_folder, hostile, hostile.replace("with_product", "cleaned"))
    assert summaries(study_folder)["U1"].row["degraded_condition"] == "cleaned"


def test_unstated_choice_and_failed_images_are_warned_of(pooled):
    assert any("field_choice not stated" in w for w in pooled["R2"].warnings)
    assert any("images/lost.png" in w for w in pooled["A1"].warnings)
    assert pooled["A1"].row["n_failed"] == 1


def test_two_fields_give_one_warning_for_all_figures(pooled):
    (warning,) = [w for w in pooled["U2"].warnings if "two fields only: " in w]
    assert warning.startswith("Pit density, pitted area fraction, degraded area fraction:")


def test_specimen_with_only_a_worst_seen_field_has_no_figures(study_folder):
    edit(study_folder, '"random"', '"worst_seen"')
    edit(study_folder, 'file = "images/07.png"\nspecimen = "U2"', 'file = "images/07.png"\nspecimen = "U1"')
    row = summaries(study_folder)["U2"].row
    assert row["n_pit_fields"] == 0
    assert math.isnan(row["pit_density_per_mm2"])
    assert math.isnan(row["degraded_area_fraction"])
    assert row["worst_seen_pit_density_per_mm2"] > 0


def test_table_has_one_row_a_specimen(pooled):
    table = specimen_table(list(pooled.values()))
    assert table["specimen"].tolist() == list(pooled)
    assert table["pit_count"].tolist()[:3] == [1, 2, 0]


@pytest.mark.parametrize("counts", [(14, 14, 14), (13, 14, 14), (2, 30, 10)])
def test_density_of_few_fields_is_no_surer_than_counting_allows(counts):
    tables = [{"edge_weight": np.full(n, 1.1)} for n in counts]
    value, limits, rests_on, _ = density(tables, [AREA] * 3)
    floor = counting.density(np.full(sum(counts), 1.1), 3 * AREA)
    between = fields.area_weighted_mean(np.array(counts) * 1.1, [AREA] * 3)
    assert value == pytest.approx(floor.value)
    if counts == (2, 30, 10):
        assert limits == pytest.approx(between.ci95)
        assert rests_on == "between 3 fields"
    else:
        assert limits == pytest.approx(floor.ci95)
        assert rests_on == "Poisson, 3 fields alike"


def test_density_of_many_fields_is_the_plain_between_field_interval():
    counts = (14, 13, 14, 15, 14)
    _, limits, rests_on, _ = density([{"edge_weight": np.ones(n)} for n in counts], [AREA] * 5)
    assert limits == pytest.approx(fields.area_weighted_mean(counts, [AREA] * 5).ci95)
    assert rests_on == "between 5 fields"


def test_pitted_area_of_two_fields_alike_keeps_the_pooled_intervals_of_the_fields(study_folder):
    study = load_study(study_folder)
    fractions = {"images/07.png": 0.0400, "images/08.png": 0.0401}
    stored = [
        replace(
            r,
            summary=r.summary
            | {
                "pitted_area_fraction": (f := fractions[r.image_id]),
                "pitted_area_fraction_ci95": [f - 0.01, f + 0.02],
            },
        )
        if r.image_id in fractions and r.procedure == "pits"
        else r
        for r in ResultsStore(study.folder).all()
    ]
    found = summarise_specimens(study.specimens, gather(study, stored)[0])
    row = next(s.row for s in found if s.specimen.id == "U2")
    assert row["pitted_area_fraction"] == pytest.approx(0.04005)
    own = next(s for s in found if s.specimen.id == "U2").pooled["pits"]
    outlines = [outlines_of([r]) for r in own]
    common = sum(outlines) / 2
    for end, half in (("low", 0.01), ("high", 0.02)):
        sampling = math.sqrt(sum(max(half**2 - o**2, 0) for o in outlines)) / 2
        assert abs(row[f"pitted_area_fraction_ci95_{end}"] - 0.04005) == pytest.approx(
            math.hypot(sampling, common)
        )
    assert row["pitted_area_fraction_interval"] == "within fields, 2 fields alike"
    assert math.isnan(row["pitted_area_fraction_relative_accuracy_percent"])


def outlines_of(records):
    """What a shift of 0.29 px (k = 1) common to all outlines does to the mean fraction, at 95 %."""
    tables = [r.table("pits") for r in records]
    step = math.sqrt(records[0].done("pits").calibration.pixel_area_um2)
    area = sum(r.figure("pits", "field_area_mm2") for r in records) * 1e6
    return 1.959964 * 0.29 * step * sum(t["perimeter_um"].sum() for t in tables) / area


def test_pitted_area_of_fields_that_differ_is_e562_with_the_outlines_added(pooled):
    """Outlines are drawn by one rule in every field: their common shift does not average out."""
    row = pooled["U1"].row
    records = pooled["U1"].pooled["pits"]
    values = np.array([r.figure("pits", "pitted_area_fraction") for r in records])
    expected = fields.field_mean(values, upper=1)
    assert row["pitted_area_fraction_interval"] == "between 3 fields"
    assert outlines_of(records) > 0
    half = combined_half_width(expected.half_width, 2, outlines_of(records))
    assert row["pitted_area_fraction_ci95_low"] == pytest.approx(max(expected.mean - half, 0))
    assert row["pitted_area_fraction_ci95_high"] == pytest.approx(expected.mean + half)
    assert row["pitted_area_fraction_relative_accuracy_percent"] == pytest.approx(
        expected.relative_accuracy_percent
    )
