"""Height maps pooled to specimens: apart from pictures, and lower bounds stay lower bounds."""

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.estimates import counting, fields, g46
from surfscan.estimates.depths import censored_quantile
from surfscan.report.height_specimens import height_specimen_table
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study

AREA_MM2 = 200 * 240 * 0.25e-6
PIT_UM2 = 317 * 0.25  # a disc of radius 10 px as cv2 draws it


def summaries(folder, change=lambda r: r):
    study = load_study(folder)
    stored = [change(r) for r in ResultsStore(study.folder).all()]
    return {s.specimen.id: s for s in summarise_specimens(study.specimens, gather(study, stored)[0])}


@pytest.fixture
def pooled(height_folder):
    return summaries(height_folder)


def summary_of(image, procedure, **figures):
    """A change of stored summary figures of one image."""
    return lambda r: (
        replace(r, summary=dict(r.summary) | figures)
        if (r.image_id, r.procedure) == (image, procedure)
        else r
    )


def test_pictures_and_height_maps_are_not_pooled(pooled):
    """A1 has a picture with 3 pits and a height map with none."""
    a1 = pooled["A1"]
    assert (a1.row["pit_count"], a1.row["n_pit_fields"]) == (3, 1)
    assert (a1.deep.row["pit_count"], a1.deep.row["n_pit_fields"]) == (0, 1)
    assert a1.row["n_failed"] == 0 and a1.deep.row["n_failed"] == 1
    assert pooled["H1"].row["n_pit_fields"] == 0
    assert math.isnan(pooled["H1"].row["pit_density_per_mm2"])


def test_depths_of_all_maps_are_pooled_and_a_lower_bound_spreads(pooled):
    row = pooled["H1"].deep.row
    depths = np.array([4, 8, 6, 5, 9, 3, 7, 2, 10.0])
    bounds = depths == 9
    assert row["n_pit_fields"] == 3
    assert row["pit_count"] == 9
    assert row["max_depth_um"] == 10 and row["max_depth_is_lower_bound"]
    assert row["max_depth_um_ci95_low"] == pytest.approx(10 - 0.196)
    assert math.isnan(row["max_depth_um_ci95_high"])
    assert row["mean_depth_10_deepest_um"] == pytest.approx(depths.mean())
    assert row["mean_depth_10_deepest_is_lower_bound"] and row["deepest_count"] == 9
    assert row["lower_bound_depth_count"] == 1
    assert row["median_depth_um"] == censored_quantile(depths, bounds, 0.5)
    assert row["depth_p90_um"] == censored_quantile(depths, bounds, 0.9)
    assert row["g46_depth_class"] == g46.depth_class(float(depths.mean()))


def test_without_lower_bounds_the_interval_has_both_ends(pooled):
    row = pooled["H2"].deep.row
    assert not row["max_depth_is_lower_bound"]
    assert row["max_depth_um_ci95_high"] == pytest.approx(12 + 0.196)


def test_pit_cut_by_the_frame_leaves_the_greatest_depth_what_it_is(height_folder):
    """Its own depth is a lower bound, for the quantiles; the deepest point of the area seen is measured."""

    def change(r):
        if (r.image_id, r.procedure) != ("maps/07.npy", "pits"):
            return r
        pits = dict(r.tables["pits"])
        return replace(
            r, tables=dict(r.tables) | {"pits": pits | {"depth_is_lower_bound": pits["depth_um"] > 11}}
        )

    row = summaries(height_folder, change)["H2"].deep.row
    assert row["max_depth_um"] == 12 and not row["max_depth_is_lower_bound"]
    assert row["max_depth_um_ci95_high"] == pytest.approx(12 + 0.196)
    assert row["lower_bound_depth_count"] == 0


def test_pitting_factor_of_a_mean_told_from_none_on_no_map_is_refused(height_folder):
    changes = [summary_of(f"maps/0{n}.npy", "pits", pitting_factor=None) for n in (3, 4, 5)]
    row = summaries(height_folder, lambda r: changes[2](changes[1](changes[0](r))))["H1"].deep.row
    assert math.isnan(row["pitting_factor"]) and row["pitting_factor_denominator"] == ""


def test_worst_seen_map_enters_nothing_but_is_shown(pooled):
    row = pooled["H1"].deep.row
    assert row["n_height_maps"] == 4 and row["n_worst_seen"] == 1
    assert row["worst_seen_max_depth_um"] == 30
    assert row["max_depth_um"] < 30


def test_density_of_height_maps(pooled):
    row = pooled["H1"].deep.row
    assert row["pit_density_per_mm2"] == pytest.approx(9 * 1.1 / (3 * AREA_MM2))
    assert row["field_area_mm2"] == pytest.approx(3 * AREA_MM2)


def test_volume_per_area_of_alike_fields_has_the_compound_poisson_interval(pooled):
    row = pooled["H1"].deep.row
    volumes = np.array([4, 8, 6, 5, 9, 3, 7, 2, 10.0]) * PIT_UM2
    area = 3 * AREA_MM2 * 1e6
    low, high = counting.gamma_interval(volumes, volumes.max())
    assert row["total_volume_um3"] == pytest.approx(volumes.sum())
    assert row["volume_per_area_um"] == pytest.approx(volumes.sum() / area)
    assert row["volume_per_area_um_ci95_low"] == pytest.approx(low / area)
    assert row["volume_per_area_um_ci95_high"] == pytest.approx(high / area)
    assert row["volume_per_area_um_interval"] == "within fields, 3 fields alike"


def test_volume_per_area_of_fields_that_differ_has_the_interval_between_them(height_folder):
    volumes = {"maps/03.npy": 1500.0, "maps/04.npy": 20000.0, "maps/05.npy": 90000.0}

    def change(r):
        if r.procedure == "pits" and r.image_id in volumes:
            return replace(r, summary=dict(r.summary) | {"total_volume_um3": volumes[r.image_id]})
        return r

    row = summaries(height_folder, change)["H1"].deep.row
    expected = fields.area_weighted_mean(list(volumes.values()), [AREA_MM2 * 1e6] * 3)
    assert row["volume_per_area_um"] == pytest.approx(expected.mean)
    assert row["volume_per_area_um_ci95_high"] == pytest.approx(expected.ci95[1])
    assert row["volume_per_area_um_interval"] == "between 3 fields"


def test_no_pit_no_depth_and_a_volume_of_zero_without_interval(pooled):
    row = pooled["A1"].deep.row
    assert math.isnan(row["max_depth_um"]) and math.isnan(row["median_depth_um"])
    assert row["volume_per_area_um"] == 0
    assert math.isnan(row["volume_per_area_um_ci95_high"])
    assert math.isnan(row["pitting_factor"]) and row["g46_depth_class"] == ""


def test_pitting_factor_from_the_present_surface(pooled):
    row = pooled["H1"].deep.row
    assert row["original_level"] == "present surface"
    assert row["pitting_factor"] == pytest.approx(10 / row["volume_per_area_um"])
    assert row["pitting_factor_denominator"] == "pit volume per area, below the present surface"
    assert math.isnan(row["mean_penetration_um"])


def test_pitting_factor_from_the_original_level(pooled):
    row = pooled["H2"].deep.row
    assert row["original_level"] == "masked datum"
    assert (row["mean_penetration_um"], row["max_penetration_um"]) == (2.0, 13.0)
    assert row["pitting_factor"] == pytest.approx(6.5)
    assert "original level" in row["pitting_factor_denominator"]


def test_pitting_factor_refused_on_a_map_is_refused_for_the_specimen(height_folder):
    row = summaries(height_folder, summary_of("maps/07.npy", "pits", pitting_factor=None))["H2"].deep.row
    assert math.isnan(row["pitting_factor"]) and row["pitting_factor_denominator"] == ""


def test_levels_that_differ_fall_back_to_the_present_surface(height_folder):
    change = summary_of("maps/03.npy", "pits", original_level="masked datum", mean_penetration_um=1.0)
    summary = summaries(height_folder, change)["H1"]
    assert summary.deep.row["original_level"] == "present surface"
    assert any("known in different ways" in w for w in summary.deep.warnings)


def test_median_that_lower_bounds_hide_is_said(height_folder):
    def change(r):
        if r.image_id != "maps/08.npy" or r.procedure != "pits":
            return r
        pits = dict(r.tables["pits"]) | {"depth_is_lower_bound": np.ones(2, bool)}
        return replace(r, tables={**r.tables, "pits": pits})

    summary = next(s for n, s in summaries(height_folder, change).items() if n.startswith("X"))
    assert math.isnan(summary.deep.row["median_depth_um"])
    assert any(w.startswith("Median pit depth: so many depths are lower bounds") for w in summary.warnings)


def test_texture_is_the_mean_over_maps_with_the_interval_between_them(pooled):
    row = pooled["H1"].deep.row
    expected = fields.field_mean([0.25, 0.2, 0.3])
    assert row["n_texture_fields"] == 3
    assert row["Sq_um"] == pytest.approx(expected.mean)
    assert row["Sq_um_ci95_low"] == pytest.approx(expected.ci95[0])
    assert row["texture_surface"] == "S-F" and math.isnan(row["l_cutoff_um"])
    assert any(w.startswith("Sdr: all 3 fields gave the same value") for w in pooled["H1"].warnings)
    assert math.isnan(pooled["R2"].deep.row["Sdr"])


def test_textures_filtered_differently_have_no_mean(height_folder):
    change = summary_of("maps/03.npy", "texture", surface="S-L", l_cutoff_um=50.0)
    summary = summaries(height_folder, change)["H1"]
    assert summary.deep.row["texture_surface"] == "mixed"
    assert math.isnan(summary.deep.row["Sq_um"])
    assert any("filtered differently" in w for w in summary.deep.warnings)


def test_product_in_pits_is_warned_of(pooled):
    hostile = next(s for n, s in pooled.items() if n.startswith("X"))
    assert any("product may hide" in w for w in hostile.deep.warnings)
    assert hostile.seen.warnings == []


def test_unscaled_maps_have_depths_but_no_volume(pooled):
    row = pooled["R2"].deep.row
    assert row["max_depth_um"] == 6
    assert math.isnan(row["volume_per_area_um"]) and math.isnan(row["pit_density_per_mm2"])
    assert row["pit_density_per_mpx"] > 0


def test_table_holds_specimens_with_height_maps_only(pooled, study_folder):
    table = height_specimen_table(list(pooled.values()))
    assert len(table["specimen"]) == 7
    assert height_specimen_table(list(summaries(study_folder).values()))["specimen"].size == 0
