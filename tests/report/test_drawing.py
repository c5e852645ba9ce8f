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


def noise(rows, cols):
    return np.random.default_rng(3).integers(0, 256, (rows, cols), dtype=np.uint8)


@pytest.mark.parametrize(("cols", "widths"), [(1200, (900, 700, 500)), (640, (640, 500)), (260, (260,))])
def test_a_picture_is_the_largest_and_best_that_keeps_to_its_size(cols, widths):
    import cv2

    whole = cv2.GaussianBlur(noise(cols * 3 // 4, cols), (0, 0), 2)

    def render(width, height):
        return cv2.resize(whole, (width, height), interpolation=cv2.INTER_AREA)

    def weight(width, quality):
        small = render(width, round(width * 0.75))
        return len(cv2.imencode(".webp", small, [cv2.IMWRITE_WEBP_QUALITY, quality])[1])

    sizes = {(w, q): weight(w, q) for w in widths for q in (80, 60, 40)}
    for (width, quality), size in sizes.items():
        uri, found, height = drawing.encode(render, whole.shape, 1.0, size)
        best = next(choice for choice, own in sizes.items() if own <= size)
        assert (found, height) == (best[0], round(best[0] * 0.75)), (width, quality)
        assert len(uri) == len("data:image/webp;base64,") + 4 * -(-sizes[best] // 3)
    least = (widths[-1], 40)
    assert drawing.encode(render, whole.shape, 1.0, 10)[1] == least[0]


@pytest.mark.parametrize(("max_bytes", "most"), [(10**6, 1), (10, 1), (25_000, 4)])
def test_a_picture_is_made_no_more_often_than_needed(max_bytes, most):
    made = []

    def render(width, height):
        made.append(width)
        return noise(height, width)

    drawing.encode(render, (480, 640), 1.0, max_bytes)
    assert 1 <= len(made) <= most
