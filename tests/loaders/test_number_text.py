import numpy as np
import pytest

from surfscan.loaders import number_text
from surfscan.loaders.number_text import is_unmeasured, read_values, shown, to_number

GAPS = [
    b"BAD", b"bad", b"Bad", b"NaN", b"nan", b"NAN", b"-nan", b"nan(ind)", b"-nan(ind)", b"1.#QNAN",
    b"-1.#IND", b"1.#INF", b"n/a", b"#N/A", b"NULL", b"None", b"void", b"***", b"*", b"-", b"--", b"---",
    b"inf", b"-Infinity", b" BAD ",
]  # fmt: skip


@pytest.mark.parametrize("token", GAPS)
def test_words_for_not_measured(token):
    assert is_unmeasured(token)
    assert np.isnan(to_number(token))


@pytest.mark.parametrize("token", [b"", b"0", b"-1", b"bads", b"good", b"nano", b"e", b"----", b"+-nan"])
def test_other_words_are_not(token):
    assert not is_unmeasured(token)


@pytest.mark.parametrize(("token", "value"), [
    (b"1", 1.0), (b" -2.5 ", -2.5), (b"+.5", 0.5), (b"5.", 5.0), (b"1e-3", 1e-3), (b"1.5E+02", 150.0),
    (b"1D-3", 1e-3), (b"2.5d2", 250.0),
])  # fmt: skip
def test_numbers(token, value):
    assert to_number(token) == value


@pytest.mark.parametrize(
    "token", [b"1_000", b"1,5", b"0x10", b"1.2.3", b"1-2", b"e5", b"abc", b"1 2", b"\xff"]
)
def test_no_numbers_are_named(token):
    with pytest.raises(ValueError, match="is not a number") as caught:
        to_number(token)
    assert str(caught.value).startswith(shown(token))


def test_an_empty_field_is_a_gap():
    assert np.isnan(to_number(b"")) and np.isnan(to_number(b"  "))


def test_long_fields_are_shown_short():
    assert shown(b"x" * 500) == repr("x" * 40 + "...")


def test_values_across_any_white_space():
    values = read_values(b"1 2\r\n\t3\r4\n\n5e0  BAD 1D1 inf\n")
    np.testing.assert_array_equal(values, [1, 2, 3, 4, 5, np.nan, 10, np.nan])
    assert read_values(b" \r\n").size == 0


def test_values_do_not_depend_on_where_pieces_are_cut(monkeypatch):
    rng = np.random.default_rng(3)
    expected = rng.normal(size=400)
    expected[::17] = np.nan
    text = " ".join(map(repr, expected.tolist())).replace("nan", "BAD").encode()
    for size in (1, 2, 7, 64, 10**6):
        monkeypatch.setattr(number_text, "_PIECE_BYTES", size)
        np.testing.assert_array_equal(read_values(text), expected)


def test_one_word_that_is_no_number_is_named():
    with pytest.raises(ValueError, match="'BADGER' is not a number"):
        read_values(b"1 2 BADGER 4")
    with pytest.raises(ValueError, match="'1_0' is not a number"):
        read_values(b"1 2 1_0 4")
