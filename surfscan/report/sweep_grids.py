"""Tables of the page about potential sweeps: results, methods side by side, passivity."""

from __future__ import annotations

import math
from collections.abc import Sequence

from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.rate_records import RateRecord
from surfscan.report.rate_tables import no_current
from surfscan.report.rounding import NO_VALUE, at_least, at_most, significant
from surfscan.report.sweep_prose import potential_interval, tenths

_METHODS = {"fit": "Fit of both branches", "tafel": "Tafel extrapolation", "stern_geary": "Stern-Geary"}


def sweep_grid(sweeps: Sequence[RateRecord]) -> Grid:
    """One row a sweep."""
    references = dict.fromkeys(r.text("reference") or "not stated" for r in sweeps if r.done)
    one = next(iter(references)) if len(references) == 1 else ""
    heads = [
        Head("Sweep", "specimen"),
        Head("Zero-current potential", f"V against {one}" if one else "V", number=True),
        Head("Corrosion current", "µA/cm²", number=True),
        Head("Method"),
        Head("Anodic slope", "mV/decade", number=True),
        Head("Cathodic slope", "mV/decade", number=True),
        Head("Limiting current", "µA/cm²", number=True),
        Head("Polarization resistance", "ohm cm²", number=True),
        Head("Rate", "mm/y", number=True),
    ]
    rows = []
    for record in sweeps:
        lines = [] if one else [record.text("reference")]
        rows.append(
            [
                name_cell(record),
                _potential_cell(record, lines),
                Cell("none") if no_current(record) else _cell(record, "icorr_uA_per_cm2"),
                Cell(record.text("method"), _texts(record, "method_note")),
                _cell(record, "anodic_slope_mV_per_decade"),
                _cell(record, "cathodic_slope_mV_per_decade"),
                _cell(record, "limiting_current_uA_per_cm2"),
                _cell(record, "polarization_resistance_ohm_cm2"),
                _cell(record, "rate_mm_per_y"),
            ]
        )
    return Grid(f"Sweeps ({len(sweeps)}), 95 % interval below", heads, rows).without_empty_columns()


def sweep_notes(sweeps: Sequence[RateRecord]) -> list[str]:
    """Why sweeps give no corrosion current, each reason once."""
    said: dict[str, list[str]] = {}
    for record in sweeps:
        if why := no_current(record):
            said.setdefault(why, []).append(record.entry_id)
    return [f"{', '.join(names)}: no corrosion current; {why}" for why, names in said.items()]


def method_grid(sweeps: Sequence[RateRecord]) -> Grid:
    """One row a sweep: the corrosion current by every method, or why it gives none."""
    heads = [Head("Sweep", "specimen"), *(Head(name, "µA/cm²") for name in _METHODS.values())]
    rows = []
    for record in sweeps:
        if not record.done:
            continue
        cells = [name_cell(record)]
        for key in _METHODS:
            name = f"{key}_icorr_uA_per_cm2"
            refused = record.text(f"{key}_refused")
            if refused:
                cells.append(Cell("refused", (refused,)))
            else:
                cells.append(
                    estimate_cell(
                        record.figure(name), *record.interval(name), lines=_texts(record, f"{key}_note")
                    )
                )
        rows.append(cells)
    return Grid("Corrosion current by every method, none blended", heads, rows)


def cyclic_grid(sweeps: Sequence[RateRecord]) -> Grid | None:
    """One row a sweep with a passive stretch; None where there is none."""
    passive = [r for r in sweeps if r.value("passive_window_V") is not None]
    if not passive:
        return None
    heads = [
        Head("Sweep", "specimen"),
        Head("Passive current", "µA/cm²", number=True),
        Head("Breakdown", "V", number=True),
        Head("Protection", "V", number=True),
        Head("Vertex", "V", number=True),
        Head("Breakdown margin", "V", number=True),
        Head("Protection margin", "V", number=True),
        Head("Hysteresis", "decades", number=True),
        Head("What the rise is"),
    ]
    rows = []
    for record in passive:
        censored = record.value("breakdown_at_least_V") is not None
        breakdown = "breakdown_at_least_V" if censored else "breakdown_V"
        margin = "breakdown_margin_at_least_V" if censored else "breakdown_margin_V"
        sunk = record.value("protection_V") is None and record.value("protection_at_most_V") is not None
        protection = "protection_at_most_V" if sunk else "protection_V"
        origin = record.text("margin_from")
        rows.append(
            [
                name_cell(record),
                _cell(record, "passive_current_density_uA_per_cm2"),
                Cell(at_least(_volts(record, breakdown), censored), ("censored",) if censored else ()),
                Cell(at_most(_volts(record, protection), sunk)),
                Cell(_volts(record, "vertex_V")),
                Cell(at_least(_volts(record, margin), censored), (f"from {origin}",) if origin else ()),
                Cell(_volts(record, "protection_margin_V")),
                Cell(significant(record.figure("hysteresis_decades"), 2)),
                Cell(record.text("rise_is").replace("none", "no rise")),
            ]
        )
    caption = (
        "Passivity: ≥ no breakdown up to the vertex (censored), ≤ the run back never met the way up; "
        "hysteresis is log10 of the current on the way back over that on the way up"
    )
    return Grid(caption, heads, rows).without_empty_columns()


def name_cell(record: RateRecord) -> Cell:
    """A sweep with its specimen, and what that stands for."""
    lines = [record.specimen_names]
    lines += [f"twin of {record.twin_of}"] if record.twin_of else []
    return Cell(record.entry_id, (", ".join(lines),))


def _cell(record: RateRecord, name: str) -> Cell:
    return estimate_cell(record.figure(name), *record.interval(name))


def _potential_cell(record: RateRecord, lines: Sequence[str]) -> Cell:
    value = record.figure("Ecorr_V")
    if math.isnan(value):
        return Cell(NO_VALUE)
    return Cell(tenths(value), tuple(filter(None, (potential_interval(record), *lines))))


def _volts(record: RateRecord, name: str) -> str:
    value = record.figure(name)
    return NO_VALUE if math.isnan(value) else f"{value:.3f}".replace("-", "−")


def _texts(record: RateRecord, name: str) -> tuple[str, ...]:
    text = record.text(name)
    return (text,) if text else ()
