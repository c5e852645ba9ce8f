"""Tables of the page on rates side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.comparison.agreement import Agreement
from surfscan.comparison.rates import PenetrationRate
from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.comparison_rows import number
from surfscan.report.rounding import NO_VALUE, at_least, at_most, round_to_interval, significant
from surfscan.report.specimen_agreement import SpecimenRates

_JOINED = {"own": "", "twin": "of its twin", "group": "of its group"}
_SIGNS = {True: "✓ agree", False: "✗ do not agree", None: "not judged"}


def side_by_side_grid(rates: Sequence[PenetrationRate], specimen: str) -> Grid:
    """One row a rate of one specimen: what it speaks for, and on whom it was measured."""
    heads = [
        Head("Method", "measured on"),
        Head("Penetration rate", "mm/y", number=True, figure="rate_mm_per_y"),
        Head("Speaks for"),
        Head("How"),
        Head("Known error, or why none", "not in the interval"),
    ]
    rows = [
        [
            Cell(rate.method, tuple(filter(None, [on_whom(rate)]))),
            rate_cell(rate),
            Cell(_when(rate), (rate.speaks_for,) if rate.speaks_for else ()),
            Cell(rate.how),
            Cell(f"none: {rate.refused}") if rate.refused else Cell(rate.bias, rate.reasons),
        ]
        for rate in rates
    ]
    caption = f"Rates of {specimen} by every method, 95 % interval below each"
    return Grid(caption, heads, rows).without_empty_columns()


def agreement_grid(specimens: Sequence[SpecimenRates]) -> Grid:
    """One row a pair of like measurands, or of unlike ones that a known reason parts."""
    heads = [
        Head("Specimen"),
        Head("Methods", "first and second"),
        Head("First over second", number=True, figure="ratio"),
        Head("E_n", number=True, figure="e_n"),
        Head("Agreement"),
        Head("Known reasons for the gap"),
    ]
    rows = []
    for own in specimens:
        for pair in own.agreements:
            if "pit volume" in (pair.first.method, pair.second.method) and pair.agree is None:
                continue
            rows.append(
                [
                    Cell(own.specimen),
                    Cell(f"{_named(pair.first)} and {_named(pair.second)}", _corrected(pair)),
                    ratio_cell(pair),
                    Cell(
                        NO_VALUE if pair.e_n is None else f"{abs(pair.e_n):.2g}",
                        value=number(pair.e_n),
                    ),
                    Cell(_SIGNS[pair.agree]),
                    Cell("", tuple(reason.text for reason in pair.reasons)),
                ]
            )
    caption = (
        "Agreement by pair; E_n only between like measurands: means over the surface, averages over the same "
        "stretch, no bounds. |E_n| up to 1 agrees (ISO/IEC 17043)"
    )
    return Grid(caption, heads, rows)


def locality_grid(specimens: Sequence[SpecimenRates]) -> Grid | None:
    """How local the loss is; None where no specimen tells."""
    heads = [
        Head("Specimen"),
        Head("Pitting factor", "deepest over average", number=True, figure="pitting_factor"),
        Head("Loss in pits", "%", number=True, figure="share_in_pits_fraction"),
        Head("Deepest pit", "% of the thickness", number=True, figure="deepest_pit_share"),
        Head("Least section lost", "%", number=True, figure="section_lost_fraction"),
        Head("Deeper than the section shows"),
    ]
    rows = []
    for own in specimens:
        factor, share, against = own.pitting_factor, own.share_in_pits, own.pit_against_section
        if factor.value is None and share.value is None and against is None:
            continue
        rows.append(
            [
                Cell(own.specimen),
                _quotient_cell(factor.value, factor.ci95, factor.bound, 1.0),
                _quotient_cell(share.value, share.ci95, share.bound, 100.0),
                Cell(
                    at_least(significant(100 * against.depth_share), against.bound == "at least"),
                    value=against.depth_share,
                )
                if against
                else Cell(NO_VALUE),
                Cell(significant(100 * against.section_lost_fraction), value=against.section_lost_fraction)
                if against
                else Cell(NO_VALUE),
                Cell("yes" if against.depth_share > against.section_lost_fraction else "no")
                if against
                else Cell(""),
            ]
        )
    caption = "How local: ≥ where the pit's floor or the original level is not known"
    return Grid(caption, heads, rows).without_empty_columns() if rows else None


def blend_grid(specimens: Sequence[SpecimenRates]) -> Grid | None:
    """One mean over methods where the rule allows it; None where it allows none."""
    heads = [
        Head("Specimen"),
        Head("One mean", "mm/y", number=True, figure="blended_rate_mm_per_y"),
        Head("Of"),
        Head("Over"),
        Head("Left out", "known bias"),
    ]
    rows = [
        [
            Cell(own.specimen),
            estimate_cell(number(own.blend.mm_per_y), *(own.blend.mm_per_y_ci95 or (math.nan, math.nan))),
            Cell(", ".join(own.blend.methods)),
            Cell(own.blend.over),
            Cell(", ".join(own.blend.left_out)),
        ]
        for own in specimens
        if own.blend.mm_per_y is not None
    ]
    return Grid("One mean over methods", heads, rows).without_empty_columns() if rows else None


def rate_cell(rate: PenetrationRate) -> Cell:
    """A rate with its interval, with ≥ or ≤ where it is a bound."""
    low, high = rate.mm_per_y_ci95 or (math.nan, math.nan)
    value = number(rate.mm_per_y)
    found = round_to_interval(value, low, high)
    text = at_most(at_least(found.value, rate.bound == "at least"), rate.bound == "at most")
    lines = (found.interval,) if found.has_interval else ("no interval",) if rate.mm_per_y is not None else ()
    return Cell(text, lines, value, low, high)


def ratio_cell(pair: Agreement) -> Cell:
    """First over second; nothing where either is not above 0."""
    if pair.ratio is None or pair.ratio <= 0:
        return Cell(NO_VALUE)
    return estimate_cell(pair.ratio, *(pair.ratio_ci95 or (math.nan, math.nan)))


def agreement_lines(own: SpecimenRates) -> list[str]:
    """Sentences of the pairs that were judged, those that do not agree first."""
    judged = [pair for pair in own.agreements if pair.e_n is not None or pair.agree is not None]
    judged.sort(key=lambda pair: {False: 0, None: 1, True: 2}[pair.agree])
    return [f"{pair.sentence} {' '.join(reason.text for reason in pair.reasons)}".strip() for pair in judged]


def on_whom(rate: PenetrationRate) -> str:
    """On whom a rate was measured; empty where on the specimen itself."""
    if rate.joined == "own":
        return ""
    return f"{_JOINED[rate.joined]}: {', '.join(rate.from_specimens)}"


def _when(rate: PenetrationRate) -> str:
    if rate.refused:
        return NO_VALUE
    if rate.kind == "instant":
        return "a moment" if rate.ends_h is None else f"a moment, after {rate.ends_h:.4g} h"
    if rate.starts_h is None or rate.ends_h is None:
        return "an average over a time not known"
    return f"{rate.starts_h:.4g} to {rate.ends_h:.4g} h"


def _named(rate: PenetrationRate) -> str:
    return f"{rate.method} ({_JOINED[rate.joined]})" if _JOINED[rate.joined] else rate.method


def _corrected(pair: Agreement) -> tuple[str, ...]:
    if pair.corrected_by > 1:
        return (f"over the starting area × {pair.corrected_by:.3f}, for the surface that shrank",)
    return (f"over the starting area as it is: {pair.not_corrected}",) if pair.not_corrected else ()


def _quotient_cell(value: float | None, limits: tuple[float, float] | None, bound: str, scale: float) -> Cell:
    low, high = limits or (math.nan, math.nan)
    if value is None:
        return Cell(NO_VALUE)
    return estimate_cell(value, low, high, scale=scale, is_lower_bound=bound == "at least")
