"""Extreme values in a study: the deepest pit of each equal field, extrapolated to the whole part."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import Table, columns, conform
from surfscan.errors import InputError
from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import significant

if TYPE_CHECKING:
    from surfscan.procedures.extremes import ExtremesResult

AREAS_ALIKE = 1.02
"""Blocks are of equal area where the largest is larger than the smallest by no more than this factor."""

BLOCK = "deepest pit of one height map"


@dataclass(frozen=True)
class Extremes:
    """Extreme-value analysis of a group, or of one specimen with enough fields.

    Attributes
    ----------
    group : str
    specimen : str
        Empty where the blocks are those of the whole group.
    row : dict
        Its row of the table.
    result : ExtremesResult or None
        None where refused.
    warnings : tuple of str
    """

    group: str
    specimen: str
    row: dict[str, Any]
    result: ExtremesResult | None
    warnings: tuple[str, ...]

    @property
    def name(self) -> str:
        """Group, or specimen and group."""
        return f"{self.specimen} · {self.group}" if self.specimen else self.group


def summarise_extremes(groups: Sequence[GroupSummary]) -> list[Extremes]:
    """One analysis for each group that has height maps, and for each of several specimens with enough maps.

    Notes
    -----
    A block is a height map that enters means: its maximum is its deepest pit, a lower bound where the floor
    of any of its pits was not measured. A map without a pit is an upper bound: no pit as deep as its
    smallest depth counted. Blocks must be of equal area within 2 %; the part is the specimen, whose
    surface the study states.
    """
    from surfscan.procedures.extremes import FEWEST_BLOCKS

    out = []
    for group in groups:
        members = [m for m in group.members if m.pooled["height_pits"]]
        if not members:
            continue
        out.append(_analyse(group.name, "", members))
        if len(members) > 1:
            out += [
                _analyse(group.name, m.specimen.id, [m])
                for m in members
                if len(m.pooled["height_pits"]) >= FEWEST_BLOCKS["gumbel"]
            ]
    return out


def extremes_table(extremes: Sequence[Extremes]) -> Table:
    """One row an analysis, `study_extremes` in the column registry."""
    return conform(
        "study_extremes",
        {c.name: np.array([e.row[c.name] for e in extremes]) for c in columns("study_extremes")},
    )


def _analyse(group: str, specimen: str, members: Sequence[SpecimenSummary]) -> Extremes:
    from surfscan.procedures.extremes import analyse_maxima

    fields = [r for m in members for r in m.pooled["height_pits"]]
    areas = np.array([r.figure("pits", "field_area_mm2") for r in fields])
    depths = np.array([r.figure("pits", "max_depth_um") for r in fields])
    empty = np.isnan(depths)
    bounds = np.array([r.flag("pits", "max_depth_is_lower_bound") for r in fields])
    row: dict[str, Any] = {
        "group": group,
        "specimen": specimen,
        "block": BLOCK,
        "n_specimens": len(members),
        "n_blocks": len(fields),
        "n_lower_bound": int(bounds.sum()),
        "n_without_pit": int(empty.sum()),
        "block_area_mm2": float(areas.mean()),
        "model": "",
        "refused": "",
        **dict.fromkeys(_NUMBERS, math.nan),
    }
    part, warnings = _part_area(members)
    row["part_area_mm2"] = part
    result = None
    try:
        _require_blocks(fields, areas, part)
        result = analyse_maxima(
            np.where(empty, [_hidden_below(r) for r in fields], depths),
            censored=bounds,
            below=empty,
            block_area_mm2=float(areas.mean()),
            part_area_mm2=part,
        )
    except InputError as refusal:
        row["refused"] = str(refusal)
    if result is not None:
        low, high = result.return_level_ci95
        row |= {
            "return_period": result.return_period,
            "model": result.fit.model,
            "location_um": result.fit.location,
            "scale_um": result.fit.scale,
            "shape": result.fit.shape,
            "gumbel_p": result.gumbel.p_value,
            "return_level_um": result.return_level,
            "return_level_um_ci95_low": low,
            "return_level_um_ci95_high": high,
        }
        warnings += result.warnings
    row["warnings"] = " | ".join(warnings)
    return Extremes(group, specimen, row, result, tuple(warnings))


_NUMBERS = (
    "return_period",
    "location_um",
    "scale_um",
    "shape",
    "gumbel_p",
    "return_level_um",
    "return_level_um_ci95_low",
    "return_level_um_ci95_high",
)


def _hidden_below(record: FieldRecord) -> float:
    """Depth above which a pit would have been found on a map that shows none."""
    return record.figure("pits", "smallest_depth_um")


def _part_area(members: Sequence[SpecimenSummary]) -> tuple[float, list[str]]:
    """Surface of the part: the largest of the specimens; not-a-number where none states it."""
    stated = [m.specimen.wetted_mm2 for m in members if m.specimen.wetted_mm2 is not None]
    if not stated:
        return math.nan, []
    warnings = []
    if len(stated) < len(members):
        warnings.append(
            f"surface_area_mm2 is stated for {len(stated)} of {count(len(members), 'specimen')} only."
        )
    if max(stated) > AREAS_ALIKE * min(stated):
        warnings.append(
            f"Specimens differ in surface ({significant(min(stated))} to {significant(max(stated))} mm²): "
            "the return level is for the largest."
        )
    return float(max(stated)), warnings


def _require_blocks(fields: Sequence[FieldRecord], areas: np.ndarray, part_area_mm2: float) -> None:
    """Refuse blocks that are not alike, and a part whose surface nobody stated."""
    if np.isnan(areas).any():
        raise InputError(
            None,
            f"{int(np.isnan(areas).sum())} of {count(len(areas), 'height map')} have no known pixel size, "
            "so no area",
            "State pixel_size_um",
        )
    if areas.max() > AREAS_ALIKE * areas.min():
        smaller = [r for r, area in zip(fields, areas, strict=True) if AREAS_ALIKE * area < areas.max()]
        why, remedy = _smaller_since(smaller)
        raise InputError(
            None,
            f"the height maps differ in measured area ({significant(areas.min())} to "
            f"{significant(areas.max())} mm²){why}, and block maxima compare only on equal areas",
            remedy,
        )
    if math.isnan(part_area_mm2):
        raise InputError(
            None,
            "the surface of the part is not stated, so there is nothing to extrapolate to",
            "State surface_area_mm2 of the specimens",
        )


def _smaller_since(smaller: Sequence[FieldRecord]) -> tuple[str, str]:
    """Which masks, where it is only they, make some maps smaller than the others; and what to do."""
    masks = [[role for role in ("datum", "region") if role in r.image.companions()] for r in smaller]
    if not all(masks):
        return "", "Measure fields of one size, or cut them to one"
    named = " and ".join(dict.fromkeys(f"{role} mask" for roles in masks for role in roles))
    which = smaller[0].image_id if len(smaller) == 1 else count(len(smaller), "map")
    return (
        f": a {named} takes part of {which} out",
        "Give the other maps a mask of the same size (region), or leave the masked ones to a group of "
        "their own",
    )
