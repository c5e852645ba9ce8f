"""Images of a study joined with their results."""

import math
import shutil
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.report.records import FieldRecord, gather, of_kind
from surfscan.store.results import ResultsStore, StoredResult
from surfscan.study.batch import measure_study
from surfscan.study.entries import ImageEntry, Specimen
from surfscan.study.manifest import load_study


@pytest.fixture
def records(study_folder):
    found, _ = gather(load_study(study_folder), ResultsStore(study_folder).all())
    return {r.image_id: r for r in found}


def test_every_image_of_the_study_in_its_order(study_folder):
    study = load_study(study_folder)
    found, strays = gather(study, ResultsStore(study_folder).all())
    assert [r.image_id for r in found] == [i.image_id for i in study.images]
    assert strays == []


def test_results_of_images_no_longer_named_are_strays(study_folder):
    manifest = study_folder / "study.toml"
    manifest.write_text(manifest.read_text(encoding="utf-8").replace("images/00.png", "images/new.png"))
    found, strays = gather(load_study(study_folder), ResultsStore(study_folder).all())
    assert strays == ["images/00.png"]
    assert found[0].status("pits") == "not measured"


def test_status_of_done_failed_and_not_asked_for(records):
    assert records["images/00.png"].status("pits") == "done"
    assert records["images/lost.png"].status("pits") == "failed"
    assert records["images/lost.png"].done("pits") is None
    assert records["images/10.png"].status("degraded") == ""


def test_missing_figures_are_not_a_number(records):
    assert math.isnan(records["images/11.png"].figure("pits", "pit_density_per_mm2"))
    assert all(map(math.isnan, records["images/11.png"].interval("pits", "pit_density_per_mm2")))
    assert math.isnan(records["images/lost.png"].figure("pits", "pit_count"))
    assert records["images/lost.png"].text("pits", "g46_density_class") == ""
    assert len(records["images/lost.png"].table("pits")["label"]) == 0


def test_only_worst_seen_fields_stay_out_of_means(records):
    assert [i for i, r in records.items() if not r.enters_means] == ["images/06.png"]


def test_pictures_and_height_maps_are_told_apart_by_what_the_study_says(height_folder):
    found, _ = gather(load_study(height_folder), ResultsStore(height_folder).all())
    assert [r.image_id for r in of_kind(found, "surface")] == ["images/a.png"]
    assert len(of_kind(found, "heights")) == 11
    assert {r.image_kind for r in of_kind(found, "heights")} == {"heightmap"}


def test_figures_of_a_map_come_from_whichever_procedure_ran(height_folder):
    found, _ = gather(load_study(height_folder), ResultsStore(height_folder).all())
    record = found[4]
    assert record.flag("pits", "max_depth_is_lower_bound")
    assert not found[3].flag("pits", "max_depth_is_lower_bound")
    del record.results["pits"]
    assert record.map_figure("measured_fraction") == 0.975
    assert record.map_text("form") == "plane"
    assert not record.flag("pits", "max_depth_is_lower_bound")
    assert math.isnan(next(r for r in found if r.image_id == "maps/lost.npy").map_figure("spike_count"))


def test_columns_that_an_older_store_lacks_are_empty():
    old = StoredResult("a.png", "s", "struts", "", "done", tables={"struts": {"strut": np.array([1, 2])}})
    image = ImageEntry(file="a.png", specimen="s", shows="strut")
    table = FieldRecord("a.png", image, Specimen(id="s", group="g"), {"struts": old}).table("struts")
    assert set(table) >= {c.name for c in columns("struts")}
    assert table["strut"].tolist() == [1, 2] and np.isnan(table["mean_width_um"]).all()
    assert table["condition"].tolist() == ["", ""] and not table["broken"].any()


@pytest.fixture
def own_review(reviewed_folder, tmp_path):
    """A copy of the reviewed study that may be changed."""
    return Path(shutil.copytree(reviewed_folder, tmp_path / "study"))


def _record_of(folder, name="a.png"):
    found, _ = gather(load_study(folder), ResultsStore(folder).all())
    return next(r for r in found if r.image_id == name)


def test_an_image_that_cannot_be_measured_any_more_has_no_figures_of_its_old_self(own_review):
    """The result with corrections is kept for when the old file comes back; it is not that of the new one."""
    assert _record_of(own_review).figure("pits", "pit_count") == 2
    (own_review / "a.png").write_bytes(cv2.imencode(".png", np.full((60, 60), 100, np.uint8))[1].tobytes())
    measure_study(own_review, workers=1)
    record = _record_of(own_review)
    assert math.isnan(record.figure("pits", "pit_count")) and not record.corrections
    assert not record.reviews.results
    assert "the file changed since B on" in record.warnings[0]


def test_nor_has_one_whose_file_is_gone(own_review):
    path = own_review / "a.png"
    content = path.read_bytes()
    path.unlink()
    measure_study(own_review, workers=1)
    record = _record_of(own_review)
    assert math.isnan(record.figure("pits", "pit_count")) and not record.corrections
    assert "cannot be measured with" in record.warnings[0] and "no figures" in record.warnings[0]
    path.write_bytes(content)
    assert "a.png" in measure_study(own_review, workers=1).skipped
    assert _record_of(own_review).figure("pits", "pit_count") == 2


def test_a_correction_whose_mask_was_changed_is_not_in_the_figures(own_review):
    """As `measure` says of it."""
    mask = own_review / "corrections" / _record_of(own_review).corrections["pits"].mask_file
    mask.write_bytes(mask.read_bytes()[:-1] + b"x")
    record = _record_of(own_review)
    assert record.figure("pits", "pit_count") == 4 and not record.corrections
    assert "It is not used" in record.warnings[0]
