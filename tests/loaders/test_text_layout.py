import numpy as np
import pytest

from surfscan.loaders.text_layout import find_layout, normalise, read_table, split


def layout(text):
    return find_layout(text.encode(), complete=True)


def table(text):
    data = normalise(text.encode())
    found = find_layout(data, complete=True)
    return read_table(data[found.start :], found, data.count(b"\n", 0, found.start) + 1)


@pytest.mark.parametrize(("text", "delimiter", "decimal"), [
    ("1.5\t2\n3\t4", "\t", "."),
    ("1,5\t2\n3\t4", "\t", ","),
    ("1.5;2\n3;4", ";", "."),
    ("1,5;2\n3;4", ";", ","),
    ("1.5|2|3\n3|4|5", "|", "."),
    ("1.5,2\n3,4", ",", "."),
    ("1, 2\n3, 4", ",", "."),
    ("1.5 2\n3 4", "", "."),
    ("  1.5   2\n 3  4 ", "", "."),
    ("1,5 2\n3 4", "", ","),
    ("1,5 2,5 3\n3,5 4,5 1", "", ","),
    ("1;2\n3,5;4", ";", ","),
    ("-1e-3;+.5;5.\n1E+3;BAD;", ";", "."),
])  # fmt: skip
def test_how_numbers_are_written(text, delimiter, decimal):
    found = layout(text)
    assert (found.delimiter, found.decimal, found.start, found.header) == (delimiter, decimal, 0, ())


def test_header_lines():
    found = layout("a map\n\n# pitch 0.5 µm\n1;2;3\n4;5;6")
    assert found.header == ("a map", "# pitch 0.5 µm")
    assert found.start == len("a map\n\n# pitch 0.5 µm\n".encode())
    latin = find_layout("# pitch 0.5 µm\n1;2;3\n".encode("latin-1"), complete=True)
    assert latin.header == ("# pitch 0.5 µm",)


@pytest.mark.parametrize("text", [
    "",
    "prose",
    "prose with 1 2 3 numbers\nand more",
    "1\n2\n3\n",
    "label,row_px\n1,2\n",
    "label,row_px,\n1,2,\n",
    "E/V,I/A\n-0.5,1e-6\n-0.4,2e-6",
    "1,2,3\nsome,more,words",
    "2024-01-01,1,2\n2024-01-02,3,4",
    '{"a": [1, 2, 3]}',
    "[1, 2, 3],\n[4, 5, 6]",
    "name 1 2 3\nname 4 5 6",
])  # fmt: skip
def test_other_text_is_left_alone(text):
    assert layout(text) is None


def test_names_of_x_y_z_are_welcome():
    assert layout("x,y,z\n1,2,3\n").header == ("x,y,z",)
    assert layout("# a,b,c\n1,2,3\n").header == ("# a,b,c",)


def test_a_stray_line_late_is_a_fault_and_not_another_kind_of_text():
    assert layout("1;2;3\n4;5;6\nend\n") is None
    assert layout("1;2;3\n" * 5 + "end\n") is not None


def test_a_head_cut_short():
    whole = "# pitch 1 µm\n" + ";".join(["1.25"] * 3000)
    found = find_layout(whole.encode()[:4096], complete=False)
    assert (found.delimiter, found.decimal) == (";", ".")
    assert find_layout(b"1 2 3\n4 5 6\n7 8 e", complete=False) is not None
    assert find_layout(b"a long line of prose without a", complete=False) is None


@pytest.mark.parametrize("encode", [
    lambda t: t.encode(),
    lambda t: b"\xef\xbb\xbf" + t.encode(),
    lambda t: t.encode("utf-16"),
    lambda t: t.replace("\n", "\r\n").encode(),
    lambda t: t.replace("\n", "\r").encode(),
])  # fmt: skip
def test_encodings_and_line_ends(encode):
    assert normalise(encode("µm\n1;2\n3;4\n")) == "µm\n1;2\n3;4\n".encode()


@pytest.mark.parametrize("data", [b"1 2\0", b"\x01\x02", b"II*\0\x08\0\0\0"])
def test_no_text(data):
    assert normalise(data) is None


def test_fields():
    assert split(b"1, 2,", ",") == [b"1", b" 2", b""]
    assert split(b" 1  2\t3 ", "") == [b"1", b"2", b"3"]


EXPECTED = np.array([[1.5, 2, np.nan], [4, np.nan, 6]])


@pytest.mark.parametrize("text", [
    "1.5;2;BAD\n4;;6",
    "1.5;2;\n4;;6",
    "1,5;2;NaN\n4;***;6\n\n",
    "1.5,2,\n4,,6\n",
    "1.5,2,n/a,\n4,bad,6,\n",
    "1.5, 2, void, \n4, , 6, \n",
    "1.5\t2\t\n4\t\t6\n",
    "1.5 2 BAD\n4 -- 6",
    "1,5 2 ***\n4 Bad 6",
    "1.5 2 1.#QNAN\n\n  # a note, with commas\n4 inf 6  \n",
    "1.5D0;2;null\n4;#N/A;6",
    "# map\n1.5;2;;\n\n4;;6;\n",
    "#N/A;2;1\n",
])  # fmt: skip
def test_tables(text):
    expected = np.array([[np.nan, 2, 1]]) if text.startswith("#N/A") else EXPECTED
    np.testing.assert_array_equal(table(text), expected)


def test_first_and_last_field_may_be_empty():
    np.testing.assert_array_equal(table(";2;3\n4;5;"), [[np.nan, 2, 3], [4, 5, np.nan]])


def test_fast_and_careful_ways_agree():
    rng = np.random.default_rng(5)
    values = rng.normal(size=(60, 40))
    values[rng.random(values.shape) < 0.1] = np.nan
    lines = [";".join(map(repr, row)) for row in values.tolist()]
    for word in ("BAD", "", "masked", "-nan(ind)"):
        text = "\n".join(lines).replace("nan", word)
        np.testing.assert_array_equal(table(text), values)


@pytest.mark.parametrize(("text", "fault"), [
    ("a\n\n1;2;3\n4;5\n", "line 4 has 2 values where the first line of numbers has 3"),
    ("1;2;3\n" * 5 + "1;two;3\n", "line 6: 'two' is not a number"),
    ("1;2;3\n" * 5 + "1;1_0;3\n", "line 6: '1_0' is not a number"),
    ("1,5;2;3\n" * 5 + "1;1.000,5;3\n", "line 6: '1.000.5' is not a number"),
    ("1 2 3\n" * 5 + "4 5 6 7\n", "line 6 has 4 values"),
    ("1 2 3\n\n" * 5 + "4 5 # 6\n", "line 11 has 4 values"),
    ("1 2 3\n" * 50 + "end\n", "line 51"),
])  # fmt: skip
def test_faults_name_the_line(text, fault):
    with pytest.raises(ValueError, match=fault):
        table(text)
