"""Areal material ratio curve of ISO 25178-2: core, reduced peaks and dales, volumes per area."""

from __future__ import annotations

import threading
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.strips import aligned, check_heights, over_strips

_BINS = 1 << 16
_STRIP_PX = 1 << 19
_BRIDGED = 1 / 16  # widest step between neighbouring heights, as a share of their range, that is no feature
_CORE = 0.4  # material ratio that the secant of the core spans
_STEP = 1e-5  # material ratio from one position of the secant to the next
_TIE = 1e-6  # secants within this share of the height range of the least are equally steep
_UPPER, _LOWER = 0.1, 0.8  # material ratios between which the core volumes lie


@dataclass(frozen=True)
class MaterialRatioCurve:
    """Share of the measured surface at or above a height.

    Attributes
    ----------
    heights_um : ndarray of shape (B,)
        Rising, from the lowest to the highest measured height.
    ratios : ndarray of shape (B,)
        Material ratio at each, falling from 1 to 0; straight lines between.
    """

    heights_um: np.ndarray
    ratios: np.ndarray

    def ratio_at(self, height_um: float) -> float:
        """Smr(c): material ratio at height `height_um`, a fraction."""
        return float(np.interp(height_um, self.heights_um, self.ratios))

    def height_at(self, ratio: float | np.ndarray) -> np.ndarray:
        """Smc(p): height at material ratio `ratio` (a fraction), µm."""
        return np.asarray(np.interp(ratio, self.ratios[::-1], self.heights_um[::-1]))

    def material_above(self, height_um: float) -> float:
        """Volume of material above a height per area, µm: the integral of the ratio from there up."""
        inside = self.heights_um > height_um
        z = np.concatenate([[height_um], self.heights_um[inside]])
        ratio = np.concatenate([[self.ratio_at(height_um)], self.ratios[inside]])
        return float(np.sum((ratio[1:] + ratio[:-1]) * np.diff(z)) / 2)

    def void_below(self, height_um: float) -> float:
        """Volume of voids below a height per area, µm: the integral of 1 less the ratio up to there."""
        inside = self.heights_um < height_um
        z = np.concatenate([self.heights_um[inside], [height_um]])
        void = 1 - np.concatenate([self.ratios[inside], [self.ratio_at(height_um)]])
        return float(np.sum((void[1:] + void[:-1]) * np.diff(z)) / 2)


@dataclass(frozen=True)
class MaterialRatioParameters:
    """Parameters of one material ratio curve: µm (volumes as µm³ per µm²), ratios as fractions."""

    sk_um: float
    spk_um: float
    svk_um: float
    smr1: float
    smr2: float
    vmp_um: float
    vmc_um: float
    vvc_um: float
    vvv_um: float


def material_ratio_curve(heights_um: np.ndarray, *, threads: int = 2) -> MaterialRatioCurve:
    """Material ratio curve from a histogram of 65 536 bins between the lowest and the highest height.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float32 or float64
        Not-a-number where nothing was measured.
    threads : int
        The result does not depend on it.

    Returns
    -------
    MaterialRatioCurve

    Raises
    ------
    ValueError
        If nothing was measured, a height is infinite, or all measured heights are equal.

    Notes
    -----
    Between heights that occur and lie at most a sixteenth of the whole range apart, the curve is a slope and
    not a stair: a stair there is made by the steps of the instrument's numbers or by coarse sampling, and
    the secant of least slope would seek out its treads (a rule of this program). Wider gaps stay steps.
    """
    import cv2

    heights = check_heights(heights_um)

    def ends(row0: int, row1: int) -> tuple[float, float]:
        part = heights[row0:row1]
        return float(np.fmin.reduce(part, axis=None)), float(np.fmax.reduce(part, axis=None))

    extremes = np.array(over_strips(ends, heights.shape, pixels=_STRIP_PX, threads=threads))
    if np.isnan(extremes).all():
        raise ValueError("heights_um holds no measured height")
    low, high = float(np.nanmin(extremes[:, 0])), float(np.nanmax(extremes[:, 1]))
    if not np.isfinite(high - low):
        raise ValueError("heights_um holds an infinite height; mark what was not measured with not-a-number")
    if high == low:
        raise ValueError("all measured heights are equal: the surface has no material ratio curve")
    width = (high - low) / _BINS * (1 + 2.0**-20)  # the highest height still falls into the last bin
    scratch = threading.local()

    def counts(row0: int, row1: int) -> np.ndarray:
        if not hasattr(scratch, "position"):
            rows = min(heights.shape[0], max(1, _STRIP_PX // heights.shape[1]))
            scratch.position = aligned((rows, heights.shape[1]))
            scratch.bins = np.empty((rows, heights.shape[1]), np.intp)
        position, bins = scratch.position[: row1 - row0], scratch.bins[: row1 - row0]
        np.subtract(heights[row0:row1], low, out=position, casting="same_kind")
        np.multiply(position, np.float32(1 / width), out=position)
        cv2.patchNaNs(position, _BINS)
        np.copyto(bins, position, casting="unsafe")
        return np.bincount(bins.ravel(), minlength=_BINS + 1)[:_BINS]

    histogram = np.sum(over_strips(counts, heights.shape, pixels=_STRIP_PX, threads=threads), axis=0)
    return _curve(histogram, low, high, width)


def _curve(histogram: np.ndarray, low: float, high: float, width: float) -> MaterialRatioCurve:
    """Each bin's share spread half-way to its occupied neighbours, at most half a bridged step."""
    occupied = np.flatnonzero(histogram)
    centres = low + width * (occupied + 0.5)
    reach = np.minimum(np.diff(centres), _BRIDGED * (high - low)) / 2
    bottoms = np.concatenate([[low], centres[1:] - reach])
    tops = np.concatenate([centres[:-1] + reach, [high]])
    filled = np.cumsum(histogram[occupied]) / np.sum(histogram)
    heights = np.stack([bottoms, tops], axis=1).ravel()
    below = np.stack([np.concatenate([[0.0], filled[:-1]]), filled], axis=1).ravel()
    return MaterialRatioCurve(heights, 1 - below)


def material_ratio_parameters(curve: MaterialRatioCurve) -> MaterialRatioParameters:
    """Sk, Spk, Svk, Smr1, Smr2, Vmp, Vmc, Vvc and Vvv.

    Parameters
    ----------
    curve : MaterialRatioCurve

    Returns
    -------
    MaterialRatioParameters

    Notes
    -----
    The core's line is the secant of least slope that spans 40 % of material ratio, tried every 0.001 %.
    Secants as steep as the least within a millionth of the height range are equal; of these the one nearest
    to the middle of the curve is taken, of two equally near the upper (a rule of this program: without one,
    chance would choose on a straight curve). The line meets 0 and 100 % at the top and the foot of the core,
    Sk apart; the curve meets these heights at Smr1 and Smr2. Spk and Svk are the heights of right-angled
    triangles on Smr1 and on 1 - Smr2 with the areas of the peaks above and the dales below the core. Volumes
    are taken at 10 and 80 %.

    References
    ----------
    ISO 25178-2:2012 and 2021, areal material ratio parameters; ISO 13565-2:1996, the construction for
    profiles (from memory).
    """
    starts = np.arange(round((1 - _CORE) / _STEP) + 1) * _STEP
    span = curve.height_at(starts) - curve.height_at(starts + _CORE)
    height_range = float(curve.heights_um[-1] - curve.heights_um[0])
    least = np.flatnonzero(span <= span.min() + _TIE * height_range)
    at = least[np.argmin(np.abs(2 * least - (len(starts) - 1)))]
    slope = float(span[at]) / _CORE
    top = float(curve.height_at(starts[at])) + slope * float(starts[at])
    foot = top - slope
    smr1, smr2 = curve.ratio_at(top), curve.ratio_at(foot)
    peaks, dales = curve.material_above(top), curve.void_below(foot)
    upper, lower = (float(curve.height_at(ratio)) for ratio in (_UPPER, _LOWER))
    return MaterialRatioParameters(
        sk_um=slope,
        spk_um=2 * peaks / smr1 if smr1 > 0 else 0.0,
        svk_um=2 * dales / (1 - smr2) if smr2 < 1 else 0.0,
        smr1=smr1,
        smr2=smr2,
        vmp_um=curve.material_above(upper),
        vmc_um=curve.material_above(lower) - curve.material_above(upper),
        vvc_um=curve.void_below(upper) - curve.void_below(lower),
        vvv_um=curve.void_below(lower),
    )
