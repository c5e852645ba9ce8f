"""Tables as bytes."""

import csv
import io

import numpy as np
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


@pytest.mark.parametrize("start", ["=", "+", "-", "@"])
def test_text_like_a_formula_is_kept_in_csv_and_told_of(start):
    table = {"name": np.array(["a", f"{start}1+1"]), "x": np.array([-1.0, 2.0])}
    assert f"\n{start}1+1,2" in writing.csv_bytes(table).decode()
    said = writing.formula_warning({"t": table})
    assert said and repr(f"{start}1+1") in said and "surfscan.xlsx" in said
    assert writing.formula_warning({"t": {"name": np.array(["a-b", ""]), "x": table["x"]}}) is None


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


def test_csv_is_what_the_csv_module_writes():
    awkward = ["", " ", "a,b", '"', 'a"b', "\n", "a\rb", "\r\n", "'", "µ;\t", "nan", "1.0", "#", "None"]
    values = [
        0.0,
        -0.0,
        1.0,
        1e22,
        1e-7,
        np.nan,
        np.inf,
        -np.inf,
        1 / 3,
        2.5e16,
        5e-324,
        123456789.0,
        -2.0,
        10.0,
    ]
    table = {
        "te,xt": np.array(awkward),
        "x": np.array(values),
        "f": np.array(values, dtype=np.float32),
        "n": np.arange(len(values)) - 3,
        "is": np.arange(len(values)) % 2 == 0,
    }

    def plain(value):
        if isinstance(value, bool):
            return "true" if value else "false"
        if isinstance(value, float):
            return "" if value != value else repr(value).removesuffix(".0")
        return str(value)

    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(table)
    writer.writerows(zip(*([plain(v) for v in column.tolist()] for column in table.values()), strict=True))
    assert writing.csv_bytes(table) == out.getvalue().encode()
