"""Which fields are pooled for what, and counts of pooled fields."""

import math
from dataclasses import replace

import pytest

from surfscan.estimates import counting
from surfscan.report.pooling import POOLS, Figures, common_scale, count, number, pool_fields, put_density
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def pooled(folder):
    study = load_study(folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return {s.specimen.id: s for s in pool_fields(study.specimens, records)}


def test_pools_hold_one_kind_of_image(height_folder):
    for summary in pooled(height_folder).values():
        for key, fields in summary.pooled.items():
            assert all(r.kind == POOLS[key].kind for r in fields)
    a1 = pooled(height_folder)["A1"]
    assert {key: len(fields) for key, fields in a1.pooled.items()} == {
        "pits": 1,
        "degraded": 1,
        "height_pits": 1,
        "texture": 1,
        "struts": 0,
        "section": 0,
    }


def test_worst_seen_maps_are_in_no_pool(height_folder):
    h1 = pooled(height_folder)["H1"]
    assert len(h1.deep.records) == 4
    assert [r.image_id for r in h1.pooled["height_pits"]] == ["maps/03.npy", "maps/04.npy", "maps/05.npy"]
    assert h1.condition("height_pits") == "cleaned"
    assert h1.condition("pits") == ""


def test_one_surface_condition_of_height_maps_is_pooled(height_folder):
    manifest = height_folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    old = 'file = "maps/03.npy"\nspecimen = "H1"\nshows = "heights"\ncondition = "cleaned"'
    assert old in text
    manifest.write_text(text.replace(old, old.replace("cleaned", "with_product")), encoding="utf-8")
    h1 = pooled(height_folder)["H1"]
    assert len(h1.pooled["height_pits"]) == 2
    (said,) = h1.deep.remarks
    assert "only fields of surface condition 'cleaned' are pooled" in said
    assert h1.deep.remarks[said] == ["pits on height maps", "areal texture"]


def with_scale(record, relative):
    """The record with another uncertainty of its scale."""
    results = {
        p: replace(r, calibration=replace(r.calibration, relative_uncertainty=relative))
        for p, r in record.results.items()
    }
    return replace(record, results=results)


def test_the_scale_of_fields_does_not_average_out(study_folder):
    """Ninety fields scatter less than three; what their common scale adds is the same."""
    own = pooled(study_folder)["U1"].pooled["pits"]
    assert common_scale(own) == 0.01
    assert common_scale([with_scale(own[0], 0.002), with_scale(own[1], 0.03)]) == 0.03
    assert common_scale(pooled(study_folder)["R2"].pooled["pits"]) == 0  # no scale: a density per megapixel
    assert common_scale([]) == 0

    def upper(relative, several):
        figures = Figures([])
        put_density(figures, [with_scale(r, relative) for r in own] * several)
        row = figures.row
        return math.log(row["pit_density_per_mm2_ci95_high"] / row["pit_density_per_mm2"])

    for several in (1, 3, 30):
        bare, scaled = upper(1e-9, several), upper(0.05, several)
        assert math.sqrt(scaled**2 - bare**2) == pytest.approx(1.959964 * 2 * 0.05, rel=1e-6)
    assert upper(1e-9, 30) < upper(1e-9, 1) / 4


def test_a_density_per_megapixel_has_no_scale_in_it(study_folder):
    own = pooled(study_folder)["R2"].pooled["pits"]
    figures = Figures([])
    put_density(figures, own)
    expected = counting.density(
        own[0].table("pits")["edge_weight"], own[0].figure("pits", "field_area_px") / 1e6
    )
    assert figures.row["pit_density_per_mpx_ci95_high"] == expected.ci95[1]


def test_figures_gather_remarks_by_text():
    figures = Figures([])
    figures.remark("max_depth_um", ["Doubtful."])
    figures.remark("Sdr", ["Doubtful."])
    assert figures.remarks == {"Doubtful.": ["greatest pit depth", "Sdr"]}


def test_small_words():
    assert (count(1, "map"), count(2, "map")) == ("1 map", "2 maps")
    assert math.isnan(number(None)) and number(2) == 2.0
