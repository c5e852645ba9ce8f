"""Outlines at half contrast, on discs whose area is known."""

import cv2
import numpy as np
import pytest

from surfscan.preparation.noise import SpreadMap
from surfscan.segmentation.grouped import Workspace, components
from surfscan.segmentation.levels import dark_objects, passed
from surfscan.segmentation.masks import disc
from surfscan.segmentation.outlines import edge_width, outline, surround_contrast

SHAPE = (160, 160)
SMOOTHING = 1.0
LIMIT = 0.06


def dark(contrast, limits=((LIMIT,),), valid=None):
    """Mask of the dark objects; they must pass `limits`, given for the centres of tiles."""
    spread = SpreadMap(np.array(limits, np.float32), contrast.shape)
    passes = passed(contrast, spread, min_contrast=0.01, min_contrast_to_noise=1.0)
    return dark_objects(contrast, passes, valid, space=Workspace(contrast.shape))


def metal_in(contrast):
    """Pixels that may count as surroundings."""
    return cv2.erode(cv2.compare(contrast, LIMIT / 2, cv2.CMP_LE), disc(1)) & 1


def outlined(labels, contrast, metal):
    """`outline` of labels, which are left as they are."""
    distance = cv2.distanceTransform((labels > 0).astype(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_5)
    space = Workspace(labels.shape)
    return outline(labels.copy(), contrast, metal, distance, smoothing_px=SMOOTHING, space=space)


def drawn_in(contrast):
    """Dark objects found and outlined."""
    return outlined(components(dark(contrast))[1], contrast, metal_in(contrast))


def area_at(drawn, row, col):
    return np.count_nonzero(drawn.labels == drawn.labels[row, col]) if drawn.labels[row, col] else 0


@pytest.mark.parametrize("strength", [0.12, 0.25, 0.7])
@pytest.mark.parametrize("radius", [4.5, 8.0, 14.3, 30.0])
def test_area_does_not_depend_on_contrast(draw_discs, radius, strength):
    """A disc's area within 2 % of pi r squared (4 % at a radius of 4.5 px), faint or dark."""
    contrast = draw_discs(SHAPE, [(80.3, 79.6, radius, strength)], SMOOTHING)
    drawn = drawn_in(contrast)
    assert drawn.labels.max() == 1
    tolerance = 0.02 if radius > 5 else 0.04
    assert area_at(drawn, 80, 80) == pytest.approx(np.pi * radius**2, rel=tolerance)
    assert drawn.floor[1] == pytest.approx(strength, abs=0.006)
    assert drawn.surround[1] == pytest.approx(0, abs=0.006)
    assert drawn.depth_px[1] == pytest.approx(radius, abs=1)


@pytest.mark.parametrize("neighbour", [0.12, 0.7])
def test_area_does_not_depend_on_a_neighbour(draw_discs, neighbour):
    """A disc beside a larger one, near but not touching, keeps its area, whatever the other's contrast."""
    contrast = draw_discs(SHAPE, [(80.3, 50.6, 9, 0.3), (79.8, 84.4, 18, neighbour)], SMOOTHING)
    drawn = drawn_in(contrast)
    assert area_at(drawn, 80, 50) == pytest.approx(np.pi * 9**2, rel=0.02)
    assert area_at(drawn, 80, 84) == pytest.approx(np.pi * 18**2, rel=0.02)


def test_half_contrast_is_taken_against_the_surroundings(draw_discs):
    """On metal that is 5 % off its level everywhere, the outline stays where it was."""
    contrast = draw_discs(SHAPE, [(80.3, 79.6, 12, 0.3)], SMOOTHING)
    labels, metal = components(dark(contrast))[1], metal_in(contrast)
    for shift in (-0.05, 0.05):
        drawn = outlined(labels, contrast + np.float32(shift), metal)
        assert area_at(drawn, 80, 80) == pytest.approx(np.pi * 12**2, rel=0.02)
        assert drawn.surround[1] == pytest.approx(shift, abs=0.006)


def test_floor_is_the_median_not_the_darkest(draw_discs):
    """A few black pixels on the floor change neither floor nor area; nor does a glint."""
    contrast = draw_discs(SHAPE, [(80, 80, 14, 0.3)], SMOOTHING)
    spotted = contrast.copy()
    spotted[78:81, 78:81] = 0.95
    spotted[83:88, 82:87] = 0.0
    drawn = outlined(components(dark(contrast))[1], spotted, metal_in(contrast))
    assert drawn.floor[1] == pytest.approx(0.3, abs=0.01)
    assert area_at(drawn, 80, 80) == pytest.approx(np.pi * 14**2, rel=0.02)
    assert drawn.labels[85, 84] == drawn.labels[80, 80], "a glint is part of the floor"


@pytest.mark.parametrize("strength", [0.35, 0.7])
def test_pit_in_a_stain_keeps_its_own_outline(draw_discs, strength):
    """At a low level the stain would swallow the pit: darker levels come first.

    Half-way up from clean metal, which is all there is to compare with here, it may run a little outside.
    """
    pit = draw_discs(SHAPE, [(80.3, 79.6, 9, strength)], SMOOTHING)
    stain = draw_discs(SHAPE, [(86, 84, 40, 0.1)], 3.0)
    drawn = drawn_in(1 - (1 - pit) * (1 - stain))
    assert area_at(drawn, 80, 80) == pytest.approx(np.pi * 9**2, rel=0.12)


def test_crumbs_are_dropped(draw_discs):
    """Of an object that half contrast breaks in two, the larger part stays."""
    contrast = draw_discs(SHAPE, [(80, 60, 12, 0.5), (80, 84, 4, 0.5)], 0)
    contrast = np.maximum(contrast, draw_discs(SHAPE, [(80, c, 3, 0.15) for c in range(60, 85)], 0))
    contrast = cv2.GaussianBlur(contrast, (0, 0), SMOOTHING)
    labels = components(cv2.compare(contrast, 0.08, cv2.CMP_GT))[1]
    metal = cv2.compare(contrast, 0.01, cv2.CMP_LE) & 1
    assert labels.max() == 1
    drawn = outlined(labels, contrast, metal)
    assert components(drawn.labels > 0)[0] == 1
    assert drawn.labels[80, 60] == 1 and drawn.labels[80, 84] == 0
    assert area_at(drawn, 80, 60) == pytest.approx(np.pi * 12**2, rel=0.04)


def test_labels_stay_as_they_came(draw_discs):
    """Numbers of touching objects do not change; one without contrast loses its pixels but not its number."""
    contrast = draw_discs(SHAPE, [(80, 60, 10, 0.4), (80, 78, 10, 0.4)], SMOOTHING)
    rough = np.zeros(SHAPE, np.int32)
    mask = contrast > 0.2
    rough[:, :69][mask[:, :69]] = 2
    rough[:, 69:][mask[:, 69:]] = 3
    rough[20:24, 20:24] = 1
    metal = cv2.compare(contrast, 0.02, cv2.CMP_LE) & 1
    drawn = outlined(rough, contrast, metal)
    assert len(drawn.floor) == len(drawn.surround) == len(drawn.depth_px) == 4
    assert drawn.labels[80, 55] == 2 and drawn.labels[80, 83] == 3
    assert set(np.unique(drawn.labels[40:])) == {0, 2, 3}
    assert not (drawn.labels == 2)[:, 70:].any() and not (drawn.labels == 3)[:, :68].any()


def test_floor_and_depth_of_each_object(draw_discs):
    """Median over the core of every label, and the radius of the largest disc inside."""
    drawn = drawn_in(draw_discs(SHAPE, [(40, 40, 10, 0.3), (110, 100, 20, 0.6)], SMOOTHING))
    order = [drawn.labels[40, 40], drawn.labels[110, 100]]
    assert drawn.floor[order].tolist() == pytest.approx([0.3, 0.6], abs=0.006)
    assert drawn.depth_px[order].tolist() == pytest.approx([10, 20], abs=1)


def test_dark_picture_without_metal():
    """One object and no outline anywhere: figures stay finite and bounded by the picture."""
    contrast = np.full((40, 50), 0.4, np.float32)
    drawn = outlined(np.ones((40, 50), np.int32), contrast, np.zeros((40, 50), np.uint8))
    assert (drawn.labels == 1).all()
    assert drawn.floor[1] == pytest.approx(0.4, abs=0.003) and drawn.surround[1] == 0
    assert 0 < drawn.depth_px[1] <= 50


def test_surroundings_of_each_object(draw_discs):
    """Each object is judged by the metal near it, or by whatever lies round it where no metal is in reach."""
    contrast = draw_discs(SHAPE, [(40, 40, 10, 0.5), (120, 120, 10, 0.5)], SMOOTHING)
    n, labels = components(contrast > 0.25)
    contrast = contrast + np.where(np.arange(160) < 80, -0.06, 0.04).astype(np.float32)
    metal = (labels == 0).astype(np.uint8)
    found = surround_contrast(labels[::2, ::2].copy(), contrast[::2, ::2], metal[::2, ::2], n)
    assert found[1:].tolist() == pytest.approx([-0.06, 0.04], abs=0.006)
    shut_in = surround_contrast(labels[::2, ::2].copy(), contrast[::2, ::2], 0 * metal[::2, ::2], n)
    assert shut_in[1:].tolist() == pytest.approx([-0.06, 0.04], abs=0.006)


@pytest.mark.parametrize("blur, tolerance", [(1.0, 0.35), (2.0, 0.15), (5.0, 0.1)])
def test_edge_width_is_that_of_the_blur(draw_discs, blur, tolerance):
    """Step over slope of a blurred edge is sqrt(2 pi) sigma; a little more where pixels are coarse for it."""
    contrast = draw_discs(SHAPE, [(80, 80, 30, 0.5)], blur)
    labels = components(contrast > 0.25)[1]
    width = edge_width(labels, contrast, np.array([0, 0.5]))
    assert width[1] == pytest.approx(np.sqrt(2 * np.pi) * blur, rel=tolerance)


def test_edge_along_the_picture_border_is_no_edge():
    """Only outlines inside the picture are steep or not."""
    contrast = np.zeros((40, 40), np.float32)
    contrast[:, :15] = 0.5
    contrast = cv2.GaussianBlur(contrast, (0, 0), 2.0)
    strength = np.array([0, 0.5])
    width = edge_width((contrast > 0.25).astype(np.int32), contrast, strength)[1]
    assert width == pytest.approx(np.sqrt(2 * np.pi) * 2, rel=0.15)
    assert np.isnan(edge_width(np.ones((40, 40), np.int32), contrast, strength)[1])


def test_a_pit_across_the_picture_edge_keeps_its_half(draw_discs):
    """The edge of the picture is no outline: half a disc has half its area."""
    drawn = drawn_in(draw_discs(SHAPE, [(80, 0, 15, 0.4)], SMOOTHING))
    assert area_at(drawn, 80, 3) == pytest.approx(np.pi * 15**2 / 2 + 15, rel=0.03)
    assert drawn.labels[80, 0]
