"""Basins of a surface: what runs down to one lowest point, joined until each stands apart by its prominence."""

from __future__ import annotations

from collections.abc import Callable
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
    depth: np.ndarray,
    where: np.ndarray,
    roughness: Callable[[np.ndarray, np.ndarray], np.ndarray],
    *,
    least: float,
    share: float,
    rim: float,
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
    roughness : callable
        Roughness at rows and columns in px.
    least : float
        Prominence that a basin must have, in units of the roughness at its deepest point.
    share : float
        Least prominence as a share of the basin's depth; the larger of the two holds.
    rim : float
        Depth at which the foreground was cut out, in units of the roughness.

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
    lowest = np.flatnonzero(best == np.arange(p, dtype=np.int32))
    name = np.empty(p, np.int32)
    name[lowest] = np.arange(len(lowest), dtype=np.int32)
    first = name[best]
    del best, name
    at_lowest = np.asarray(roughness(*np.divmod(where[lowest], cols)), np.float32)
    source, target, saddle = _passes(number, place, value, first, wide, len(lowest))
    deepest = value[lowest]
    asked = np.maximum(least * at_lowest, share * deepest)
    joined = _join(source, target, saddle, deepest, asked, deepest - rim * at_lowest)
    kept = np.flatnonzero(joined.root == np.arange(len(lowest)))
    new = np.zeros(len(lowest), np.int32)
    new[kept] = np.arange(len(kept))
    return Basins(
        of=new[joined.root][first],
        joined_at=joined.level[first],
        peak=where[lowest[kept]],
        depth=deepest[kept],
        prominence=joined.prominence[kept],
    )


@dataclass(frozen=True)
class _Joined:
    """Which basin each ends in, the shallowest saddle on the way there, and prominence."""

    root: np.ndarray
    level: np.ndarray
    prominence: np.ndarray


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
    depth: np.ndarray,
    asked: np.ndarray,
    alone: np.ndarray,
) -> _Joined:
    """Join basins along their lowest ways out until each left is as prominent as asked.

    A basin whose lowest way out leads to a deeper one is exactly as prominent as it is deeper than that
    saddle, whatever else is joined first; so all such basins are joined at once, round by round.
    """
    n = len(depth)
    rank = np.empty(n, np.int32)
    rank[np.lexsort((np.arange(n), -depth))] = np.arange(n)  # 0 is the deepest
    parent = np.arange(n)
    level = np.full(n, np.inf, np.float32)
    while True:
        out, lowest = _ways_out(source, target, saddle, n, rank)
        led = np.flatnonzero(out >= 0)
        weak = led[(rank[out[led]] < rank[led]) & (depth[led] - lowest[led] < asked[led])]
        if weak.size == 0:
            break
        parent[weak], level[weak] = out[weak], lowest[weak]
        root = _roots(parent)
        a, b = root[source], root[target]
        apart = a != b
        a, b, saddle = a[apart], b[apart], saddle[apart]
        key, saddle = _deepest(np.maximum(a, b) * n + np.minimum(a, b), saddle)
        source, target = key // n, key % n
    prominence = alone.astype(np.float32)
    prominence[led] = depth[led] - lowest[led]
    through, shallowest = parent.copy(), level.copy()
    while True:
        shallowest = np.minimum(shallowest, level[through])
        further = parent[through]
        if np.array_equal(further, through):
            break
        through = further
    return _Joined(through, shallowest, prominence)


def _ways_out(
    source: np.ndarray, target: np.ndarray, saddle: np.ndarray, n: int, rank: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """The basin that each basin's lowest way out leads to, -1 for none, and the depth of that saddle.

    Of several ways out at one depth the one to the deepest basin is taken.
    """
    lowest = np.full(n, -np.inf, np.float32)
    np.maximum.at(lowest, source, saddle)
    np.maximum.at(lowest, target, saddle)
    best = np.full(n, n, np.int32)
    for here, there in ((source, target), (target, source)):
        tied = saddle == lowest[here]
        np.minimum.at(best, here[tied], rank[there[tied]])
    by_rank = np.empty(n + 1, np.int64)
    by_rank[rank] = np.arange(n)
    by_rank[n] = -1
    return by_rank[best], lowest


def _roots(parent: np.ndarray) -> np.ndarray:
    while True:
        further = parent[parent]
        if np.array_equal(further, parent):
            return parent
        parent = further
