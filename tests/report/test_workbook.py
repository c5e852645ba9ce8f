"""Tables to one workbook."""

import io
import math
import time
import zipfile

import numpy as np
import openpyxl
import pytest

from surfscan.columns import TABLES, empty_table
from surfscan.report import workbook
from surfscan.report.workbook import workbook_bytes
from surfscan.report.writing import file_stem

TABLE = {
    "name": np.array(["a,b", 'say "µm"', "=1+1", "two\nlines", "bell\x07"]),
    "value": np.array([1.0, 0.1, np.nan, 1e-12, -2.5]),
    "count": np.array([1, 2, 3, 4, 5]),
    "flag": np.array([True, False, True, True, False]),
}


def sheet(table, name="study_images"):
    content, _ = workbook_bytes({name: table})
    return openpyxl.load_workbook(io.BytesIO(content))[file_stem(name)]


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


def test_second_row_of_the_workbook_has_the_units_of_the_registry():
    found = sheet(empty_table("study_groups"), "study_groups")
    for position, column in enumerate(TABLES["study_groups"], start=1):
        assert found.cell(1, position).value == column.name
        assert found.cell(2, position).value == (column.unit or None)
    assert "h" in {cell.value for cell in found[2]} and found.max_row == 2


def test_workbook_bytes_do_not_depend_on_the_clock():
    first, _ = workbook_bytes({"study_images": TABLE})
    time.sleep(2.1)  # the archive format counts in steps of two seconds
    assert workbook_bytes({"study_images": TABLE})[0] == first


def test_table_too_long_for_a_sheet_is_cut_and_said(monkeypatch):
    monkeypatch.setattr(workbook, "SHEET_ROWS", 3)
    content, warnings = workbook_bytes({"study_pits": TABLE})
    assert openpyxl.load_workbook(io.BytesIO(content))["pits"].max_row == 5
    assert warnings == [
        "In tables/surfscan.xlsx sheet 'pits' ends after 3 of 5 rows, the most a sheet can hold; "
        "tables/pits.csv has them all."
    ]


def test_workbook_holds_every_bit_of_a_number_over_many_rows():
    rng = np.random.default_rng(7)
    values = rng.normal(size=10_000) * 10.0 ** rng.integers(-300, 300, 10_000)
    found = [row[0] for row in sheet({"x": values}).iter_rows(min_row=3, values_only=True)]
    assert found == values.tolist()


@pytest.mark.parametrize(
    "text",
    ["<&>\"'", " spaced ", "tab\there", "line\rreturn\nfeed", "µ ≥ 𝛼", "#N/A", "12", "true", "]]>"],
)
def test_text_comes_back_as_it_was(text):
    found = sheet({"name": np.array(["", text, "z"]), "n": np.array([1, 2, 3])})
    assert [found[f"A{k}"].value for k in (3, 4, 5)] == [None, text, "z"]
    assert found["A4"].data_type == "s"


def test_what_a_workbook_cannot_hold_is_put_as_text_or_cut():
    found = sheet({"x": np.array([np.inf, -np.inf, 1.0]), "t": np.array(["y" * 40_000, "\ufffe", "\ud800"])})
    assert [found[f"A{k}"].value for k in (3, 4, 5)] == ["inf", "-inf", 1.0]
    assert len(found["B3"].value) == 32_767
    assert [found[f"B{k}"].value for k in (4, 5)] == ["\ufffd", "\ufffd"]


def test_large_numbers_and_columns_beyond_z_keep_their_places():
    table = {f"c{k}": np.array([k, 2**62 + k]) for k in range(30)}
    found = sheet(table)
    assert found["AB3"].value == 27
    assert found["AD4"].value == 2**62 + 29
    assert found.max_column == 30


def test_rows_are_whole_numbers_of_chunks_or_not(monkeypatch):
    monkeypatch.setattr(workbook, "_CHUNK_ROWS", 4)
    for length in (3, 4, 5, 8):
        found = sheet({"n": np.arange(length), "x": np.full(length, math.nan)})
        assert [c.value for c in found["A"][2:]] == list(range(length))


def test_a_sheet_of_more_cells_than_32_bits_may_count_is_readable(monkeypatch):
    monkeypatch.setattr(workbook, "_BIG_CELLS", 5)
    content, _ = workbook_bytes({"study_pits": TABLE})
    assert zipfile.ZipFile(io.BytesIO(content)).testzip() is None
    assert openpyxl.load_workbook(io.BytesIO(content))["pits"]["C7"].value == 5
