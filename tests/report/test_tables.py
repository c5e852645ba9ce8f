"""Tables with a row an image or a pit."""

import math

import pytest

from surfscan.columns import TABLES
from surfscan.report.records import gather
from surfscan.report.tables import height_table, image_table, object_table
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def records(study_folder):
    return gather(load_study(study_folder), ResultsStore(study_folder).all())[0]


def test_image_table_has_every_image_failed_ones_too(records):
    table = image_table(records)
    assert list(table) == [c.name for c in TABLES["study_images"]]
    assert table["image"].tolist() == [r.image_id for r in records]
    assert table["pits_status"].tolist() == ["done"] * 12 + ["failed"]
    assert table["enters_means"].sum() == 12
    assert math.isnan(table["pit_count"][-1])
    assert math.isnan(table["pixel_size_x_um"][11])
    assert len(table["sha256"][0]) == 64


def test_pit_table_holds_all_pits_with_whose_they_are(records):
    table = object_table(records, "pits", "study_pits")
    assert len(table["label"]) == 1 + 2 + 0 + 12 + 16 + 14 + 40 + 20 + 24 + 9 + 0 + 3
    assert set(table["group"][table["specimen"] == "U1"]) == {"uncoated 7 d"}
    assert sum(table["image"] == "images/06.png") == 40


def test_review_table(records):
    assert len(object_table(records, "for_review", "study_for_review")["label"]) == 12


def test_nothing_measured_gives_empty_tables_with_all_columns():
    table = object_table([], "pits", "study_pits")
    assert list(table) == [c.name for c in TABLES["study_pits"]]
    assert all(len(column) == 0 for column in table.values())


def test_height_maps_have_a_table_of_their_own(height_folder):
    records = gather(load_study(height_folder), ResultsStore(height_folder).all())[0]
    table = height_table(records)
    assert list(table) == [c.name for c in TABLES["study_heights"]]
    assert len(table["image"]) == 11
    assert image_table(records)["image"].tolist() == ["images/a.png"]
    assert table["pits_status"].tolist() == ["done"] * 10 + ["failed"]
    assert table["texture_status"].tolist() == ["done"] * 10 + ["failed"]
    assert table["max_depth_um"][4] == 9 and table["max_depth_is_lower_bound"][4]
    assert math.isnan(table["max_depth_um_ci95_high"][4])
    assert table["max_depth_um_ci95_high"][3] == pytest.approx(8.196)
    assert table["original_level"][7] == "masked datum" and table["mean_penetration_um"][7] == 2
    assert table["form"][0] == "plane" and table["measured_fraction"][0] == 0.975
    assert table["Sq_um"][0] == pytest.approx(0.1) and math.isnan(table["Sdr"][9])
    assert table["texture_surface"][0] == "S-F" and table["texture_surface"][10] == ""


def test_pits_of_both_kinds_of_image_say_which_they_are(height_folder):
    records = gather(load_study(height_folder), ResultsStore(height_folder).all())[0]
    table = object_table(records, "pits", "study_pits")
    seen = table["image_kind"] == "micrograph"
    assert seen.sum() == 3 and (~seen).sum() == 17
    assert all(math.isnan(d) for d in table["depth_um"][seen])
    assert not any(math.isnan(d) for d in table["depth_um"][~seen])
