"""Tables of what people corrected; none where nobody did."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from surfscan.columns import Table, columns
from surfscan.report.by_hand import AllChanges, HandFigure, all_changes, hand_figures
from surfscan.report.by_hand_agreement import ImageAgreement, PairAgreement, reviewer_agreement
from surfscan.report.records import FieldRecord
from surfscan.report.tables import table_of
from surfscan.study.reviewed import SCALE

if TYPE_CHECKING:
    from surfscan.report.groups import GroupSummary
    from surfscan.report.pooling import SpecimenSummary
    from surfscan.store.corrections import Correction
    from surfscan.study.manifest import Study

_NONE = math.nan


@dataclass(frozen=True)
class ByHand:
    """All that the report says of corrections.

    Attributes
    ----------
    records : list of FieldRecord
        Images with a correction on record, in the study's order.
    changes : mapping of (str, str) to mapping
        By image and procedure, what the corrections in the figures changed.
    figures : list of HandFigure
    pairs : list of PairAgreement
    warnings : list of (str, str)
        Where, and what is wrong with corrections that could not be compared.
    """

    records: list[FieldRecord]
    changes: AllChanges
    figures: list[HandFigure]
    pairs: list[PairAgreement]
    warnings: list[tuple[str, str]]


def gather_by_hand(
    study: Study,
    records: Sequence[FieldRecord],
    specimens: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
) -> ByHand | None:
    """What people corrected in a study; None where nothing is on record."""
    own = [record for record in records if record.saved]
    if not own:
        return None
    pairs, faults = reviewer_agreement(own)
    changes = all_changes(own)
    figures = hand_figures(study, records, specimens, groups, changes)
    return ByHand(own, changes, figures, pairs, faults)


def by_hand_tables(found: ByHand | None) -> dict[str, Table]:
    """The tables by name; those without a row are left out."""
    if found is None:
        return {}
    rows = {
        "study_corrections": [
            correction_row(record, each, found.changes)
            for record in found.records
            for saved in record.saved.values()
            for each in saved
        ],
        "study_by_hand": [figure_row(figure) for figure in found.figures],
        "study_reviewers": [row for pair in found.pairs for row in reviewer_rows(pair)],
    }
    return {name: table_of(name, own) for name, own in rows.items() if own}


def by_hand_inputs(found: ByHand | None) -> list[tuple[str, str, str]]:
    """(file, what it is, SHA-256) of the corrections that the figures are measured with."""
    rows = []
    for record in found.records if found else ():
        used = dict(record.corrections)
        if record.reviews.scale_from is not None:
            used[SCALE] = record.reviews.scale_from
        for each in used.values():
            rows.append((f"{each.path.parent.name}/{each.name}", "correction (its lines)", each.sha256))
            if each.mask_file:
                rows.append((f"{each.path.parent.name}/{each.mask_file}", "corrected mask", each.mask_sha256))
    return rows


def is_in_force(record: FieldRecord, correction: Correction) -> bool:
    """Whether a correction is the one that counts for its image and procedure."""
    reviews = record.reviews
    counts = (
        reviews.scale_from if correction.procedure == SCALE else reviews.results.get(correction.procedure)
    )
    return counts is not None and counts.sha256 == correction.sha256


def is_in_figures(record: FieldRecord, correction: Correction) -> bool:
    """Whether the figures of the report are measured with it."""
    if correction.procedure == SCALE:
        measured = record.any_done()
        scale = record.reviews.scale
        counts = is_in_force(record, correction) and scale is not None
        return bool(counts and measured and measured.calibration == scale)
    used = record.corrections.get(correction.procedure)
    return used is not None and used.sha256 == correction.sha256


def correction_row(record: FieldRecord, correction: Correction, changes: AllChanges) -> dict[str, Any]:
    """Row of `study_corrections`."""
    used = is_in_figures(record, correction) and correction.procedure != SCALE
    own = changes[record.image_id, correction.procedure] if used else correction.changes
    edits = correction.edits if correction.procedure == SCALE else {}
    row: dict[str, Any] = {
        column.name: _number(own.get(column.name))
        for column in columns("study_corrections")
        if column.dtype == "float64"
    }
    return row | {
        "image": record.image_id,
        "specimen": record.specimen.id,
        "group": record.specimen.group,
        "procedure": correction.procedure,
        "reviewer": correction.reviewer,
        "saved_at": correction.saved_at,
        "number": correction.number,
        "reason": correction.reason,
        "in_force": is_in_force(record, correction),
        "in_figures": is_in_figures(record, correction),
        "length_by_hand_fraction": _number(own.get("by_hand_fraction")),
        "pixel_size_x_um": _number(edits.get("pixel_size_x_um")),
        "pixel_size_y_um": _number(edits.get("pixel_size_y_um")),
        "pixel_size_relative_uncertainty": _number(edits.get("relative_uncertainty")),
        "version": correction.version,
        "file": correction.name,
        "sha256": correction.sha256,
    }


def figure_row(figure: HandFigure) -> dict[str, Any]:
    """Row of `study_by_hand`."""
    return {
        "level": figure.level,
        "name": figure.name,
        "figure": figure.figure,
        "unit": figure.unit,
        "value": figure.value,
        "automatic_value": figure.automatic,
        "change_fraction": figure.change,
        "by_hand_fraction": figure.share,
        "n_images": figure.n_images,
        "n_corrected": figure.n_corrected,
    }


def reviewer_rows(pair: PairAgreement) -> list[dict[str, Any]]:
    """Rows of `study_reviewers`: one an image, then one a figure over all of them."""
    rows = [_image_row(pair, one) for one in pair.images]
    low, high = pair.kappa.ci95 if pair.kappa and pair.kappa.ci95 else (_NONE, _NONE)
    kappa = _NONE if pair.kappa is None else _number(pair.kappa.value)
    for figure, limits in pair.limits.items():
        rows.append(
            _blank(pair)
            | {
                "n_images": limits.count,
                "kappa": kappa,
                "kappa_ci95_low": low,
                "kappa_ci95_high": high,
                "judged_count": _NONE if pair.kappa is None else pair.kappa.count,
                "figure": figure,
                "bias": _number(limits.bias),
                "agreement_low": _number(limits.low),
                "agreement_high": _number(limits.high),
            }
        )
    return rows


def _image_row(pair: PairAgreement, one: ImageAgreement) -> dict[str, Any]:
    found = one.agreement
    kappa = found.kappa
    low, high = kappa.ci95 if kappa and kappa.ci95 else (_NONE, _NONE)
    has_objects = found.kappa is not None or pair.procedure == "pits"
    counts = {
        "first_count": found.first_count,
        "second_count": found.second_count,
        "matched_count": found.matched_count,
        "matched_fraction": _number(found.matched_fraction),
    }
    return (
        _blank(pair)
        | {
            "image": one.record.image_id,
            "specimen": one.record.specimen.id,
            "group": one.record.specimen.group,
            "n_images": 1,
            "dice": _number(found.dice),
            "kappa": _NONE if kappa is None else _number(kappa.value),
            "kappa_ci95_low": low,
            "kappa_ci95_high": high,
            "judged_count": _NONE if kappa is None else kappa.count,
        }
        | (counts if has_objects else {})
    )


def _blank(pair: PairAgreement) -> dict[str, Any]:
    row: dict[str, Any] = {c.name: _NONE if c.dtype == "float64" else "" for c in columns("study_reviewers")}
    return row | {
        "procedure": pair.procedure,
        "first_reviewer": pair.first,
        "second_reviewer": pair.second,
    }


def _number(value: Any) -> float:
    return _NONE if value is None or isinstance(value, str) else float(value)
