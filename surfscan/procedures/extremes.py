"""Deepest pit of a whole part, from the deepest pits of several equal areas or specimens."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Any, Literal

import numpy as np

from surfscan._version import __version__
from surfscan.errors import InputError
from surfscan.estimates.extremes import (
    GumbelTest,
    MaximaFit,
    Method,
    Model,
    fit_maxima,
    gumbel_test,
    level_intervals,
    level_standard_error,
)
from surfscan.estimates.gev import upper_limit
from surfscan.estimates.gumbel import reduced_variate, return_variate
from surfscan.estimates.maxima_likelihood import AT_LEAST, AT_MOST, MEASURED, SHAPE_LIMITS
from surfscan.estimates.plotting_positions import plotting_positions
from surfscan.images import Source

FEWEST_BLOCKS: Mapping[str, int] = {"gumbel": 8, "gev": 30}
"""Fewest measured maxima that a model is fitted to."""

ADVISED_BLOCKS: Mapping[str, int] = {"gumbel": 20, "gev": 50}
"""Fewer are warned about."""

TEST_LEVEL = 0.05
"""'auto' leaves Gumbel only where its test gives a smaller p-value."""

LARGEST_RETURN_PERIOD = 500.0
SMALLEST_SHARE = 0.03
"""Practical limits of extrapolation, T < 500 and 3 % of the surface inspected: copper tubes after 7 years of
service (J. Corros. Sci. Eng. study cited in PMC8345288)."""

_LINE_POINTS = 40
_KIND_NAMES = {MEASURED: "measured", AT_LEAST: "at least", AT_MOST: "at most"}


@dataclass(frozen=True)
class PlotRow:
    """One block on a Gumbel probability plot, or one station of the fitted line.

    Attributes
    ----------
    value : float or None
        Maximum of the block; None on the line.
    kind : str
        "measured", "at least" (a lower bound), "at most" (an upper bound) or "line".
    censored : bool
        Whether the value is only a bound.
    plotting_position : float or None
        Estimated probability of staying at or below the value; None for a bound. On the line: of the model.
    reduced_variate : float or None
        -ln(-ln plotting_position).
    fitted : float or None
        Level of the fitted distribution there.
    fitted_ci95 : (float, float) or None
        Its 95 % interval, pointwise; at blocks interpolated between the stations of the line.
    """

    value: float | None
    kind: str
    censored: bool
    plotting_position: float | None
    reduced_variate: float | None
    fitted: float | None
    fitted_ci95: tuple[float, float] | None


@dataclass(frozen=True)
class ExtremesResult:
    """Extreme-value analysis of one set of block maxima.

    Attributes
    ----------
    source : Source or None
        The table; None where values came from memory.
    settings : mapping
        Everything that was asked for.
    unit : str
        Unit of values and levels.
    fit : MaximaFit
    blocks, measured, lower_bounds, upper_bounds : int
        Blocks in all, and by what their values are.
    gumbel : GumbelTest
        Test of whether Gumbel is enough, whichever model was taken.
    return_period : float
        T, part area over block area.
    return_level : float
        Level that one block in T exceeds.
    return_level_ci95 : (float, float)
    return_level_standard_error : float or None
    free_shape_ci95 : (float, float) or None
        Interval of the level that GEV by likelihood (`gumbel.gev`) gives; None where measured maxima are too
        few for GEV. The interval of Gumbel holds only if Gumbel does, and the test seldom sees a small shape.
    plot, line : tuple of PlotRow
        Blocks in ascending order, and the fitted line with its band out to T.
    warnings : tuple of str
    version : str
    """

    source: Source | None
    settings: Mapping[str, Any]
    unit: str
    fit: MaximaFit
    blocks: int
    measured: int
    lower_bounds: int
    upper_bounds: int
    gumbel: GumbelTest
    return_period: float
    return_level: float
    return_level_ci95: tuple[float, float]
    return_level_standard_error: float | None
    free_shape_ci95: tuple[float, float] | None
    plot: tuple[PlotRow, ...]
    line: tuple[PlotRow, ...]
    warnings: tuple[str, ...]
    version: str = __version__

    @property
    def part_exceeds_fraction(self) -> float:
        """Share of parts of that area whose deepest pit is deeper than the return level: 1 - (1 - 1/T)^T."""
        return -math.expm1(self.return_period * math.log1p(-1 / self.return_period))

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON, figures unrounded."""
        fit = self.fit
        errors = None if fit.covariance is None else np.sqrt(np.diag(fit.covariance)).tolist()
        return {
            "procedure": "extremes",
            "source": None if self.source is None else self.source.as_dict(),
            "settings": dict(self.settings),
            "warnings": list(self.warnings),
            "fit": {
                "model": fit.model,
                "method": fit.method,
                "location": fit.location,
                "scale": fit.scale,
                "shape": fit.shape,
                "standard_errors": errors,
                "covariance": None if fit.covariance is None else fit.covariance.tolist(),
                "log_likelihood": fit.log_likelihood,
                "upper_limit": upper_limit(fit.location, fit.scale, fit.shape),
                "blocks": self.blocks,
                "measured": self.measured,
                "lower_bounds": self.lower_bounds,
                "upper_bounds": self.upper_bounds,
            },
            "gumbel_test": {
                "statistic": self.gumbel.statistic,
                "p_value": self.gumbel.p_value,
                "level": TEST_LEVEL,
                "rejected": self.gumbel.p_value < TEST_LEVEL,
            },
            "free_shape": {
                "shape": self.gumbel.gev.shape,
                "return_level": float(self.gumbel.gev.level(return_variate(self.return_period))),
                "return_level_ci95": None if self.free_shape_ci95 is None else list(self.free_shape_ci95),
            },
            "unit": self.unit,
            "return_period": self.return_period,
            "return_level": self.return_level,
            "return_level_ci95": list(self.return_level_ci95),
            "return_level_standard_error": self.return_level_standard_error,
            "part_exceeds_fraction": self.part_exceeds_fraction,
            "probability_plot": [asdict(row) for row in self.plot],
            "probability_line": [asdict(row) for row in self.line],
            "version": self.version,
        }


def analyse_maxima(
    values_um: np.ndarray | Sequence[float],
    *,
    censored: np.ndarray | Sequence[bool] | None = None,
    below: np.ndarray | Sequence[bool] | None = None,
    detection_limit: float | None = None,
    block_area_mm2: float,
    part_area_mm2: float,
    model: Literal["auto", "gumbel", "gev"] = "auto",
    method: Method = "likelihood",
    unit: str = "µm",
    source: Source | None = None,
) -> ExtremesResult:
    """Fit block maxima and extrapolate to the whole part.

    Parameters
    ----------
    values_um : sequence of n float
        Deepest pit of each block, µm (or another unit, named by `unit`); blocks have equal areas.
    censored : sequence of n bool, optional
        Where the value is a lower bound: a pit whose floor was not measured.
    below : sequence of n bool, optional
        Where the value is an upper bound: a block in which no pit as deep as that was found.
    detection_limit : float, optional
        Depth above which every pit would have been found. Values below it, and a 0 for a block without
        pits, become upper bounds of that depth. Without it a 0 is refused: no pit found is not a depth of 0.
    block_area_mm2, part_area_mm2 : float
        Area of one block and of the whole part, mm².
    model : {"auto", "gumbel", "gev"}, optional
        "auto" takes Gumbel unless the likelihood-ratio test rejects it at 5 % and there are enough blocks
        for GEV.
    method : {"likelihood", "lmoments"}, optional
        L-moments take measured maxima only.
    unit : str, optional
    source : Source, optional
        The table the values came from, for messages and the result.

    Returns
    -------
    ExtremesResult

    Raises
    ------
    InputError
        If values are not finite, negative, or zero without a detection limit; all equal; fewer measured
        than `FEWEST_BLOCKS`; if areas are not finite and above 0, or the part is not larger than a block.

    Notes
    -----
    Return level after Gumbel (1958): with T = part area / block area, the level whose probability of being
    exceeded in one block is 1/T. About 63 % of parts hold a deeper pit, whatever the model.

    Simulated (`benchmarks/extremes_coverage.py`), the intervals hold the truth in 94 to 97 % of sets where
    the model is right: Gumbel from 8 blocks, GEV from 30. Gumbel taken for a shape of 0.1 or -0.1 holds it in
    about 70 % of sets of 50 blocks at T = 100, in 30 to 40 % at T = 1000, and testing first hardly helps: so
    few seldom show such a shape. The level with the shape left free therefore stands beside it.
    """
    where = None if source is None else source.path
    values, kinds = _checked(values_um, censored, below, detection_limit, where)
    period = _return_period(block_area_mm2, part_area_mm2, where)
    bounds = int((kinds != MEASURED).sum())
    if method == "lmoments" and bounds:
        raise InputError(
            where,
            f"{bounds} of {len(values)} maxima are bounds, and L-moments take measured maxima only",
            "Use the likelihood",
        )
    measured = len(values) - bounds
    _refuse_too_few(model, measured, where)
    enough_for_gev = measured >= FEWEST_BLOCKS["gev"]
    variate = return_variate(period)
    try:
        test = gumbel_test(values, kinds)
        rejected = enough_for_gev and test.p_value < TEST_LEVEL
        chosen: Model = "gev" if model == "gev" or (model == "auto" and rejected) else "gumbel"
        fit = fit_maxima(values, kinds, chosen, method)
    except ValueError as fault:
        raise InputError(where, str(fault), "Look at the values: are blocks doubled or cut off?") from fault
    free_shape = None
    if enough_for_gev:
        low, high = level_intervals(values, kinds, test.gev, np.array([variate]), variate)[0].tolist()
        free_shape = (low, high)
    plot, line, interval = _plot(values, kinds, fit, variate)
    settings = {
        "block_area_mm2": block_area_mm2,
        "part_area_mm2": part_area_mm2,
        "model": model,
        "method": method,
        "detection_limit": detection_limit,
    }
    warnings = (
        *_warn_of_data(values, kinds, unit),
        *_warn_of_model(fit, test, model, measured),
        *_warn_of_shape(fit, float(test.gev.level(variate)), interval, enough_for_gev),
        *_warn_of_extrapolation(period, len(values)),
    )
    return ExtremesResult(
        source=source,
        settings=settings,
        unit=unit,
        fit=fit,
        blocks=len(values),
        measured=measured,
        lower_bounds=int((kinds == AT_LEAST).sum()),
        upper_bounds=int((kinds == AT_MOST).sum()),
        gumbel=test,
        return_period=period,
        return_level=float(fit.level(variate)),
        return_level_ci95=interval,
        return_level_standard_error=level_standard_error(values, kinds, fit, variate),
        free_shape_ci95=free_shape,
        plot=plot,
        line=line,
        warnings=warnings,
    )


def _checked(
    given: np.ndarray | Sequence[float],
    censored: np.ndarray | Sequence[bool] | None,
    below: np.ndarray | Sequence[bool] | None,
    detection_limit: float | None,
    where: str | None,
) -> tuple[np.ndarray, np.ndarray]:
    """Values and what each is, or the reason why they cannot be used."""
    values = np.array(given, dtype=np.float64)
    if values.ndim != 1:
        raise ValueError(f"values must be one-dimensional, got shape {values.shape}")
    no_flags = np.zeros(len(values), dtype=bool)
    lower = no_flags if censored is None else np.asarray(censored, dtype=bool)
    upper = no_flags if below is None else np.asarray(below, dtype=bool)
    if lower.shape != values.shape or upper.shape != values.shape:
        raise ValueError(f"flags must match the {len(values)} values, got {len(lower)} and {len(upper)}")
    for wrong, what, remedy in (
        (~np.isfinite(values), "is not a finite number", "Leave out the blocks that were not measured"),
        (values < 0, "is negative", "Depths are positive downwards: turn the sign round"),
        (lower & upper, "is marked as a lower and as an upper bound", "Keep one of the marks"),
    ):
        if wrong.any():
            at = int(np.argmax(wrong))
            raise InputError(where, f"value {at + 1} of {len(values)} ({values[at]:g}) {what}", remedy)
    if detection_limit is not None:
        if not (math.isfinite(detection_limit) and detection_limit > 0):
            raise InputError(where, f"the detection limit is {detection_limit!r}", "Give a depth above 0")
        hidden = values < detection_limit
        if (hidden & lower).any():
            raise InputError(
                where,
                "a lower bound lies below the detection limit",
                "Leave out the mark (no pit was found there) or lower the detection limit",
            )
        values[hidden] = detection_limit
        upper = upper | hidden
    if (values == 0).any():
        raise InputError(
            where,
            f"{int((values == 0).sum())} of {len(values)} maxima are 0: no pit found is not a depth of 0",
            "State the depth above which every pit would have been found (the detection limit): such blocks "
            "then count as below it",
        )
    kinds = np.where(lower, AT_LEAST, np.where(upper, AT_MOST, MEASURED))
    known = values[kinds == MEASURED]
    if len(known) > 1 and np.ptp(known) <= 1e-9 * known.max():
        raise InputError(
            where,
            f"all {len(known)} measured maxima are {known[0]:g}: equal values have no distribution",
            "Check that each row is another block, and that depths are not rounded or cut off",
        )
    return values, kinds


def _return_period(block_area_mm2: float, part_area_mm2: float, where: str | None) -> float:
    for name, area in (("block", block_area_mm2), ("part", part_area_mm2)):
        if not (math.isfinite(area) and area > 0):
            raise InputError(where, f"the {name} area is {area!r} mm²", "Give an area above 0")
    period = part_area_mm2 / block_area_mm2
    if not period > 1:
        raise InputError(
            where,
            f"the part ({part_area_mm2:g} mm²) is not larger than one block ({block_area_mm2:g} mm²), so "
            "there is nothing to extrapolate to",
            "Give the area of the whole part, and the area in which each maximum was sought",
        )
    return period


def _refuse_too_few(model: str, measured: int, where: str | None) -> None:
    fewest = FEWEST_BLOCKS["gev" if model == "gev" else "gumbel"]
    if measured < fewest:
        name = "GEV" if model == "gev" else "Gumbel"
        more = " or take Gumbel" if model == "gev" and measured >= FEWEST_BLOCKS["gumbel"] else ""
        raise InputError(
            where,
            f"{measured} measured {'maximum is' if measured == 1 else 'maxima are'} too few: {name} needs at "
            f"least {fewest}",
            f"Inspect more blocks{more}",
        )


def _plot(
    values: np.ndarray, kinds: np.ndarray, fit: MaximaFit, variate: float
) -> tuple[tuple[PlotRow, ...], tuple[PlotRow, ...], tuple[float, float]]:
    """Rows of blocks, rows of the line, and the interval of the level at `variate`."""
    positions = plotting_positions(values, kinds)
    order = np.lexsort((kinds, values))
    placed = order[kinds[order] == MEASURED]
    at_blocks = reduced_variate(positions[placed])
    first, last = min(float(at_blocks.min()), -1.0), max(float(at_blocks.max()), variate)
    stations = np.union1d(np.linspace(first, last, _LINE_POINTS), [variate])
    levels, intervals = fit.level(stations), level_intervals(values, kinds, fit, stations, variate)
    fitted = fit.level(at_blocks)
    low, high = (fitted + np.interp(at_blocks, stations, end - levels) for end in intervals.T)
    row_of = {int(block): row for row, block in enumerate(placed)}
    plot = []
    for block in order.tolist():
        row, kind = row_of.get(block), int(kinds[block])
        plot.append(
            PlotRow(
                value=float(values[block]),
                kind=_KIND_NAMES[kind],
                censored=kind != MEASURED,
                plotting_position=None if row is None else float(positions[block]),
                reduced_variate=None if row is None else float(at_blocks[row]),
                fitted=None if row is None else float(fitted[row]),
                fitted_ci95=None if row is None else (float(low[row]), float(high[row])),
            )
        )
    line = [
        PlotRow(None, "line", False, math.exp(-math.exp(-y)), float(y), float(x), (float(low), float(high)))
        for y, x, (low, high) in zip(stations, levels, intervals, strict=True)
    ]
    at = int(np.searchsorted(stations, variate))
    return tuple(plot), tuple(line), (float(intervals[at, 0]), float(intervals[at, 1]))


def _warn_of_data(values: np.ndarray, kinds: np.ndarray, unit: str) -> list[str]:
    warnings = []
    lower, upper, n = int((kinds == AT_LEAST).sum()), int((kinds == AT_MOST).sum()), len(values)
    if lower:
        warnings.append(f"{lower} of {n} maxima are lower bounds (pit floor not measured) and taken as such.")
    if upper:
        warnings.append(f"{upper} of {n} maxima are upper bounds (no deeper pit found) and taken as such.")
    if 2 * (lower + upper) > n:
        warnings.append(
            "More than half of the maxima are bounds: the fit rests on the others. Measure again."
        )
    deepest = float(values[kinds == MEASURED].max())
    if lower and values[kinds == AT_LEAST].max() > deepest:
        warnings.append(
            f"The deepest maximum is a lower bound: beyond {deepest:.4g} {unit}".rstrip()
            + " the distribution is not seen but extrapolated."
        )
    return warnings


def _warn_of_model(fit: MaximaFit, test: GumbelTest, model: str, measured: int) -> list[str]:
    warnings = []
    if fit.model == "gumbel" and test.p_value < TEST_LEVEL:
        why = (
            f" GEV needs at least {FEWEST_BLOCKS['gev']} measured maxima."
            if measured < FEWEST_BLOCKS["gev"]
            else ""
        )
        warnings.append(
            f"Gumbel does not describe these maxima (p = {test.p_value:.2g}): the return level and its "
            f"interval may be wrong.{why} Check that blocks of different exposure or mechanism are not mixed."
        )
    advised = ADVISED_BLOCKS[fit.model]
    if measured < advised:
        name = "Gumbel" if fit.model == "gumbel" else "GEV"
        warnings.append(
            f"{measured} measured maxima: the interval allows for so few, but they can hardly show whether "
            f"{name} holds. {advised} or more are advised."
        )
    if fit.model == "gev" and not SHAPE_LIMITS[0] < fit.shape < SHAPE_LIMITS[1]:
        warnings.append(
            f"The shape lies on or beyond the limit of its range, {SHAPE_LIMITS[0]:g} to "
            f"{SHAPE_LIMITS[1]:g}: the maxima do not follow the distribution, or are too few to tell."
        )
    if fit.model == "gev" and model == "auto":
        warnings.append(f"Gumbel was rejected (p = {test.p_value:.2g}), so the shape was fitted too (GEV).")
    if not math.isfinite(fit.log_likelihood):
        warnings.append(
            "The distribution fitted by L-moments rules out one of the maxima. Use the likelihood."
        )
    return warnings


def _warn_of_shape(
    fit: MaximaFit, free_level: float, interval: tuple[float, float], enough_for_gev: bool
) -> list[str]:
    if fit.model == "gumbel" and enough_for_gev and not interval[0] <= free_level <= interval[1]:
        return [
            f"With the shape left free the return level is {free_level:.4g}, outside the interval of Gumbel: "
            "the extrapolation hangs on Gumbel, which these maxima cannot show. Take GEV, or larger blocks."
        ]
    return []


def _warn_of_extrapolation(period: float, blocks: int) -> list[str]:
    warnings = []
    if period > LARGEST_RETURN_PERIOD:
        warnings.append(
            f"The part is {float(f'{period:.3g}'):.0f} blocks large, beyond the practical limit of "
            f"{LARGEST_RETURN_PERIOD:g}. Take larger blocks."
        )
    if blocks / period < SMALLEST_SHARE:
        warnings.append(
            f"{100 * blocks / period:.2g} % of the part's area was inspected; under "
            f"{100 * SMALLEST_SHARE:g} % extrapolation is beyond practice. Inspect more or larger blocks."
        )
    if period < 2:
        warnings.append(
            "The part is smaller than two blocks: the level is less than an ordinary block's maximum."
        )
    return warnings
