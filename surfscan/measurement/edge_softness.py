"""Edges softer than the sharper ones of their picture: a layer too thin to see may lie on the metal there."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from surfscan.measurement.edge_layers import STEP_PX

WINDOW_PX, BESIDE_PX = 5.0, 2.0
"""An edge is summed up over this far to either side; its own levels are read over so much more."""

SOFTER = 1.25
"""An edge is soft where it spreads this many times as far as the sharper edges of the picture (common
practice, no source)."""

_SHARPER = 25  # percentile of the spreads of a picture that its sharper edges have
_LEAST_PX = 0.5  # extra spread below which nothing is said
_RUN = 15  # stations over which spreads are one (median), and that must be soft on end
_HIDDEN = 1.5  # px of layer below the edge for each px of extra spread: sqrt(g / (1 - g)), g up to 0.7
_SMOOTHED = 5  # stations over which the course of an edge is read


def edge_spread(share: np.ndarray, offsets: np.ndarray, at: np.ndarray) -> np.ndarray:
    """Standard deviation of blurred edges, px, shape (n,).

    Parameters
    ----------
    share : ndarray of shape (n, m)
        Profiles outwards, 1 in metal and 0 in the background.
    offsets : ndarray of shape (m,)
        Of the samples, px, `STEP_PX` apart.
    at : ndarray of shape (n,)
        Where the edge is; not-a-number where there is none.

    Returns
    -------
    ndarray
        From the area between the profile and a sharp step at the edge, 5 px to either side, which for a
        Gaussian blur is its standard deviation times sqrt(2 / pi) (closed form); levels are those of the 2 px
        beyond. Not-a-number without an edge.
    """
    x = (offsets[None] - np.nan_to_num(at)[:, None]).astype(np.float32)

    def within(low: float, high: float) -> np.ndarray:
        half = np.float32(STEP_PX / 2)
        part = np.minimum(x + half, np.float32(high)) - np.maximum(x - half, np.float32(low))
        return np.asarray(np.clip(part / np.float32(STEP_PX), 0, 1))

    far = WINDOW_PX + BESIDE_PX
    levels = []
    for weight in (within(-far, -WINDOW_PX), within(WINDOW_PX, far)):
        levels.append((share * weight).sum(axis=1) / np.maximum(weight.sum(axis=1), 1e-6))
    area = ((levels[0][:, None] - share) * within(-WINDOW_PX, 0)).sum(axis=1)
    area += ((share - levels[1][:, None]) * within(0, WINDOW_PX)).sum(axis=1)
    apart = levels[0] - levels[1]
    known = np.isfinite(at) & (apart > 0)
    spread = area * STEP_PX * np.sqrt(np.pi / 2) / np.where(known, apart, 1)
    return np.where(known, spread, np.nan)


def hidden_layers(
    spread: tuple[np.ndarray, np.ndarray],
    distance: tuple[np.ndarray, np.ndarray],
    counts: np.ndarray,
    s: np.ndarray,
    strut: np.ndarray,
) -> np.ndarray:
    """How far the metal's edges may lie inside those located, both sides together, px; shape (n,).

    Parameters
    ----------
    spread : (ndarray of shape (n,), ndarray of shape (n,))
        Of the left and right edges (`edge_spread`); not-a-number where nothing can be said.
    distance : (ndarray, ndarray)
        Of both edges from the centreline, px.
    counts : ndarray of shape (n,), bool
        Stations that count.
    s, strut : ndarray of shape (n,)
        Place along the strut, and its number; stations of one follow each other.

    Returns
    -------
    ndarray
        0 where the edges are as sharp as the picture's sharper ones.

    Notes
    -----
    Spreads are medians over 15 stations, with what a slanting edge adds (1 / cosine) taken off. The picture's
    blur is their 25th percentile. Where a spread passes 1.25 times that, over 15 stations on end, its excess
    (root of the difference of squares) is at least 0.5 px. A layer of thickness d and a share g of the
    contrast adds g (1 - g) d² to the square and moves the edge out by g d while blur hides it, which is
    sqrt(g / (1 - g)) times the excess: 1.5 times for g = 0.7, the figure given. What clings to most edges
    of a picture alike passes for blur and is not seen.
    """
    sides = []
    for of, away in zip(spread, distance, strict=True):
        values = np.where(counts, of, np.nan)
        for number in np.unique(strut):
            own = np.flatnonzero((strut == number) & np.isfinite(values))
            if own.size < _RUN:
                values[own] = np.nan
                continue
            course = _running(np.mean, away[own], _SMOOTHED)
            slant = np.gradient(course, s[own])
            values[own] = _running(np.median, of[own] / np.sqrt(1 + slant**2), _RUN)
        sides.append(values)
    known = np.concatenate([values[np.isfinite(values)] for values in sides])
    total = np.zeros(len(s))
    if not known.size:
        return total
    sharp = float(np.percentile(known, _SHARPER))
    for values in sides:
        excess = np.sqrt(np.maximum(np.nan_to_num(values) ** 2 - sharp**2, 0))
        soft = (np.nan_to_num(values) > SOFTER * sharp) & (excess > _LEAST_PX)
        total += np.where(_long(soft, strut), _HIDDEN * excess, 0)
    return total


def _running(of: Callable[..., np.ndarray], values: np.ndarray, count: int) -> np.ndarray:
    """A figure of each value and its neighbours, so many together."""
    padded = np.pad(values, count // 2, mode="reflect")
    return np.asarray(of(np.lib.stride_tricks.sliding_window_view(padded, count), axis=1))


def _long(soft: np.ndarray, strut: np.ndarray) -> np.ndarray:
    """Runs of soft stations of one strut that are long enough."""
    edges = np.diff(np.concatenate([[False], soft, [False]]).astype(int))
    out = np.zeros(len(soft), bool)
    for first, end in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1), strict=True):
        own, count = np.unique(strut[first:end], return_counts=True)
        out[first:end] = np.repeat(count >= _RUN, count) if len(own) else False
    return out
