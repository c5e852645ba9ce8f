"""Thinning of a mask to lines one pixel wide, without breaking or joining anything."""

from __future__ import annotations

import numpy as np

_AROUND = ((-1, 0), (-1, 1), (0, 1), (1, 1), (1, 0), (1, -1), (0, -1), (-1, -1))  # clockwise from above
_SIDES = (0, 4, 2, 6)  # above, below, right, left: the order of the passes


def neighbour_offsets(cols: int) -> np.ndarray:
    """Flat offsets of the eight neighbours in a picture of `cols` columns, clockwise from above, (8,)."""
    return np.array([dr * cols + dc for dr, dc in _AROUND])


def _is_simple(code: int) -> bool:
    """Whether a pixel with these neighbours (bit k: neighbour k is set) can go: not an end, not a link.

    It links nothing when its set neighbours are one 8-connected part and it has a background neighbour
    across an edge (8-connected lines on a 4-connected background).
    """
    ring = [bool(code >> k & 1) for k in range(8)]
    if sum(ring) < 2:
        return False
    parts = 0  # crossing number after Hilditch: 8-connected parts on the ring
    for k in (0, 2, 4, 6):
        parts += (not ring[k]) and (ring[(k + 1) % 8] or ring[(k + 2) % 8])
    return parts == 1


_SIMPLE = np.array([_is_simple(code) for code in range(256)])


def thin(mask: np.ndarray) -> np.ndarray:
    """Lines one pixel wide in the middle of every part of a mask.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool

    Returns
    -------
    ndarray of shape (M, N), bool
        As many parts and as many holes as in the mask (8-connected parts, 4-connected background); no pixel
        but ends and links is left. What lies beyond the image counts as background.

    Notes
    -----
    Border pixels go in passes from above, below, right and left, all of one side at once; a pixel stays if
    it is an end or a link (Rosenfeld, Inf. Control 29 (1975) 286: from memory). Only the border is looked at
    in each round, so the work grows with the area of the mask, not with area times width.
    """
    rows, cols = mask.shape
    wide = cols + 2
    flat = np.zeros((rows + 2) * wide, np.uint8)
    flat.reshape(rows + 2, wide)[1:-1, 1:-1] = mask
    around = neighbour_offsets(wide)
    queued = np.zeros(len(flat), bool)
    inside = np.flatnonzero(flat)
    edge = np.zeros(len(inside), bool)
    for k in _SIDES:
        edge |= flat[inside + around[k]] == 0
    border = inside[edge]
    while border.size:
        removed = []
        for side in _SIDES:
            here = border[flat[border + around[side]] == 0]
            code = np.zeros(len(here), np.uint8)
            for k in range(8):
                code |= flat[here + around[k]] << np.uint8(k)
            gone = here[_SIMPLE[code]]
            flat[gone] = 0
            removed.append(gone)
            border = border[flat[border] != 0]
        border = _laid_bare(flat, queued, np.concatenate(removed), around)
    return flat.reshape(rows + 2, wide)[1:-1, 1:-1].astype(bool)


def _laid_bare(flat: np.ndarray, queued: np.ndarray, gone: np.ndarray, around: np.ndarray) -> np.ndarray:
    """Set neighbours of the removed pixels, each once: nothing else can have become removable."""
    fresh = []
    for k in range(8):
        near = gone + around[k]
        near = near[(flat[near] != 0) & ~queued[near]]
        queued[near] = True
        fresh.append(near)
    border = np.concatenate(fresh)
    queued[border] = False
    return border
