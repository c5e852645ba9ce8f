"""Sections pooled over the pictures of a specimen."""

import math

import numpy as np
import pytest

from surfscan.columns import columns, conform
from surfscan.estimates.combining import combined_half_width
from surfscan.images import Calibration
from surfscan.report.groups import summarise_groups
from surfscan.report.records import FieldRecord, gather
from surfscan.report.section_specimens import rests_on_product, section_specimen_table
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore, StoredResult
from surfscan.study.entries import Group, ImageEntry, Specimen
from surfscan.study.manifest import load_study

SPECIMEN = Specimen(id="S", group="g")


def profile(
    number, fraction, *, original="drawn size", half=0.02, area=10_000.0, penetration=8.0, scaled=True
):
    """A row of a closed section with its stations; figures made up."""
    um = 1.0 if scaled else math.nan
    return {
        "profile": number, "row_px": 50.0, "col_px": 50.0, "kind": "closed", "cut_fraction": 0.0,
        "metal_area_um2": fraction * area * um, "original_area_um2": area * um, "original_area_px": area,
        "original_outline": original, "original_relative_uncertainty": 0.01, "remaining_fraction": fraction,
        "remaining_fraction_ci95_low": fraction - half, "remaining_fraction_ci95_high": fraction + half,
        "mean_penetration_um": penetration * um, "mean_penetration_um_ci95_low": (penetration - 1) * um,
        "mean_penetration_um_ci95_high": (penetration + 1) * um, "max_penetration_um": 2.5 * penetration * um,
        "max_penetration_um_ci95_low": 2 * penetration * um,
        "max_penetration_um_ci95_high": 3 * penetration * um, "metal_area_px": fraction * area,
        "local_pitting_factor": 2.5, "least_ligament_um": 70.0 * um, "island_count": 0,
    }  # fmt: skip


def record(name, rows, **entry):
    """A picture with those sections as a store would give it."""
    table = {c.name: np.array([r.get(c.name, math.nan) for r in rows]) for c in columns("profiles")}
    stations = {c.name: [] for c in columns("outline")}
    for row in rows:
        for k in range(8):
            for n in stations:
                value = {"profile": row["profile"], "s_um": 50.0 * k, "s_px": 50.0 * k, "reaches_metal": True}
                stations[n].append(value.get(n, 1.0))
    tables = {
        "profiles": conform("profiles", table),
        "outline": conform("outline", {n: np.array(v) for n, v in stations.items()}),
    }
    scaled = not math.isnan(rows[0]["metal_area_um2"])
    calibration = Calibration(1.0, 1.0, 0.01, "invented") if scaled else None
    stored = StoredResult(
        name, "S", "section", "f", "done", "", None, calibration, {}, {}, tables, (), "0", {}, {}
    )
    image = ImageEntry(
        file=name, specimen="S", shows="section",
        **{"condition": "with_product", "field_choice": "systematic"} | entry,
    )  # fmt: skip
    return FieldRecord(name, image, SPECIMEN, {"section": stored})


def pooled(*records):
    (summary,) = summarise_specimens([SPECIMEN], records)
    return summary


def test_one_section_keeps_its_own_interval():
    row = pooled(record("a.png", [profile(1, 0.8)])).by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.8)
    assert row["remaining_section_fraction_ci95_low"] == pytest.approx(0.78)
    assert row["remaining_section_fraction_ci95_high"] == pytest.approx(0.82)
    assert row["remaining_section_interval"] == "one section"
    assert (row["max_section_penetration_um"], row["max_penetration_image"]) == (20.0, "a.png")
    assert row["max_section_penetration_um_ci95_low"] == pytest.approx(16.0)
    assert row["max_section_penetration_um_ci95_high"] == pytest.approx(24.0)
    assert row["local_pitting_factor"] == pytest.approx(2.5)


def test_sections_of_all_pictures_are_pooled_by_area_with_what_they_share():
    rows = [[profile(1, 0.9), profile(2, 0.7, area=30_000.0)], [profile(1, 0.8, penetration=20.0)]]
    summary = pooled(record("a.png", rows[0]), record("b.png", rows[1]))
    row = summary.by_kind["section"].row
    metal, original = np.array([9000.0, 21_000.0, 8000.0]), np.array([10_000.0, 30_000.0, 10_000.0])
    mean = metal.sum() / original.sum()
    residual = metal - mean * original
    half = 4.302653 * math.sqrt(np.sum(residual**2) / 2 / 3) / original.mean()  # Student's t, 2 degrees
    assert row["remaining_section_fraction"] == pytest.approx(mean)
    assert row["remaining_section_fraction_ci95_low"] == pytest.approx(
        mean - combined_half_width(half, 2, 0.02)
    )
    assert row["remaining_section_interval"] == "between 3 sections"
    assert (row["n_profiles"], row["n_pooled"], row["n_images"]) == (3, 2, 2)
    assert row["section_penetration_um"] == pytest.approx(12.0)  # equal perimeters
    assert (row["max_section_penetration_um"], row["max_penetration_image"]) == (50.0, "b.png")


def test_interval_ends_at_all_metal_unless_more_was_measured():
    row = pooled(record("a.png", [profile(1, 0.9), profile(2, 0.5)])).by_kind["section"].row
    assert row["remaining_section_fraction_ci95_high"] == 1.0
    assert "two sections only" in row["warnings"]
    row = pooled(record("a.png", [profile(1, 1.02), profile(2, 1.01)])).by_kind["section"].row
    assert row["remaining_section_fraction_ci95_high"] == pytest.approx(1.015 + 0.02)


def test_outer_edge_of_product_is_left_out_beside_better_sources():
    summary = pooled(record("a.png", [profile(1, 0.8), profile(2, 0.5, original="outer edge of product")]))
    row = summary.by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.8)
    assert (row["n_profiles"], row["original_outline"]) == (1, "drawn size")
    assert "1 of 2 sections is the outer edge of product" in row["warnings"]
    assert not rests_on_product(summary)


def test_outer_edge_of_product_alone_is_marked_and_has_no_interval():
    doubtful = profile(1, 0.5, original="outer edge of product", half=math.nan)
    summary = pooled(record("a.png", [doubtful]))
    row = summary.by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.5)
    assert math.isnan(row["remaining_section_fraction_ci95_low"])
    assert rests_on_product(summary)
    (group,) = summarise_groups([Group(name="g")], [summary])
    assert any("1 of 1 specimen is the outer edge of product" in w for w in group.kind_warnings["section"])


def test_worst_seen_stands_apart_and_one_condition_is_pooled():
    summary = pooled(
        record("a.png", [profile(1, 0.8)]),
        record("b.png", [profile(1, 0.2)], field_choice="worst_seen"),
        record("c.png", [profile(1, 0.6)], condition="cleaned"),
    )
    row = summary.by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.8)
    assert row["worst_seen_remaining_section_fraction"] == pytest.approx(0.2)
    assert (row["n_worst_seen"], row["condition"]) == (1, "with_product")
    assert "only fields of surface condition 'with product' are pooled" in row["warnings"]


def test_sections_without_a_scale_are_left_out_beside_those_with_one():
    with_scale, without = record("a.png", [profile(1, 0.8)]), record("b.png", [profile(1, 0.6, scaled=False)])
    row = pooled(with_scale, without).by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.8)
    assert "1 section without a known scale left out" in row["warnings"]
    row = pooled(without).by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.6)
    assert math.isnan(row["section_penetration_um"])


def test_a_foil_has_penetration_by_thickness_and_no_area(reported_sections):
    study = load_study(reported_sections)
    records, _ = gather(study, ResultsStore(study.folder).all())
    by_id = {s.specimen.id: s for s in summarise_specimens(study.specimens, records)}
    row = by_id["F1"].by_kind["section"].row
    assert row["section_penetration_um"] == pytest.approx(11, abs=0.5)
    assert math.isnan(row["remaining_section_fraction"])
    assert "half the loss of thickness" in row["warnings"]
    assert len(section_specimen_table(list(by_id.values()))["specimen"]) == 4


@pytest.mark.parametrize("shown", [1.44, math.nan])
def test_more_metal_than_there_was_is_named_and_enters_nothing(shown):
    """Whether the procedure gave the fraction or, since it is refuted, none."""
    beyond = profile(1, 1.44) | {"remaining_fraction": shown}
    summary = pooled(record("a.png", [profile(1, 0.8)]), record("b.png", [beyond]))
    row = summary.by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(0.8) and row["n_profiles"] == 1
    assert "Section 1 of b.png holds 1.44 times the metal of its original outline" in row["warnings"]
    alone = pooled(record("b.png", [beyond]))
    for name in ("remaining_section_fraction", "section_penetration_um", "max_section_penetration_um"):
        assert math.isnan(alone.by_kind["section"].row[name])
    (group,) = summarise_groups([Group(name="g")], [alone])
    assert any(w.startswith("S: more metal than before") for w in group.kind_warnings["section"])


def test_more_metal_within_the_interval_stays():
    row = pooled(record("a.png", [profile(1, 1.01)])).by_kind["section"].row
    assert row["remaining_section_fraction"] == pytest.approx(1.01)
