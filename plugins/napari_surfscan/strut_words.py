"""Figures of struts in words, each with its unit. No Qt."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.report.rounding import round_to_interval, significant

if TYPE_CHECKING:
    from surfscan.corrections.strut_edits import StrutChanges
    from surfscan.procedures.strut_profile import StrutProfile

_FAULTS = {
    "junction": "in the fillet of a junction",
    "end": "in the rounding of a free end",
    "frame": "an edge lies outside the field",
    "no edge": "no edge was found",
}


def strut_words(result: Any, strut: int) -> str:
    """A strut in a list: number, least section or least width, and what is wrong with it."""
    struts = result.tables["struts"]
    k = int(np.flatnonzero(struts["strut"] == strut)[0])
    section = float(struts["least_section_fraction"][k])
    unit = "px" if result.calibration is None else "um"
    if section == section:
        least = f"least section {significant(100 * section, 3)} %"
    else:
        least = f"least {significant(float(struts[f'min_width_{unit}'][k]))} {'px' if unit == 'px' else 'µm'}"
    condition = str(struts["condition"][k])
    return f"{strut}: {least}" + ("" if condition == "whole" else f", {condition}")


def mean_words(profile: StrutProfile) -> str:
    """Mean and least width with their 95 % intervals."""
    mean = _with_interval(profile.mean, profile.mean_low, profile.mean_high, profile.unit)
    least = _with_interval(profile.least, profile.least_low, profile.least_high, profile.unit)
    n = int(np.count_nonzero(np.isfinite(profile.width)))
    return f"Mean {mean}\nLeast {least}\n{n} of {len(profile.s)} stations count"


def place_words(profile: StrutProfile, place: int) -> str:
    """Position, width with its interval, and the share that is left at one place."""
    if not 0 <= place < len(profile.s):
        return "Move over the plot or the strut to see a place."
    at = f"At {significant(float(profile.s[place]), 4)} {profile.unit}: "
    width = float(profile.width[place])
    if width != width:
        return at + f"no width counts, {_FAULTS.get(str(profile.fault[place]), 'not measured')}."
    text = at + _with_interval(width, float(profile.low[place]), float(profile.high[place]), profile.unit)
    share = float(profile.share[place])
    if share == share:
        of = "width before" if profile.reference_kind == "before" else "drawn width"
        text += f", {significant(100 * share, 3)} % of the {of}"
    return text + (" (edge by hand)" if profile.by_hand[place] else "")


def section_line(profile: StrutProfile, place: int, left: str) -> str:
    """What is left of the section at one place, or why that is not known."""
    if left:
        return f"Section left: {left}"
    if not 0 <= place < len(profile.s) or profile.width[place] != profile.width[place]:
        return "No section is known where no width counts."
    if profile.unit == "px":
        return "No section is known without a scale: see the panel Scale."
    return "No section is known: state drawn_strut_width_um and drawn_thickness_um in study.toml."


def changes_words(changes: StrutChanges) -> str:
    """What a save would hold: moves, stations, length and share by hand, and what the mean width does."""
    if not changes.move_count:
        return "No edge has been moved."
    has_scale = changes.moved_length_um == changes.moved_length_um
    unit = "µm" if has_scale else "px"
    length = changes.moved_length_um if has_scale else changes.moved_length_px
    largest = changes.largest_move_um if has_scale else changes.largest_move_px
    drags = "1 drag" if changes.move_count == 1 else f"{changes.move_count} drags"
    text = (
        f"{drags}: {changes.station_count} stations moved over {significant(length)} {unit} of strut, "
        f"by {significant(largest, 2)} {unit} at most; "
        f"{significant(100 * changes.by_hand_fraction, 2)} % of the length is by hand."
    )
    if changes.missed_count:
        text += f" {changes.missed_count} found no edge to move."
    return text


def _with_interval(value: float, low: float, high: float, unit: str) -> str:
    rounded = round_to_interval(value, low, high)
    return f"{rounded.value} {unit} ({rounded.low} to {rounded.high})"
