"""Basins of a surface: what runs down to one lowest point, joined until each stands apart by prominence."""

from __future__ import annotations

from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

_AHEAD = ((0, 1), (1, -1), (1, 0), (1, 1))
_PART_PX = 250_000
_WORKERS = 2


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
    place = where + 2 * (where // cols)  # in a frame one pixel wider all round, less the offset of (-1, -1)
    value = depth.reshape(-1)[where]
    frame = np.full((rows + 2) * wide, -np.inf, np.float32)
    middle = wide + 1
    frame[middle:][place] = value
    best = _ways_down(frame, place, wide)
    number = frame.view(np.int32)
    number.fill(-1)
    number[middle:][place] = np.arange(p, dtype=np.int32)
    best = number[place + best]
    lowest = np.flatnonzero(best == np.arange(p, dtype=np.int32))
    best = _roots(best.astype(np.intp))
    name = np.empty(p, np.int32)
    name[lowest] = np.arange(len(lowest), dtype=np.int32)
    first = name[best]
    del best, name
    number[middle:][place] = first
    at_lowest = np.asarray(roughness(*np.divmod(where[lowest], cols)), np.float32)
    source, target, saddle = _passes(number, place, value, wide)
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


def _ways_down(frame: np.ndarray, place: np.ndarray, wide: int) -> np.ndarray:
    """Offset of the deepest among a pixel and its 8 neighbours; of equals, of the first in the picture."""
    offsets = np.array([r * wide + c for r in range(3) for c in range(3)])

    def one_part(part: np.ndarray) -> np.ndarray:
        best = frame[part]
        code = np.zeros(len(part), np.int8)
        for k, offset in enumerate(offsets.tolist()[1:], start=1):
            there = frame[offset:].take(part)
            code[there > best] = k
            np.maximum(best, there, out=best)
        return offsets[code]

    return np.concatenate(_in_parts(one_part, place))


def _in_parts(work: Callable[[np.ndarray], np.ndarray], places: np.ndarray) -> list[np.ndarray]:
    """The same work on parts of some positions, side by side; the parts do not depend on the machine."""
    parts = np.array_split(places, max(1, len(places) // _PART_PX))
    with ThreadPoolExecutor(_WORKERS) as pool:
        return list(pool.map(work, parts))


def _passes(
    name: np.ndarray, place: np.ndarray, value: np.ndarray, wide: int
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Pairs of neighbouring pixels in two basins: source, target, and the depth of the saddle there.

    `name` holds the basin of every pixel of the wider frame, -1 outside.
    """
    middle = wide + 1
    own = name[middle:].take(place)
    depth = np.empty(len(name), np.float32)
    depth[middle:][place] = value

    def one_direction(step: tuple[int, int]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        offset = middle + step[0] * wide + step[1]
        other = name[offset:].take(place)
        at = np.flatnonzero((other != own) & (other >= 0))
        return own[at], other[at], np.minimum(value[at], depth[offset:].take(place[at]))

    with ThreadPoolExecutor(_WORKERS) as pool:
        found = list(pool.map(one_direction, _AHEAD))
    source, target, saddle = (np.concatenate(part) for part in zip(*found, strict=True))
    return source, target, saddle


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
        a, b = a.astype(np.int64), b.astype(np.int64)
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
