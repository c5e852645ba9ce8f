"""Figures of many objects at once: one pass over the foreground, no loop over objects."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

_BINS = 256


class Workspace:
    """Two buffers of a picture's size, used again and again: on large pictures fresh memory costs more
    than what is worked out in it.

    Attributes
    ----------
    whole : ndarray of shape (M, N), int32
        First for the parts of one level after another, then for the labels that come of them.
    real : ndarray of shape (M, N), float32
        For distances.
    """

    def __init__(self, shape: tuple[int, int]) -> None:
        self.whole = np.empty(shape, np.int32)
        self.real = np.empty(shape, np.float32)

    @property
    def spare(self) -> np.ndarray:
        """The memory of `real` as whole numbers, int32, for when no distances are in it."""
        return self.real.view(np.int32)


def components(mask: np.ndarray, out: np.ndarray | None = None) -> tuple[int, np.ndarray]:
    """Label the 8-connected parts of a mask.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool or uint8
    out : ndarray of shape (M, N), int32, optional
        Written over and returned as `labels`.

    Returns
    -------
    n : int
        Number of parts.
    labels : ndarray of shape (M, N), int32
        1 to n; 0 outside.
    """
    n, labels = cv2.connectedComponents(mask.view(np.uint8), out, connectivity=8, ltype=cv2.CV_32S)
    return n - 1, labels


def positions(labels: np.ndarray) -> np.ndarray:
    """Flat positions of the labelled pixels, in order."""
    return np.flatnonzero(cv2.compare(labels, 0, cv2.CMP_NE).view(bool))


def distance_inside(mask: np.ndarray) -> np.ndarray:
    """Euclidean distance of every inside pixel to the nearest outside pixel centre, px, float32.

    Squares of such distances are whole numbers; rounding them makes the result the same on every run and
    on every number of threads. What lies beyond the image counts as neither inside nor outside.
    """
    distance = cv2.distanceTransform(mask.view(np.uint8), cv2.DIST_L2, cv2.DIST_MASK_PRECISE)
    np.square(distance, out=distance)
    np.rint(distance, out=distance)
    return np.sqrt(distance, out=distance)


def grouped_max(labels: np.ndarray, values: np.ndarray, n: int) -> np.ndarray:
    """Largest value of each label, shape (n + 1,), float32; 0 where a label has none."""
    out = np.zeros(n + 1, np.float32)
    np.maximum.at(out, labels, values)
    return out


def grouped_quantile(labels: np.ndarray, values: np.ndarray, n: int, q: float = 0.5) -> np.ndarray:
    """Quantile of contrast values label by label.

    Parameters
    ----------
    labels : ndarray of shape (m,), int
        Label of each value, 0 to n.
    values : ndarray of shape (m,)
        Contrast; values outside -0.5 to 1 count at the end of that range.
    n : int
        Largest label.
    q : float
        Quantile, 0 to 1.

    Returns
    -------
    ndarray of shape (n + 1,), float64
        Interpolated inside bins of 0.006; not-a-number where a label has no values.
    """
    low, high = -0.5, 1.0
    width = (high - low) / _BINS
    bins = np.clip((values - low) / width, 0, _BINS - 1).astype(np.int64)
    bins += labels.astype(np.int64) * _BINS
    out = np.full(n + 1, np.nan)
    if bins.size == 0:
        return out
    filled, count = np.unique(bins, return_counts=True) if n > 20_000 else _counts(bins, n)
    owner = filled // _BINS
    total = np.bincount(owner, count, n + 1)
    some = total > 0
    upto = np.cumsum(count)
    before = np.concatenate([[0.0], np.cumsum(total)])[:-1]
    target = before + q * total
    at = np.minimum(np.searchsorted(upto, target, side="left"), len(upto) - 1)
    share = (target - (upto[at] - count[at])) / count[at]
    out[some] = (low + (filled[at] % _BINS + share) * width)[some]
    return out


def _counts(bins: np.ndarray, n: int) -> tuple[np.ndarray, np.ndarray]:
    """Filled bins and their counts, by a histogram where that is small enough to be quicker than a sort."""
    histogram = np.bincount(bins, minlength=(n + 1) * _BINS)
    filled = np.flatnonzero(histogram)
    return filled, histogram[filled]


@dataclass(frozen=True)
class Ellipses:
    """Ellipses with the second moments of area of the objects, px; arrays of shape (n + 1,), label 0 unused.

    Attributes
    ----------
    area : ndarray
        Pixels.
    row, col : ndarray
        Centroids.
    half_length, half_width : ndarray
        Half axes.
    aspect : ndarray
        Length over width, 1 or more.
    """

    area: np.ndarray
    row: np.ndarray
    col: np.ndarray
    half_length: np.ndarray
    half_width: np.ndarray
    aspect: np.ndarray


def ellipses(labels: np.ndarray, n: int) -> Ellipses:
    """Moment ellipses of labels 1 to n; a label without pixels has area 0."""
    where = positions(labels)
    label = labels.ravel()[where].astype(np.intp)
    row, col = np.divmod(where, labels.shape[1])
    area = np.bincount(label, minlength=n + 1)
    share = 1 / np.maximum(area, 1)
    centre_row = np.bincount(label, row, n + 1) * share
    centre_col = np.bincount(label, col, n + 1) * share
    dr, dc = row - centre_row[label], col - centre_col[label]
    rr = np.bincount(label, dr * dr, n + 1) * share + 1 / 12
    cc = np.bincount(label, dc * dc, n + 1) * share + 1 / 12
    rc = np.bincount(label, dr * dc, n + 1) * share
    mean, half = (rr + cc) / 2, np.hypot((rr - cc) / 2, rc)
    long, short = 2 * np.sqrt(mean + half), 2 * np.sqrt(np.maximum(mean - half, 1 / 12))
    return Ellipses(area, centre_row, centre_col, long, short, long / short)


def contact_px(labels: np.ndarray, n: int) -> np.ndarray:
    """Pixels of each label in the outermost rows and columns, shape (n + 1,)."""
    border = np.concatenate([labels[0], labels[-1], labels[1:-1, 0], labels[1:-1, -1]])
    return np.bincount(border, minlength=n + 1)
