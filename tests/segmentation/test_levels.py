"""Dark objects at falling levels, on discs whose place is known."""

import numpy as np
import pytest

from surfscan.preparation.noise import SpreadMap
from surfscan.segmentation.grouped import Workspace
from surfscan.segmentation.levels import LOW_SHARE, dark_objects, passed

SHAPE = (160, 160)
SMOOTHING = 1.0
LIMIT = 0.06


def dark(contrast, limits=((LIMIT,),), valid=None):
    """Mask of the dark objects; they must pass `limits`, given for the centres of tiles."""
    spread = SpreadMap(np.array(limits, np.float32), contrast.shape)
    passes = passed(contrast, spread, min_contrast=0.01, min_contrast_to_noise=1.0)
    return dark_objects(contrast, passes, valid, space=Workspace(contrast.shape))


def test_faint_pit_that_touches_a_dark_one(draw_discs):
    """Two touching levels: the dark pit's outline is its own; the faint one is found too."""
    contrast = draw_discs(SHAPE, [(80, 60, 14, 0.6), (80, 88, 15, 0.15)], SMOOTHING)
    mask = dark(contrast)
    assert mask[80, 60] and mask[80, 92]
    at_low_level = np.count_nonzero(contrast > 0.075)
    own = np.count_nonzero(contrast > 0.3)
    assert own == pytest.approx(np.pi * 14**2, rel=0.03)
    assert np.count_nonzero(mask[:, :62]) == pytest.approx(np.count_nonzero(contrast[:, :62] > 0.3), rel=0.03)
    assert np.count_nonzero(mask) < at_low_level


def test_nothing_is_found_below_the_limit(draw_discs):
    """An object must somewhere pass the limit, and the limit may differ from place to place."""
    contrast = draw_discs(SHAPE, [(40, 80, 10, 0.10), (120, 80, 10, 0.10)], SMOOTHING)
    assert not dark(contrast, [[0.12]]).any()
    mask = dark(contrast, [[0.06], [0.12]])
    assert mask[40, 80] and not mask[80:].any()


@pytest.mark.parametrize("shape", [(160, 160), (1, 40), (1030, 33)])
def test_limits_are_compared_pixel_by_pixel(shape):
    """The larger of contrast and multiple of the spread, and shares of it, at every pixel."""
    rng = np.random.default_rng(8)
    contrast = rng.uniform(0, 0.3, shape).astype(np.float32)
    spread = SpreadMap(rng.uniform(0.01, 0.05, (3, 2)).astype(np.float32), shape)
    found = passed(contrast, spread, min_contrast=0.08, min_contrast_to_noise=4.0)
    limit = np.maximum(4 * spread.full(), 0.08)
    for mask, share in ((found.candidate, LOW_SHARE), (found.seed, 1.0)):
        clear = np.abs(contrast - share * limit) > 1e-5
        assert np.array_equal((mask > 0)[clear], (contrast > share * limit)[clear])
    assert ((found.seed > 0) <= (found.floor > 0)).all() and (
        (found.floor > 0) <= (found.candidate > 0)
    ).all()
    assert found.lowest == pytest.approx(LOW_SHARE * limit.min(), rel=1e-4)


def test_nothing_is_found_off_the_specimen(draw_discs):
    """Objects outside the region are not seen; one across its edge is cut there."""
    contrast = draw_discs(SHAPE, [(40, 40, 10, 0.4), (100, 80, 10, 0.4)], SMOOTHING)
    valid = np.ones(SHAPE, bool)
    valid[:, :80] = False
    mask = dark(contrast, valid=valid)
    assert not mask[~valid].any() and mask[100, 84]
