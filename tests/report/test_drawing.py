"""What is drawn on a picture."""

import re

import numpy as np
import pytest

from surfscan.report import drawing
from surfscan.report.records import gather
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def records(study_folder):
    return {r.image_id: r for r in gather(load_study(study_folder), ResultsStore(study_folder).all())[0]}


def corners(path):
    """Corners of closed polygons given as M x y l dx dy ..."""
    found = []
    for part in path.split("M")[1:]:
        numbers = np.array(re.findall(r"-?[\d.]+(?:e-\d+)?", part), dtype=float).reshape(-1, 2)
        found.append(np.cumsum(numbers, axis=0))
    return found


def test_marks_that_would_hide_one_another_are_left_out():
    assert drawing.apart([(0, 0), (3, 4), (6, 8), (40, 0)], 6) == [(0, 0), (6, 8), (40, 0)]


def test_outline_lies_on_the_pit(records, study_folder):
    record = records["images/03.png"]
    labels = record.results["pits"].read_mask("pits")
    paths, _ = drawing.outlines(labels, (1.0, 1.0), 1.0)
    for label, path in paths.items():
        rows, cols = np.nonzero(labels == label)
        if "a" in path:  # a ring round a small pit
            assert max(np.ptp(cols), np.ptp(rows)) + 1 < drawing.RING_BELOW_PX
            continue
        (points,) = corners(path)
        assert points[:, 0].min() == pytest.approx(cols.min() + 0.5)
        assert points[:, 0].max() == pytest.approx(cols.max() + 0.5)
        assert points[:, 1].max() == pytest.approx(rows.max() + 0.5)


def test_holes_and_specks_of_an_area():
    mask = np.zeros((60, 80), bool)
    mask[10:50, 10:50] = True
    mask[25:35, 25:35] = False
    mask[5, 70] = True
    path = drawing.area_path(mask, (1.0, 1.0))
    assert path.count("M") == 2  # outline and hole; the speck is not drawn
    assert drawing.area_path(mask, (1.0, 1.0), 5000) == ""
