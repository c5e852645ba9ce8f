import pytest

from surfscan.electrochemistry.table_form import AmbiguousDecimalError, find_form, has_clock, is_gap, tidy


def form_of(*lines, decimal=None):
    return find_form([line.encode() for line in lines], decimal)


@pytest.mark.parametrize(
    ("line", "delimiter", "decimal", "columns"),
    [
        ("0.1\t2e-3", "\t", ".", 2),
        ("0,1\t2e-3", "\t", ",", 2),
        ("0,1;2,5E-3", ";", ",", 2),
        ("0.1,2e-3,5", ",", ".", 3),
        ("  0.1   2e-3", "", ".", 2),
        ("0,1 2,5", "", ",", 2),
        ("-.5|+.25", "|", ".", 2),
        ("1;2", ";", ".", 2),
    ],
)
def test_ways_of_writing(line, delimiter, decimal, columns):
    form, first = form_of("words above", "", *[line] * 5)
    assert (form.delimiter, form.decimal, form.columns, first) == (delimiter, decimal, columns, 2)
    assert form.words == (False,) * columns
    assert not form.trailing


def test_columns_of_words_and_trailing_delimiters():
    form, _ = form_of(*["up;0,1;2,5;"] * 4)
    assert form.words == (True, False, False)
    assert form.trailing
    assert form.split(b"up;0,1;2,5;") == [b"up", b"0,1", b"2,5"]
    assert form.is_row([b"down", b"1", b""])
    assert not form.is_row([b"down", b"x", b"1"])
    assert not form.is_row([b"down", b"", b"NaN"])


def test_rows_before_a_faulty_one_belong_to_the_table():
    _, first = form_of("a\tb", "1\t2", "1\t2\t3", "1\t2", "1\t2", "1\t2")
    assert first == 1


def test_numbers_in_the_header_do_not():
    _, first = form_of("1 2", "E I", "0.1 2", "0.2 3", "0.3 4")
    assert first == 2


def test_no_table():
    assert form_of("only", "words here", "") is None
    assert form_of("1", "2", "3") is None


def test_commas_that_may_be_either():
    lines = ["1,234\t5,678", "1,235\t6,789"] * 3
    with pytest.raises(AmbiguousDecimalError):
        form_of(*lines)
    assert form_of(*lines, decimal=",")[0].plain(b"1,234\t5,678") == b"1.234\t5.678"
    assert form_of(*lines, decimal=".")[0].plain(b"1,234\t5,678") == b"1234\t5678"
    assert form_of(*[line.replace("\t", ";") for line in lines])[0].decimal == ","
    assert form_of("0,234\t5,678", *lines)[0].decimal == ","


def test_thousands_by_point():
    form, _ = form_of(*["1.234,5;-12.345.678,25"] * 3)
    assert form.plain(b"1.234,5;-12.345.678,25") == b"1234.5;-12345678.25"


@pytest.mark.parametrize(
    ("raw", "tidied"),
    [
        ("1'234.5", b"1234.5"),
        ("12\u202f345,6", b"12345,6"),
        ("1\u00a0234", b"1234"),
        ("\u22122.5", b"-2.5"),
        ("1.2x10^-5", b"1.2e-5"),
        ("1,2·10-5", b"1,2e-5"),
        ("1.2*10^5", b"1.2e5"),
        ('"0.5"', b"0.5"),
        ("1.5 E-03", b"1.5E-03"),
        ("01:02:03", b"3723"),
        ("1:02:03,25 PM", b"46923,25"),
        ("12.03.2001 00:00:10", b"10"),
        ("2001-03-12T00:01:10.5Z", b"70.5"),
        ("plain words, 12.5", b"plain words, 12.5"),
        ("a 5*\n10", b"a 5*\n10"),
    ],
)
def test_spellings(raw, tidied):
    assert tidy(raw.encode()) == tidied


def test_clocks_and_gaps():
    assert has_clock(b"x 10:11:12")
    assert not has_clock(b"ratio 1:2")
    assert is_gap(b"Overload")
    assert is_gap(b"1.#QNAN")
    assert not is_gap(b"0")
