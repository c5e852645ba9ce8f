"""Shapes drawn by hand: arms and bands are cracks, bumps and touching discs are pits."""

import cv2
import numpy as np
import pytest

from surfscan.segmentation.grouped import Workspace
from surfscan.segmentation.shapes import part_shapes

SHAPE = (140, 180)


def discs(*circles, shape=SHAPE):
    """Mask of circles (row, col, radius)."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    mask = np.zeros(shape, np.uint8)
    for row, col, radius in circles:
        mask[np.hypot(rows - row, cols - col) < radius] = 1
    return mask


def band(mask, start, end, width):
    """The mask with a straight band from `start` to `end`, (row, col)."""
    out = mask.copy()
    cv2.line(out, start[::-1], end[::-1], 1, width)
    return out


def parted(mask):
    """Labels of pits and mask of cracks; nothing is lost and nothing doubled."""
    rest = mask.copy()
    pits, cracks = part_shapes(rest, Workspace(mask.shape))
    assert pits.dtype == np.int32
    assert np.array_equal((pits > 0) | (cracks > 0), mask > 0)
    assert not ((pits > 0) & (cracks > 0)).any()
    assert np.array_equal(rest, (pits > 0).astype(np.uint8))
    return pits, cracks


def numbers(labels):
    return len(np.unique(labels[labels > 0]))


@pytest.mark.parametrize("end", [(60, 170), (130, 60), (120, 120)])
def test_long_arm_comes_off_a_pit(end):
    """A thin line that starts in a pit is a crack; the disc stays, nearly whole."""
    disc = discs((60, 60, 15))
    pits, cracks = parted(band(disc, (60, 60), end, 3))
    assert numbers(pits) == 1
    assert np.count_nonzero(pits) == pytest.approx(np.count_nonzero(disc), rel=0.05)
    assert cracks[end] and not cracks[disc > 0].sum() > 10


def test_scratch_through_a_pit():
    """Both arms come off, and one pit is left."""
    disc = discs((70, 90, 12))
    pits, cracks = parted(band(disc, (70, 5), (70, 175), 4))
    assert numbers(pits) == 1 and pits[70, 90]
    assert np.count_nonzero(pits) == pytest.approx(np.count_nonzero(disc), rel=0.12)
    assert cracks[70, 10] and cracks[70, 170]


def test_scratch_through_two_pits():
    """What the scratch strung together is two pits and cracks between."""
    disc = discs((70, 45, 12), (70, 130, 9))
    pits, cracks = parted(band(disc, (70, 5), (70, 175), 3))
    assert numbers(pits) == 2
    assert pits[70, 45] != pits[70, 130] and cracks[70, 90]
    assert np.count_nonzero(pits) == pytest.approx(np.count_nonzero(disc), rel=0.12)


@pytest.mark.parametrize("bump", [(60, 76, 5), (48, 70, 6), (60, 75, 3)])
def test_bump_is_no_arm(bump):
    """What reaches out no further than it is wide belongs to the pit."""
    pits, cracks = parted(discs((60, 60, 15), bump))
    assert not cracks.any()
    assert numbers(pits) in (1, 2), "a bump may be parted as a pit that touches, but it stays a pit"


@pytest.mark.parametrize("start, end", [((70, 20), (70, 160)), ((20, 30), (120, 150)), ((10, 90), (130, 90))])
@pytest.mark.parametrize("width", [3, 7])
def test_band_is_a_crack(start, end, width):
    """Long and thin in any direction."""
    pits, cracks = parted(band(discs(), start, end, width))
    assert not pits.any() and cracks.any()


def test_curved_crack():
    """A line that winds is a crack, though its outline is not elongated."""
    mask = discs()
    along = np.linspace(10, 170, 200)
    points = np.stack([along, 70 + 45 * np.sin(along / 20)], axis=1)
    cv2.polylines(mask, [np.rint(points).astype(np.int32)], False, 1, 3)
    pits, cracks = parted(mask)
    assert not pits.any() and cracks.any()


@pytest.mark.parametrize("radius", [1.5, 3, 6, 15, 40])
def test_disc_is_a_pit(radius):
    """A disc of any size is one pit, also across the picture's edge."""
    for row, col in ((70, 90), (0, 90), (70, 179), (139, 0)):
        mask = discs((row, col, radius))
        pits, cracks = parted(mask)
        assert numbers(pits) == 1 and not cracks.any()


def test_touching_discs_carry_labels_of_their_own():
    """A pair is parted, far discs are not touched, and cracks in the same picture come off."""
    mask = band(discs((40, 40, 14), (40, 62, 14), (100, 60, 10)), (20, 120), (130, 150), 3)
    pits, cracks = parted(mask)
    assert numbers(pits) == 3
    assert len({int(pits[40, 35]), int(pits[40, 68]), int(pits[100, 60])}) == 3
    assert cracks[75, 135]


def test_pair_with_a_scratch_is_parted():
    """Pits that a scratch was taken off are still looked at for touching ones."""
    pits, cracks = parted(band(discs((60, 50, 14), (60, 73, 14)), (60, 73), (60, 175), 3))
    assert numbers(pits) == 2 and cracks[60, 150]


@pytest.mark.parametrize("quarter_turns", [1, 2, 3])
def test_turning_the_picture_turns_the_result(quarter_turns):
    """As many pits, and the same crack to within a few pixels."""
    mask = band(discs((40, 40, 14), (40, 62, 13), (100, 60, 10)), (100, 60), (100, 170), 3)
    pits, cracks = parted(mask)
    turned_pits, turned_cracks = parted(np.ascontiguousarray(np.rot90(mask, quarter_turns)))
    back = np.rot90(turned_cracks, -quarter_turns)
    assert numbers(turned_pits) == numbers(pits) == 3
    assert np.count_nonzero(back != cracks) <= 0.1 * np.count_nonzero(cracks)


def test_pictures_without_shapes():
    """Nothing dark, and nothing but dark: no error."""
    pits, cracks = parted(np.zeros((20, 30), np.uint8))
    assert not pits.any() and not cracks.any()
    pits, cracks = parted(np.ones((20, 30), np.uint8))
    assert numbers(pits) + cracks.any() >= 1


def test_each_object_is_judged_alone():
    """A picture with many shapes gives what each alone gives."""
    shapes = [
        discs((30, 30, 12)),
        band(discs((100, 30, 10)), (100, 30), (100, 85), 3),
        discs((30, 100, 9), (30, 114, 9)),
        band(discs(), (60, 120), (130, 170), 4),
    ]
    pits, cracks = parted(sum(shapes))
    alone = [parted(s) for s in shapes]
    assert numbers(pits) == sum(numbers(p) for p, _ in alone)
    assert np.array_equal(cracks, sum(c for _, c in alone))
    assert np.array_equal(pits > 0, sum(p > 0 for p, _ in alone) > 0)
