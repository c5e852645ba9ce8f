"""Straight line through points with errors in both directions, which may be correlated (York).

D. York, Can. J. Phys. 44 (1966) 1079; the unified equations for slope, intercept and their standard errors of
D. York et al., Am. J. Phys. 72 (2004) 367, https://doi.org/10.1119/1.1632486 (from memory; checked against
published values and an independent fit in tests).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from surfscan.comparison.rates import NORMAL_FACTOR
from surfscan.estimates.groups import t_factor

MIN_POINTS = 4
"""Fewest points that get a line: with three, one degree of freedom, its interval says nothing (common
practice, no source)."""

SATURATED_FRACTION = 0.9
"""Degraded fraction above which it hardly grows, however fast the metal corrodes (common practice, no
source)."""

Points = tuple[np.ndarray, ...]
"""x, y, sx, sy, r, each of shape (n,)."""

_HALVINGS = 50
_MOST_STEPS = 500
_TOLERANCE = 1e-13


@dataclass(frozen=True)
class YorkLine:
    """A line y = intercept + slope x, or why there is none.

    Attributes
    ----------
    intercept, slope : float or None
    intercept_standard_error, slope_standard_error : float or None
        From the stated uncertainties of the points alone.
    intercept_ci95, slope_ci95 : (float, float) or None
        The wider of two: 1.96 standard errors from the stated uncertainties, and Student's t with n - 2
        degrees of freedom times those scaled by the root of the MSWD, so that scatter about the line beyond
        the stated uncertainties counts.
    covariance : float or None
        Of intercept and slope, from the stated uncertainties.
    mswd : float or None
        Mean square of weighted deviates: about 1 where the points scatter as their uncertainties say.
    probability : float or None
        Of an MSWD as large or larger if they do (chi-square, n - 2 degrees of freedom).
    n : int
        Points behind the line.
    left_out : int
        Points without a value or uncertainty in either direction.
    middle : (float, float) or None
        Weighted middle of the points, where the line is known best.
    x_range : (float, float) or None
        Stretch that the points cover: the line is drawn no further.
    scatter : float
        Standard deviation in y that the points have about the line beyond their uncertainties, in the unit of
        y; 0 where it was not asked for or none is needed.
    refused : str
        Why there is no line; empty where there is one.
    """

    intercept: float | None
    slope: float | None
    intercept_standard_error: float | None
    slope_standard_error: float | None
    intercept_ci95: tuple[float, float] | None
    slope_ci95: tuple[float, float] | None
    covariance: float | None
    mswd: float | None
    probability: float | None
    n: int
    left_out: int = 0
    middle: tuple[float, float] | None = None
    x_range: tuple[float, float] | None = None
    scatter: float = 0.0
    refused: str = ""

    def at(self, x: ArrayLike) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """The line and its pointwise 95 % interval: y, low, high, each of the shape of `x`.

        Raises
        ------
        ValueError
            If there is no line.
        """
        if self.slope is None or self.intercept is None or self.covariance is None:
            raise ValueError(f"there is no line: {self.refused}")
        assert self.intercept_standard_error is not None and self.slope_standard_error is not None
        assert self.mswd is not None
        where = np.asarray(x, float)
        y = self.intercept + self.slope * where
        variance = (
            self.intercept_standard_error**2
            + (where * self.slope_standard_error) ** 2
            + 2 * where * self.covariance
        )
        half = _coverage_factor(1.0 if self.scatter else self.mswd, self.n) * np.sqrt(
            np.maximum(variance, 0.0)
        )
        return y, y - half, y + half


def york_line(
    x: ArrayLike,
    y: ArrayLike,
    sx: ArrayLike,
    sy: ArrayLike,
    r: ArrayLike = 0.0,
    *,
    own_scatter: bool = False,
    least: int = MIN_POINTS,
) -> YorkLine:
    """Best line through points with standard uncertainties in x and y.

    Parameters
    ----------
    x, y : array_like of shape (n,)
        Points; one a specimen.
    sx, sy : array_like of shape (n,)
        Their standard uncertainties; 0 in one of the two for a point that is exact in it.
    r : array_like of shape (n,) or float, optional
        Correlation of the two errors of a point.
    own_scatter : bool, optional
        Whether points may scatter about the line by themselves, as specimens do. Where they scatter more
        than their uncertainties say (MSWD above 1), what is missing is added to the variance of every y, so
        that the MSWD becomes 1 (moments, as in meta-analysis; common practice, no source). Without it a few
        points with small stated uncertainties decide the line.
    least : int, optional
        Fewest points for a line; 3 at least.

    Returns
    -------
    YorkLine
        Points with a not-a-number in any of the four are left out and counted. With `own_scatter`, `mswd` and
        `probability` are those before anything was added.

    Raises
    ------
    ValueError
        On different lengths, an uncertainty below 0, both of a point 0, or a correlation outside -1 to 1.
    """
    given = np.broadcast_arrays(*(np.asarray(v, float) for v in (x, y, sx, sy, r)))
    if given[0].ndim != 1:
        raise ValueError(f"points come as arrays of shape (n,), got {given[0].shape}")
    keep = np.isfinite(np.stack(given)).all(axis=0)
    points = tuple(v[keep] for v in given)
    wide, tall = points[2], points[3]
    if (wide < 0).any() or (tall < 0).any() or ((wide == 0) & (tall == 0)).any():
        raise ValueError("uncertainties must be 0 or above, and not both 0 at one point")
    if (np.abs(points[4]) >= 1).any():
        raise ValueError("correlations must lie between -1 and 1")
    n, left_out = len(wide), int((~keep).sum())
    if n < max(least, 3):
        return _none(
            n, left_out, f"{_points(n)} with intervals in both directions, {max(least, 3)} are needed"
        )
    if np.ptp(points[0]) == 0 or np.ptp(points[1]) == 0:
        which = "x" if np.ptp(points[0]) == 0 else "y"
        return _none(n, left_out, f"all {n} points have the same {which}: there is nothing to fit")
    line = _fit(points, left_out)
    if line is None:
        return _none(n, left_out, "the points do not settle a slope: their uncertainties cover their spread")
    assert line.mswd is not None
    return _with_scatter(points, line) if own_scatter and line.mswd > 1 else line


def _fit(points: Points, left_out: int, scatter: float = 0.0) -> YorkLine | None:
    """York's line with `scatter` added to every sy; None where no slope is found."""
    x, y, sx, sy, r = points
    if scatter:
        wider = np.hypot(sy, scatter)
        sy, r = wider, r * sy / wider
    n = len(x)
    slope = _slope(x, y, sx, sy, r)
    if slope is None:
        return None
    weight, _, _, beta = _terms(slope, x, y, sx, sy, r)
    total = weight.sum()
    intercept = float((weight * (y - slope * x)).sum() / total)
    at = (weight * x).sum() / total + beta  # adjusted x of each point
    middle = float((weight * at).sum() / total)
    slope_error = 1 / math.sqrt(float((weight * (at - middle) ** 2).sum()))
    intercept_error = math.sqrt(1 / total + (middle * slope_error) ** 2)
    chi_square = float((weight * (y - slope * x - intercept) ** 2).sum())
    mswd = chi_square / (n - 2)
    factor = _coverage_factor(mswd, n)
    return YorkLine(
        intercept,
        slope,
        intercept_error,
        slope_error,
        (intercept - factor * intercept_error, intercept + factor * intercept_error),
        (slope - factor * slope_error, slope + factor * slope_error),
        -middle * slope_error**2,
        mswd,
        chi_square_above(chi_square, n - 2),
        n,
        left_out,
        (middle, intercept + slope * middle),
        (float(x.min()), float(x.max())),
        scatter,
    )


def _with_scatter(points: Points, plain: YorkLine) -> YorkLine:
    """The line with the least scatter of its own at which the MSWD is 1, by bisection."""
    low, high = 0.0, float(np.ptp(points[1])) * math.sqrt(len(points[1]))
    found = plain
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        line = _fit(points, plain.left_out, middle)
        if line is None or line.mswd is None or line.mswd <= 1:
            high = middle
            found = line or found
        else:
            low = middle
    return replace(found, mswd=plain.mswd, probability=plain.probability)


def is_saturated(fraction: ArrayLike) -> np.ndarray:
    """Whether degraded fractions are above `SATURATED_FRACTION`: such points are drawn, but enter no line."""
    return np.asarray(fraction, float) > SATURATED_FRACTION


def chi_square_above(value: float, degrees_of_freedom: float) -> float:
    """Probability that a chi-square variable is as large or larger."""
    from scipy.special import chdtrc

    return float(chdtrc(degrees_of_freedom, value))


def _terms(
    slope: float, x: np.ndarray, y: np.ndarray, sx: np.ndarray, sy: np.ndarray, r: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Weights, deviations from the weighted middle, and their projections, without dividing by sx or sy."""
    weight = 1 / (sy**2 + (slope * sx) ** 2 - 2 * slope * r * sx * sy)
    total = weight.sum()
    u, v = x - (weight * x).sum() / total, y - (weight * y).sum() / total
    beta = weight * (u * sy**2 + slope * v * sx**2 - (slope * u + v) * r * sx * sy)
    return weight, u, v, beta


def _slope(x: np.ndarray, y: np.ndarray, sx: np.ndarray, sy: np.ndarray, r: np.ndarray) -> float | None:
    """Root of York's equation from the geometric mean of both simple regressions; None where none is found.

    In units of the spread of both directions, so that the tolerance means the same for any unit.
    """
    scale_x, scale_y = float(x.std()), float(y.std())
    x, sx, y, sy = x / scale_x, sx / scale_x, y / scale_y, sy / scale_y
    product = float(((x - x.mean()) * (y - y.mean())).mean())
    slope = math.copysign(1.0, product) if product else 1.0
    for _ in range(_MOST_STEPS):
        weight, u, v, beta = _terms(slope, x, y, sx, sy, r)
        below = float((weight * beta * u).sum())
        if below == 0:
            return None
        new = float((weight * beta * v).sum()) / below
        if not math.isfinite(new) or abs(new) > 1e6:
            return None
        if abs(new - slope) <= _TOLERANCE * max(1.0, abs(new)):
            return new * scale_y / scale_x
        slope = new
    return None


def _coverage_factor(mswd: float, n: int) -> float:
    return max(NORMAL_FACTOR, t_factor(n - 2.0) * math.sqrt(mswd))


def _points(n: int) -> str:
    return f"{n} point{'' if n == 1 else 's'}"


def _none(n: int, left_out: int, why: str) -> YorkLine:
    return YorkLine(None, None, None, None, None, None, None, None, None, n, left_out, refused=why)
