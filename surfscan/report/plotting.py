"""Small charts drawn straight as SVG, in the units of their view box: axes, lines, bands, hatches, labels."""

from __future__ import annotations

import html
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

_TOLERANCE = 0.35
"""Points nearer to a line than this cannot be told from it on the page."""

GLYPH = 0.64
"""Width of an ordinary bold letter over the font size, on the wide side."""


@dataclass(frozen=True)
class Frame:
    """One panel of a chart and the values at its sides.

    Attributes
    ----------
    left, top, width, height : float
        In the view box.
    start, end : float
        Positions at its left and right side; the first may be the greater one.
    low, high : float
        Values at its foot and top; the first may be the greater one.
    """

    left: float
    top: float
    width: float
    height: float
    start: float
    end: float
    low: float
    high: float

    @property
    def right(self) -> float:
        """Its right side."""
        return self.left + self.width

    @property
    def foot(self) -> float:
        """Its foot."""
        return self.top + self.height

    def x(self, position: float) -> float:
        """Where a position stands."""
        return self.left + (position - self.start) / (self.end - self.start) * self.width

    def y(self, value: float) -> float:
        """Where a value stands."""
        return self.foot - (value - self.low) / (self.high - self.low) * self.height

    def points(self, positions: np.ndarray, values: np.ndarray) -> np.ndarray:
        """Points of a line, (n, 2); not-a-number where a value is."""
        x = self.left + (positions - self.start) / (self.end - self.start) * self.width
        return np.stack([x, self.foot - (values - self.low) / (self.high - self.low) * self.height], axis=1)


def ticks(low: float, high: float, most: int) -> list[float]:
    """Round numbers from low to high, at most `most` + 1 of them."""
    span = high - low
    decade = 10.0 ** math.floor(math.log10(span / most))
    step = next(k * decade for k in (1, 2, 5, 10) if span / (k * decade) <= most)
    first = math.ceil(low / step - 1e-9)
    return [n * step for n in range(first, math.floor(high / step + 1e-9) + 1)]


def axes(frame: Frame, x_title: str, y_title: str, *, across: int = 6, up: int = 4) -> str:
    """Grid lines, axis lines, numbers (none in a direction whose number is 0) and titles, less empty ones."""
    levels = ticks(min(frame.low, frame.high), max(frame.low, frame.high), up) if up else []
    places = ticks(min(frame.start, frame.end), max(frame.start, frame.end), across) if across else []
    lines = "".join(f"M{frame.left:g} {frame.y(v):.1f}H{frame.right:g}" for v in levels)
    parts = [
        f'<path class="plot-grid" d="{lines}"/>'
        f'<path class="plot-axis" d="M{frame.left:g} {frame.top:g}V{frame.foot:g}H{frame.right:g}"/>'
    ]
    parts += [_number(frame.left - 7, frame.y(v) + 4.5, v, "end") for v in levels]
    parts += [_number(frame.x(v), frame.foot + 16, v, "middle") for v in places]
    if x_title:
        parts.append(
            f'<text class="plot-title" x="{frame.left + frame.width / 2:.1f}" y="{frame.foot + 35:.1f}" '
            f'text-anchor="middle">{html.escape(x_title)}</text>'
        )
    if y_title:
        parts.append(
            f'<text class="plot-title" transform="translate(14 {frame.top + frame.height / 2:.1f}) '
            f'rotate(-90)" text-anchor="middle">{html.escape(y_title)}</text>'
        )
    return "".join(parts)


def line(points: np.ndarray) -> str:
    """Path of a line that is broken where there is no value."""
    there = np.isfinite(points).all(axis=1)
    edges = np.flatnonzero(np.diff(np.r_[0, there.astype(np.int8), 0]))
    return "".join(
        path_of(points[start:end], closed=False)
        for start, end in zip(edges[::2], edges[1::2], strict=True)
        if end - start > 1
    )


def band(lower: np.ndarray, upper: np.ndarray) -> str:
    """Path of the area between two lines, broken where either has no value."""
    there = np.isfinite(lower).all(axis=1) & np.isfinite(upper).all(axis=1)
    edges = np.flatnonzero(np.diff(np.r_[0, there.astype(np.int8), 0]))
    return "".join(
        path_of(np.concatenate([lower[start:end], upper[start:end][::-1]]), closed=True)
        for start, end in zip(edges[::2], edges[1::2], strict=True)
        if end - start > 1
    )


def path_of(points: np.ndarray, *, closed: bool, tolerance: float = _TOLERANCE) -> str:
    """Path through points in relative steps to a tenth, less those that cannot be told from it."""
    import cv2

    simple = cv2.approxPolyDP(points.astype(np.float32).reshape(-1, 1, 2), tolerance, closed)[:, 0, :]
    tenths = np.rint(simple.astype(np.float64) * 10).astype(int)
    steps = np.vstack([tenths[:1], np.diff(tenths, axis=0)]) / 10
    (x, y), *others = steps.tolist()
    rest = "l" + " ".join(f"{a:g} {b:g}" for a, b in others) if others else ""
    return f"M{x:g} {y:g}{rest}" + ("z" if closed else "")


def runs(flags: np.ndarray) -> list[tuple[int, int]]:
    """First and one past the last place of every run of true."""
    edges = np.flatnonzero(np.diff(np.r_[0, flags.astype(np.int8), 0]))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def label(x: float, y: float, text: str, anchor: str = "start") -> str:
    """A text that stays readable on lines."""
    return (
        f'<text class="plot-label" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{html.escape(text)}</text>'
    )


def svg(parts: Sequence[str], width: float, height: float, alt: str) -> str:
    """The chart as an element with words that stand for it."""
    return (
        f'<svg class="plot" role="img" aria-label="{html.escape(alt)}" viewBox="0 0 {width:g} {height:g}">'
        f"{''.join(parts)}</svg>"
    )


def _number(x: float, y: float, value: float, anchor: str) -> str:
    text = f"{value:.6g}".replace("-", "−")
    return f'<text class="plot-number" x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}">{text}</text>'
