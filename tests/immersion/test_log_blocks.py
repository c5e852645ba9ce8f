"""Blocks of lines as arrays, and what could not be read."""

import numpy as np
import pytest

from surfscan.electrochemistry.table_form import TableForm
from surfscan.immersion.log_blocks import MOST_PLACES, Faults, LogForm, TimeForm, read_block
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_units import parse_channel_unit

CHANNELS = (
    Channel("temperature", 1, "T", parse_channel_unit("K"), "name"),
    Channel("pH", 2, "pH", parse_channel_unit("pH"), "name"),
)


def form(delimiter=",", decimal=".", time=TimeForm("elapsed", (0,), 1e6)):
    return LogForm(TableForm(delimiter, decimal, (False,) * 3, False, delimiter != ","), time, CHANNELS)


def test_values_in_common_units():
    block = read_block(b"0,310.15,7.4\n1.5,311.15,7.5\n", form())
    assert block.time_us.tolist() == [0, 1_500_000]
    assert block.values == pytest.approx(np.array([[37, 38], [7.4, 7.5]]))
    assert (block.line.tolist(), block.lines) == ([0, 1], 2)


@pytest.mark.parametrize(
    ("text", "delimiter", "decimal"),
    [
        (b"0, 310.15 ,7.4\n1.5 ,311.15,7.5 \n", ",", "."),
        (b"0;310,15;7,4\n1,5;311,15;7,5\n", ";", ","),
        (b"  0   310.15\t7.4\n1.5 311.15  7.5  \n", "", "."),
        (b'"0","310,15","7,4"\n"1,5","311,15","7,5"\n', ",", "."),
        (b"0\t310.15\t7.4\n\n1.5\t311.15\t7.5\n", "\t", "."),
    ],
)
def test_spellings(text, delimiter, decimal):
    block = read_block(text, form(delimiter, decimal))
    assert block.time_us.tolist() == [0, 1_500_000]
    assert block.values == pytest.approx(np.array([[37, 38], [7.4, 7.5]]))


def test_faults_have_their_lines():
    text = b"0,310,7.4\nnote\n1,ERR,7.4\n\nx,310,7.4\n2,310,99\n3,310\n4,,NaN\n"
    block = read_block(text, form())
    assert block.line.tolist() == [0, 2, 5, 7]
    assert block.lines == 8
    assert block.faults["line"].places == [(1, "'note'"), (4, "'x'"), (6, "'3,310'")]
    assert block.faults["temperature"].places == [(2, "'ERR'")]
    assert block.faults["pH out of range"].places == [(5, "'99'")]
    assert block.faults["pH"].count == 0
    assert np.isnan(block.values).tolist() == [[False, True, False, True], [False, False, True, True]]


def test_nothing_readable():
    block = read_block(b"a\nb\n", form())
    assert block.time_us.shape == (0,)
    assert block.values.shape == (2, 0)
    assert block.faults["line"].count == 2


def test_date_and_clock_in_two_columns():
    time = TimeForm("stamp", (0, 1))
    channels = (Channel("pH", 2, "pH", parse_channel_unit("pH"), "name"),)
    both = LogForm(TableForm(";", ".", (True, False, False), False, True), time, channels)
    block = read_block(b"02.01.1970;00:00:01;7\n03.01.1970;00:00:00;7\n", both)
    assert block.time_us.tolist() == [86_401_000_000, 172_800_000_000]


def test_only_the_first_places_are_kept():
    faults = Faults(3, [(0, "a"), (1, "b"), (2, "c")])
    faults.add(Faults(4, [(0, "d"), (1, "e"), (2, "f"), (3, "g")]), 10)
    assert faults.count == 7
    assert len(faults.places) == MOST_PLACES
    assert faults.places[-1] == (11, "e")
