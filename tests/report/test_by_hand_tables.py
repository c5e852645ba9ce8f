"""Tables of corrections, and that nothing else changes where there are none."""

from __future__ import annotations

import csv
import math
import shutil
from dataclasses import replace
from pathlib import Path

import pytest

from surfscan.columns import columns
from surfscan.report.build import write_report
from surfscan.report.by_hand_tables import (
    by_hand_inputs,
    by_hand_tables,
    correction_row,
    gather_by_hand,
    is_in_figures,
    is_in_force,
)
from surfscan.report.groups import summarise_groups
from surfscan.report.records import FieldRecord
from surfscan.report.specimens import summarise_specimens
from surfscan.store.corrections import corrections_of
from surfscan.study.manifest import load_study


def _read(folder: Path, name: str) -> list[dict[str, str]]:
    with (folder / "tables" / name).open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def test_every_save_is_a_row(reviewed_folder: Path) -> None:
    rows = _read(reviewed_folder, "corrections.csv")
    assert [(r["image"], r["procedure"], r["reviewer"], r["in_force"], r["in_figures"]) for r in rows] == [
        ("a.png", "pits", "A", "false", "false"),
        ("a.png", "pits", "B", "true", "true"),
        ("b.png", "pits", "B", "false", "false"),
        ("b.png", "pits", "A", "true", "true"),
        ("c.png", "pits", "A", "true", "true"),
        ("d.png", "scale", "A", "true", "true"),
    ]
    assert [r["rejected_count"] for r in rows] == ["1", "2", "0", "1", "0", ""]
    assert rows[4]["outline_moved_count"] == "1" and rows[4]["moved_area_px"] != "0"
    assert (rows[5]["pixel_size_x_um"], rows[5]["pixel_size_relative_uncertainty"]) == ("0.5", "0.02")
    named = {c.name: c for c in corrections_of(reviewed_folder)}
    assert all(named[r["file"]].sha256 == r["sha256"] for r in rows)


def test_figures_and_pictures_follow_the_corrections(reviewed_folder: Path) -> None:
    images = {r["image"]: r for r in _read(reviewed_folder, "images.csv")}
    assert [images[f"{n}.png"]["pit_count"] for n in "abcd"] == ["2", "3", "4", "4"]
    assert images["d.png"]["pixel_size_origin"] == "confirmed by A"
    assert len(_read(reviewed_folder, "pits.csv")) == 13
    [group] = _read(reviewed_folder, "groups.csv")
    by_hand = {(r["name"], r["figure"]): r for r in _read(reviewed_folder, "by_hand.csv")}
    row = by_hand["bare", "pit_density_per_mm2"]
    assert row["value"] == group["mean_pit_density_per_mm2"]
    assert float(row["automatic_value"]) > float(row["value"])


def test_reviewers_have_rows_for_images_and_for_all(reviewed_folder: Path) -> None:
    rows = _read(reviewed_folder, "reviewers.csv")
    assert [(r["image"], r["n_images"], r["figure"]) for r in rows] == [
        ("a.png", "1", ""),
        ("b.png", "1", ""),
        ("", "2", "pit_count"),
        ("", "2", "area_fraction"),
    ]
    assert float(rows[0]["kappa"]) == pytest.approx(0.5) and rows[1]["kappa_ci95_low"] == ""
    assert float(rows[2]["kappa"]) == pytest.approx(1 / 3) and rows[2]["judged_count"] == "8"


def test_the_page_names_what_it_rests_on(reviewed_folder: Path, reviewed_records: list[FieldRecord]) -> None:
    study = load_study(reviewed_folder)
    specimens = summarise_specimens(study.specimens, reviewed_records)
    found = gather_by_hand(study, reviewed_records, specimens, summarise_groups(study.groups, specimens))
    inputs = by_hand_inputs(found)
    assert [what for _, what, _ in inputs] == [
        *["correction (its lines)", "corrected mask"] * 3,
        inputs[-1][1],
    ]
    page = (reviewed_folder / "report.html").read_text(encoding="utf-8")
    assert all(name in page and sha256 in page for name, _, sha256 in inputs)
    assert set(by_hand_tables(found)) == {"study_corrections", "study_by_hand", "study_reviewers"}


def test_a_correction_not_measured_with_is_not_in_the_figures(reviewed_records: list[FieldRecord]) -> None:
    record = next(r for r in reviewed_records if r.image_id == "a.png")
    older, newer = record.saved["pits"]
    assert is_in_force(record, newer) and is_in_figures(record, newer)
    assert not is_in_force(record, older) and not is_in_figures(record, older)
    waiting = replace(record, corrections={})
    assert is_in_force(waiting, newer) and not is_in_figures(waiting, newer)
    row = correction_row(waiting, newer, {})
    assert row["rejected_count"] == 2 and math.isnan(row["move_count"])
    assert set(row) == {c.name for c in columns("study_corrections")}


def test_without_corrections_the_report_is_what_it_was(reviewed_folder: Path, tmp_path: Path) -> None:
    """Byte for byte: the same study without the folder, and one that never had any, give the same report."""
    plain = Path(shutil.copytree(reviewed_folder, tmp_path / "plain"))
    shutil.rmtree(plain / "corrections")
    (plain / "study.toml").write_bytes(
        (plain / "study.toml").read_bytes().replace(b'file = "d.png"', b'file = "d.png"\npixel_size_um = 0.5')
    )
    from surfscan.store.results import ResultsStore
    from surfscan.study.batch import measure_study

    measure_study(plain, workers=1)
    assert any(r.procedure == "pits_reviewed" for r in ResultsStore(plain).all())
    write_report(plain)
    never = tmp_path / "never"
    never.mkdir()
    for path in plain.glob("*.png"):
        shutil.copy(path, never)
    shutil.copy(plain / "study.toml", never)
    measure_study(never, workers=1)
    write_report(never)
    names = {p.relative_to(never) for p in never.rglob("*") if p.is_file() and p.parent.name != "masks"}
    names -= {Path("results.sqlite"), Path("results.lock")}
    assert not any("corrections" in str(name) or "by_hand" in str(name) for name in names)
    for name in names - {Path("study.toml")}:
        assert (plain / name).read_bytes() == (never / name).read_bytes(), name
