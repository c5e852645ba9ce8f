"""Tables of a study about struts."""

import math

import pytest

from surfscan.columns import TABLES
from surfscan.report.strut_tables import strut_tables


@pytest.fixture
def tables(strut_records):
    return strut_tables(list(strut_records.values()), [])


def test_columns_are_those_of_the_registry(tables):
    assert set(tables) == {
        name for name in TABLES if name.startswith("study_str") or name == "study_stations"
    }
    for name, table in tables.items():
        assert list(table) == [c.name for c in TABLES[name]]


def test_a_row_for_each_picture_strut_station_and_fault(tables):
    lengths = {name: len(next(iter(table.values()))) for name, table in tables.items()}
    assert lengths == {
        "study_strut_images": 6,
        "study_strut_specimens": 0,
        "study_struts": 1 + 1 + 1 + 6 + 2 + 1,
        "study_strut_faults": 2,
        "study_stations": 60 * 10 + 66,
    }


def test_image_row(tables):
    images = tables["study_strut_images"]
    k = images["image"].tolist().index("struts/mesh.png")
    assert images["strut_count"][k] == 5 and images["missing_count"][k] == 1
    assert images["loss_with_lost_fraction"][k] == pytest.approx(1 - 90 / 144)
    assert images["section_basis"][k] == "drawn"
    assert images["loss_against"][k] == "before"
    assert images["least_section_fraction"][k] > images["least_section_equal_loss_fraction"][k]
    unscaled = images["image"].tolist().index("struts/unscaled.png")
    assert math.isnan(images["mean_width_um"][unscaled])
    assert images["mean_width_px"][unscaled] == pytest.approx(20)
    assert images["enters_means"].tolist() == [True, True, False, True, True, True]


def test_study_without_struts_has_empty_tables(study_folder):
    from surfscan.report.records import gather
    from surfscan.store.results import ResultsStore
    from surfscan.study.manifest import load_study

    records = gather(load_study(study_folder), ResultsStore(study_folder).all())[0]
    assert all(len(next(iter(t.values()))) == 0 for t in strut_tables(records, []).values())
