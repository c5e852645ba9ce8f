"""Whole reports."""

import csv
import io
import re

import openpyxl
import pytest
from pyarrow import parquet

from surfscan.columns import TABLES
from surfscan.errors import InputError
from surfscan.report.build import write_report

NAMES = (
    "images",
    "specimens",
    "groups",
    "heights",
    "height_specimens",
    "extremes",
    "pits",
    "for_review",
    "strut_images",
    "strut_specimens",
    "struts",
    "strut_faults",
    "stations",
    "section_images",
    "profiles",
    "section_outlines",
    "section_thickness",
    "section_specimens",
    "rates",
    "rate_groups",
    "rates_over_time",
    "sweeps",
    "sweep_runs",
    "sweep_methods",
    "sweep_windows",
    "exposures",
    "channels",
    "excursions",
    "acid",
    "materials",
    "budgets",
    "comparisons",
    "nested",
    "data_dictionary",
)


def read(folder, name):
    with (folder / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
        return list(csv.DictReader(handle))


def test_all_tables_as_csv_and_as_sheets(reported):
    book = openpyxl.load_workbook(io.BytesIO((reported / "tables" / "surfscan.xlsx").read_bytes()))
    assert tuple(book.sheetnames) == NAMES
    for name in NAMES:
        rows = read(reported, name)
        key = name if name in TABLES and name == "data_dictionary" else f"study_{name}"
        assert not rows or list(rows[0]) == [c.name for c in TABLES[key]]
        assert book[name].max_row == len(rows) + 2
        assert book[name].freeze_panes == "B3"
        assert parquet.read_metadata(reported / "tables" / f"{name}.parquet").num_rows == len(rows)


def test_rows_of_each_table(reported):
    assert [len(read(reported, name)) for name in NAMES[:-4]] == [13, 8, 3, 0, 0, 0, 141, 12, *[0] * 22]
    assert all(read(reported, name) for name in NAMES[-4:])
    defined = {(row["table"], row["column"]) for row in read(reported, "data_dictionary")}
    for name in NAMES[:-1]:
        with (reported / "tables" / f"{name}.csv").open(encoding="utf-8", newline="") as handle:
            assert {(name, column) for column in next(csv.reader(handle))} <= defined


def test_group_mean_can_be_recomputed_from_the_specimen_table(reported):
    values = [
        float(row["degraded_area_fraction"])
        for row in read(reported, "specimens")
        if row["group"] == "uncoated 7 d"
    ]
    (group,) = [row for row in read(reported, "groups") if row["group"] == "uncoated 7 d"]
    assert float(group["mean_degraded_area_fraction"]) == pytest.approx(sum(values) / 3)
    assert group["n_specimens_degraded_area_fraction"] == "3"


def test_same_study_same_bytes(study_folder):
    first = {p.name: p.read_bytes() for p in write_report(study_folder).paths}
    second = {p.name: p.read_bytes() for p in write_report(study_folder / "study.toml").paths}
    assert first == second


def test_outcome_lists_files_and_grouped_warnings(study_folder):
    outcome = write_report(study_folder)
    assert all(path.is_file() for path in outcome.paths)
    tables = {f"{n}.{kind}" for n in NAMES for kind in ("csv", "parquet")}
    assert {p.name for p in outcome.paths} == tables | {"surfscan.xlsx", "report.html"}
    assert outcome.page == study_folder / "report.html" and outcome.truth_page is None
    assert any(w.startswith("2 × 1 field with field_choice not stated") for w in outcome.warnings)
    assert [w for w in outcome.warnings if not re.fullmatch(r"\d+ × [A-Z\d].*\.", w)] == []
    said = [row["warnings"] for name in ("groups", "specimens") for row in read(study_folder, name)]
    assert any(said)
    assert all(re.fullmatch(r"[A-Z\d].*\.", w) for text in said if text for w in text.split(" | "))


def test_true_values_give_a_page_of_their_own_that_nothing_leads_to(reported, study_folder):
    page = (reported / "report.html").read_text(encoding="utf-8")
    own = (reported / "against_truth.html").read_text(encoding="utf-8")
    assert "against_truth" not in page and "Measured against true" not in page
    assert "Measured against true" in own and "Degraded area (%)" in own
    assert not re.search(r'(?:src|href)="(?!#|data:)', own)
    write_report(study_folder)
    assert not (study_folder / "against_truth.html").exists()


def test_nothing_measured_is_refused(study_folder):
    (study_folder / "results.sqlite").unlink()
    with pytest.raises(InputError, match="nothing has been measured yet"):
        write_report(study_folder)
    assert not (study_folder / "report.html").exists()


def test_no_study(tmp_path):
    with pytest.raises(InputError, match="no study here"):
        write_report(tmp_path)


def test_changed_settings_are_said_and_the_figures_kept(study_folder):
    manifest = study_folder / "study.toml"
    with manifest.open("a", encoding="utf-8") as handle:
        handle.write("[settings.pits]\nmin_contrast = 0.2\n")
    outcome = write_report(study_folder)
    assert any(w.startswith("12 × Pits: settings, sizes or a file") for w in outcome.warnings)
    assert not any("Degraded area: settings" in w for w in outcome.warnings)


def test_lost_image_loses_its_picture_only(study_folder):
    (study_folder / "images" / "03.png").unlink()
    outcome = write_report(study_folder)
    assert any("No picture" in w for w in outcome.warnings)
    page = (study_folder / "report.html").read_text(encoding="utf-8")
    assert page.count("data:image/webp") == 11
    assert len(read(study_folder, "pits")) == 141


def test_stray_results_enter_nothing(study_folder):
    manifest = study_folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(text.replace("images/03.png", "images/other.png"), encoding="utf-8")
    outcome = write_report(study_folder)
    assert any("images/03.png is not in study.toml" in w for w in outcome.warnings)
    assert len(read(study_folder, "pits")) == 141 - 12


def test_specimens_csv_is_among_the_hashed_inputs(study_folder):
    from surfscan.store.masks import file_sha256

    manifest = study_folder / "study.toml"
    lines, rows, skipping = [], ["id,group,exposure_h"], 0
    for line in manifest.read_text(encoding="utf-8").splitlines():
        if line == "[[specimen]]":
            skipping = 3
            continue
        if skipping:
            skipping -= 1
            value = line.partition(" = ")[2].strip('"')
            rows.append(value) if skipping == 2 else rows.append(rows.pop() + "," + value)
            continue
        lines.append(line)
    lines.insert(1, 'specimens_csv = "specimens.csv"')
    manifest.write_text("\n".join(lines), encoding="utf-8")
    (study_folder / "specimens.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    write_report(study_folder)
    page = (study_folder / "report.html").read_text(encoding="utf-8")
    assert file_sha256(study_folder / "specimens.csv") in page


def test_page_of_a_study_with_failures_only(study_folder):
    from surfscan.store.results import ResultsStore
    from surfscan.study.manifest import load_study

    (study_folder / "results.sqlite").unlink()
    store = ResultsStore(study_folder)
    for image in load_study(study_folder).images:
        for procedure in image.procedures:
            store.save_failure(image.image_id, image.specimen, procedure, "0", "too dark")
    write_report(study_folder)
    page = (study_folder / "report.html").read_text(encoding="utf-8")
    assert page.count("too dark") == 1 + 2 * 25  # in the summary, in the list, and with the specimen
    assert read(study_folder, "pits") == []


def test_height_maps_fill_their_tables_and_the_workbook(reported_heights):
    book = openpyxl.load_workbook(io.BytesIO((reported_heights / "tables" / "surfscan.xlsx").read_bytes()))
    rows = {name: read(reported_heights, name) for name in NAMES[:-4]}
    counts = {name: len(rows[name]) for name in rows if rows[name]}
    assert counts == {
        "images": 1,
        "specimens": 7,
        "groups": 3,
        "heights": 11,
        "height_specimens": 7,
        "extremes": 3,
        "pits": 20,
        "for_review": 1,
    }
    for name in ("heights", "height_specimens", "extremes"):
        assert list(rows[name][0]) == [c.name for c in TABLES[f"study_{name}"]]
        assert book[name].max_row == len(rows[name]) + 2
    assert rows["heights"][4]["max_depth_is_lower_bound"] == "true"
    assert all(row["refused"] for row in rows["extremes"])


def test_changed_datum_is_said(height_folder):
    (height_folder / "maps" / "datum.png").write_bytes(b"other")
    outcome = write_report(height_folder)
    said = "1 × Pits: settings, sizes or a file that goes with it changed"
    assert any(w.startswith(said) for w in outcome.warnings)


def test_same_height_maps_same_bytes(height_folder):
    first = {p.name: p.read_bytes() for p in write_report(height_folder).paths}
    second = {p.name: p.read_bytes() for p in write_report(height_folder).paths}
    assert first == second


def test_study_of_height_maps_only(height_folder):
    manifest = height_folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(text[: text.rindex("[[image]]")], encoding="utf-8")
    write_report(height_folder)
    page = (height_folder / "report.html").read_text(encoding="utf-8")
    assert 'id="heights"' in page and 'id="legend-surface"' not in page
    assert "Measured: pit depth, volume and areal texture (height maps)" in page
    assert 'id="groups"' not in page and 'id="surfaces"' not in page  # nothing from pictures to say
    assert "The specimen is the replicate" in page
    assert len(read(height_folder, "specimens")) == 7


def test_height_maps_that_all_failed(height_folder):
    from surfscan.store.results import ResultsStore
    from surfscan.study.manifest import load_study

    (height_folder / "results.sqlite").unlink()
    store = ResultsStore(height_folder)
    for image in load_study(height_folder).images:
        for procedure in image.procedures:
            store.save_failure(image.image_id, image.specimen, procedure, "0", "too dark")
    write_report(height_folder)
    page = (height_folder / "report.html").read_text(encoding="utf-8")
    assert page.count("too dark") == 1 + 2 * 24
    assert read(height_folder, "extremes") == []
    assert {row["pits_status"] for row in read(height_folder, "heights")} == {"failed"}
    assert [row["n_failed"] for row in read(height_folder, "height_specimens")] == [
        "2",
        "1",
        "1",
        "4",
        "1",
        "1",
        "1",
    ]
