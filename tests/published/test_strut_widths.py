"""Strut widths against closed forms and against scikit-image and scipy.

Sources: elementary geometry of a bar, an annulus and a wedge (closed forms); `skimage.morphology.medial_axis`
(distance along the axis = half the width where edges are parallel); the largest inscribed circle by
`scipy.ndimage.distance_transform_edt`.
"""

import sys
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt
from skimage.morphology import medial_axis

from surfscan.measurement.stations import place_stations
from surfscan.segmentation.centrelines import find_centrelines
from surfscan.segmentation.silhouette import find_silhouette

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from synthetic_struts import bar, coverage, developed, mesh

SHAPE = (300, 380)


def shown(share, noise=0.02, blur=1.0):
    return developed(share, np.random.default_rng(0), inside=40, outside=200, blur=blur, noise=noise)


def measured(grey):
    silhouette = find_silhouette(grey)
    return silhouette, place_stations(silhouette, find_centrelines(silhouette.solid))


@pytest.mark.parametrize("angle_deg", [0, 7, 23, 45, 66, 90])
@pytest.mark.parametrize("width", [12.3, 47.8])
def test_bar(angle_deg, width):
    """Parallel edges: the width across is the bar's own at any angle."""
    d = 400 * np.array([np.sin(np.radians(angle_deg)), np.cos(np.radians(angle_deg))])
    middle = np.array([150.2, 190.7])
    _, found = measured(shown(coverage([bar(middle - d, middle + d, width)], SHAPE)))
    assert found.width[found.fault == ""].mean() == pytest.approx(width, abs=0.05)


@pytest.mark.parametrize(("inner", "outer"), [(60, 80), (80, 140)])
def test_annulus(inner, outer):
    """Width outer - inner everywhere; centreline 2 pi (outer + inner) / 2 long."""
    t = np.linspace(0, 2 * np.pi, 2000)
    circle = np.column_stack([np.sin(t), np.cos(t)])
    share = coverage([(150, 190) + outer * circle], SHAPE) - coverage([(150, 190) + inner * circle], SHAPE)
    _, found = measured(shown(share))
    assert found.width.mean() == pytest.approx(outer - inner, abs=0.1)
    assert np.abs(found.width - (outer - inner)).max() < 0.6
    assert found.length[0] == pytest.approx(np.pi * (outer + inner), rel=0.01)


def test_tapered_bar():
    """Edges at +a and -a to the axis: width at distance x from the tip 2 x tan a, across the axis."""
    tan = 0.08
    corners = np.array([[150.0, -100.0], [150 - tan * 700, 600.0], [150 + tan * 700, 600.0]])
    _, found = measured(shown(coverage([corners], SHAPE)))
    counts = found.fault == ""
    truth = 2 * tan * (found.col[counts] + 100)
    assert found.width[counts] == pytest.approx(truth, abs=0.35)
    assert np.mean(found.width[counts] - truth) == pytest.approx(0, abs=0.05)


def test_medial_axis_of_scikit_image():
    """Twice the distance along the axis, where edges are parallel and pixels sharp: the same to a pixel."""
    d = 400 * np.array([np.sin(0.4), np.cos(0.4)])
    share = coverage([bar(np.array([150, 190]) - d, np.array([150, 190]) + d, 41.6)], SHAPE)
    silhouette, found = measured(shown(share))
    axis, distance = medial_axis(silhouette.mask, return_distance=True)
    row, col = np.nonzero(axis)
    clear = (col > 60) & (col < 320) & (row > 40) & (row < 260)
    reference = 2 * np.median(distance[row[clear], col[clear]])
    assert found.width[found.fault == ""].mean() == pytest.approx(reference, abs=1.0)


def test_largest_inscribed_circle_where_it_applies():
    """On a symmetric bulge the largest inscribed circle touches both edges at the widest station."""
    x = np.arange(-40, 420, 0.5)
    half = 20 + 9 * np.exp(-0.5 * ((x - 190) / 50) ** 2)
    corners = np.concatenate([np.column_stack([150 - half, x]), np.column_stack([150 + half, x])[::-1]])
    silhouette, found = measured(shown(coverage([corners], SHAPE)))
    padded = np.pad(silhouette.mask, 60, mode="edge")
    largest = 2 * distance_transform_edt(padded)[60:-60, 120:-120].max() - 1  # centre to background centre
    assert found.width[found.fault == ""].max() == pytest.approx(58, abs=0.3)
    assert found.width[found.fault == ""].max() == pytest.approx(largest, abs=1.0)


@pytest.mark.parametrize("angle_deg", [0, 15, 30, 45, 77])
def test_mesh_at_any_angle(angle_deg):
    """Straight struts of known width between junctions (closed form): each once, mean within 0.5 px."""
    made = mesh(3, shape=(420, 520), angle_deg=angle_deg, cell_px=130, width_px=(14, 30))
    silhouette = find_silhouette(made.pixels)
    centrelines = find_centrelines(silhouette.solid)
    found = place_stations(silhouette, centrelines)
    middle = 0.5 * (made.ends[:, :2] + made.ends[:, 2:])
    lines = [centrelines.points(k) for k in range(1, centrelines.n + 1)]
    own = np.array([(row[len(row) // 2], col[len(col) // 2]) for row, col in lines])
    hits = np.hypot(*(own[:, None] - middle[None]).transpose(2, 0, 1)) < 40
    assert hits.sum(axis=0).tolist() == [1] * len(middle)
    assert len(middle) >= 4
    for k in range(len(middle)):
        part = found.of(int(np.argmax(hits[:, k])) + 1)
        width = found.width[part][found.fault[part] == ""]
        assert width.mean() == pytest.approx(made.width_px[k], abs=0.5)
