"""Depth and volume of pits of known form against their closed forms.

Sources, of a pit with mouth radius a and depth h: spherical cap pi h (3 a² + h²) / 6, cone pi a² h / 3,
paraboloid pi a² h / 2, half-ellipsoid 2 pi a² h / 3; elementary integrals of solids of revolution, any
handbook of formulas, worked out anew here. With a = 50 and h = 20: 82728.6,
52359.9, 78539.8 and 104719.8.
"""

import math

import cv2
import numpy as np
import pytest

from surfscan.measurement.depths import measure_depths
from surfscan.measurement.objects import measure_objects
from surfscan.segmentation.deep_pits import find_deep_pits

A, H = 50.0, 20.0
BALL = (A * A + H * H) / (2 * H)

SOLIDS = {
    "spherical cap": (
        lambda r: np.sqrt(np.maximum(BALL**2 - r**2, 0)) - (BALL - H),
        math.pi * H * (3 * A * A + H * H) / 6,
        82728.6,
    ),
    "cone": (lambda r: H * (1 - r / A), math.pi * A * A * H / 3, 52359.9),
    "paraboloid": (lambda r: H * (1 - (r / A) ** 2), math.pi * A * A * H / 2, 78539.8),
    "half-ellipsoid": (
        lambda r: H * np.sqrt(np.maximum(1 - (r / A) ** 2, 0)),
        2 * math.pi * A * A * H / 3,
        104719.8,
    ),
}


def _radius(pixel, size_um=130.0, centre=(65.13, 64.71)):
    y = (np.arange(round(size_um / pixel[1])) * pixel[1])[:, None]
    x = np.arange(round(size_um / pixel[0])) * pixel[0]
    return np.hypot(y - centre[0], x - centre[1])


def _depths(labels, depth, pixel, roughness):
    n = int(labels.max())
    return measure_depths(
        labels,
        depth,
        pixel_size_um=pixel,
        width_um=measure_objects(labels, pixel_size_um=pixel).columns["width_um"],
        roughness_um=np.full(n, roughness),
        level_uncertainty_um=np.zeros(n),
    )


@pytest.mark.parametrize("solid", SOLIDS)
def test_the_closed_forms_are_the_figures_published(solid):
    _, volume, printed = SOLIDS[solid]
    assert volume == pytest.approx(printed, abs=0.06)


@pytest.mark.parametrize("solid", SOLIDS)
@pytest.mark.parametrize("pixel", [(0.25, 0.25), (0.2, 0.4)])
def test_with_the_true_mouth(solid, pixel):
    depth_at, volume, _ = SOLIDS[solid]
    r = _radius(pixel)
    inside = r < A
    depth = np.where(inside, depth_at(r), 0).astype(np.float32)
    t = _depths(inside.astype(np.int32), depth, pixel, 0.01)
    assert t["volume_um3"][0] == pytest.approx(volume, rel=1e-3)
    assert t["depth_um"][0] == pytest.approx(H, rel=5e-3)
    assert t["floor_depth_um"][0] == pytest.approx(H, rel=1e-2)


@pytest.mark.parametrize("solid", SOLIDS)
@pytest.mark.parametrize("pixel", [(0.25, 0.25), (0.2, 0.4)])
def test_found_and_outlined(solid, pixel):
    """The whole way, on a surface with Sq = 0.1 µm: the mouth is found, not given."""
    depth_at, volume, _ = SOLIDS[solid]
    r = _radius(pixel, size_um=220.0, centre=(108.3, 111.7))
    white = np.random.default_rng(7).standard_normal(r.shape).astype(np.float32)
    rough = cv2.GaussianBlur(white, (0, 0), 1.0 / pixel[0], sigmaY=1.0 / pixel[1])
    z = 0.1 * rough / rough.std() - np.where(r < A, depth_at(r), 0).astype(np.float32)
    found = find_deep_pits(
        z,
        pixel_size_um=pixel,
        min_depth_to_roughness=4.0,
        min_depth_um=None,
        min_diameter_px=3.0,
        max_aspect=4.0,
    )
    pit = found.labels[r < 1].max() - 1
    t = _depths(found.labels, found.depth_below_reference_um, pixel, found.roughness_um[0])
    assert t["volume_um3"][pit] == pytest.approx(volume, rel=0.01)
    assert t["floor_depth_um"][pit] == pytest.approx(H, rel=0.01)
    assert t["depth_um"][pit] == pytest.approx(H, abs=0.4)
    assert np.count_nonzero(found.labels == pit + 1) * pixel[0] * pixel[1] == pytest.approx(
        math.pi * A * A, rel=0.07
    )
