"""Any mouth on a height map is judged against the surface that the search found."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.deep_ground import NEAR
from surfscan.segmentation.deep_pits import search_deep_pits

OPTIONS = {
    "pixel_size_um": (1.0, 1.0),
    "min_depth_to_roughness": 4.0,
    "min_diameter_px": 3.0,
    "max_aspect": 4.0,
}


@pytest.fixture(scope="module")
def surface():
    rough = cv2.GaussianBlur(np.random.default_rng(1).standard_normal((200, 220)), (0, 0), 1.5)
    heights = 0.2 * rough / rough.std()
    y, x = np.mgrid[:200, :220]
    for row, col, radius, depth in ((50, 60, 12, 4.0), (120, 150, 16, 6.0), (160, 40, 9, 3.0)):
        heights -= depth * np.maximum(1 - ((y - row) ** 2 + (x - col) ** 2) / radius**2, 0)
    return heights.astype(np.float32)


@pytest.mark.parametrize("least", [None, 1.0])
def test_what_was_found_is_judged_alike(surface, least):
    found, ground = search_deep_pits(surface, min_depth_um=least, **OPTIONS)
    assert found.labels.max() == 3
    for k in (1, 2, 3):
        own = found.labels == k
        row, col = (np.array([place.mean()]) for place in np.nonzero(own))
        area = np.array([own.sum()])
        sq = ground.surface.roughness_at(row, col)
        assert sq[0] == pytest.approx(found.roughness_um[k - 1], rel=1e-12)
        level = ground.surface.level_uncertainty(row, col, area)[0]
        assert level == pytest.approx(found.level_uncertainty_um[k - 1], rel=1e-12)
        greatest = np.array([ground.depth_below_reference_um[own].max()])
        ratios = ground.ratios(greatest, sq, area)
        assert len(ratios) == (2 if least is None else 3)
        assert ratios[0, 0] == pytest.approx(greatest[0] / sq[0] / 4)
        assert ratios[1, 0] == pytest.approx(np.sqrt(4 * area[0] / np.pi) / 3)
        assert ground.limit_names(ratios[:, 0] < NEAR) == found.near_limit[k - 1] == ""


def test_names_follow_the_limits_in_force(surface):
    _, ground = search_deep_pits(surface, min_depth_um=1.0, **OPTIONS)
    low = ground.ratios(np.array([0.5]), np.array([0.2]), np.array([4.0]))
    assert ground.limit_names(low[:, 0] < 1) == "depth to roughness, diameter, depth"
    _, without = search_deep_pits(surface, min_depth_um=None, **OPTIONS)
    low = without.ratios(np.array([0.5]), np.array([0.2]), np.array([4.0]))
    assert without.limit_names(low[:, 0] < 1) == "depth to roughness, diameter"


def test_the_surface(surface):
    found, ground = search_deep_pits(surface, min_depth_um=None, **OPTIONS)
    assert ground.surface.raw_sq_um == found.surface_sq_um == pytest.approx(0.2, rel=0.1)
    weak, strong = np.full(5, 1.0), np.full(500, 30.0)
    assert ground.surface.deepest_by_chance(weak) > ground.surface.deepest_by_chance(strong) > 2.5
    assert (ground.surface.roughness_at(np.array([0.0]), np.array([0.0])) > 0).all()
