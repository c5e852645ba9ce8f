"""Colours of remaining width."""

import numpy as np
import pytest

from surfscan.report.strut_colours import Colours, colour_table, coloured_runs, strut_colours


def test_shares_reach_from_round_numbers_to_the_whole_width(strut_records):
    colours = strut_colours(strut_records["notched"])
    assert colours.is_share and colours.title == "remaining width, share of the width as drawn"
    assert (colours.low, colours.high) == (0.5, 1.0)
    assert colours.ticks() == [(0.0, "50\u00a0%"), (50.0, "75\u00a0%"), (100.0, "100\u00a0%")]


def test_sound_strut_keeps_a_span_so_that_noise_is_not_spread(strut_records):
    record = strut_records["plain"]
    shares = strut_colours(record)
    assert shares.high - shares.low >= 0.1


def test_against_a_picture_before(strut_records):
    assert strut_colours(strut_records["mesh"]).title.endswith("width before")


def test_nothing_to_compare_with_gives_widths(strut_records):
    colours = strut_colours(strut_records["unscaled"])
    assert (colours.unit, colours.is_share) == ("px", False)
    assert colours.low < 20 < colours.high


def test_a_few_values_above_have_the_last_colour_and_it_says_so():
    values = np.r_[np.full(99, 0.9), 1.4]
    colours = Colours(values, 0.8, 1.0, "", "%", has_more=True)
    assert colours.ticks()[-1] == (100.0, "≥\u00a0100\u00a0%")
    assert colours.level(np.array([1.4, 1.0])).tolist() == [23, 23]
    assert colours.level(np.array([np.nan])).tolist() == [-1]


def test_runs_of_one_colour_are_joined_and_gaps_left_out():
    colours = Colours(np.empty(0), 0.0, 1.0, "", "%")
    values = np.r_[np.full(6, 0.2), np.full(5, np.nan), np.full(4, 0.2), np.full(4, 0.9)]
    found = coloured_runs(values, colours, 2)
    assert [(a, b) for a, b, _ in found] == [(0, 6), (11, 15), (15, 19)]
    assert found[0][2] == found[1][2] < found[2][2]


def test_several_stations_share_the_colour_of_their_mean():
    colours = Colours(np.empty(0), 0.0, 1.0, "", "%")
    ((start, end, level),) = coloured_runs(np.array([0.0, 1.0, 0.0, 1.0]), colours, 2)
    assert (start, end) == (0, 4)
    assert level == colours.level(np.array([0.5]))[0]


def test_colours_run_from_dark_blue_to_yellow():
    shades = colour_table()
    assert len(set(shades)) == 24
    assert (shades[0], shades[-1]) == ("#00224e", "#fee838")
    light = [sum(int(shade[i : i + 2], 16) for i in (1, 3, 5)) for shade in shades]
    assert light == sorted(light)
    assert light[-1] == pytest.approx(542, abs=5)
