"""Columns of numbers: the same to the bit as `float`, and faults found."""

import numpy as np
import pytest

from surfscan.immersion.log_numbers import characters_of, fields_of, read_numbers


def spans(fields):
    data = b",".join(fields) + b"\n"
    buffer = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero((buffer == ord(",")) | (buffer == 10))
    return data, np.concatenate([[0], ends[:-1] + 1]), ends


def test_same_to_the_bit_as_float():
    rng = np.random.default_rng(5)
    texts = [f"{x:.{k}f}" for x, k in zip(rng.normal(0, 500, 4000), rng.integers(0, 9, 4000), strict=True)]
    texts += [f"{x:+.3f}" for x in rng.normal(0, 5, 200)] + [repr(float(x)) for x in rng.normal(0, 1e-7, 200)]
    texts += [
        "0",
        "-0.0",
        ".5",
        "5.",
        "+.25",
        "-7",
        "123456789012345",
        "1234567890123456789",
        "1e-3",
        "-2.5E+04",
    ]
    texts += ["0.1234567890123456789", "9007199254740993", "0000000000000000000012.5"]
    values, faults = read_numbers(*spans([text.encode() for text in texts]))
    assert len(faults) == 0
    expected = np.array([float(text) for text in texts])
    assert values.tobytes() == expected.tobytes()


def test_gaps_are_no_faults_and_words_are():
    fields = [
        b"1.5",
        b"",
        b"NaN",
        b"-",
        b"OVERLOAD",
        b"inf",
        b"ERR",
        b"1.2.3",
        b"12a",
        b"1_0",
        b"+",
        b"--5",
        b"2",
    ]
    values, faults = read_numbers(*spans(fields))
    assert faults.tolist() == [6, 7, 8, 9, 10, 11]
    assert np.isnan(values[1:-1]).all()
    assert values[[0, -1]].tolist() == [1.5, 2.0]


def test_decimal_comma():
    data = b"1,5;-2,25;3\n"
    values, faults = read_numbers(
        data, np.array([0, 4, 10]), np.array([3, 9, 11]), ",", lambda t: t.replace(b",", b".")
    )
    assert values.tolist() == [1.5, -2.25, 3.0]
    assert len(faults) == 0


def test_fields_and_characters():
    data, starts, _ = spans([b"abc", b"def"])
    assert fields_of(data, starts, 3).tolist() == [b"abc", b"def"]
    assert characters_of(data, starts, 3).T.tobytes() == b"abcdef"


@pytest.mark.parametrize("count", [0, 1])
def test_few(count):
    values, faults = read_numbers(b"7\n", np.zeros(count, int), np.ones(count, int))
    assert values.tolist() == [7.0] * count
    assert len(faults) == 0
