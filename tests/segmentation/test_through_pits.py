"""Open spots inside struts: through-pits, glints, and openings of a mesh."""

import numpy as np
import pytest

from surfscan.segmentation.through_pits import judge_holes, strut_width


def strut_with(level):
    """A strut 60 px wide with a spot 12 px across of a given level (0: background, 1: metal)."""
    y, x = np.mgrid[:200, :300]
    share = np.where(np.abs(y - 100) < 30, 1.0, 0.0).astype(np.float32)
    share[np.hypot(y - 100, x - 150) < 6] = level
    return share > 0.5, share


def judged(level, holes="auto"):
    struts, share = strut_with(level)
    return judge_holes(struts, share, np.ones(struts.shape, bool), holes)


def test_a_spot_at_the_background_is_a_through_pit_and_said_so():
    found = judged(0.0)
    assert found.through_pits.sum() == pytest.approx(np.pi * 36, rel=0.1)
    assert not (found.mask & found.through_pits).any()
    assert "1 open spot" in found.warnings[0]


@pytest.mark.parametrize("level", [0.45, -0.4])
def test_short_of_the_background_or_past_it_is_metal(level):
    found = judged(level)
    assert not found.through_pits.any()
    assert found.mask[100, 150]
    assert found.glints[100, 150]
    assert found.warnings == ()


def test_the_setting_decides():
    assert not judged(0.0, "filled").through_pits.any()
    assert judged(0.45, "through").through_pits[100, 150]


def test_an_opening_wider_than_a_strut_is_the_mesh():
    y, x = np.mgrid[:200, :200]
    struts = ((y % 80) < 20) | ((x % 80) < 20)
    found = judge_holes(struts, struts.astype(np.float32), np.ones(struts.shape, bool))
    assert np.array_equal(found.mask, struts)
    assert not found.through_pits.any()


def test_typical_width():
    struts, _ = strut_with(1.0)
    assert strut_width(struts) == pytest.approx(59, abs=2)
    assert strut_width(np.zeros((20, 20), bool)) == 0
