"""Gaps that may hide pits: unmeasured patches whose rim slopes down."""

from __future__ import annotations

import numpy as np

from surfscan.segmentation.grouped import components

_AROUND = ((-1, -1), (-1, 0), (-1, 1), (0, -1), (0, 1), (1, -1), (1, 0), (1, 1))


def sunken_gaps(
    depth_um: np.ndarray, taken: np.ndarray, *, rim_um: np.ndarray | float, least_px: float
) -> tuple[int, np.ndarray]:
    """Find unmeasured patches that lie lower than the surface round about.

    Parameters
    ----------
    depth_um : ndarray of shape (M, N), float32
        Below the local reference, positive downwards; not-a-number where not measured.
    taken : ndarray of shape (M, N), bool
        Where gaps are of no interest: inside known pits, off the specimen.
    rim_um : ndarray of shape (M, N) or float
        Mean depth that the measured points along a gap's edge must have.
    least_px : float
        Smallest gap, px.

    Returns
    -------
    n : int
        Number of such gaps.
    labels : ndarray of shape (M, N), int32
        1 to n. A gap that touches what is taken, or the picture's edge, is left out.
    """
    cols = depth_um.shape[1]
    gap = np.isnan(depth_um)
    labels = np.zeros(depth_um.shape, np.int32)
    gap &= ~taken
    n, parts = components(gap)
    if n == 0:
        return 0, labels
    at = np.flatnonzero(gap)
    name = parts.reshape(-1)[at]
    size = np.bincount(name, minlength=n + 1)
    fit = size >= least_px
    for edge in (parts[0], parts[-1], parts[:, 0], parts[:, -1]):
        fit[edge] = False
    fit[0] = False
    keep = fit[name]
    at, name = at[keep], name[keep]
    total, count, limit = np.zeros(n + 1), np.zeros(n + 1), np.zeros(n + 1)
    asked = np.broadcast_to(np.asarray(rim_um, np.float32), depth_um.shape)
    for dr, dc in _AROUND:
        there = at + dr * cols + dc
        d = depth_um.reshape(-1)[there]
        fit[name[taken.reshape(-1)[there]]] = False
        seen = ~np.isnan(d)
        total += np.bincount(name[seen], d[seen], n + 1)
        limit += np.bincount(name[seen], asked[np.divmod(there[seen], cols)], n + 1)
        count += np.bincount(name[seen], minlength=n + 1)
    fit &= (count > 0) & (total > limit)
    number = np.where(fit, np.cumsum(fit), 0).astype(np.int32)
    labels.reshape(-1)[at] = number[name]
    return int(np.count_nonzero(fit)), labels
