"""What the study says about each image, joined with what was measured on it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import Table, empty_table
from surfscan.store.corrections import Correction, Corrections
from surfscan.store.masks import file_sha256
from surfscan.store.results import REVIEWED, StoredResult
from surfscan.study.reviewed import ImageReviews, is_of, reviews_on, study_corrections

if TYPE_CHECKING:
    from surfscan.study.entries import Shows
    from surfscan.study.manifest import ImageEntry, Specimen, Study

WORST_SEEN = "worst_seen"
WITH_PRODUCT = "with_product"
NOT_STATED = "not_stated"

PROCEDURES = {
    "pits": "Pits",
    "degraded": "Degraded area",
    "texture": "Areal texture",
    "struts": "Strut widths",
    "section": "Cross-sections",
}
"""Procedure -> its name at the start of a sentence or as a title."""

_MEASURED_BY = {
    "pits": "pits",
    "for_review": "pits",
    "struts": "struts",
    "stations": "struts",
    "strut_faults": "struts",
    "profiles": "section",
    "outline": "section",
    "thickness": "section",
}
"""Table of a result -> the procedure that gives it."""


@dataclass(frozen=True)
class FieldRecord:
    """One image of the study with its stored results.

    Attributes
    ----------
    image_id : str
        Name of the image in the study and the store.
    image : ImageEntry
        Its entry in study.toml.
    specimen : Specimen
    results : mapping of str to StoredResult
        By procedure, failed ones included: as a person corrected it where a correction counts and was
        measured with, else the automatic one.
    automatic : mapping of str to StoredResult
        The automatic one by procedure, where `results` holds another.
    corrections : mapping of str to Correction
        By procedure, those that `results` was measured with.
    reviews : ImageReviews
        Those that count now, and the scale that somebody confirmed.
    saved : mapping of str to tuple of Correction
        All on record, by procedure ("scale" too), oldest first.
    remarks : tuple of str
        What is said of corrections that are not in the figures.
    """

    image_id: str
    image: ImageEntry
    specimen: Specimen
    results: Mapping[str, StoredResult] = field(default_factory=dict)
    automatic: Mapping[str, StoredResult] = field(default_factory=dict)
    corrections: Mapping[str, Correction] = field(default_factory=dict)
    reviews: ImageReviews = field(default_factory=ImageReviews)
    saved: Mapping[str, tuple[Correction, ...]] = field(default_factory=dict)
    remarks: tuple[str, ...] = ()
    _unpacked: dict[str, Table] = field(default_factory=dict, repr=False, compare=False)

    @property
    def kind(self) -> Shows:
        """What the image shows; figures of different kinds are never pooled."""
        return self.image.kind

    @property
    def image_kind(self) -> str:
        """ "heightmap" or "micrograph", as results name it."""
        return "heightmap" if self.kind == "heights" else "micrograph"

    @property
    def enters_means(self) -> bool:
        """False for a field picked because it looked worst: no mean or density may take it in."""
        return self.image.field_choice != WORST_SEEN

    def status(self, procedure: str) -> str:
        """ "done", "failed", "not measured" (asked for, nothing stored) or "" (not asked for)."""
        if procedure not in self.image.procedures:
            return ""
        stored = self.results.get(procedure)
        return stored.status if stored else "not measured"

    def done(self, procedure: str) -> StoredResult | None:
        """The stored result of a procedure asked for, if it succeeded."""
        return self.results[procedure] if self.status(procedure) == "done" else None

    def any_done(self) -> StoredResult | None:
        """Any one result that succeeded; source and calibration are the same in all."""
        return next((r for p in sorted(self.results) if (r := self.done(p))), None)

    def figure(self, procedure: str, name: str) -> float:
        """A summary figure; not-a-number where it is missing, None or not measured."""
        stored = self.done(procedure)
        value = stored.summary.get(name) if stored else None
        return math.nan if value is None else float(value)

    def interval(self, procedure: str, name: str) -> tuple[float, float]:
        """The 95 % interval of a summary figure; not-a-numbers where there is none."""
        stored = self.done(procedure)
        limits = stored.summary.get(f"{name}_ci95") if stored else None
        if limits is None:
            return (math.nan, math.nan)
        low, high = (math.nan if v is None else float(v) for v in limits)
        return (low, high)

    def flag(self, procedure: str, name: str) -> bool:
        """A summary entry that is true or false; false where there is none."""
        stored = self.done(procedure)
        return bool(stored and stored.summary.get(name))

    def text(self, procedure: str, name: str) -> str:
        """A summary entry in words; empty where there is none."""
        stored = self.done(procedure)
        value = stored.summary.get(name) if stored else None
        return "" if value is None else str(value)

    def map_figure(self, name: str) -> float:
        """A figure of a height map that both its procedures give, such as its measured fraction."""
        found = [v for p in ("pits", "texture") if not math.isnan(v := self.figure(p, name))]
        return found[0] if found else math.nan

    def map_text(self, name: str) -> str:
        """The same for an entry in words."""
        return self.text("pits", name) or self.text("texture", name)

    def table(self, name: str) -> Table:
        """A stored table, such as pits or stations; no rows where its procedure did not run."""
        if name not in self._unpacked:
            stored = self.done(_MEASURED_BY[name])
            self._unpacked[name] = (
                _completed(name, stored.tables[name])
                if stored and name in stored.tables
                else empty_table(name)
            )
        return self._unpacked[name]

    @property
    def warnings(self) -> tuple[str, ...]:
        """Warnings of all procedures, each once, in order; before them, those about corrections."""
        seen: dict[str, Any] = dict.fromkeys(self.remarks)
        for procedure in self.image.procedures:
            stored = self.results.get(procedure)
            if stored and stored.status == "done":
                seen.update(dict.fromkeys(stored.warnings))
        return tuple(seen)

    def automatic_of(self, procedure: str) -> StoredResult | None:
        """The automatic result of a procedure, if it succeeded, whoever corrected it."""
        found = self.automatic.get(procedure)
        if found is None and procedure not in self.corrections:
            found = self.results.get(procedure)
        return found if found is not None and found.status == "done" else None

    def as_automatic(self) -> FieldRecord:
        """The same image as if nobody had corrected its results; a confirmed scale stays."""
        if not self.corrections:
            return self
        results = {p: r for p, r in self.results.items() if p not in self.corrections}
        return replace(
            self, results=results | dict(self.automatic), corrections={}, automatic={}, _unpacked={}
        )


def _completed(name: str, table: Table) -> Table:
    """A stored table, with the columns that a later version added empty."""
    length = len(next(iter(table.values()), ()))
    added = {
        column: np.full(length, math.nan) if empty.dtype.kind == "f" else np.zeros(length, empty.dtype)
        for column, empty in empty_table(name).items()
        if column not in table
    }
    return {**table, **added}


def of_kind(records: Iterable[FieldRecord], kind: Shows) -> list[FieldRecord]:
    """Images that show a surface, heights, struts or a section."""
    return [r for r in records if r.kind == kind]


def gather(
    study: Study, stored: Iterable[StoredResult], corrections: Corrections | None = None
) -> tuple[list[FieldRecord], list[str]]:
    """Join the study's images with stored results and corrections, in the study's order.

    Parameters
    ----------
    study : Study
    stored : iterable of StoredResult
    corrections : Corrections, optional
        Those of the study; read from its folder where not given.

    Returns
    -------
    records : list of FieldRecord
    strays : list of str
        Images and other entries in the store that the study no longer names; they enter nothing.
    """
    by_image: dict[str, dict[str, StoredResult]] = {}
    for result in stored:
        by_image.setdefault(result.image_id, {})[result.procedure] = result
    specimens = {s.id: s for s in study.specimens}
    corrections = study_corrections(study) if corrections is None else corrections
    records = [
        _record(study, image, specimens[image.specimen], by_image.get(image.image_id, {}), corrections)
        for image in study.images
    ]
    strays = sorted(set(by_image) - study.entry_ids)
    return records, strays


def _content_of(study: Study, image: ImageEntry, stored: Mapping[str, StoredResult]) -> str | None:
    """SHA-256 of the file as last measured; of the file itself where that failed; None where not known.

    A result with corrections may be older than that: it is kept when the file changes.
    """
    plain = [r for p, r in stored.items() if not p.endswith(REVIEWED)]
    for result in plain:
        if result.status == "done" and result.source:
            return result.source.sha256
    if plain:
        path = study.folder / image.file
        return file_sha256(path) if path.is_file() else None
    return next((r.source.sha256 for r in stored.values() if r.source), None)


def _record(
    study: Study,
    image: ImageEntry,
    specimen: Specimen,
    stored: Mapping[str, StoredResult],
    corrections: Corrections,
) -> FieldRecord:
    results = {p: r for p, r in stored.items() if not p.endswith(REVIEWED)}
    as_measured = _content_of(study, image, stored)
    saved = corrections.of_file(image.image_id, as_measured)
    if not saved:
        return FieldRecord(image.image_id, image, specimen, results)
    reviews = reviews_on(study, corrections, image, as_measured)
    automatic, taken, remarks = {}, {}, list(reviews.warnings)
    for procedure, correction in reviews.results.items():
        reviewed = stored.get(procedure + REVIEWED)
        if reviewed is not None and reviewed.status == "done" and is_of(reviewed.summary, correction):
            if procedure in results:
                automatic[procedure] = results[procedure]
            results[procedure] = reviewed
            taken[procedure] = correction
            continue
        failed = reviewed is not None and reviewed.status == "failed"
        why = (
            f"cannot be measured with ({reviewed.message})"
            if reviewed and failed
            else ("is not measured with yet: run surfscan measure, then report again")
        )
        plain = results.get(procedure)
        instead = "The figures are automatic" if plain and plain.status == "done" else "There are no figures"
        remarks.append(f"{PROCEDURES[procedure]}: the correction by {correction.said} {why}. {instead}.")
    return FieldRecord(
        image.image_id, image, specimen, results, automatic, taken, reviews, saved, tuple(remarks)
    )


def about(figures: Iterable[str], text: str) -> str:
    """A warning with the figures it is about before it: "Pit density: two fields only."."""
    said = f"{', '.join(figures)}: {text[0].lower()}{text[1:]}"
    return said[0].upper() + said[1:]


def words(key: str) -> str:
    """A manifest word as people write it: with_product -> "with product"."""
    return key.replace("_", " ")
