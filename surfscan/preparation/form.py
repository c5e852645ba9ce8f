"""Form of a height map: what the specimen's shape and its tilt on the stage contribute, without its pits.

The F-operator of ISO 25178-2, fitted robustly: what is taken off is the plane, second-order polynomial or
circular cylinder of the surface between the pits.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.preparation.form_fit import (
    Model,
    Sample,
    Spread,
    refine,
    start_cylinder,
    start_polynomials,
    take_sample,
)
from surfscan.preparation.form_models import Cylinder, Frame, Polynomial

FormKind = Literal["none", "plane", "polynomial2", "cylinder"]

_SIDE_FIRST, _SIDE_LAST = 512, 1024  # samples a side: to decide on, to fit on
_SIGNIFICANT = 4.0  # a bend must exceed this many times its standard uncertainty ...
_NOTICEABLE = 0.2  # ... and this share of the roughness
_ROUNDING = 1e-6  # ... and what float32 leaves of the range
_AS_WELL = 1.005  # a cylinder fits as well as a polynomial where its residuals are this much larger at most
_LESS_FLAT = 2.0
_QUARTILE = 0.6745  # of the standard normal distribution
_STRIP_BYTES = 1 << 19  # rows are worked on in strips that stay in the cache
_THREADS = 2
_FEWEST = 12


@dataclass(frozen=True)
class Form:
    """Form of a height map.

    Attributes
    ----------
    kind : str
        "none" (level only), "plane", "polynomial2" or "cylinder".
    text : str
        The form in plain words.
    tilt_x_deg, tilt_y_deg : float or None
        Slope at the region's centre along x and y, degrees, positive where heights grow with the column and
        with the row; None for "none" and where the pixel size is unknown.
    radius_um : float or None
        Radius of the cylinder, negative where it is hollow; None for other forms and where the pixel size is
        unknown.
    axis_deg : float or None
        Direction of the cylinder's axis from x towards y (rows count downwards), 0 to 180 degrees.
    level_uncertainty_um : float
        Standard uncertainty of the reference from the fit, root mean square over the field; not-a-number
        where it cannot be told.
    roughness_um : float
        Standard deviation of the heights that the fit rests on.
    kept_fraction : float
        Share of the measured samples that the fit rests on; the others are pits, their rims and spikes.
    level_um : float
        Constant that `model` leaves out.
    model : Polynomial or Cylinder
        The form less `level_um`.
    """

    kind: FormKind
    text: str
    tilt_x_deg: float | None
    tilt_y_deg: float | None
    radius_um: float | None
    axis_deg: float | None
    level_uncertainty_um: float
    roughness_um: float
    kept_fraction: float
    level_um: float
    model: Model

    def surface(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """Height of the form in µm on a grid of rows and columns (px), shape (len(rows), len(cols)).

        float64; the part beside the level is precise to about 1e-6 of its range.
        """
        return self.model.grid(np.asarray(rows), np.asarray(cols)).astype(np.float64) + self.level_um

    def remove(self, heights_um: np.ndarray) -> np.ndarray:
        """Heights less the form, shape (M, N), float32; the same whatever the number of threads."""
        out = np.empty(heights_um.shape, np.float32)
        cols = np.arange(heights_um.shape[1])
        level = heights_um.dtype.type(self.level_um)

        def work(strip: slice) -> None:
            part = out[strip]
            np.subtract(heights_um[strip], level, out=part, casting="same_kind")
            part -= self.model.grid(np.arange(strip.start, strip.stop), cols)

        with ThreadPoolExecutor(_THREADS) as pool:
            for _ in pool.map(work, strips(heights_um.shape)):
                pass
        return out


def strips(shape: tuple[int, ...]) -> Iterator[slice]:
    """Strips of rows of a float32 map of `shape` that fit into a processor's cache."""
    step = max(1, _STRIP_BYTES // (4 * shape[1]))
    for first in range(0, shape[0], step):
        yield slice(first, min(first + step, shape[0]))


def fit_form(
    heights_um: np.ndarray,
    kind: Literal["auto", "none", "plane", "polynomial2", "cylinder"] = "auto",
    *,
    pixel_size_um: tuple[float, float] | None,
    region: np.ndarray | None = None,
) -> Form:
    """Fit the form of a surface, whatever pits are in it.

    A start that 55 % of the surface agrees on, then least squares over what is neither a pit (with its rim,
    told by place), nor a spike, on at most about 1024 by 1024 evenly spaced samples.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Heights, µm, up positive; not-a-number where not measured.
    kind : {"auto", "none", "plane", "polynomial2", "cylinder"}
        "none" is the median level. "auto" takes no form but the level between the pits where the tilt, root
        mean square over the field, is within 4 times its standard uncertainty (what is no more than the
        roughness leaves by chance is not taken off), and where the form would more than double the spread of
        all heights. It takes a plane unless the bend of the second-order polynomial, root
        mean square over the field, exceeds both 4 times its standard uncertainty and a fifth of the
        roughness; of a bent surface it takes the cylinder where that leaves residuals at most 0.5 % larger
        than the polynomial's (which is so where one curvature is near zero, and where the polynomial leaves a
        fourth-order bend). Limits are common practice, no source. Without a pixel size "auto" does not try
        the cylinder, whose shape depends on it.
    pixel_size_um : tuple of float or None
        Pixel size (x, y). None: square pixels of 1 µm are assumed for the fit alone, and neither tilt nor
        radius is given.
    region : ndarray of shape (M, N), bool, optional
        Where the specimen is; everywhere where not given.

    Returns
    -------
    Form

    Raises
    ------
    ValueError
        If heights are not a floating-point matrix, the region has another shape, the pixel size is no two
        finite numbers above 0, the kind is unknown, or fewer than 12 points are measured.
    """
    _check(heights_um, kind, pixel_size_um, region)
    frame = Frame.of(_box(heights_um, region), pixel_size_um or (1.0, 1.0))
    level = _level(heights_um, region)
    sample = take_sample(heights_um, region, _SIDE_FIRST, level)
    scaled = pixel_size_um is not None
    if kind == "none":
        values = sample.heights[np.isfinite(sample.heights)]
        middle = Polynomial(frame, np.array([float(np.median(values))]))
        left = Spread(float(np.std(values, dtype=np.float64)), float("nan"), 1.0)
        return _form("none", middle, left, level, scaled, "median level")
    chosen, model, spread = _chosen(sample, frame, kind, scaled)
    if kind == "auto" and (
        not _flattens(sample, model) or (chosen == "plane" and not _is_tilted(model, spread))
    ):
        level_only, level_spread = _robust_level(sample, frame)
        return _form("none", level_only, level_spread, level, scaled, "level")
    if max(heights_um.shape) > _SIDE_FIRST:
        sample = take_sample(heights_um, region, _SIDE_LAST, level)
        model, spread = refine(sample, model, spread.sq_um, rounds=1)
    return _form(chosen, model, spread, level, scaled)


def _robust_level(sample: Sample, frame: Frame) -> tuple[Model, Spread]:
    """The level between the pits; on a surface without pits the mean, whatever its distribution.

    The first spread is that of the upper half, which pits do not widen, so that a wave is kept whole.
    """
    middle, upper = np.quantile(sample.heights[np.isfinite(sample.heights)].astype(np.float64), [0.5, 0.75])
    start = Polynomial(frame, np.array([middle]))
    return refine(sample, start, max(float(upper - middle) / _QUARTILE, 1e-12), rounds=3)


def _chosen(
    sample: Sample, frame: Frame, kind: str, scaled: bool
) -> tuple[Literal["plane", "polynomial2", "cylinder"], Model, Spread]:
    """Kind of form, the form fitted to the sample, and what it leaves."""
    if kind != "plane":
        starts = start_polynomials(sample, frame, 6)
        bent, bent_spread = refine(sample, starts[0])
        if kind == "polynomial2":
            return "polynomial2", bent, bent_spread
        if kind == "cylinder" or (_is_bent(bent, bent_spread) and _flattens(sample, bent)):
            if kind == "auto" and not scaled:
                return "polynomial2", bent, bent_spread
            bent_starts = [start for start in (bent, *starts) if isinstance(start, Polynomial)]
            arched, arched_spread = refine(sample, start_cylinder(sample, frame, bent_starts), rounds=4)
            if kind == "cylinder" or arched_spread.sq_um <= _AS_WELL * bent_spread.sq_um:
                return "cylinder", arched, arched_spread
            return "polynomial2", bent, bent_spread
    flat, flat_spread = refine(sample, start_polynomials(sample, frame, 3)[0])
    return "plane", flat, flat_spread


def _check(
    heights: np.ndarray, kind: str, pixel_size: tuple[float, float] | None, region: np.ndarray | None
) -> None:
    if heights.ndim != 2 or not np.issubdtype(heights.dtype, np.floating):
        raise ValueError(f"heights must be a floating-point matrix, got {heights.dtype} {heights.shape}")
    if kind not in ("auto", "none", "plane", "polynomial2", "cylinder"):
        raise ValueError(f"unknown form {kind!r}")
    if pixel_size is not None and not all(math.isfinite(p) and p > 0 for p in pixel_size):
        raise ValueError(f"pixel sizes must be finite and above 0, got {pixel_size}")
    if region is not None and region.shape != heights.shape:
        raise ValueError(f"the region is {region.shape}, the heights are {heights.shape}")


def _box(heights: np.ndarray, region: np.ndarray | None) -> tuple[int, int, int, int]:
    """First and last row and column of the region."""
    if region is None or not region.any():
        return 0, heights.shape[0] - 1, 0, heights.shape[1] - 1
    rows, cols = np.flatnonzero(region.any(axis=1)), np.flatnonzero(region.any(axis=0))
    return int(rows[0]), int(rows[-1]), int(cols[0]), int(cols[-1])


def _level(heights: np.ndarray, region: np.ndarray | None) -> float:
    """Median of some heights, to work relative to; checks that there is something to fit to."""
    sample = take_sample(heights, region, 256, 0.0).heights
    values = sample[np.isfinite(sample)]
    if values.size < _FEWEST:
        raise ValueError(f"only {values.size} points are measured: no form can be fitted to them")
    return float(np.median(values))


def _flattens(sample: Sample, model: Model) -> bool:
    """Whether heights, pits and all, spread at most twice as much about the form as about their median.

    A tilt that happens to make up for pits on one side may widen them somewhat when it is taken off.
    """
    spreads = []
    for heights in (sample.heights - model.grid(sample.rows, sample.cols), sample.heights):
        values = heights[np.isfinite(heights)]
        spreads.append(float(np.mean(np.abs(values - np.median(values)), dtype=np.float64)))
    return spreads[0] <= _LESS_FLAT * spreads[1]


def _is_tilted(flat: Model, spread: Spread) -> bool:
    """Whether the slope matters against its uncertainty."""
    side = np.linspace(-1, 1, 17)
    x, y = (a.ravel() for a in np.meshgrid(side * flat.frame.half_x, side * flat.frame.half_y))
    tilt = float(np.std(flat.at(x, y)))
    return tilt > _SIGNIFICANT * spread.uncertainty_um


def _is_bent(bent: Model, spread: Spread) -> bool:
    """Whether the second-order part matters against its uncertainty and against the roughness."""
    side = np.linspace(-1, 1, 17)
    x, y = (a.ravel() for a in np.meshgrid(side * bent.frame.half_x, side * bent.frame.half_y))
    terms = bent.slopes(x, y)
    z = bent.at(x, y)
    plane = np.linalg.lstsq(terms[:, :3], z, rcond=None)[0]
    bend = float(np.sqrt(np.mean((z - terms[:, :3] @ plane) ** 2)))
    return bend > _ROUNDING * float(np.ptp(z)) and bend > max(
        _SIGNIFICANT * spread.uncertainty_um, _NOTICEABLE * spread.sq_um
    )


def _form(kind: FormKind, model: Model, spread: Spread, level: float, scaled: bool, text: str = "") -> Form:
    """The form with what can be said of it."""
    tilt_x = tilt_y = radius = axis = None
    length = model.frame.length
    if kind != "none":
        zero = np.zeros(1)
        step = np.array([1e-4])
        tilts = [
            float((model.at(*up) - model.at(*down))[0]) / (2e-4 * length)
            for up, down in (((step, zero), (-step, zero)), ((zero, step), (zero, -step)))
        ]
        if scaled:
            tilt_x, tilt_y = (math.degrees(math.atan(t)) for t in tilts)
            tilted = f"tilted {tilt_x:.2f}° along x, {tilt_y:.2f}° along y"
        else:
            tilted = f"tilted {tilts[0]:.3g} µm per px along x, {tilts[1]:.3g} µm per px along y"
        text = f"plane, {tilted}" if kind == "plane" else f"second-order polynomial, {tilted}"
    if isinstance(model, Cylinder):
        axis = math.degrees(model.parameters[2]) % 180.0
        text = f"cylinder, axis at {round(axis) % 180}°"
        if scaled:
            radius = float(length / (model.parameters[4] or 1e-12))
            size, unit = (abs(radius) / 1000, "mm") if abs(radius) >= 999.5 else (abs(radius), "µm")
            hollow = "hollow " if radius < 0 else ""
            text = f"{hollow}cylinder of radius {size:.3g} {unit}, axis at {round(axis) % 180}°"
    return Form(
        kind,
        text,
        tilt_x,
        tilt_y,
        radius,
        axis,
        spread.uncertainty_um,
        spread.sq_um,
        spread.kept_fraction,
        level,
        model,
    )
