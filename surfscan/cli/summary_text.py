"""What a study says in a terminal: specimens and groups, one table for each kind of image."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.report.cells import GREATEST, HEADS
from surfscan.report.rounding import at_least, greatest_words, round_to_interval
from surfscan.report.strut_records import EQUAL_LOSS, MEASURED_THICKNESS

if TYPE_CHECKING:
    from surfscan.report.groups import GroupSummary
    from surfscan.report.pooling import SpecimenSummary
    from surfscan.report.records import FieldRecord
    from surfscan.study.entries import Shows

_TITLES: dict[Shows, str] = {
    "surface": "Pictures of surfaces",
    "heights": "Height maps",
    "strut": "Struts",
    "section": "Cross-sections",
}
_ESSENTIALS: dict[Shows, tuple[str, ...]] = {
    "surface": (
        "pit_density_per_mm2",
        "pit_density_per_mpx",
        "pitted_area_fraction",
        "degraded_area_fraction",
    ),
    "heights": ("max_depth_um", "volume_per_area_um", "Sq_um"),
    "strut": (
        "mean_strut_width_um",
        "min_strut_width_um",
        "strut_loss_fraction",
        "least_section_left_fraction",
    ),
    "section": ("remaining_section_fraction", "section_penetration_um", "max_section_penetration_um"),
}
"""What images show -> figures said of them; a column without any value is left out."""


_BASES = {MEASURED_THICKNESS: ", measured", EQUAL_LOSS: ", equal loss"}
_BASIS_NOTE = (
    "  (measured: with measured thickness; equal loss: estimated from width with equal loss all round)"
)


def study_text(
    title: str,
    records: Sequence[FieldRecord],
    specimens: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
) -> str:
    """The essentials of a measured study.

    Parameters
    ----------
    title : str
    records : sequence of FieldRecord
        Its images.
    specimens : sequence of SpecimenSummary
    groups : sequence of GroupSummary

    Returns
    -------
    str
        Lines of text, the last without a line break: a table for each kind of image, groups one after the
        other, their specimens and the mean over them, each figure with its 95 % interval in brackets.
    """
    states = [record.status(p) for record in records for p in record.image.procedures]
    lines = [f"{title}: {_counted(len(records), 'image')}, {_counted(len(specimens), 'specimen')}"]
    for state, said in (("failed", "failed"), ("not measured", "not measured yet")):
        if state in states:
            lines.append(f"{_counted(states.count(state), 'procedure')} {said}")
    for kind in _TITLES:
        lines += _table(kind, groups)
    alone = [s for s in specimens if not any(s in group.members for group in groups)]
    if alone:
        lines += ["", f"In no group: {', '.join(s.specimen.id for s in alone)}"]
    warned = sum(len(group.warnings) for group in groups) + sum(len(s.warnings) for s in specimens)
    if warned:
        lines += ["", f"{_counted(warned, 'warning')}: 'surfscan report' lists what limits these figures."]
    return "\n".join(lines)


def _table(kind: Shows, groups: Sequence[GroupSummary]) -> list[str]:
    """Lines of one table; none where no specimen has such images."""
    names = [n for n in _ESSENTIALS[kind] if any(group.values(n) for group in groups)]
    if not names:
        return []
    rows = [["", *(", ".join(HEADS[name][:2]) for name in names)]]
    for group in groups:
        members = [m for m in group.members if m.by_kind[kind].records]
        if not members:
            continue
        rows.append([_said_of(group)])
        rows += [[f"  {m.specimen.id}", *(_of_specimen(m, kind, name) for name in names)] for m in members]
        rows.append(["  mean", *(_of_group(group, name) for name in names)])
    widths = [max(len(row[i]) for row in rows if i < len(row) > 1) for i in range(len(names) + 1)]
    note = [_BASIS_NOTE] if "least_section_left_fraction" in names else []
    return ["", _TITLES[kind], *(_aligned(row, widths) for row in rows), *note]


def _aligned(row: Sequence[str], widths: Sequence[int]) -> str:
    if len(row) == 1:
        return row[0]
    return "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()


def _said_of(group: GroupSummary) -> str:
    hours = group.row["exposure_h"]
    return group.name if math.isnan(hours) else f"{group.name}, {hours:g} h"


def _of_specimen(specimen: SpecimenSummary, kind: Shows, name: str) -> str:
    row = specimen.by_kind[kind].row
    value, low, high = (row.get(f"{name}{end}", math.nan) for end in ("", "_ci95_low", "_ci95_high"))
    is_bound = name == "max_depth_um" and bool(row.get("max_depth_is_lower_bound"))
    basis = _BASES.get(row.get(f"{name.removesuffix('_fraction')}_basis", ""), "")
    return _cell(name, value, low, high, is_bound) + basis


def _of_group(group: GroupSummary, name: str) -> str:
    mean = group.means[name]
    low, high = mean.ci95 or (math.nan, math.nan)
    if name in GREATEST:
        low, high = group.greatest_limits(name)
    return _cell(name, mean.value, low, high, any(group.lower_bounds(name)), group.doubt(name))


def _cell(
    name: str, value: float, low: float, high: float, is_lower_bound: bool, doubt: float = math.nan
) -> str:
    """A figure with its interval, in the unit of its head."""
    if name in GREATEST:
        text, interval = greatest_words(value, low, high, doubt=doubt)
        return f"{text} ({interval})" if interval else text
    said = round_to_interval(value, low, high, scale=HEADS[name][2], doubt=doubt)
    return at_least(said.value, True) if is_lower_bound else str(said)


def _counted(number: int, noun: str) -> str:
    return f"{number} {noun}" if number == 1 else f"{number} {noun}s"
