"""Tables of struts: one row a strut, rows along them, and rows of what is broken."""

from __future__ import annotations

import math

import numpy as np

from surfscan.columns import Table, conform
from surfscan.images import Calibration
from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_faults import FRAGMENT, Fault, broken_struts
from surfscan.measurement.strut_widths import LEAST_STATIONS, Z95, StrutWidths
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison
from surfscan.procedures.strut_sections import StrutSections
from surfscan.segmentation.centrelines import Centrelines

WHOLE, BROKEN, LOOSE, MISSING = "whole", "broken", "fragment", "missing"


def station_table(stations: Stations, comparison: Comparison | None, cut: StrutSections) -> Table:
    """Table "stations" with widths before and sections, where they are known.

    Parameters
    ----------
    stations : Stations
    comparison : Comparison or None
    cut : StrutSections

    Returns
    -------
    Table
    """
    table = stations.table()
    if comparison is not None:
        table["width_before_um"] = comparison.width_before * stations.unit_um
        table["width_before_px"] = comparison.width_before
    return table | {
        "section_area_um2": cut.area_um2,
        "section_fraction": cut.fraction,
        "section_equal_loss_fraction": cut.equal_loss,
    }


def fault_table(faults: list[Fault], stations: Stations, comparison: Comparison | None) -> Table:
    """Table "strut_faults", missing struts included.

    Parameters
    ----------
    faults : list of Fault
    stations : Stations
    comparison : Comparison or None

    Returns
    -------
    Table
    """
    rows = list(faults)
    if comparison is not None:
        for k, number in enumerate(comparison.match.missing):
            row, col = _middle_of_missing(comparison, int(number))
            was = float(comparison.lengths_before[number - 1])
            rows.append(Fault(MISSING, stations.n_struts + k + 1, 0, row, col, was, math.nan, True))
    unit = stations.unit_um
    length = np.array([f.length for f in rows], float)
    area = np.array([f.area for f in rows], float)
    return conform(
        "strut_faults",
        {
            "kind": np.array([f.kind for f in rows], dtype=str),
            "strut": np.array([f.strut for f in rows], int),
            "other_strut": np.array([f.other_strut for f in rows], int),
            "row_px": np.array([f.row for f in rows], float),
            "col_px": np.array([f.col for f in rows], float),
            "length_um": length * unit,
            "area_um2": area * unit**2,
            "through": np.array([f.through for f in rows], bool),
            "length_px": length,
            "area_px": area,
        },
    )


def strut_table(
    centrelines: Centrelines,
    stations: Stations,
    widths: StrutWidths,
    widths_px: StrutWidths,
    faults: list[Fault],
    comparison: Comparison | None,
    cut: StrutSections,
    settings: StrutSettings,
    scale: Calibration | None,
) -> Table:
    """Table "struts": those found in order, then those that are missing.

    Parameters
    ----------
    centrelines : Centrelines
    stations : Stations
    widths, widths_px : StrutWidths
        With and without the uncertainty of the scale.
    faults : list of Fault
    comparison : Comparison or None
    cut : StrutSections
    settings : StrutSettings
    scale : Calibration or None

    Returns
    -------
    Table
    """
    unit, n = stations.unit_um, stations.n_struts
    broken = broken_struts(faults, n)
    loose = np.zeros(n, bool)
    loose[[f.strut - 1 for f in faults if f.kind == FRAGMENT and f.strut > 0]] = True
    middle = (centrelines.start[:-1] + centrelines.start[1:]) // 2
    loss = _loss(widths, widths_px, stations, comparison, settings, scale)
    values: dict[str, np.ndarray] = {
        "strut": np.arange(1, n + 1),
        "condition": np.where(loose, LOOSE, np.where(broken, BROKEN, WHOLE)),
        "row_px": centrelines.row[middle],
        "col_px": centrelines.col[middle],
        "station_count": widths.stations,
        "min_row_px": widths.least_row,
        "min_col_px": widths.least_col,
        "broken": broken | loose,
        "through_pitted": widths.through_pitted,
        "leaves_field": (centrelines.end_kind == "frame").any(axis=1),
        "before_strut": _struts_before(n, comparison),
        "min_loss_fraction": 1 - widths.least / loss["reference_width_px"],
    }
    values |= loss
    for name in _COMPARED:
        values[f"{name}_um"] = loss[f"{name}_px"] * unit
    for name, of in _LENGTHS.items():
        values[f"{name}_um"] = getattr(widths, of) * unit
        values[f"{name}_px"] = getattr(widths_px, of)
    for name in ("mean", "min"):
        of = "mean" if name == "mean" else "least"
        for source, suffix, factor in ((widths, "um", unit), (widths_px, "px", 1.0)):
            key = f"{name}_width_{suffix}"
            values[key] = getattr(source, of) * factor
            values[f"{key}_ci95_low"] = getattr(source, f"{of}_low") * factor
            values[f"{key}_ci95_high"] = getattr(source, f"{of}_high") * factor
    values |= _section_columns(stations, cut)
    table = conform("struts", values)
    if comparison is None or not len(comparison.match.missing):
        return table
    missing = _missing_rows(table, n, unit, comparison)
    return conform("struts", {name: np.concatenate([table[name], missing[name]]) for name in table})


_LENGTHS = {
    "length": "length",
    "counted_length": "counted_length",
    "width_sd": "sd",
    "p05_width": "p05",
    "min_s": "least_s",
    "edge_roughness": "roughness",
    "edge_roughness_left": "roughness_left",
    "edge_roughness_right": "roughness_right",
}
_COMPARED = ("compared_length", "compared_width", "reference_width")


def _loss(
    widths: StrutWidths,
    widths_px: StrutWidths,
    stations: Stations,
    comparison: Comparison | None,
    settings: StrutSettings,
    scale: Calibration | None,
) -> Table:
    """What each strut is compared with, over what length, both mean widths (px), loss and its limits."""
    n = stations.n_struts
    against = np.full(n, "", dtype="U6")
    reference, now, length, relative = (np.full(n, np.nan) for _ in range(4))
    share = np.ones(n)
    if settings.drawn_width_um is not None and scale is not None:
        known = np.isfinite(widths.mean)
        against[known] = "drawn"
        reference[known] = settings.drawn_width_um / stations.unit_um
        now[known], length[known] = widths.mean[known], widths.counted_length[known]
        relative[known] = math.hypot(settings.drawn_relative_uncertainty, scale.relative_uncertainty)
    if comparison is not None:
        for k in np.flatnonzero(comparison.places >= LEAST_STATIONS):
            places = comparison.match.of_after(int(k) + 1)
            against[k] = "before"
            reference[k] = comparison.match.width_before[places].mean()
            now[k] = comparison.match.width_after[places].mean()
            length[k] = comparison.match.length[places].sum()
            share[k] = np.count_nonzero(places) / widths.stations[k]
            relative[k] = math.hypot(
                comparison.width_before_uncertainty[k] / reference[k],
                comparison.scale_uncertainty,
                comparison.levels_apart[k] / now[k],
                comparison.stretches_apart[k] / now[k],
            )
    left = now / reference
    own = np.hypot(widths_px.mean_random / np.sqrt(share), widths_px.mean_common)
    half = Z95 * left * np.hypot(own / now, relative)
    return {
        "loss_against": against,
        "compared_length_px": length,
        "compared_width_px": now,
        "reference_width_px": reference,
        "loss_fraction": 1 - left,
        "loss_fraction_ci95_low": 1 - left - half,
        "loss_fraction_ci95_high": 1 - left + half,
    }


def _struts_before(n: int, comparison: Comparison | None) -> np.ndarray:
    """The strut before that most places of each strut were matched with; 0 for none."""
    out = np.zeros(n, int)
    if comparison is not None:
        for k in range(n):
            own = comparison.match.strut_before[comparison.match.of_after(k + 1)]
            if own.size:
                out[k] = int(np.argmax(np.bincount(own)))
    return out


def _section_columns(stations: Stations, cut: StrutSections) -> dict[str, np.ndarray]:
    at = cut.least_station
    there, safe = at >= 0, np.maximum(at, 0)

    def along(values: np.ndarray) -> np.ndarray:
        return np.where(there, values[safe], np.nan) if len(values) else np.full(len(at), np.nan)

    out = {
        "mean_section_fraction": cut.mean_fraction,
        "mean_section_equal_loss_fraction": cut.mean_equal_loss,
        "least_section_area_um2": along(cut.area_um2),
        "least_section_s_um": along(stations.s) * stations.unit_um,
        "least_section_s_px": along(stations.s),
        "least_section_row_px": along(stations.row),
        "least_section_col_px": along(stations.col),
    }
    for name, values in (
        ("least_section_fraction", cut.least_fraction),
        ("least_section_equal_loss_fraction", cut.least_equal_loss),
    ):
        out |= {name: values[:, 0], f"{name}_ci95_low": values[:, 1], f"{name}_ci95_high": values[:, 2]}
    return out


def _middle_of_missing(comparison: Comparison, number: int) -> tuple[float, float]:
    own = np.flatnonzero(comparison.match.lost & (comparison.match.strut_before == number))
    at = own[len(own) // 2]
    return float(comparison.match.row[at]), float(comparison.match.col[at])


def _missing_rows(table: Table, n: int, unit: float, comparison: Comparison) -> Table:
    """Rows of struts that were there before and are not now: zero width, all of it lost."""
    missing = comparison.match.missing
    rows: Table = {}
    for name, column in table.items():
        blank = np.nan if column.dtype.kind == "f" else np.zeros(1, column.dtype)[0]
        rows[name] = np.full(len(missing), blank, column.dtype)
    rows["strut"] = np.arange(n + 1, n + 1 + len(missing))
    rows["condition"] = np.full(len(missing), MISSING)
    rows["before_strut"] = missing
    rows["loss_against"] = np.full(len(missing), "before")
    rows["row_px"], rows["col_px"] = np.array([_middle_of_missing(comparison, int(k)) for k in missing]).T
    length = comparison.lengths_before[missing - 1]
    match = comparison.match
    places = [match.lost & (match.strut_before == k) for k in missing]
    reference = np.array([match.width_before[at].mean() for at in places])
    compared = np.array([match.length[at].sum() for at in places])
    rows["length_um"], rows["length_px"] = length * unit, length
    rows["reference_width_um"], rows["reference_width_px"] = reference * unit, reference
    rows["compared_length_um"], rows["compared_length_px"] = compared * unit, compared
    for name in ("mean_width", "min_width", "compared_width"):
        rows[f"{name}_px"] = np.zeros(len(missing))
        rows[f"{name}_um"] = np.zeros(len(missing)) * unit
    rows["loss_fraction"], rows["min_loss_fraction"] = np.ones(len(missing)), np.ones(len(missing))
    rows["broken"] = np.ones(len(missing), bool)
    return rows
