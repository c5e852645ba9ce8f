"""Basins of a surface: what runs down to one lowest point, joined until each stands apart by its prominence."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

_AHEAD = ((0, 1), (1, -1), (1, 0), (1, 1))


@dataclass(frozen=True)
class Basins:
    """Foreground pixels shared out among basins.

    Attributes
    ----------
    of : ndarray of shape (p,), int32
        Basin of each foreground pixel, 0 to n - 1.
    joined_at : ndarray of shape (p,), float32
        Depth of the shallowest saddle on the pixel's way to the deepest point of its basin; infinite where
        its own way down meets none. The pixel hangs together with that point at every level above.
    peak : ndarray of shape (n,), int64
        Flat position of each basin's deepest pixel.
    depth : ndarray of shape (n,), float32
        Depth there.
    prominence : ndarray of shape (n,), float32
        Depth below the lowest way out, into another basin or, where it touches none, over its `rim`.
    """

    of: np.ndarray
    joined_at: np.ndarray
    peak: np.ndarray
    depth: np.ndarray
    prominence: np.ndarray


def part_basins(
    depth: np.ndarray, where: np.ndarray, least: np.ndarray, share: float, rim: np.ndarray
) -> Basins:
    """Part the foreground into basins that stand apart.

    Every pixel belongs to the lowest point that its steepest way down (8 neighbours) leads to. A basin whose
    lowest way out leads into a deeper one, and which is less prominent than asked, becomes part of that;
    this is repeated until all that is left stands apart.

    Parameters
    ----------
    depth : ndarray of shape (M, N), float32
        Positive downwards.
    where : ndarray of shape (p,), int
        Flat positions of the foreground pixels, rising.
    least : ndarray of shape (p,), float32
        Prominence that a basin must have where its deepest point is.
    share : float
        Least prominence as a share of the basin's depth; the larger of the two holds.
    rim : ndarray of shape (p,), float32
        Depth at which the foreground was cut out.

    Returns
    -------
    Basins
    """
    p = where.size
    if p == 0:
        none = np.zeros(0, np.float32)
        return Basins(np.zeros(0, np.int32), none, np.zeros(0, np.int64), none, none)
    rows, cols = depth.shape
    wide = cols + 2
    place = where + 2 * (where // cols) + wide + 1
    number = np.full((rows + 2) * wide, p, np.int32)
    number[place] = np.arange(p, dtype=np.int32)
    value = np.append(depth.reshape(-1)[where], np.float32(-np.inf)).astype(np.float32)
    best, best_value = np.arange(p, dtype=np.int32), value[:-1].copy()
    for dr, dc in _AHEAD:
        for sign in (-1, 1):
            other = number[place + sign * (dr * wide + dc)]
            there = value[other]
            better = (there > best_value) | ((there == best_value) & (other < best))
            np.copyto(best, other, where=better)
            np.copyto(best_value, there, where=better)
    del best_value
    while True:
        further = best[best]
        if np.array_equal(further, best):
            break
        best = further
    lowest, first = np.unique(best, return_inverse=True)
    first = first.astype(np.int32).reshape(-1)
    del best
    source, target, saddle = _passes(number, place, value, first, wide, len(lowest))
    return _join(source, target, saddle, lowest, first, value[:-1], where, least, share, rim)


def _passes(
    number: np.ndarray, place: np.ndarray, value: np.ndarray, first: np.ndarray, wide: int, n: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of basins that touch, source above target, and the depth of the deepest saddle between them."""
    p = place.size
    keys, saddles = [], []
    for dr, dc in _AHEAD:
        other = number[place + (dr * wide + dc)]
        inside = np.flatnonzero(other < p)
        a, b = first[inside], first[other[inside]]
        apart = a != b
        inside, a, b = inside[apart], a[apart].astype(np.int64), b[apart].astype(np.int64)
        keys.append(np.maximum(a, b) * n + np.minimum(a, b))
        saddles.append(np.minimum(value[inside], value[other[inside]]))
    key, saddle = _deepest(np.concatenate(keys), np.concatenate(saddles))
    return key // n, key % n, saddle


def _deepest(key: np.ndarray, saddle: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Each key once, with its deepest saddle."""
    order = np.argsort(key, kind="stable")
    key, saddle = key[order], saddle[order]
    if key.size == 0:
        return key, saddle
    start = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    return key[start], np.maximum.reduceat(saddle, start)


def _join(
    source: np.ndarray,
    target: np.ndarray,
    saddle: np.ndarray,
    lowest: np.ndarray,
    first: np.ndarray,
    value: np.ndarray,
    where: np.ndarray,
    least: np.ndarray,
    share: float,
    rim: np.ndarray,
) -> Basins:
    """Join basins along their lowest ways out until each left is as prominent as asked."""
    n = len(lowest)
    depth = value[lowest]
    asked = np.maximum(least[lowest], share * depth)
    rank = np.empty(n, np.int64)
    rank[np.lexsort((np.arange(n), -depth))] = np.arange(n)  # 0 is the deepest
    parent = np.arange(n)
    joined = np.full(n, np.inf, np.float32)
    prominence = depth - rim[lowest]
    while True:
        ends = np.concatenate([source, target])
        others = np.concatenate([target, source])
        both = np.concatenate([saddle, saddle])
        order = np.lexsort((-rank[others], both, ends))
        last = np.flatnonzero(np.append(ends[order][1:] != ends[order][:-1], True)) if order.size else order
        basin, out, level = ends[order][last], others[order][last], both[order][last]
        deeper = rank[out] < rank[basin]
        weak = deeper & (depth[basin] - level < asked[basin])
        if not weak.any():
            prominence[basin] = depth[basin] - level
            break
        parent[basin[weak]] = out[weak]
        joined[basin[weak]] = level[weak]
        root = parent.copy()
        while True:
            further = root[root]
            if np.array_equal(further, root):
                break
            root = further
        a, b = root[source], root[target]
        apart = a != b
        a, b, saddle = a[apart], b[apart], saddle[apart]
        key, saddle = _deepest(np.maximum(a, b) * n + np.minimum(a, b), saddle)
        source, target = key // n, key % n
    root, level = parent.copy(), joined.copy()
    while True:
        level = np.minimum(level, joined[root])
        further = parent[root]
        if np.array_equal(further, root):
            break
        root = further
    kept = np.flatnonzero(parent == np.arange(n))
    new = np.zeros(n, np.int32)
    new[kept] = np.arange(len(kept))
    return Basins(
        of=new[root][first],
        joined_at=level[first],
        peak=where[lowest[kept]],
        depth=depth[kept],
        prominence=prominence[kept].astype(np.float32),
    )
