"""`surfscan report`: from a measured study to tables and page."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from surfscan.errors import InputError
from surfscan.report.by_hand_tables import by_hand_inputs, by_hand_tables, gather_by_hand
from surfscan.report.comparison_tables import comparison_tables
from surfscan.report.drawn_pictures import draw_pictures
from surfscan.report.extreme_values import extremes_table, summarise_extremes
from surfscan.report.groups import group_table, summarise_groups
from surfscan.report.height_specimens import height_specimen_table
from surfscan.report.page import render_page, render_truth_page
from surfscan.report.page_parts import PageContent
from surfscan.report.parquet import parquet_bytes
from surfscan.report.rate_inputs import rate_input_rows, stale_rates
from surfscan.report.rate_records import RateRecord, gather_rates
from surfscan.report.rate_tables import rate_tables
from surfscan.report.rate_truth import FILE_NAME as RATES_TRUTH_FILE
from surfscan.report.rate_truth import compare_rates_with_truth
from surfscan.report.rates import group_rates, rates_of
from surfscan.report.records import PROCEDURES, FieldRecord, gather
from surfscan.report.section_tables import section_tables
from surfscan.report.specimens import specimen_table, summarise_specimens
from surfscan.report.strut_tables import strut_tables
from surfscan.report.study_comparison import compare_study
from surfscan.report.tables import height_table, image_table, object_table
from surfscan.report.truth import FILE_NAME as TRUTH_FILE
from surfscan.report.truth import compare_with_truth
from surfscan.report.warning_groups import group_warnings
from surfscan.report.workbook import workbook_bytes
from surfscan.report.writing import (
    csv_bytes,
    data_dictionary,
    file_stem,
    formula_warning,
    write_bytes,
)
from surfscan.store.masks import file_sha256
from surfscan.store.results import ResultsStore
from surfscan.study.entries import COMPANIONS
from surfscan.study.manifest import Study, load_study, manifest_path
from surfscan.study.reviewed import study_corrections
from surfscan.study.tasks import fingerprint, settings_for

PAGE = "report.html"
TRUTH_PAGE = "against_truth.html"
"""Measured against true, where true values stand beside the study."""

_LIBRARIES = (
    "numpy",
    "scipy",
    "lmfit",
    "opencv-python-headless",
    "tifffile",
    "matplotlib",
    "openpyxl",
    "pyarrow",
    "jinja2",
)


@dataclass(frozen=True)
class ReportOutcome:
    """What a report run wrote.

    Attributes
    ----------
    paths : tuple of Path
        Files written: tables, workbook, pages.
    warnings : tuple of str
        What limits the figures, grouped, each with how often it stands.
    page : Path
        The page among them.
    truth_page : Path or None
        Measured against true; None where the study has no true values.
    """

    paths: tuple[Path, ...]
    warnings: tuple[str, ...]
    page: Path
    truth_page: Path | None = None


def write_report(study_path: str | Path) -> ReportOutcome:
    """Write `report.html` and its tables (CSV, Parquet, one workbook) beside a measured study.

    Where true values stand beside the study, `against_truth.html` is written too.

    Parameters
    ----------
    study_path : path
        `study.toml` or its folder.

    Returns
    -------
    ReportOutcome

    Raises
    ------
    InputError
        If the manifest is at fault, nothing has been measured yet, truth.csv is at fault, or a file
        cannot be written.

    Notes
    -----
    The same study and results give the same bytes on the same machine: nothing in the files is dated.
    """
    study = load_study(study_path)
    stored = list(ResultsStore(study.folder).all())
    corrections = study_corrections(study)
    records, strays = gather(study, stored, corrections)
    entries = gather_rates(study, stored)
    if not any(r.results for r in records) and not any(r.result for r in entries):
        raise InputError(
            manifest_path(study_path), "nothing has been measured yet", "Run surfscan measure on it first."
        )
    truth = [
        *compare_with_truth(study.folder, records),
        *compare_rates_with_truth(study.folder, entries),
    ]
    rates = rates_of(entries)
    specimens = summarise_specimens(study.specimens, records)
    groups = summarise_groups(study.groups, specimens)
    extremes = summarise_extremes(groups)
    by_hand = gather_by_hand(study, records, specimens, groups)
    comparison = compare_study(study, specimens, groups, entries, rates, by_hand)
    tables = {
        "study_images": image_table(records),
        "study_specimens": specimen_table(specimens),
        "study_groups": group_table(groups),
        "study_heights": height_table(records),
        "study_height_specimens": height_specimen_table(specimens),
        "study_extremes": extremes_table(extremes),
        "study_pits": object_table(records, "pits", "study_pits"),
        "study_for_review": object_table(records, "for_review", "study_for_review"),
        **strut_tables(records, specimens),
        **section_tables(records, specimens),
        **rate_tables(entries, rates, group_rates([g.name for g in study.groups], rates)),
        **by_hand_tables(by_hand),
        **comparison_tables(comparison),
    }
    tables["data_dictionary"] = data_dictionary(tables)
    workbook, notes = workbook_bytes(tables)
    pictures, faults = draw_pictures(study.folder, records)
    warnings = [
        *(("the report", text) for text in notes),
        *(("the report", text) for text in [formula_warning(tables)] if text),
        *_stale(study, records),
        *stale_rates(study, entries),
        *(("corrections", text) for text in corrections.faults_said),
        *(by_hand.warnings if by_hand else ()),
        *(("the store", f"{image} is not in study.toml; its results enter nothing.") for image in strays),
        *faults,
        *((g.name, text) for g in groups for text in g.warnings),
        *((e.name, text) for e in extremes for text in e.warnings),
        *((s.specimen.id, text) for s in specimens for text in s.warnings),
        *((r.image_id, text) for r in records for text in r.warnings),
        *((r.entry_id, text) for r in entries for text in r.warnings),
    ]
    shown = PageContent(
        study,
        records,
        specimens,
        groups,
        truth,
        pictures,
        warnings,
        [*_inputs(manifest_path(study_path), study, records, entries), *by_hand_inputs(by_hand)],
        [(name, metadata.version(name)) for name in _LIBRARIES],
        extremes,
        entries,
        by_hand,
        comparison,
    )
    contents = {
        **{study.folder / "tables" / f"{file_stem(n)}.csv": csv_bytes(t) for n, t in tables.items()},
        **{
            study.folder / "tables" / f"{file_stem(n)}.parquet": parquet_bytes(n, t)
            for n, t in tables.items()
        },
        study.folder / "tables" / "surfscan.xlsx": workbook,
        **({study.folder / TRUTH_PAGE: render_truth_page(shown).encode("utf-8")} if truth else {}),
        study.folder / PAGE: render_page(shown).encode("utf-8"),
    }
    for path, content in contents.items():
        write_bytes(path, content)
    return ReportOutcome(
        tuple(contents),
        tuple(f"{len(g.where)} × {g.text}" for g in group_warnings(warnings)),
        study.folder / PAGE,
        study.folder / TRUTH_PAGE if truth else None,
    )


def _stale(study: Study, records: Sequence[FieldRecord]) -> list[tuple[str, str]]:
    """Results that the study as it stands now would not give."""
    found = []
    for record in records:
        named = {role: study.folder / name for role, name in record.image.companions().items()}
        hashes = {role: file_sha256(path) if path.is_file() else None for role, path in named.items()}
        for procedure in record.image.procedures:
            stored = record.done(procedure)
            if stored is None or stored.source is None:
                continue
            now = fingerprint(
                record.image,
                procedure,
                settings_for(study, record.image, procedure),
                stored.source.sha256,
                hashes,
                stored.version,
                reviews=record.reviews,
                correction=record.corrections.get(procedure),
            )
            if now != stored.fingerprint:
                found.append(
                    (
                        record.image_id,
                        f"{PROCEDURES[procedure]}: settings, sizes or a file that goes with it changed since "
                        "this was measured; the figures are those from before. Run surfscan measure, then "
                        "report again.",
                    )
                )
    return found


def _inputs(
    manifest: Path, study: Study, records: Sequence[FieldRecord], entries: Sequence[RateRecord]
) -> list[tuple[str, str, str]]:
    """Every input of the results with its SHA-256: images as measured, other files as they are now."""
    rows = [(manifest.name, "study", file_sha256(manifest))]
    specimens_csv = tomllib.loads(manifest.read_text(encoding="utf-8-sig")).get("specimens_csv")
    if specimens_csv:
        rows.append((specimens_csv, "specimens", file_sha256(study.folder / specimens_csv)))
    for truth in (study.folder / TRUTH_FILE, study.folder / RATES_TRUTH_FILE):
        if truth.is_file():
            rows.append((truth.name, "true values", file_sha256(truth)))
    named = {(name, COMPANIONS[role]): None for r in records for role, name in r.image.companions().items()}
    for name, what in named:
        path = study.folder / name
        rows.append((name, what, file_sha256(path) if path.is_file() else "file missing"))
    for record in records:
        done = record.any_done()
        if done and done.source:
            what = "height map, as measured" if record.kind == "heights" else "image, as measured"
            rows.append((record.image_id, what, done.source.sha256))
    return [*rows, *rate_input_rows(entries)]
