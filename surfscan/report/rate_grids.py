"""Tables of the page about rates and materials."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.rate_materials import material_rows
from surfscan.report.rate_prose import speaks_for
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import UNITS, GroupRates, Rate
from surfscan.report.rounding import NO_VALUE, significant

_NAMES = {"rate_mm_per_y": "Penetration rate", "rate_g_per_m2_d": "Mass rate"}


def rate_grid(rates: Sequence[Rate]) -> Grid:
    """One row a rate."""
    heads = [
        Head("Specimen", "group"),
        Head("Method", "how"),
        Head("Speaks for"),
        *(Head(_NAMES[name], unit, number=True) for name, unit in UNITS.items()),
        Head("Wetted surface", "cm²", number=True),
        Head("Known error, or why none", "not in the interval"),
    ]
    rows = [_rate_cells(r) for r in rates]
    caption = (
        f"Rates ({len(rates)}), 95 % interval below each; of an average the stretch of immersion, of a sweep "
        "its moment"
    )
    return Grid(caption, heads, rows).without_empty_columns()


def rate_group_grid(groups: Sequence[GroupRates]) -> Grid:
    """One row a group and method."""
    heads = [
        Head("Group"),
        Head("Method"),
        Head("Specimens", "n", number=True),
        Head("Refused", "n", number=True),
        *(Head(_NAMES[name], f"{unit}, mean", number=True) for name, unit in UNITS.items()),
        Head("Known error", "not in the interval"),
        Head("Over", "h", number=True),
    ]
    rows = []
    for group in groups:
        cells = [
            Cell(group.group),
            Cell(group.method),
            Cell(str(group.means["rate_g_per_m2_d"].n)),
            Cell(str(group.refused_count) if group.refused_count else ""),
        ]
        for name in UNITS:
            mean = group.means[name]
            low, high = mean.ci95 or (math.nan, math.nan)
            lines = [] if mean.ci95 or not mean.n else ["no interval"]
            lines += [] if math.isnan(mean.sd) else [f"SD {significant(mean.sd, 2)}"]
            cells.append(estimate_cell(mean.value, low, high, lines=lines))
        cells.append(Cell(group.bias))
        over = NO_VALUE if math.isnan(group.ends_h) else f"{group.starts_h:.4g} to {group.ends_h:.4g}"
        rows.append([*cells, Cell(over)])
    caption = (
        "Means over specimens, method by method; 95 % t-interval between specimens below, from three on; SD "
        "between specimens"
    )
    return Grid(caption, heads, rows).without_empty_columns()


def material_grid(records: Sequence[RateRecord]) -> Grid | None:
    """Every value of every material with source and status; None where none was used."""
    said: set[str] = set()
    rows = [
        [
            Cell(row["material"], _once(row["material"], row["specimens"], said)),
            Cell(row["value_of"]),
            Cell(f"{row['value']:.6g}", _range(row["low"], row["high"])),
            Cell("" if row["unit"] == "1" else row["unit"].replace("cm3", "cm³")),
            Cell(row["value_status"]),
            Cell(row["source"], (row["note"],) if row["note"] else ()),
            Cell("yes" if row["enters_rates"] else "no, for comparison"),
        ]
        for row in material_rows(records)
    ]
    if not rows:
        return None
    heads = [
        Head("Material", "specimens"),
        Head("Value of"),
        Head("Value", "range", number=True),
        Head("Unit"),
        Head("Status"),
        Head("Source"),
        Head("Enters rates"),
    ]
    return Grid("Materials: every value with its source, and how it came to stand here", heads, rows)


def _once(material: str, specimens: str, said: set[str]) -> tuple[str, ...]:
    """The specimens in the first row of a material."""
    if material in said:
        return ()
    said.add(material)
    return (specimens,)


def _range(low: float, high: float) -> tuple[str, ...]:
    return () if math.isnan(low) else (f"{significant(low, 4)} to {significant(high, 4)}",)


def _rate_cells(rate: Rate) -> list[Cell]:
    record = rate.record
    when, more = speaks_for(rate)
    low, high = rate.valence_range_mm_per_y
    by_valence = [] if math.isnan(low) else [f"by valences {significant(low)} to {significant(high)}"]
    doubt = record.figure("area_relative_uncertainty")
    known = "uncertainty not stated" if math.isnan(doubt) else f"± {significant(100 * doubt, 2)} % (k = 1)"
    area = record.figure("area_cm2")
    return [
        Cell(record.specimen_names, (record.group,)),
        Cell(rate.method, (rate.how,) if rate.how else ()),
        Cell(when, (more,) if more else ()),
        estimate_cell(rate.mm_per_y, *rate.mm_per_y_ci95, lines=by_valence),
        estimate_cell(rate.g_per_m2_d, *rate.g_per_m2_d_ci95),
        Cell(significant(area, 4), () if math.isnan(area) else (known,)),
        Cell(f"none: {rate.refused[0].lower()}{rate.refused[1:]}")
        if rate.refused
        else Cell(rate.bias, rate.reasons),
    ]
