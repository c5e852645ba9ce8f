"""The probability plot of block maxima, and what the page says beside it."""

from __future__ import annotations

from collections.abc import Sequence

from surfscan.report import figures
from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.extreme_values import Extremes
from surfscan.report.pooling import NO_INTERVAL, count, number
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant

_MODELS = {"gumbel": "Gumbel", "gev": "GEV"}

CAUTION = (
    "This is an extrapolation, and no upper limit: about 63 % of such parts hold a pit deeper than the "
    "return level. It holds only if the maps stand for the whole part, edges, welds and crevices included, "
    "if maps are independent of one another, and if depths keep the same distribution beyond what was seen. "
    "It is no statement about safe life."
)


def extremes_chart(extremes: Sequence[Extremes]) -> str:
    """Probability plots, a panel an analysis; empty where none was possible."""
    from surfscan.estimates.gumbel import return_variate

    panels = []
    for entry in extremes:
        result = entry.result
        if result is None:
            continue
        panels.append(
            figures.ExtremesPanel(
                entry.name,
                f"n = {count(entry.row['n_blocks'], 'map')}{_bounds(entry)} on "
                f"{count(entry.row['n_specimens'], 'specimen')}; {_MODELS[result.fit.model]}",
                [(number(r.reduced_variate), number(r.value)) for r in result.plot if not r.censored],
                [number(r.value) for r in result.plot if r.kind == "at least"],
                [number(r.value) for r in result.plot if r.kind == "at most"],
                [
                    (number(r.reduced_variate), number(r.fitted), *(r.fitted_ci95 or NO_INTERVAL))
                    for r in result.line
                ],
                (float(return_variate(result.return_period)), result.return_level, *result.return_level_ci95),
                f"{_level(entry)} at T = {significant(result.return_period)}",
            )
        )
    if not panels:
        return ""
    alt = "Probability plots of the deepest pits, with fit and 95 % band: " + "; ".join(
        f"{p.title}: {p.level_words}" for p in panels
    )
    return figures.extremes_figure(panels, f"{alt}; the numbers are in the table below")


def extremes_grid(extremes: Sequence[Extremes]) -> Grid:
    """One row an analysis, with the reason where it was refused."""
    heads = [
        Head("Group or specimen"),
        Head("Blocks", "n, maps", number=True),
        Head("Block", "mm²", number=True),
        Head("Part", "mm²", number=True),
        Head("T", "part / block", number=True),
        Head("Model", "shape"),
        Head("Location", "µm", number=True),
        Head("Scale", "µm", number=True),
        Head("Gumbel test", "p", number=True),
        Head("Deepest on the part", "µm", number=True),
        Head("Refused because"),
    ]
    rows = []
    for entry in extremes:
        row = entry.row
        notes = [count(row["n_lower_bound"], "lower bound")] if row["n_lower_bound"] else []
        notes += [f"{row['n_without_pit']} without pit"] if row["n_without_pit"] else []
        shape = f"shape {significant(row['shape'], 2)}" if row["model"] == "gev" else ""
        rows.append(
            [
                Cell(entry.name),
                Cell(str(row["n_blocks"]), tuple(notes)),
                Cell(significant(row["block_area_mm2"])),
                Cell(significant(row["part_area_mm2"])),
                Cell(significant(row["return_period"])),
                Cell(_MODELS.get(row["model"], NO_VALUE), (shape,) if shape else ()),
                Cell(significant(row["location_um"])),
                Cell(significant(row["scale_um"])),
                Cell(significant(row["gumbel_p"], 2)),
                estimate_cell(
                    row["return_level_um"], row["return_level_um_ci95_low"], row["return_level_um_ci95_high"]
                ),
                Cell(row["refused"][:1].upper() + row["refused"][1:]),
            ]
        )
    caption = "Extreme values: deepest pit to expect on a whole part, 95 % interval below"
    return Grid(caption, heads, rows).without_empty_columns()


def extremes_sentences(extremes: Sequence[Extremes]) -> list[str]:
    """What each fit says, how sure, and from how many."""
    out = []
    for entry in extremes:
        result = entry.result
        if result is None:
            continue
        row = entry.row
        out.append(
            f"“{entry.name}”: on a part of {significant(row['part_area_mm2'])}\u00a0mm² the return level of "
            f"the deepest pit is {_level(entry, '95 % interval ')}, from "
            f"{count(row['n_blocks'], 'map')} of {significant(row['block_area_mm2'])}\u00a0mm² "
            f"({_MODELS[result.fit.model]}, "
            f"T = {significant(result.return_period)}).{_beyond(result.return_period)}"
        )
    return out


def extremes_notes(extremes: Sequence[Extremes]) -> list[str]:
    """What limits each analysis, said once with the names it is about."""
    said: dict[str, list[str]] = {}
    for entry in extremes:
        for text in entry.warnings:
            said.setdefault(text, []).append(entry.name)
    return [f"{', '.join(names)}: {text}" for text, names in said.items()]


def _bounds(entry: Extremes) -> str:
    """How many maxima are lower (△) and upper (▽) bounds."""
    numbers = (("△", entry.row["n_lower_bound"]), ("▽", entry.row["n_without_pit"]))
    said = ", ".join(f"{mark} {n}" for mark, n in numbers if n)
    return f" ({said})" if said else ""


def _beyond(return_period: float) -> str:
    """What to add where so large a part is beyond what practice extrapolates to."""
    from surfscan.procedures.extremes import LARGEST_RETURN_PERIOD

    if return_period <= LARGEST_RETURN_PERIOD:
        return ""
    return (
        f" That is beyond the practical limit of T = {LARGEST_RETURN_PERIOD:.0f}: take it as an order of "
        "magnitude."
    )


def _level(entry: Extremes, interval: str = "") -> str:
    """The return level with its interval, rounded to that."""
    row = entry.row
    limits = (row["return_level_um_ci95_low"], row["return_level_um_ci95_high"])
    number = round_to_interval(row["return_level_um"], *limits)
    return f"{number.value}\u00a0µm ({interval}{number.interval})"
