"""Which fields are pooled for what, and counts of pooled fields."""

import math

from surfscan.report.pooling import POOLS, Figures, count, number, pool_fields
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


def test_figures_gather_remarks_by_text():
    figures = Figures([])
    figures.remark("max_depth_um", ["Doubtful."])
    figures.remark("Sdr", ["Doubtful."])
    assert figures.remarks == {"Doubtful.": ["greatest pit depth", "Sdr"]}


def test_small_words():
    assert (count(1, "map"), count(2, "map")) == ("1 map", "2 maps")
    assert math.isnan(number(None)) and number(2) == 2.0
