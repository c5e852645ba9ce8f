"""CSV as spreadsheets of several languages write it."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.study.specimens import read_specimens_csv

FIELDS = ["id", "group", "exposure_h", "surface_area_mm2", "note"]
TEXTS = ["id", "group", "note"]
EXPECTED = {"id": "Ü-1", "group": "a, b", "exposure_h": 168.0, "surface_area_mm2": 412.5}


def _read(tmp_path: Path, content: str | bytes) -> tuple[list, list[str]]:
    path = tmp_path / "specimens.csv"
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    rows, faults = read_specimens_csv(path, FIELDS, TEXTS)
    return rows, [str(fault) for fault in faults]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "cp1252", "utf-16", "utf-16-be-bom"])
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize(
    "table",
    [
        'id,group,exposure_h,surface_area_mm2\nÜ-1,"a, b",168,412.5\n',
        'id;group;exposure_h;surface_area_mm2\nÜ-1;"a, b";168,0;412,5\n',
        'id\tgroup\texposure_h\tsurface_area_mm2\n"Ü-1"\ta, b\t168\t412,5\n',
        'id,group,exposure_h,surface_area_mm2\nÜ-1,"a, b","168,0","412,5"\n',
        'sep=;\nid;group;exposure_h;surface_area_mm2;\n;;;;\n"Ü-1"; a, b ;168;412,5;\n\n',
        "group;id;surface_area_mm2;exposure_h;note\na, b;Ü-1;4.125e2;168.;",
    ],
)
def test_dialects(tmp_path: Path, table: str, newline: str, encoding: str) -> None:
    text = table.replace("\n", newline)
    if encoding == "utf-16-be-bom":
        content = b"\xfe\xff" + text.encode("utf-16-be")
    else:
        content = text.encode(encoding)
    rows, faults = _read(tmp_path, content)
    assert faults == [] and [row.values for row in rows] == [EXPECTED]


def test_lines_count_blank_rows_and_line_breaks_in_cells(tmp_path: Path) -> None:
    rows, _ = _read(tmp_path, 'id,group,note\n\na,g,"two\nlines"\n,,\nb,g,\n')
    assert [(row.line, row.values["id"]) for row in rows] == [(3, "a"), (6, "b")]
    assert rows[0].values["note"] == "two\nlines"


def test_large_numbers_of_semicolon_files_are_decimal(tmp_path: Path) -> None:
    rows, faults = _read(tmp_path, "id;group;exposure_h\na;g;1,234\n")
    assert not faults and rows[0].values["exposure_h"] == 1.234


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (
            'id,group,exposure_h\na,g,"1,234"\n',
            ":2: exposure_h '1,234' may be a decimal comma or a thousands",
        ),
        ('id,group,exposure_h\na,g,"1,5"\nb,g,1.5\n', ":2: exposure_h '1,5' has a decimal comma, but"),
        ("id,group,exposure_d\na,g,7\n", ":1: unknown column 'exposure_d'. This is in h here"),
        ("id,grup\na,g\n", ":1: unknown column 'grup'. Did you mean 'group'?"),
        ("id,group,id\na,g,b\n", ":1: column 'id' stands twice"),
        ("id,group\na,g,x\n", ":2: 3 cells under 2 headings"),
        ("\n\n", ":1: the file holds no rows"),
        (b"PK\x03\x04rest", "spreadsheet workbook"),
        (b"id,group\n\x81\x00", "not text"),
    ],
)
def test_faults(tmp_path: Path, content: str | bytes, said: str) -> None:
    rows, faults = _read(tmp_path, content)
    assert rows == [] and len(faults) == 1
    assert faults[0].startswith("specimens.csv:") and said in faults[0]


def test_a_cell_that_is_no_number_is_handed_on(tmp_path: Path) -> None:
    rows, _ = _read(tmp_path, "id,group,exposure_h\na,g,7 d\n")
    assert rows[0].values["exposure_h"] == "7 d"


def test_thousands_set_apart_by_spaces(tmp_path: Path) -> None:
    rows, _ = _read(tmp_path, "id;group;exposure_h\na;g;1\u202f234,5\nb;g;1 234\n")
    assert [row.values["exposure_h"] for row in rows] == [1234.5, 1234.0]
