"""Holes in masks, on rings."""

import numpy as np
import pytest

from surfscan.segmentation.masks import fill_holes


def ring(outer, inner, core=0.0):
    """A dark ring, and a core in the middle of its hole."""
    away = np.hypot(*np.mgrid[-40:41, -40:41])
    return (((away < outer) & (away >= inner)) | (away < core)).astype(np.uint8)


@pytest.mark.parametrize(
    "mask, filled",
    [
        (ring(20, 6), True),  # a glint on the floor
        (ring(20, 16), False),  # metal inside a ring: more than half of the object
        (ring(20, 13, core=11), True),  # the gap round a darker core, a good part of the object
        (ring(30, 12, core=6), False),  # a small core: a pit in a stain
        (ring(20, 0), True),  # nothing to fill
    ],
)
def test_holes(mask, filled):
    """Glints and gaps are filled; rings round metal and stains round a small pit are left as they are."""
    away = np.hypot(*np.mgrid[-40:41, -40:41])
    whole = away <= away[mask > 0].max()
    assert np.array_equal(fill_holes(mask.copy()) > 0, whole if filled else mask > 0)


def test_holes_of_each_object_and_of_none():
    """Every object by its own holes; an object on the picture's edge, and a picture without any."""
    mask = np.zeros((120, 200), np.uint8)
    mask[10:91, 5:86], mask[10:91, 100:181] = ring(20, 6), ring(20, 16)
    filled = fill_holes(mask.copy())
    assert filled[50, 45] and not filled[50, 140]
    edge = ring(20, 6)[:, 40:]
    assert not fill_holes(edge.copy())[40, 0], "a bay is no hole"
    assert not fill_holes(np.zeros((10, 10), np.uint8)).any()
