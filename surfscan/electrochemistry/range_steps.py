"""Steps of the current where the range of the instrument was switched, found and closed for comparison.

A range whose gain or zero differs from that of its neighbour leaves a step in the curve: the stretches on
either side run smoothly, but not into one another. Such a step bends whatever is fitted across it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

_FEWEST, _MOST = 6, 60
_SMALLEST = 0.03
_LARGEST = 0.7
_SIGNIFICANT = 5.0
_SHARE = 0.3
_NORMAL_SHARE = 0.3853204664075676
_SMOOTH = 3.0
_FEWEST_PLACES = 12
_SAME_CURRENT = 0.1


@dataclass(frozen=True)
class _Search:
    """How far from zero current a search begins, and what is carried to a place from how far."""

    closest_V: float
    span_V: float
    degree: int


_ALONE, _BESIDE_CURVE = _Search(0.02, 0.025, 2), _Search(0.006, 0.015, 1)


@dataclass(frozen=True)
class RangeStep:
    """A place where the current steps.

    Attributes
    ----------
    side : int
        1 anodic, -1 cathodic.
    potential_V : float
        Halfway between the last point before and the first beyond, seen from the zero-current potential.
    log_step : float
        Natural logarithm of the size of the current beyond over what the points before lead to.
    step_uA_per_cm2 : float
        The same as a difference of current densities, anodic positive.
    """

    side: int
    potential_V: float
    log_step: float
    step_uA_per_cm2: float

    @property
    def said(self) -> str:
        """Size and place, for a sentence."""
        return f"{100 * np.expm1(self.log_step):+.0f} % at {self.potential_V:.3f} V"


def find_range_steps(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    zero_V: float,
    fitted_uA_per_cm2: np.ndarray | None = None,
) -> tuple[RangeStep, ...]:
    """Steps of both branches, each branch from the zero-current potential outwards.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising, all finite.
    zero_V : float
        Zero-current potential.
    fitted_uA_per_cm2 : ndarray of shape (n,), optional
        A smooth curve near the points: steps are then found nearer to the zero-current potential.

    Notes
    -----
    At each place between two points, parabolas through ln|i| of the 25 mV before and beyond are carried to
    it; the step is their difference. Where a fitted curve is given, lines through ln(i / fitted) of 15 mV
    serve. A step counts where it is above 3 %, below a factor of 2 (more is a reaction that starts), five
    times what such differences are elsewhere in the same sweep, taken from their 30 % point, so that noise
    that remembers itself is no step, and the points on either side lie on their curves, so that a bend is
    none (common practice, no source). As ranges switch at a size of the current, the place of the same
    current on the other branch counts too, however small its step.
    """
    step = float(np.median(np.diff(potential_V))) if len(potential_V) > 1 else 0.0
    if step <= 0:
        return ()
    how = _ALONE if fitted_uA_per_cm2 is None else _BESIDE_CURVE
    m = int(np.clip(round(how.span_V / step), _FEWEST, _MOST))
    branches = []
    for side in (1, -1):
        x = side * (potential_V - zero_V)
        right = side * density_uA_per_cm2 > 0
        if fitted_uA_per_cm2 is not None:
            right &= side * fitted_uA_per_cm2 > 0
        at = np.flatnonzero((x > how.closest_V) & right)
        at = at[np.argsort(x[at], kind="stable")]
        if at.size >= 2 * m + 1:
            size = np.log(np.abs(density_uA_per_cm2[at]))
            y = size if fitted_uA_per_cm2 is None else size - np.log(np.abs(fitted_uA_per_cm2[at]))
            branches.append(_Branch(side, x[at], size, m, *_differences(x[at], y, m, how.degree)))
    sizes = np.abs(np.concatenate([each.differences for each in branches])) if branches else np.empty(0)
    if sizes.size < _FEWEST_PLACES:
        return ()
    least = max(_SMALLEST, _SIGNIFICANT * float(np.quantile(sizes, _SHARE)) / _NORMAL_SHARE)
    most = _SMOOTH * float(np.quantile(np.concatenate([each.scatter for each in branches]), _SHARE))
    found = [_peaks(np.where(each.scatter <= most, each.differences, 0), least, m) for each in branches]
    if len(branches) == 2:
        found = [
            found[0] + branches[0].same_current(branches[1], found[1], found[0]),
            found[1] + branches[1].same_current(branches[0], found[0], found[1]),
        ]
    return tuple(
        each.step(k, zero_V) for each, places in zip(branches, found, strict=True) for k in sorted(places)
    )


@dataclass(frozen=True)
class _Branch:
    """One branch outwards, with the step at each place k, between its points k + m - 1 and k + m."""

    side: int
    distance_V: np.ndarray
    log_size: np.ndarray
    m: int
    differences: np.ndarray
    scatter: np.ndarray

    def same_current(self, other: _Branch, theirs: list[int], mine: list[int]) -> list[int]:
        """Places of this branch at the currents where the other steps, away from its own steps."""
        sizes = self.log_size[self.m : self.m + self.differences.size]
        places: list[int] = []
        for k in theirs:
            gap = np.abs(sizes - other.log_size[k + self.m - 1])
            at = int(np.argmin(gap))
            if gap[at] < _SAME_CURRENT and all(abs(at - each) >= self.m for each in mine + places):
                places.append(at)
        return places

    def step(self, k: int, zero_V: float) -> RangeStep:
        """The step at place k."""
        place, size = k + self.m, float(self.differences[k])
        beyond = float(np.exp(np.mean(self.log_size[place : place + 2])))
        at = zero_V + self.side * float(self.distance_V[place - 1 : place + 1].mean())
        return RangeStep(self.side, at, size, self.side * beyond * -float(np.expm1(-size)))


def _differences(x: np.ndarray, y: np.ndarray, m: int, degree: int) -> tuple[np.ndarray, np.ndarray]:
    """Value carried back from m points beyond less that carried on from m before, between points k + m - 1
    and k + m, and how far the points lie from the worse of the two curves, root mean square."""
    ends = (x[m - 1 : len(x) - m] + x[m : len(x) - m + 1]) / 2
    windows_x, windows_y = sliding_window_view(x, m), sliding_window_view(y, m)
    n = len(ends)
    values, scatter = [], np.zeros(n)
    for first in (0, m):
        t = windows_x[first : first + n] - ends[:, np.newaxis]
        t = t / np.abs(t).max(axis=1, keepdims=True)
        powers = np.stack([t**power for power in range(degree + 1)], axis=2)
        normal = np.einsum("nmi,nmj->nij", powers, powers)
        right = np.einsum("nmi,nm->ni", powers, windows_y[first : first + n])
        terms = np.linalg.solve(normal, right[..., np.newaxis])[..., 0]
        left = windows_y[first : first + n] - np.einsum("nmi,ni->nm", powers, terms)
        scatter = np.maximum(scatter, np.sqrt((left**2).mean(axis=1)))
        values.append(terms[:, 0])
    return values[1] - values[0], scatter


def _peaks(differences: np.ndarray, least: float, apart: int) -> list[int]:
    """Places of the largest differences, none `apart` or less from a larger one, without those too large."""
    found: list[int] = []
    sizes = np.abs(differences)
    for k in np.argsort(-sizes, kind="stable"):
        if sizes[k] < least:
            break
        if all(abs(int(k) - other) >= apart for other in found):
            found.append(int(k))
    return [k for k in found if sizes[k] < _LARGEST]


def closed(
    potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, steps: tuple[RangeStep, ...]
) -> tuple[np.ndarray, np.ndarray]:
    """The current density with its steps closed: as errors of gain, and as errors of zero.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
    steps : tuple of RangeStep

    Returns
    -------
    scaled, shifted : ndarray of shape (n,)
        Points beyond each step divided by its ratio, or less its difference.
    """
    scaled, shifted = density_uA_per_cm2.copy(), density_uA_per_cm2.copy()
    for step in steps:
        beyond = step.side * (potential_V - step.potential_V) > 0
        scaled[beyond] *= np.exp(-step.log_step)
        shifted[beyond] -= step.step_uA_per_cm2
    return scaled, shifted
