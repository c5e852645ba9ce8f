"""Figures of many objects at once against a loop over them, and against scikit-image."""

import numpy as np
import pytest
from skimage.measure import label as skimage_label
from skimage.measure import regionprops

from surfscan.segmentation.grouped import (
    components,
    contact_px,
    distance_inside,
    ellipses,
    grouped_max,
    grouped_quantile,
)


def random_labels(seed, n=60, shape=(90, 110)):
    """Rectangles of random size, later ones over earlier ones; labels may be in pieces, some are gone."""
    rng = np.random.default_rng(seed)
    labels = np.zeros(shape, np.int32)
    for k in range(1, n + 1):
        r, c, h, w = rng.integers(0, (80, 100, 14, 14))
        labels[r : r + h + 1, c : c + w + 1] = k
    return labels


@pytest.mark.parametrize("seed", range(3))
def test_components_are_eight_connected(seed):
    """As scikit-image numbers them, but for the order."""
    mask = np.random.default_rng(seed).random((60, 70)) > 0.6
    n, labels = components(mask)
    expected = skimage_label(mask, connectivity=2)
    assert labels.dtype == np.int32 and n == labels.max() == expected.max()
    assert len(np.unique(np.stack([labels.ravel(), expected.ravel()]), axis=1).T) == n + 1


def test_components_of_nothing():
    """No foreground, no parts."""
    n, labels = components(np.zeros((5, 6), np.uint8))
    assert n == 0 and not labels.any()


def test_distances_are_exact():
    """Against every outside pixel, one by one."""
    mask = np.random.default_rng(3).random((40, 50)) > 0.05
    outside = np.argwhere(~mask)
    distance = distance_inside(mask)
    for row, col in np.argwhere(mask):
        nearest = np.sqrt(((outside - (row, col)) ** 2).sum(axis=1).min())
        assert distance[row, col] == np.float32(nearest)
    assert not distance[~mask].any()


@pytest.mark.parametrize("seed", range(3))
def test_largest_value_of_each_label(seed):
    """As a loop finds it; 0 where a label has none."""
    rng = np.random.default_rng(seed)
    labels, values = rng.integers(0, 30, 500), rng.random(500).astype(np.float32)
    labels[labels == 7] = 8
    expected = [values[labels == k].max(initial=0) for k in range(31)]
    assert grouped_max(labels, values, 30).tolist() == expected


@pytest.mark.parametrize("n", [40, 20_001])
@pytest.mark.parametrize("q", [0.1, 0.5, 0.6, 1.0])
def test_quantiles_of_each_label(n, q):
    """As numpy finds them, within a bin and a half; the two ways of counting agree."""
    rng = np.random.default_rng(int(10 * q))
    labels = rng.integers(0, 40, 40_000)
    labels[labels == 7] = 8
    values = np.clip(rng.normal(0.2, 0.15, labels.size), -0.45, 0.95)
    found = grouped_quantile(labels, values, n, q)
    assert found.shape == (n + 1,)
    for k in range(40):
        if k == 7:
            assert np.isnan(found[k])
        else:
            assert found[k] == pytest.approx(np.quantile(values[labels == k], q), abs=0.006)
    assert np.isnan(found[40:]).all()
    error = [found[k] - np.quantile(values[labels == k], q) for k in range(40) if k != 7]
    assert abs(np.mean(error)) < (0.001 if q < 1 else 0.003), "interpolated inside the bins"


def test_quantiles_beyond_the_range_and_of_nothing():
    """Values past the ends count at the ends; no values, no quantile."""
    found = grouped_quantile(np.array([1, 1, 1, 2, 2, 2]), np.array([-3, -3, -2, 5, 5, 6.0]), 3)
    np.testing.assert_allclose(found[1:3], [-0.5, 1.0], atol=0.003)
    assert np.isnan(found[[0, 3]]).all()
    assert np.isnan(grouped_quantile(np.zeros(0, int), np.zeros(0), 2)).all()


@pytest.mark.parametrize("seed", range(3))
def test_ellipses_are_those_of_scikit_image(seed):
    """Area, centroid and axes of every label; a label that is gone has area 0.

    scikit-image takes pixels for points; here they have an extent, whose second moment is 1/12.
    """
    labels = random_labels(seed)
    found = ellipses(labels, 62)
    known = {p.label: p for p in regionprops(labels)}
    assert found.area[1:].tolist() == [known[k].area if k in known else 0 for k in range(1, 63)]
    assert len(known) < 62
    for k, p in known.items():
        assert (found.row[k], found.col[k]) == pytest.approx(p.centroid)
        length, width = (
            np.hypot(axis, 4 / np.sqrt(12)) for axis in (p.axis_major_length, p.axis_minor_length)
        )
        assert 2 * found.half_length[k] == pytest.approx(length)
        assert 2 * found.half_width[k] == pytest.approx(width)
        assert found.aspect[k] == pytest.approx(length / width)


def test_ellipse_of_a_line_and_a_pixel():
    """A line one pixel wide is as wide as a pixel, not infinitely thin."""
    labels = np.zeros((20, 20), np.int32)
    labels[3, 2:14], labels[10, 10] = 1, 2
    found = ellipses(labels, 2)
    one_pixel = 2 / np.sqrt(12)
    assert found.half_width[1:].tolist() == pytest.approx([one_pixel, one_pixel])
    assert found.half_length[1:].tolist() == pytest.approx([12 * one_pixel, one_pixel])
    assert found.aspect[1:].tolist() == pytest.approx([12, 1])


def test_contact_with_the_picture_edge():
    """Every outermost pixel once, corners too."""
    labels = np.zeros((6, 8), np.int32)
    labels[0:3, 0:2], labels[5, 3:7], labels[2:4, 4:6] = 1, 2, 3
    assert contact_px(labels, 4).tolist()[1:] == [4, 4, 0, 0]
    assert contact_px(np.ones((6, 8), np.int32), 1).tolist() == [0, 24]
