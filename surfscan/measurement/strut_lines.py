"""Lines along struts that stations are placed on, and how they move to the middle between the edges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.measurement.line_smoothing import local_quadratic
from surfscan.segmentation.centrelines import Centrelines

_SMOOTHING_HALF_WIDTHS = 2.0  # standard deviation along the strut of the window that the line is fitted in
_LEAST_SMOOTHING_PX = 6.0
_LEAST_STATIONS = 5  # fewer do not move a line
_OWN_SHAPE = 0.1  # widths that differ from the strut's own by this share count a quarter for its line


@dataclass(frozen=True)
class StrutLines:
    """Points of all struts in isotropic coordinates, each at its distance along the strut.

    `margin`, (S, 2), is how far the circles inscribed at the junctions reach in from start and end.
    """

    x: np.ndarray
    y: np.ndarray
    s: np.ndarray
    radius: np.ndarray
    strut: np.ndarray
    length: np.ndarray
    closed: np.ndarray
    margin: np.ndarray
    tangent: np.ndarray | None = None

    @staticmethod
    def from_centrelines(found: Centrelines, scale: tuple[float, float]) -> StrutLines:
        """Lines as found, in coordinates where a column is `scale[0]` long and a row `scale[1]`."""
        strut = np.repeat(np.arange(1, found.n + 1), np.diff(found.start))
        x, y = found.col * scale[0], found.row * scale[1]
        closed = (found.end_kind == "closed").all(axis=1) if found.n else np.zeros(0, bool)
        # A ring comes back to its first point.
        if closed.any():
            again = found.start[:-1][closed]
            at = found.start[1:][closed]
            x, y = np.insert(x, at, x[again]), np.insert(y, at, y[again])
            radius = np.insert(found.radius, at, found.radius[again])
            strut = np.insert(strut, at, np.flatnonzero(closed) + 1)
        else:
            radius = found.radius
        return _measured(x, y, radius, strut, closed, _margins(found))

    def at_pitch(self, pitch: float) -> StrutLines:
        """Points at the middles of equal steps of at most `pitch`, with tangents."""
        count = np.maximum(1, np.ceil(self.length / pitch - 1e-9)).astype(int)
        strut = np.repeat(np.arange(1, len(count) + 1), count)
        first = np.concatenate([[0], np.cumsum(count)[:-1]]).astype(int)
        step = (self.length / count)[strut - 1]
        s = (np.arange(len(strut)) - first[strut - 1] + 0.5) * step
        at = self._along(strut, s)
        reach = np.minimum(step, 1.5)
        ahead, behind = self._along(strut, s + reach), self._along(strut, s - reach)
        tangent = np.stack([ahead[0] - behind[0], ahead[1] - behind[1]])
        tangent /= np.maximum(np.hypot(*tangent), 1e-9)
        return StrutLines(at[0], at[1], s, at[2], strut, self.length, self.closed, self.margin, tangent)

    def _along(self, strut: np.ndarray, s: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """x, y and radius at distances along struts; clamped at the ends, round and round in rings."""
        length = self.length[strut - 1]
        wrapped = np.where(self.closed[strut - 1], np.mod(s, np.maximum(length, 1e-9)), s)
        base = np.concatenate([[0.0], np.cumsum(self.length + 1.0)])
        known = self.s + base[self.strut - 1]
        asked = np.clip(wrapped, 0, length) + base[strut - 1]
        x, y, radius = (np.interp(asked, known, a) for a in (self.x, self.y, self.radius))
        return x, y, radius

    def moved(self, left: np.ndarray, right: np.ndarray, pitch: float) -> StrutLines:
        """The line between the edges at these distances, smoothed, with stations anew."""
        if self.tangent is None:
            raise ValueError("stations are needed")
        x, y = self.x.copy(), self.y.copy()
        ends = np.searchsorted(self.strut, np.arange(1, len(self.length) + 2))
        shift, width = 0.5 * (left - right), left + right
        for k in range(len(self.length)):
            part = slice(int(ends[k]), int(ends[k + 1]))
            good = np.isfinite(width[part]) & (np.abs(shift[part]) < np.maximum(self.radius[part], 3.0))
            if np.count_nonzero(good) < _LEAST_STATIONS:
                continue
            low, high = self.margin[k]
            free = good & (self.s[part] > low) & (self.s[part] < self.length[k] - high)
            if np.count_nonzero(free) >= _LEAST_STATIONS:
                good = free
            step = float(self.length[k]) / (ends[k + 1] - ends[k])
            half_width = 0.5 * float(np.median(width[part][good]))
            sigma = max(_SMOOTHING_HALF_WIDTHS * half_width, _LEAST_SMOOTHING_PX) / step
            lost = np.abs(width[part] / (2 * half_width) - 1) / _OWN_SHAPE
            weight = np.where(good, 1 / (1 + np.where(good, lost, 0) ** 2) ** 2, 0.0)
            tx, ty = self.tangent[:, part]
            by = np.where(good, shift[part], 0.0)
            wanted = np.stack([self.x[part] + by * ty, self.y[part] - by * tx])
            smooth = local_quadratic(wanted, weight, sigma, closed=bool(self.closed[k]))
            if not self.closed[k]:
                _continue_straight(smooth, np.flatnonzero(good), step)
            x[part], y[part] = smooth
        return self._with_ends(x, y, ends).at_pitch(pitch)

    def _with_ends(self, x: np.ndarray, y: np.ndarray, ends: np.ndarray) -> StrutLines:
        """A line through stations continued by half a step at either end, or closed."""
        xs, ys, radii, struts = [], [], [], []
        for k in range(len(self.length)):
            part = slice(int(ends[k]), int(ends[k + 1]))
            px, py, pr = x[part], y[part], self.radius[part]
            if self.closed[k]:
                px, py, pr = (np.append(a, a[0]) for a in (px, py, pr))
            elif len(px) > 1:
                half = 0.5
                px, py = (
                    np.concatenate([[a[0] - half * (a[1] - a[0])], a, [a[-1] + half * (a[-1] - a[-2])]])
                    for a in (px, py)
                )
                pr = np.concatenate([pr[:1], pr, pr[-1:]])
            elif self.tangent is not None:
                half_length = 0.5 * float(self.length[k])
                tx, ty = self.tangent[:, part]
                px = np.concatenate([px - half_length * tx, px + half_length * tx])
                py = np.concatenate([py - half_length * ty, py + half_length * ty])
                pr = np.repeat(pr, 2)
            xs.append(px)
            ys.append(py)
            radii.append(pr)
            struts.append(np.full(len(px), k + 1))
        none = np.zeros(0)
        return _measured(
            np.concatenate([none, *xs]),
            np.concatenate([none, *ys]),
            np.concatenate([none, *radii]),
            np.concatenate([none.astype(int), *struts]),
            self.closed,
            self.margin,
        )


def _continue_straight(line: np.ndarray, good: np.ndarray, step: float) -> None:
    """Points before the first and after the last good one put on straight lines, in place."""
    first, last = int(good[0]), int(good[-1])
    span = min(_LEAST_STATIONS, last - first)
    for end, inner, count in ((first, first + span, first), (last, last - span, line.shape[1] - 1 - last)):
        outwards = line[:, end] - line[:, inner]
        length = float(np.hypot(*outwards))
        if length > 0 and count:
            beyond = line[:, end, None] + outwards[:, None] / length * step * np.arange(1, count + 1)
            if end == first:
                line[:, :first] = beyond[:, ::-1]
            else:
                line[:, last + 1 :] = beyond


def _margins(found: Centrelines) -> np.ndarray:
    """Radius of the circle inscribed at the junction at either end of each strut, 0 where there is none."""
    radius = np.append(found.junction_radius, 0.0)
    return np.asarray(radius[found.end_node])


def _measured(
    x: np.ndarray,
    y: np.ndarray,
    radius: np.ndarray,
    strut: np.ndarray,
    closed: np.ndarray,
    margin: np.ndarray,
) -> StrutLines:
    """Lines with distances along them."""
    n = len(closed)
    step = np.zeros(len(x))
    if len(x):
        step[1:] = np.where(strut[1:] == strut[:-1], np.hypot(np.diff(x), np.diff(y)), 0.0)
    total = np.cumsum(step)
    first = np.searchsorted(strut, np.arange(1, n + 1))
    s = total - (total[first] if len(x) else np.zeros(0))[strut - 1]
    length = np.zeros(n)
    np.maximum.at(length, strut - 1, s)
    return StrutLines(x, y, s, radius, strut, length, closed, margin)
