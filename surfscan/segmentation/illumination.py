"""Light that falls on metal and product alike, told apart from the classes themselves.

A local background follows large patches and eats them. Here grey = light x class level, with light a smooth
surface of low order and class levels constant; both are fitted together, on all pixels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.segmentation.mixture import fit_mixture, histogram_of, thinned, two_level_split

_ORDER, _METAL_ORDER = 2, 4  # of the surface while the classes are unknown, and once the metal is known
_STIFF = 1e-3  # damping of the terms beyond _ORDER, so that they do not run wild where metal is missing
_HEAT, _FINALISTS = 4, 2  # rounds that every start gets, and how many of the starts go on
_ROUNDS = 20
_DIMMEST = 0.05  # light never falls below this share of its mean


@dataclass(frozen=True)
class Illumination:
    """Polynomial surface over a picture: the grey of the brighter class (or the metal) at every point.

    Attributes
    ----------
    coefficients : ndarray of shape (n, n)
        Factor of y**i x**j, with x and y from -1 to 1 across the picture.
    floor : float
        Smallest value returned.
    """

    coefficients: np.ndarray
    floor: float

    def at(self, shape: tuple[int, int], rows: slice = slice(None), cols: slice = slice(None)) -> np.ndarray:
        """Values at the pixel centres of a picture of `shape`, or of a part of it, float32."""
        n = len(self.coefficients)
        y = np.vander(_axis(shape[0])[rows], n, increasing=True)
        x = np.vander(_axis(shape[1])[cols], n, increasing=True)
        surface = (y @ self.coefficients).astype(np.float32) @ x.T.astype(np.float32)
        return np.maximum(surface, np.float32(self.floor))


def _axis(n: int) -> np.ndarray:
    return (np.arange(n) + 0.5) / n * 2 - 1


def fit_illumination(grey: np.ndarray, valid: np.ndarray) -> Illumination:
    """Fit light and two class levels together.

    Classes and light are refined in turn: given the classes, light and class levels follow by weighted least
    squares; given the light, the classes follow from a two-class mixture of grey / light. Several starts
    (darkest or brightest parts of the picture, before and after a plain fit of the light) are run, the best
    of them to the end, and the one with the greatest likelihood is kept, so that neither a shaded corner nor
    a large patch decides.

    Parameters
    ----------
    grey : ndarray of shape (m, n)
        Picture on a reduced grid, smoothed.
    valid : ndarray of shape (m, n), bool
        Grid points on the specimen.

    Returns
    -------
    Illumination
        Scaled so that the brighter class has level 1.
    """
    y = thinned(grey[valid]).astype(np.float64)
    powers, terms = _terms(valid)
    plain = _bounded(terms @ _solve(terms, y), y)
    ratio = y / plain
    starts = [y < two_level_split(y), ratio < two_level_split(ratio)]
    starts += [ratio < np.percentile(ratio, q) for q in (5, 15, 30, 70, 90)]
    runs = [_Run(start, np.full(len(y), np.median(y))) for start in starts]
    for run in runs:
        run.refine(y, terms, _HEAT)
    finals = sorted(runs, key=lambda run: -run.log_likelihood)[:_FINALISTS]
    for run in finals:
        run.refine(y, terms, _ROUNDS)
    return _surface(powers, max(finals, key=lambda run: run.log_likelihood).factors, y)


def refit_on_metal(grey: np.ndarray, metal: np.ndarray) -> Illumination:
    """Light from the metal alone, once it is known: a fourth-order surface by damped least squares."""
    y = thinned(grey[metal]).astype(np.float64)
    powers, terms = _terms(metal, _METAL_ORDER)
    return _surface(powers, _solve(terms, y, [i + j > _ORDER for i, j in powers]), y)


def _terms(valid: np.ndarray, order: int = _ORDER) -> tuple[list[tuple[int, int]], np.ndarray]:
    """Powers of y and x in the surface, and their values at the valid points (thinned), one column each."""
    rows, cols = (thinned(index) for index in np.nonzero(valid))
    ys, xs = _axis(valid.shape[0])[rows], _axis(valid.shape[1])[cols]
    powers = [(i, j) for i in range(order + 1) for j in range(order + 1 - i)]
    return powers, np.stack([ys**i * xs**j for i, j in powers], axis=1)


def _surface(powers: list[tuple[int, int]], factors: np.ndarray, y: np.ndarray) -> Illumination:
    n = 1 + max(i for i, _ in powers)
    coefficients = np.zeros((n, n))
    for (i, j), factor in zip(powers, factors, strict=True):
        coefficients[i, j] = factor
    return Illumination(coefficients, _DIMMEST * float(y.mean()))


class _Run:
    """Classes and light refined in turn from one start."""

    def __init__(self, dark: np.ndarray, light: np.ndarray) -> None:
        self.dark, self.light = dark, light
        self.factors = np.zeros(0)
        self.levels, self.spreads = np.array([0.5, 1.0]), np.array([0.1, 0.1])
        self.log_likelihood = -np.inf

    def refine(self, y: np.ndarray, terms: np.ndarray, rounds: int) -> None:
        """Go on for at most `rounds`, less where the classes settle."""
        for _ in range(rounds):
            self._fit_light(y, terms)
            ratio = y / self.light
            middle = float(ratio[self.dark].mean()) if self.dark.any() else 0.5
            start = np.array([min(middle, 0.98), 1.0])
            mixture = fit_mixture(histogram_of(ratio), start, least_spread=0.02, rounds=30)
            self.levels, self.spreads = mixture.means.copy(), mixture.spreads
            self.log_likelihood = mixture.log_likelihood - float(np.mean(np.log(self.light)))
            before, self.dark = self.dark, ratio < mixture.equal_density()
            if np.mean(self.dark == before) > 0.9995:
                break

    def _fit_light(self, y: np.ndarray, terms: np.ndarray) -> None:
        """Light and class levels for the classes as they are, the lighter class at level 1."""
        dark = self.dark
        for _ in range(3):
            for k, member in enumerate((dark, ~dark)):
                if np.count_nonzero(member) > 5:
                    self.levels[k] = np.sum(y[member] * self.light[member]) / np.sum(self.light[member] ** 2)
            level = np.where(dark, self.levels[0], self.levels[1])
            weight = 1.0 / (np.where(dark, self.spreads[0], self.spreads[1]) * self.light)
            self.factors = _solve(terms * (level * weight)[:, None], y * weight)
            self.light = _bounded(terms @ self.factors, y)
        scale = float(np.median((y / self.light)[~dark])) if not dark.all() else 1.0
        self.factors, self.light = self.factors * scale, self.light * scale


def _bounded(light: np.ndarray, y: np.ndarray) -> np.ndarray:
    return np.maximum(light, _DIMMEST * float(y.mean()) + 1e-12)


def _solve(terms: np.ndarray, y: np.ndarray, stiff: list[bool] | None = None) -> np.ndarray:
    """Least squares, with a trace of damping so that a flat or tiny field stays solvable.

    Terms marked `stiff` are damped more.
    """
    normal = terms.T @ terms
    damping = np.full(len(normal), 1e-6 * np.trace(normal) / len(normal) + 1e-300)
    if stiff is not None:
        damping[stiff] *= _STIFF / 1e-6
    return np.asarray(np.linalg.solve(normal + np.diag(damping), terms.T @ y))
