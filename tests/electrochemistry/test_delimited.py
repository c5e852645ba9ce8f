import hashlib

import numpy as np
import pytest

from surfscan.electrochemistry import delimited, text_blocks
from surfscan.electrochemistry.delimited import read_table
from surfscan.errors import InputError

VALUES = np.round(np.random.default_rng(3).normal(0, 2, (400, 3)), 5)
ROWS = ["\t".join(map(repr, row)) for row in VALUES.tolist()]


@pytest.fixture
def path(tmp_path):
    return tmp_path / "table.txt"


@pytest.fixture(params=[100, 1000, 2**22])
def _block(request, monkeypatch):
    monkeypatch.setattr(text_blocks, "BLOCK_BYTES", request.param)
    monkeypatch.setattr(delimited, "_HEAD_BYTES", min(4 * request.param, 2**18))


@pytest.mark.usefixtures("_block")
def test_lines_around_and_between(path):
    lines = ["name: x", "", "a\tb\tc", *ROWS[:150], "", "again", "a\tb\tc", *ROWS[150:], "# the end"]
    path.write_text("\n".join(lines) + "\n")
    table = read_table(path)
    np.testing.assert_array_equal(table.values, VALUES)
    assert table.header == ("name: x", "a\tb\tc")
    assert table.interludes == ((150, ("again", "a\tb\tc")),)
    assert table.footer == ("# the end",)
    assert table.warnings == ()
    assert [table.line_of(row) for row in (0, 149, 150, 399)] == [4, 153, 157, 406]
    assert table.sha256 == hashlib.sha256(path.read_bytes()).hexdigest()


@pytest.mark.usefixtures("_block")
def test_gaps_and_words(path):
    rows = [row.split("\t") for row in ROWS]
    rows[5][1], rows[200][0], rows[300][2] = "", "NaN", "Overload"
    path.write_text("\n".join(f"{a};up;{b};{c}" for a, b, c in rows))
    table = read_table(path)
    expected = VALUES.copy()
    expected[5, 1] = expected[200, 0] = expected[300, 2] = np.nan
    np.testing.assert_array_equal(table.values[:, [0, 2, 3]], expected)
    assert np.isnan(table.values[:, 1]).all()


@pytest.mark.usefixtures("_block")
@pytest.mark.parametrize("decimal", ".,")
def test_way_of_one_call_and_line_by_line_agree(path, decimal):
    path.write_text("\n".join(ROWS).replace(".", decimal))
    np.testing.assert_array_equal(read_table(path).values, VALUES)
    path.write_text("\n\n".join(ROWS).replace(".", decimal))
    table = read_table(path)
    np.testing.assert_array_equal(table.values, VALUES)
    assert table.line_of(100) == 201


@pytest.mark.usefixtures("_block")
@pytest.mark.parametrize(
    ("line", "fault"),
    [
        ("1\tx\t2", "'x' is not a number"),
        ("x\t1\t2", "'x' is not a number"),
        ("1\t2", "2 values stand here, 3 in the rows before"),
        ("1\t2\t3\t4", "4 values stand here"),
        ("1\t2\t0,5", "'0,5' is not a number"),
    ],
)
def test_faults_name_their_line(path, line, fault):
    path.write_text("\n".join([*ROWS[:333], line, *ROWS[334:]]))
    with pytest.raises(InputError, match=fault) as caught:
        read_table(path)
    assert caught.value.path == f"{path}:334"


def test_scan_lines_between_rows_are_no_fault(path):
    path.write_text("\n".join([*ROWS[:10], "Scan\t2\t0", *ROWS[10:]]))
    assert read_table(path).interludes == ((10, ("Scan\t2\t0",)),)


def test_a_table_too_large(path, monkeypatch):
    monkeypatch.setattr(delimited, "MOST_NUMBERS", 1000)
    path.write_text("\n".join(ROWS))
    with pytest.raises(InputError, match="more than 1,000 numbers"):
        read_table(path)


def test_clock_columns_are_told(path):
    path.write_text("\n".join(f"10:{k // 60:02}:{k % 60:02}\t{row}" for k, row in enumerate(ROWS)))
    table = read_table(path)
    assert table.clocks == (0,)
    np.testing.assert_array_equal(table.values[:, 0], 36000 + np.arange(400))


@pytest.mark.usefixtures("_block")
def test_units_in_cells(path):
    rows = [f"{k}.5 V\t{k * 3}.2 {'nA' if k < 300 else 'µA'}" for k in range(400)]
    path.write_text("E\tI\n" + "\n".join(rows), encoding="utf-8")
    cells = read_table(path).cell_units
    assert [(c.column, c.unit.text, c.with_number, c.line) for c in cells] == [
        (1, "V", False, 2),
        (3, "nA", False, 2),
        (3, "µA", False, 302),
    ]
    rows = [f"{k}.5;{k * 3}.2;100 mA;up" for k in range(400)]
    path.write_text("\n".join(rows))
    cells = read_table(path).cell_units
    assert [(c.column, c.unit.text, c.with_number, c.line) for c in cells] == [(2, "mA", True, 1)]


@pytest.mark.parametrize(
    ("row", "fault"),
    [
        ("-0,675,-0,008619", "looks like a part of a number"),
        ("1,675,8,61924e-06", "looks like a part of a number"),
        ('"-0,675","-0,86"', "within quotes"),
    ],
)
def test_commas_that_part_columns_and_mark_decimals(path, row, fault):
    path.write_text("a line\n" + f"{row}\n" * 9)
    with pytest.raises(InputError, match=fault) as caught:
        read_table(path)
    assert caught.value.path == f"{path}:2"
    path.write_text("\n".join(f"{k},{3 * k},{k + 7}" for k in range(9)))
    assert read_table(path).values.shape == (9, 3)
