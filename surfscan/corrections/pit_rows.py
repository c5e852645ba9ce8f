"""The table beside a review of pits: one row an object, with its marks and how doubtful it is."""

from __future__ import annotations

from typing import Any

import numpy as np

from surfscan.columns import Table, columns
from surfscan.corrections.pit_state import ORIGIN, STATUS, PitState
from surfscan.measurement.objects import nearest_distance
from surfscan.procedures.field_summary import smallest_diameter_px
from surfscan.procedures.settings import HeightPitSettings

_WORDS = {"status": STATUS, "origin": ORIGIN}


def rows_of(state: PitState) -> Table:
    """Rows of all objects that there are, in ascending order: see `PitReview.rows`."""
    return _table(state, state.living())


def row_of(state: PitState, number: int) -> dict[str, Any]:
    """The same of one object, as plain values."""
    table = _table(state, np.array([number]))
    return {
        name: values[0].item() if hasattr(values[0], "item") else values[0] for name, values in table.items()
    }


def _table(state: PitState, ids: np.ndarray) -> Table:
    nearest = _nearest(state)
    known = state.field.pixel_size_um is not None
    out: Table = {"label": ids.astype(np.int32)}
    for name, words in _WORDS.items():
        out[name] = np.array(words)[state.rows[name][ids]]
    for name in ("settled", "redrawn"):
        out[name] = state.rows[name][ids]
    out["doubt"] = _doubt(state, ids)
    for column in columns("pits"):
        if column.name.startswith("nearest_pit"):
            mine = column.name.endswith("_um") == known
            out[column.name] = nearest[ids] if mine else np.full(len(ids), np.nan)
        elif column.name != "label":
            values = state.rows[column.name][ids]
            out[column.name] = values.astype(str) if values.dtype == object else values
    return out


def _nearest(state: PitState) -> np.ndarray:
    """Distance of every object that counts to the nearest other one, by number."""
    counting = state.counting()
    unit = "px" if state.field.pixel_size_um is None else "um"
    out = np.full(state.size + 1, np.nan)
    out[counting] = nearest_distance(state.rows[f"row_{unit}"][counting], state.rows[f"col_{unit}"][counting])
    return out


def _doubt(state: PitState, ids: np.ndarray) -> np.ndarray:
    """Nearness to the limits: 1 at the nearest limit or below it, 0.5 at twice the limit."""
    settings, rows = state.field.settings, state.rows
    smallest = smallest_diameter_px(settings, state.field.image.calibration)
    ratios = [np.sqrt(4 * rows["area_px"][ids] / np.pi) / smallest]
    if isinstance(settings, HeightPitSettings):
        ratios.append(rows["depth_to_roughness"][ids] / settings.min_depth_to_roughness)
        if settings.min_depth_um is not None:
            ratios.append(rows["depth_um"][ids] / settings.min_depth_um)
    else:
        ratios.append(rows["contrast"][ids] / settings.min_contrast)
        ratios.append(rows["contrast_to_noise"][ids] / settings.min_contrast_to_noise)
    least = np.fmin.reduce(ratios)
    return np.asarray(1 / np.maximum(least, 1.0))
