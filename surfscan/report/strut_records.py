"""What the stored result of a picture of struts says beyond its summary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from surfscan.columns import Table
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import significant

MEASURED, DRAWN = "measured", "drawn"
MEASURED_THICKNESS, EQUAL_LOSS = "measured thickness", "equal loss all round"
"""What a least section left rests on, the better one first."""

COUNTS = (
    "strut_count",
    "broken_count",
    "through_pitted_count",
    "crack_count",
    "gap_count",
    "fragment_count",
    "missing_count",
)
_LOOSE, _MISSING = "fragment", "missing"


@dataclass(frozen=True)
class LostMetal:
    """Lost metal as zero width, and without it; not-a-number where nothing tells.

    Attributes
    ----------
    length_fraction : float
        Share of the length that is gone.
    with_lost, of_survivors : float
        Loss of width with what is gone as zero width, and of what still stands.
    """

    length_fraction: float
    with_lost: float
    of_survivors: float


@dataclass(frozen=True)
class LeastSection:
    """The least section left on a picture over the section before or as drawn.

    Attributes
    ----------
    value, low, high : float
        With its 95 % interval; not-a-number where there is none.
    basis : str
        `MEASURED_THICKNESS` or `EQUAL_LOSS`; empty where there is none.
    """

    value: float
    low: float
    high: float
    basis: str


def carrying(struts: Table) -> np.ndarray:
    """Places of the struts that carry: with a width, neither missing nor loose."""
    there = ~np.isin(struts["condition"], (_LOOSE, _MISSING))
    return np.flatnonzero(there & np.isfinite(struts["mean_width_px"]))


def counted_length_um(record: FieldRecord) -> float:
    """Length over which the widths of a picture count, by which it weighs in means."""
    struts = record.table("struts")
    return float(struts["counted_length_um"][carrying(struts)].sum())


def penetration_um(record: FieldRecord) -> tuple[float, float]:
    """Half of the width lost on average over struts with a reference, and half of its 95 % interval.

    Notes
    -----
    The uncertainty of the reference counts in full: relative to the reference, not to what is left. The
    scale common to width and reference is not in it.
    """
    struts = record.table("struts")
    k = carrying(struts)
    k = k[np.isfinite(struts["loss_fraction"][k])]
    length = struts["compared_length_um"][k]
    weight = length / length.sum()
    loss, reference = struts["loss_fraction"][k], struts["reference_width_um"][k]
    own = (struts["mean_width_px_ci95_high"][k] - struts["mean_width_px_ci95_low"][k]) / 2
    own = own / struts["mean_width_px"][k]
    whole = (struts["loss_fraction_ci95_high"][k] - struts["loss_fraction_ci95_low"][k]) / 2 / (1 - loss)
    others = np.sqrt(np.maximum(whole**2 - own**2, 0))
    half = reference * np.hypot(own * (1 - loss), others) / 2
    return float(weight @ (loss * reference)) / 2, float(weight @ half)


def lost_metal(record: FieldRecord) -> LostMetal:
    """Lost metal of a picture, against a picture before or, from its gaps, against the drawn width."""
    length = record.figure("struts", "lost_length_fraction")
    with_lost = record.figure("struts", "loss_with_lost_fraction")
    survivors = record.figure("struts", "loss_of_survivors_fraction")
    if math.isnan(with_lost) and record.text("struts", "loss_against") == DRAWN:
        survivors = record.figure("struts", "loss_fraction")
        with_lost = 1 - (1 - length) * (1 - survivors)
    return LostMetal(length, with_lost, survivors)


def section_basis(record: FieldRecord) -> str:
    """Thickness behind the sections of a picture: measured, drawn (upper bounds), or empty."""
    text = record.text("struts", "section_basis")
    return next((basis for basis in (MEASURED, DRAWN) if text.startswith(basis)), "")


def least_section(record: FieldRecord) -> LeastSection:
    """The estimate of the least section to go by: with measured thickness, else with equal loss all round.

    Width and drawn thickness alone give an upper bound, which stands beside it. There is none where the
    picture shows more metal than there was (`exceeds_reference`).
    """
    if exceeds_reference(record):
        return LeastSection(math.nan, math.nan, math.nan, "")
    return _least_section(record)


def exceeds_reference(record: FieldRecord) -> bool:
    """Whether struts are wider, or sections larger, than before or as drawn by more than their 95 % interval.

    Scale, drawn size or the part before are then not those of this part, or product was taken for metal: no
    loss and no section can be told.
    """
    loss, (_, most) = record.figure("struts", "loss_fraction"), record.interval("struts", "loss_fraction")
    least = _least_section(record)
    smallest = least.value if math.isnan(least.low) else least.low
    return (loss if math.isnan(most) else most) < 0 or smallest > 1


def excess_words(record: FieldRecord) -> str:
    """By how much a picture shows more metal than there was."""
    loss = record.figure("struts", "loss_fraction")
    if loss < 0:
        return f"struts {significant(1 - loss)} times as wide as before or as drawn"
    share = significant(_least_section(record).value)
    return f"a least section {share} times that before or as drawn"


def _least_section(record: FieldRecord) -> LeastSection:
    is_measured = section_basis(record) == MEASURED
    name = "least_section_fraction" if is_measured else "least_section_equal_loss_fraction"
    value = record.figure("struts", name)
    basis = "" if math.isnan(value) else MEASURED_THICKNESS if is_measured else EQUAL_LOSS
    return LeastSection(value, *record.interval("struts", name), basis)


def is_upper_bound(record: FieldRecord) -> bool:
    """Whether section fractions of a picture are upper bounds, for its thickness was not measured."""
    return section_basis(record) == DRAWN


def station_shares(record: FieldRecord) -> np.ndarray:
    """Remaining width of every station over its width before or as drawn; not-a-number where not counted.

    All not-a-number where nothing is known to compare with, or where that cannot be right.
    """
    stations, struts = record.table("stations"), record.table("struts")
    reference = np.full(len(stations["strut"]), np.nan)
    for number, width in zip(struts["strut"], struts["reference_width_px"], strict=True):
        reference[stations["strut"] == number] = width
    if exceeds_reference(record):
        return np.full(len(reference), np.nan)
    now, wide = stations["width_um"], stations["width_px"]
    there = np.isfinite(now) & (now > 0)
    before = np.divide(stations["width_before_um"] * wide, now, out=np.full(len(now), np.nan), where=there)
    reference = np.where(np.isfinite(before), before, reference)
    return np.where(stations["fault"] == "", wide / reference, np.nan)


def worst_first(record: FieldRecord) -> list[int]:
    """Rows of the table of struts: missing ones, then by least section or else least width."""
    struts = record.table("struts")
    section, width = struts["least_section_fraction"], struts["min_width_px"] / struts["reference_width_px"]
    keys = [section, width, struts["min_width_px"]]
    known = next((k for k in keys if np.isfinite(k).any()), keys[-1])
    rank = np.where(struts["condition"] == _MISSING, -1.0, np.nan_to_num(known, nan=np.inf))
    return [int(k) for k in np.argsort(rank, kind="stable")]


def stretches(numbers: np.ndarray) -> list[tuple[int, int]]:
    """First station and one past the last of every strut, from the strut number of each station."""
    if not len(numbers):
        return []
    bounds = [0, *(np.flatnonzero(np.diff(numbers)) + 1).tolist(), len(numbers)]
    return list(pairwise(bounds))


def runs_backwards(stations: Table, start: int, end: int) -> bool:
    """Whether a strut begins at its right or lower end, so that charts count its positions from the other."""
    across = float(stations["col_px"][end - 1] - stations["col_px"][start])
    down = float(stations["row_px"][end - 1] - stations["row_px"][start])
    return (across if abs(across) >= abs(down) else down) < 0
