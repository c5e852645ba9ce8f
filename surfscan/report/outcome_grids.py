"""Tables of the page on loss with rate and time, groups compared, and uncertainty."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.estimates.comparing import SeveralGroups, TwoGroups
from surfscan.estimates.effect_size import EffectSize
from surfscan.estimates.uncertainty import SOURCES
from surfscan.report.budgets import FigureBudget
from surfscan.report.cells import HEADS, Cell, Grid, Head, estimate_cell
from surfscan.report.comparison_rows import number
from surfscan.report.group_comparisons import Comparison, Nested
from surfscan.report.loss_over_time import Series
from surfscan.report.loss_with_rate import LossWithRate
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant


def line_grid(found: Sequence[LossWithRate]) -> Grid:
    """One row a figure of loss against the rate."""
    heads = [
        Head("Loss", "against"),
        Head("Specimens", "behind the line", number=True, figure="n_specimens"),
        Head("Left out", "saturated", number=True, figure="n_saturated"),
        Head("Change", "per mm/y", number=True, figure="slope"),
        Head("At no rate", number=True, figure="intercept"),
        Head("Unit"),
        Head("MSWD", "scatter about the line", number=True, figure="mswd"),
        Head("Why no line"),
    ]
    rows = []
    for each in found:
        line, scale = each.line, each.loss.scale
        rows.append(
            [
                Cell(each.loss.words, (f"rate by {each.method}",)),
                Cell(str(line.n), value=float(line.n)),
                Cell(str(each.saturated) if each.saturated else "", value=float(each.saturated)),
                estimate_cell(number(line.slope), *(line.slope_ci95 or _NONE), scale=scale),
                estimate_cell(number(line.intercept), *(line.intercept_ci95 or _NONE), scale=scale),
                Cell(each.loss.unit),
                Cell(significant(number(line.mswd)), value=number(line.mswd)),
                Cell(line.refused),
            ]
        )
    return Grid("Lines of loss against rate (York, errors in both)", heads, rows).without_empty_columns()


def law_grid(found: Sequence[Series]) -> Grid:
    """One row a law of a series."""
    heads = [
        Head("Series", "loss"),
        Head("Specimens", "n", number=True),
        Head("Exposures", "h"),
        Head("Law"),
        Head("Exponent", number=True, figure="exponent"),
        Head("AICc above best", number=True, figure="aicc_difference"),
        Head("Weight", number=True, figure="weight"),
        Head("Time to the limit", "h, by the best law", number=True, figure="projected_h"),
        Head("Why not"),
    ]
    rows = []
    for series in found:
        fitted, projected = series.fitted, series.projection
        exposures = ", ".join(f"{h:g}" for h in fitted.hours)
        for k, fit in enumerate(fitted.fits):
            when = Cell("")
            if k == 0 and projected is not None and projected.hours is not None:
                assert projected.hours_ci95 is not None
                low, high = projected.hours_ci95
                said = round_to_interval(projected.hours, low, math.inf if high is None else high)
                interval = said.interval if high is not None else f"{said.low} to beyond the furthest"
                when = Cell(said.value, (interval,), projected.hours, low, number(high))
            rows.append(
                [
                    Cell(series.name, (series.loss,)),
                    Cell(str(fitted.n_specimens)),
                    Cell(exposures),
                    Cell(fit.law),
                    estimate_cell(fit.exponent, *fit.exponent_ci95)
                    if fit.exponent_ci95
                    else Cell(f"{fit.exponent:g}, fixed", value=fit.exponent),
                    Cell(f"{fit.difference:.1f}", value=fit.difference),
                    Cell(f"{fit.weight:.2f}", value=fit.weight),
                    when,
                    Cell(projected.refused if projected and k == 0 else ""),
                ]
            )
        if not fitted.fits:
            blank = [Cell("") for _ in range(5)]
            rows.append(
                [
                    Cell(series.name, (series.loss,)),
                    Cell(str(fitted.n_specimens)),
                    Cell(exposures),
                    *blank,
                    Cell(fitted.refused),
                ]
            )
    return Grid("Laws of loss against time, each specimen one point", heads, rows).without_empty_columns()


def comparison_grid(found: Sequence[Comparison]) -> Grid:
    """One row a pair of groups: effect size first, p second."""
    heads = [
        Head("Figure", "exposure"),
        Head("Groups", "second less first"),
        Head("Specimens", "n", number=True),
        Head("Effect", "Hedges' g", number=True, figure="hedges_g"),
        Head("Size"),
        Head("Difference", number=True, figure="difference"),
        Head("Unit"),
        Head("p", number=True, figure="p"),
        Head("Test"),
        Head("To mind"),
    ]
    rows = []
    for each in found:
        name, unit, scale = _shown(each)
        hours = "exposures differ" if math.isnan(each.exposure_h) else f"{each.exposure_h:g} h"
        result, points = each.result, each.points
        if result.refused:
            n = " and ".join(str(len(own)) for own in points.values())
            rows.append(
                [
                    Cell(name, (hours,)),
                    Cell(" and ".join(points)),
                    Cell(n),
                    *(Cell(text) for text in (NO_VALUE, "", NO_VALUE, unit, NO_VALUE, "points only")),
                    Cell(" ".join(filter(None, [f"{result.refused}.", each.remark]))),
                ]
            )
            continue
        for k, (one, two, difference, limits, effect, p) in enumerate(_pairs(result)):
            whole = ""
            if isinstance(result, SeveralGroups) and k == 0:
                whole = f"groups hold {100 * number(result.omega_squared):.0f} % of the variance (ω²)"
                whole += f", one-way p {_p(number(result.p))}"
            test = result.test if isinstance(result, TwoGroups) else result.correction
            rows.append(
                [
                    Cell(name, (hours,)),
                    Cell(f"{one}; {two}"),
                    Cell(f"{len(points[one])} and {len(points[two])}"),
                    estimate_cell(effect.hedges_g, *effect.ci95),
                    Cell(effect.words),
                    estimate_cell(difference, *limits, scale=scale),
                    Cell(unit),
                    Cell(_p(p), value=p),
                    Cell(test, (whole,) if whole else ()),
                    Cell(each.remark),
                ]
            )
    caption = "Groups compared at the same exposure, the specimen the replicate; effect size first, p second"
    return Grid(caption, heads, rows).without_empty_columns()


def nested_grid(found: Sequence[Nested]) -> Grid:
    """One row a group and figure with several fields on its specimens."""
    heads = [
        Head("Figure"),
        Head("Group"),
        Head("Specimens", "n", number=True),
        Head("Fields", "n", number=True),
        Head("Mean", number=True, figure="mean"),
        Head("SD between specimens", number=True, figure="between_specimens_sd"),
        Head("SD between fields", number=True, figure="between_fields_sd"),
        Head("Unit"),
        Head("Variance between specimens", "%", number=True, figure="specimen_share"),
        Head("Why none"),
    ]
    rows = []
    for each in found:
        r = each.result
        head, unit, scale = HEADS[each.figure]
        between, within = number(r.between_specimens), number(r.between_fields)
        share = number(r.correlation)
        rows.append(
            [
                Cell(head),
                Cell(each.group),
                Cell(str(r.specimens)),
                Cell(str(r.fields)),
                estimate_cell(number(r.mean), *(r.ci95 or _NONE), scale=scale),
                Cell(significant(between * scale, 2), value=between),
                Cell(significant(within * scale, 2), value=within),
                Cell(unit),
                Cell(NO_VALUE if math.isnan(share) else f"{100 * share:.0f}", value=share),
                Cell(r.refused),
            ]
        )
    caption = "Fields in specimens by a mixed model (REML): how much scatter lies between specimens"
    return Grid(caption, heads, rows).without_empty_columns()


def budget_grid(found: Sequence[FigureBudget]) -> Grid:
    """One row a figure: how well it is known, what dominates, and what to do about it."""
    heads = [
        Head("Whose"),
        Head("Figure"),
        Head("Value", number=True),
        Head("±", "95 %", number=True, figure="expanded_uncertainty"),
        Head("Unit"),
        Head("Dominant"),
        Head("What to do"),
        Head("Propagation"),
    ]
    rows = []
    for each in found:
        head, unit, scale = HEADS.get(each.figure, (each.budget.figure, each.budget.unit, 1.0))
        value = each.budget.value
        said = round_to_interval(value, value - each.expanded, value + each.expanded, scale=scale)
        source, share = next(iter(each.budget.shares_by_source().items()), ("other", math.nan))
        rows.append(
            [
                Cell(each.name),
                Cell(head if each.figure in HEADS else each.budget.figure.removesuffix(f" of {each.name}")),
                Cell(said.value, value=value, figure=each.figure),
                Cell(significant(each.expanded * scale, 2), value=each.expanded),
                Cell(unit),
                Cell(f"{SOURCES[source]}, {100 * share:.0f} %"),
                Cell(each.advice),
                Cell(each.propagation),
            ]
        )
    return Grid("Uncertainty budgets", heads, rows).without_empty_columns()


_NONE = (math.nan, math.nan)


def _shown(each: Comparison) -> tuple[str, str, float]:
    if each.figure in HEADS:
        return HEADS[each.figure]
    return each.words[0].upper() + each.words[1:], each.unit, 1.0


def _pairs(
    result: TwoGroups | SeveralGroups,
) -> list[tuple[str, str, float, tuple[float, float], EffectSize, float]]:
    if isinstance(result, SeveralGroups):
        return [(*p.names, p.difference, p.ci95, p.effect, p.p) for p in result.pairs]
    assert result.effect is not None
    return [
        (
            *result.names,
            number(result.difference),
            result.ci95 or _NONE,
            result.effect,
            number(result.p),
        )
    ]


def _p(p: float) -> str:
    return "< 0.001" if p < 0.001 else f"{p:.2g}"
