"""Tables as bytes."""

import csv
import io
import time

import numpy as np
import openpyxl
import pytest

from surfscan.columns import TABLES, empty_table
from surfscan.errors import InputError
from surfscan.report import writing

TABLE = {
    "name": np.array(["a,b", 'say "µm"', "=1+1", "two\nlines", "bell\x07"]),
    "value": np.array([1.0, 0.1, np.nan, 1e-12, -2.5]),
    "count": np.array([1, 2, 3, 4, 5]),
    "flag": np.array([True, False, True, True, False]),
}


def sheet(table, name="study_images"):
    content, _ = writing.workbook_bytes({name: table})
    return openpyxl.load_workbook(io.BytesIO(content))[writing.file_stem(name)]


def test_csv_reads_back():
    rows = list(csv.reader(io.StringIO(writing.csv_bytes(TABLE).decode("utf-8"), newline="")))
    assert rows[0] == ["name", "value", "count", "flag"]
    assert [row[0] for row in rows[1:]] == TABLE["name"].tolist()
    assert [row[1] for row in rows[1:]] == ["1", "0.1", "", "1e-12", "-2.5"]
    assert [row[3] for row in rows[1:]] == ["true", "false", "true", "true", "false"]


def test_csv_keeps_full_precision():
    value = 1 / 3
    text = writing.csv_bytes({"x": np.array([value])}).decode()
    assert float(text.splitlines()[1]) == value


def test_csv_without_rows_has_its_header():
    assert writing.csv_bytes(empty_table("study_pits")).decode().count("\n") == 1


def test_workbook_freezes_names_and_units_and_keeps_formulas_text():
    found = sheet(TABLE)
    assert found.freeze_panes == "B3"
    assert found.auto_filter.ref == "A2:D7"
    assert found["A5"].value == "=1+1"
    assert found["A5"].data_type == "s"
    assert found["B5"].value is None
    assert found["C7"].value == 5
    assert found["D3"].value is True
    assert found["A7"].value == "bell\ufffd"


def test_workbook_shows_four_digits_and_holds_all():
    found = sheet({"small": np.array([0.0123456, 0.0234567]), "large": np.array([1234.5678, np.nan])})
    assert [found[c].number_format for c in ("A3", "B3")] == ["0.00000", "0.0"]
    assert (found["A3"].value, found["B3"].value) == (0.0123456, 1234.5678)
    whole = sheet({"h": np.array([168.0, 0.0]), "n": np.array([1, 2]), "tiny": np.array([1e-12, 0.0])})
    assert [whole[c].number_format for c in ("A3", "B3", "C3")] == ["General", "General", "0.000E+00"]


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_text_like_a_formula_is_kept_in_csv_and_told_of(start):
    table = {"name": np.array(["a", f"{start}1+1"]), "x": np.array([-1.0, 2.0])}
    assert f"\n{start}1+1,2" in writing.csv_bytes(table).decode()
    said = writing.formula_warning({"t": table})
    assert said and repr(f"{start}1+1") in said and "surfscan.xlsx" in said
    assert writing.formula_warning({"t": {"name": np.array(["a-b", ""]), "x": table["x"]}}) is None


def test_second_row_of_the_workbook_has_the_units_of_the_registry():
    found = sheet(empty_table("study_groups"), "study_groups")
    for position, column in enumerate(TABLES["study_groups"], start=1):
        assert found.cell(1, position).value == column.name
        assert found.cell(2, position).value == (column.unit or None)
    assert "h" in {cell.value for cell in found[2]} and found.max_row == 2


def test_workbook_bytes_do_not_depend_on_the_clock():
    first, _ = writing.workbook_bytes({"study_images": TABLE})
    time.sleep(2.1)  # the archive format counts in steps of two seconds
    assert writing.workbook_bytes({"study_images": TABLE})[0] == first


def test_table_too_long_for_a_sheet_is_cut_and_said(monkeypatch):
    monkeypatch.setattr(writing, "SHEET_ROWS", 3)
    content, warnings = writing.workbook_bytes({"study_pits": TABLE})
    assert openpyxl.load_workbook(io.BytesIO(content))["pits"].max_row == 5
    assert warnings == [
        "In tables/surfscan.xlsx sheet 'pits' ends after 3 of 5 rows, the most a sheet can hold; "
        "tables/pits.csv has them all."
    ]


def test_data_dictionary_defines_every_column():
    table = writing.data_dictionary({"study_images": {}, "study_groups": {}})
    names = ("study_images", "study_groups", "data_dictionary")
    assert len(table["column"]) == sum(len(TABLES[name]) for name in names)
    assert set(table["table"]) == {"images", "groups", "data_dictionary"}
    assert all(table["definition"])


def test_file_that_cannot_be_written_is_named(tmp_path):
    (tmp_path / "tables").write_text("a file where the folder should be")
    with pytest.raises(InputError, match=r"groups\.csv: cannot be written"):
        writing.write_bytes(tmp_path / "tables" / "groups.csv", b"x")


def test_failed_write_leaves_the_old_file(tmp_path, monkeypatch):
    path = tmp_path / "a.csv"
    writing.write_bytes(path, b"old")
    monkeypatch.setattr(
        type(path), "replace", lambda *_: (_ for _ in ()).throw(PermissionError(13, "in use"))
    )
    with pytest.raises(InputError, match="in use"):
        writing.write_bytes(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
