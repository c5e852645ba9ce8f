"""What share of each figure came by hand: automatic figures beside those with corrections."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from surfscan.columns import GROUP_FIGURES
from surfscan.corrections.changes import Changes, compare_class_images, compare_label_images
from surfscan.errors import InputError
from surfscan.report.groups import GroupSummary, summarise_groups
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import FieldRecord
from surfscan.report.specimens import summarise_specimens
from surfscan.report.strut_records import counted_length_um
from surfscan.store.corrections import Correction, read_correction_mask
from surfscan.study.manifest import Study

_OBJECTS, _AREA, _LENGTH, _GREATEST = "objects", "area", "length", "greatest"

_SHARED_BY: dict[str, dict[str, str]] = {
    "pits": {
        "pit_density_per_mm2": _OBJECTS,
        "pit_density_per_mpx": _OBJECTS,
        "pitted_area_fraction": _AREA,
        "median_equivalent_diameter_um": _OBJECTS,
    },
    "degraded": {"degraded_area_fraction": _AREA, "tarnished_area_fraction": _AREA},
    "height_pits": {"max_depth_um": _GREATEST, "median_depth_um": _OBJECTS, "volume_per_area_um": _AREA},
    "struts": {
        "mean_strut_width_um": _LENGTH,
        "min_strut_width_um": _GREATEST,
        "strut_loss_fraction": _LENGTH,
        "width_penetration_um": _LENGTH,
        "least_section_left_fraction": _GREATEST,
        "least_section_fraction": _GREATEST,
        "least_section_equal_loss_fraction": _GREATEST,
    },
    "section": {
        "remaining_section_fraction": _AREA,
        "section_penetration_um": _AREA,
        "max_section_penetration_um": _GREATEST,
    },
}
"""Pool of fields -> its figures, and by what the share by hand of each is reckoned."""

_PROCEDURE_OF = {"height_pits": "pits"}

CLASS_OF = {"degraded": 2, "section": 1}
"""Procedure -> class of its mask that its figures rest on: degraded surface; metal."""


AllChanges = Mapping[tuple[str, str], Mapping[str, Any]]
"""Image and procedure -> what the correction that its figures are measured with changed."""


@dataclass(frozen=True)
class HandFigure:
    """One figure of a specimen or group, with and without corrections.

    Attributes
    ----------
    level : "specimen" or "group"
    name, figure : str
    value, automatic : float
        Not-a-number where there is none.
    share : float
        What came by hand, 0 to 1; not-a-number where that cannot be told.
    n_images, n_corrected : int
    """

    level: str
    name: str
    figure: str
    value: float
    automatic: float
    share: float
    n_images: int
    n_corrected: int

    @property
    def change(self) -> float:
        """Relative change by the corrections; not-a-number where the automatic figure is none or 0."""
        if math.isnan(self.value) or math.isnan(self.automatic) or self.automatic == 0:
            return math.nan
        return self.value / self.automatic - 1

    @property
    def unit(self) -> str:
        """Unit in the tables."""
        return GROUP_FIGURES[self.figure][0]


def hand_figures(
    study: Study,
    records: Sequence[FieldRecord],
    specimens: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
    changes: AllChanges,
) -> list[HandFigure]:
    """Figures that rest on corrected images, of specimens and of groups; none where nothing was corrected.

    Parameters
    ----------
    study : Study
    records : sequence of FieldRecord
        All images.
    specimens, groups
        Summaries of these records.
    changes : mapping of (str, str) to mapping
        See `all_changes`.

    Returns
    -------
    list of HandFigure
    """
    if not any(record.corrections for record in records):
        return []
    plain_specimens = summarise_specimens(study.specimens, [record.as_automatic() for record in records])
    plain_groups = summarise_groups(study.groups, plain_specimens)
    found = [
        figure
        for summary, plain in zip(specimens, plain_specimens, strict=True)
        for figure in _of_specimen(summary, plain, changes)
    ]
    own = {(f.name, f.figure): f for f in found}
    for group, plain_group in zip(groups, plain_groups, strict=True):
        for name in GROUP_FIGURES:
            members = [f for m in group.members if (f := own.get((m.specimen.id, name)))]
            if not members:
                continue
            having = [m for m in group.members if not math.isnan(m.figure(name))]
            shares = [f.share if (f := own.get((m.specimen.id, name))) else 0.0 for m in having]
            found.append(
                HandFigure(
                    "group",
                    group.name,
                    name,
                    group.means[name].value,
                    plain_group.means[name].value,
                    math.fsum(shares) / len(shares) if shares else math.nan,
                    sum(_image_count(m, name) for m in having),
                    sum(f.n_corrected for f in members),
                )
            )
    return found


def _of_specimen(
    summary: SpecimenSummary,
    plain: SpecimenSummary,
    changes: AllChanges,
) -> Iterable[HandFigure]:
    for pool, figures in _SHARED_BY.items():
        procedure = _PROCEDURE_OF.get(pool, pool)
        fields = summary.pooled[pool]
        corrected = [r for r in fields if procedure in r.corrections]
        if not corrected:
            continue
        for name, by in figures.items():
            value, automatic = summary.figure(name), plain.figure(name)
            if math.isnan(value) and math.isnan(automatic):
                continue
            if by == _GREATEST:
                same = value == automatic or (math.isnan(value) and math.isnan(automatic))
                share = 0.0 if same else 1.0
            else:
                share = _pooled_share(fields, procedure, by, changes)
            yield HandFigure(
                "specimen", summary.specimen.id, name, value, automatic, share, len(fields), len(corrected)
            )


def _image_count(summary: SpecimenSummary, figure: str) -> int:
    return next((len(summary.pooled[pool]) for pool, names in _SHARED_BY.items() if figure in names), 0)


def _pooled_share(
    fields: Sequence[FieldRecord],
    procedure: str,
    by: str,
    changes: AllChanges,
) -> float:
    """Share by hand over several fields, each by its weight; fields that nobody corrected have none."""
    total = made = 0.0
    for record in fields:
        own = changes.get((record.image_id, procedure))
        weight = _whole_area(own) if own and by == _AREA else _weight(record, procedure, by)
        if math.isnan(weight):
            continue
        total += weight
        if own is not None:
            made += weight * _SHARE[by](own)
    return made / total if total else math.nan


def share_of_objects(changes: Mapping[str, Any]) -> float:
    """Share of the objects that a person changed, rejected ones among them; not-a-number where not known."""
    return _number(changes, "touched_fraction")


def share_of_area(changes: Mapping[str, Any]) -> float:
    """Share of the area that a person drew, changed or took away, of what stands and what was taken away."""
    whole = _whole_area(changes)
    drawn = _number(changes, "area_by_hand_fraction") * _number(changes, "corrected_area_px")
    return (drawn + _number(changes, "rejected_area_px")) / whole if whole else 0.0


def share_of_length(changes: Mapping[str, Any]) -> float:
    """Share of the strut length with a moved edge."""
    return _number(changes, "by_hand_fraction")


def _whole_area(changes: Mapping[str, Any]) -> float:
    return _number(changes, "corrected_area_px") + _number(changes, "rejected_area_px")


def _number(changes: Mapping[str, Any], name: str) -> float:
    value = changes.get(name)
    return math.nan if value is None else float(value)


_SHARE = {_OBJECTS: share_of_objects, _AREA: share_of_area, _LENGTH: share_of_length}


def _weight(record: FieldRecord, procedure: str, by: str) -> float:
    """By how much a field weighs: its objects, or what it measured of area (px) or length (µm).

    Never below what the automatic result has, so that a field emptied by hand weighs too.
    """
    return max(
        (w for r in (record, record.as_automatic()) if not math.isnan(w := _own_weight(r, procedure, by))),
        default=math.nan,
    )


def _own_weight(record: FieldRecord, procedure: str, by: str) -> float:
    if by == _OBJECTS:
        return record.figure(procedure, "pit_count")
    if by == _LENGTH:
        return counted_length_um(record)
    if procedure == "pits":
        return record.figure("pits", "total_pit_area_px")
    if procedure == "degraded":
        return record.figure("degraded", "degraded_area_fraction") * record.figure(
            "degraded", "region_area_px"
        )
    return float(record.table("profiles")["metal_area_px"].sum())


def all_changes(records: Iterable[FieldRecord]) -> AllChanges:
    """What every correction changed that figures are measured with."""
    return {(r.image_id, p): changes_of(r, p) for r in records for p in r.corrections}


def changes_of(record: FieldRecord, procedure: str) -> Mapping[str, Any]:
    """What a correction changed against the automatic result as it is now.

    As saved, where that result still has the mask that was corrected and the save tells all of it; else the
    masks are compared again. Of struts, and where there is no automatic mask, as saved.
    """
    correction = record.corrections[procedure]
    automatic = record.automatic_of(procedure)
    if procedure == "struts" or automatic is None:
        return correction.changes
    is_whole = {f.name for f in fields(Changes)} <= set(correction.changes)
    if is_whole and automatic.mask_sha256[procedure] == correction.base_mask_sha256:
        return correction.changes
    try:
        mask, region = automatic.read_mask(procedure), automatic.read_mask("region")
        return compared(procedure, mask, region, correction)
    except InputError:  # a missing or changed mask is told of where it is drawn
        return correction.changes


def compared(
    procedure: str, automatic: np.ndarray, region: np.ndarray, correction: Correction
) -> Mapping[str, Any]:
    """What a corrected mask changed against an automatic one.

    Raises
    ------
    InputError
        If the corrected mask is missing, was changed or does not fit.
    """
    corrected = read_correction_mask(correction)
    if corrected.shape != automatic.shape:
        raise InputError(correction.path, "its mask has another size than the image", "Correct it again")
    if procedure in CLASS_OF:
        return compare_class_images(automatic, corrected, CLASS_OF[procedure], region=region).as_dict()
    return compare_label_images(automatic, corrected).as_dict()
