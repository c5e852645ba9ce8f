"""Tables of the page about rig logs: logs, channels, excursions, instruments."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.rate_records import RateRecord
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant

MOST_EXCURSIONS = 40
"""Rows of the table of excursions on the page, the longest; the file has them all."""


def exposure_grid(logs: Sequence[RateRecord]) -> Grid:
    """One row a log."""
    heads = [
        Head("Log", "specimens"),
        Head("Verdict"),
        Head("Immersed", "h, enters rates", number=True),
        Head("In range", "h, for validity only", number=True),
        Head("Excursions", "n, longest in h", number=True),
        Head("Gaps", "n, h in all", number=True),
        Head("Hydraulic resistance", "rise, %", number=True),
        Head("Acid", "mL, blank", number=True),
        Head("Acid implies", "mm/y", number=True),
    ]
    rows = [_log_cells(r) for r in logs]
    return Grid(f"Rig logs ({len(logs)})", heads, rows).without_empty_columns()


def _log_cells(record: RateRecord) -> list[Cell]:
    if not record.done:
        return [_name(record), Cell(record.message), *(Cell(NO_VALUE) for _ in range(7))]
    immersed, inside = record.figure("immersed_h"), record.figure("in_range_h")
    share = record.figure("in_range_fraction")
    out, gaps = round(record.figure("excursion_count")), round(record.figure("gap_count"))
    longest, blank = record.figure("longest_excursion_h"), record.figure("acid_balance", "blank_mL")
    where = "hydraulic_resistance"
    clogs = record.value(where, "is_clogging")
    rise = estimate_cell(
        record.figure(where, "rise_fraction"),
        *record.interval(where, "rise_fraction"),
        scale=100.0,
        lines=["a sign of clogging"] if clogs else [],
    )
    return [
        _name(record),
        Cell(record.text("verdict")),
        Cell(significant(immersed, 4)),
        Cell(
            significant(inside, 4) if math.isfinite(inside) else "not judged",
            (f"{significant(100 * share)} %",) if math.isfinite(share) else (),
        ),
        Cell(str(out), (significant(longest),) if out else ()),
        Cell(str(gaps), (significant(record.figure("gap_h")),) if gaps else ()),
        rise,
        Cell(
            significant(record.figure("acid_balance", "acid_mL"), 4),
            (f"blank {significant(blank)}",) if blank > 0 else (),
        ),
        _acid_cell(record),
    ]


def _acid_cell(record: RateRecord) -> Cell:
    where = ("acid_balance", "rate")
    if record.value(*where) is None:
        return Cell(NO_VALUE)
    bias = record.text(*where, "bias")
    limits = record.interval(*where, "rate_mm_per_y")
    return estimate_cell(record.figure(*where, "rate_mm_per_y"), *limits, lines=[bias] if bias else [])


def channel_grid(logs: Sequence[RateRecord]) -> Grid:
    """One row a log and channel."""
    heads = [
        Head("Log"),
        Head("Channel", "unit"),
        Head("Column", "told by"),
        Head("Set point", "± tolerance", number=True),
        Head("Mean", "± SD", number=True),
        Head("Range", number=True),
        Head("In range", "% of the time", number=True),
        Head("Excursions", "n", number=True),
        Head("Frozen", "h", number=True),
        Head("Drift", "per day", number=True),
    ]
    rows = []
    for record in logs:
        table = record.table("channels")
        for k in range(len(table["channel"])):
            row = {name: column[k].item() for name, column in table.items()}
            if row["channel"] != "acid":
                rows.append(_channel_cells(record, row))
    return Grid("Channels of the rig logs; drift with its 95 % interval", heads, rows).without_empty_columns()


def _channel_cells(record: RateRecord, row: dict[str, float | str]) -> list[Cell]:
    def value(name: str) -> float:
        return float(row[name])

    unit = "" if row["unit"] == "1" else str(row["unit"])
    judged = math.isfinite(value("set_point"))
    drift = estimate_cell(
        value("drift_per_day"), value("drift_per_day_ci95_low"), value("drift_per_day_ci95_high")
    )
    spread = significant(value("sd"), 2)
    return [
        Cell(record.entry_id),
        Cell(str(row["channel"]), (unit,) if unit else ()),
        Cell(str(row["heading"]), (str(row["told_by"]),)),
        Cell(f"{value('set_point'):g}", (f"± {value('tolerance'):g}",)) if judged else Cell(NO_VALUE),
        Cell(_to_spread(value("mean"), value("sd")), (f"± {spread}",)),
        Cell(f"{significant(value('least'), 4)} to {significant(value('greatest'), 4)}"),
        Cell(significant(100 * value("in_range_fraction")) if judged else NO_VALUE),
        Cell(str(row["excursions"]) if judged else NO_VALUE),
        Cell(significant(value("frozen_h")) if value("frozen_h") else ""),
        drift,
    ]


def _to_spread(mean: float, sd: float) -> str:
    """A mean no finer than what its readings scatter by calls for."""
    return round_to_interval(mean, mean - sd, mean + sd).value if sd > 0 else significant(mean, 4)


def excursion_grid(logs: Sequence[RateRecord]) -> Grid | None:
    """The longest excursions, gaps and frozen stretches; None where there are none."""
    found = []
    for record in logs:
        table = record.table("excursions")
        for k in range(len(table["channel"])):
            found.append((record, {name: column[k].item() for name, column in table.items()}))
    if not found:
        return None
    longest = sorted(range(len(found)), key=lambda k: -found[k][1]["length_h"])[:MOST_EXCURSIONS]
    rows = []
    for k in sorted(longest):
        record, row = found[k]
        rows.append(
            [
                Cell(record.entry_id),
                Cell(row["channel"]),
                Cell(row["kind"]),
                Cell(significant(row["start_h"], 4)),
                Cell(significant(row["length_h"])),
                Cell(significant(row["worst"], 4)),
                Cell(significant(row["beyond"], 2)),
                Cell(significant(row["size"], 2)),
            ]
        )
    heads = [
        Head("Log"),
        Head("Channel"),
        Head("What"),
        Head("Start", "h since immersion", number=True),
        Head("Length", "h", number=True),
        Head("Worst", "unit of the channel", number=True),
        Head("Beyond the limit", "unit of the channel", number=True),
        Head("Size", "unit times h", number=True),
    ]
    left = f"; the {MOST_EXCURSIONS} longest, all in tables/excursions.csv" if len(found) > len(rows) else ""
    caption = f"Excursions, gaps and frozen sensors ({len(found)}){left}"
    return Grid(caption, heads, rows).without_empty_columns()


def check_grid(logs: Sequence[RateRecord]) -> Grid | None:
    """Instruments checked before and after; None where none was."""
    rows = []
    for record in logs:
        for check in record.value("checks") or ():
            name = " ".join(filter(None, (check["instrument"], check["name"])))
            unit = check["unit"] or "pH"
            rows.append(
                [
                    Cell(record.entry_id),
                    Cell(name, (unit,)),
                    Cell(significant(check["error_before"], 2)),
                    Cell(significant(check["error_after"], 2)),
                    Cell(significant(check["drift"], 2)),
                    Cell(significant(check["temperature_allowance"], 2)),
                    Cell(check["reason"] or "within the limits stated"),
                ]
            )
    if not rows:
        return None
    heads = [
        Head("Log"),
        Head("Instrument", "unit"),
        Head("Error before", number=True),
        Head("Error after", number=True),
        Head("Drift", number=True),
        Head("Allowance for temperature", number=True),
        Head("Finding"),
    ]
    return Grid("Instruments checked before and after", heads, rows)


def _name(record: RateRecord) -> Cell:
    return Cell(record.entry_id, (record.specimen_names,))
