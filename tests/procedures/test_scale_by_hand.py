"""A bar as a person goes by it: pointed at, its ends moved, its label written."""

import math

import numpy as np
import pytest

from surfscan.calibration.uncertainty import ANISOTROPY_ALLOWANCE, DECLARED_SCALE_ALLOWANCE
from surfscan.errors import InputError
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures.scale import measure_scale
from surfscan.procedures.scale_by_hand import END_BY_HAND_PX, BarEnds, bar_near, bars_of, scale_from_ends
from surfscan.procedures.settings import ScaleSettings


@pytest.fixture
def picture(draw_bar):
    rng = np.random.default_rng(4)
    grey = np.clip(rng.normal(120, 4, (260, 420)), 0, 255).astype(np.uint8)
    return Micrograph(draw_bar(grey, "50 µm"), Calibration(0.5, 0.5, 0.01, "stated"), Source("bar.png"))


ENDS = BarEnds(201.5, 39.5, 159.5, 0.29)


def test_pixel_size_is_label_over_length(picture):
    """50 µm over 120 px, with the parts of the uncertainty as root sum of squares (JCGM 100)."""
    found = scale_from_ends(picture, ENDS, "50 µm")
    size = 50 / 120
    assert found.calibration.pixel_size_x_um == pytest.approx(size)
    ends = math.sqrt(2) * 0.29 / 120
    whole = 1 / math.sqrt(12) / 120
    expected = math.hypot(ends, whole, DECLARED_SCALE_ALLOWANCE, ANISOTROPY_ALLOWANCE)
    assert found.calibration.relative_uncertainty == pytest.approx(expected)
    assert found.summary["against_difference_fraction"] == pytest.approx(size / 0.5 - 1)
    assert found.summary["bar_start_px"] == 39.5


def test_moved_end_is_a_hands(picture):
    """An end set by hand is no surer than a hand, and the origin says so."""
    moved = ENDS.moved(end_px=199.5)
    found = scale_from_ends(picture, moved, "80 µm")
    assert moved.end_uncertainty_px == END_BY_HAND_PX
    assert found.calibration.pixel_size_x_um == pytest.approx(80 / 160)
    assert "by hand" in found.calibration.origin


def test_ends_may_be_given_either_way_round(picture):
    """Which end is left does not matter."""
    turned = BarEnds(201.5, 159.5, 39.5, 0.29)
    assert (
        scale_from_ends(picture, turned, "50 µm").summary == scale_from_ends(picture, ENDS, "50 µm").summary
    )


def test_certificate_takes_the_place_of_the_allowance(picture):
    """A certificate makes the scale surer."""
    sure = scale_from_ends(picture, ENDS, "50 µm", ScaleSettings(certificate_relative_uncertainty=0.001))
    assert sure.calibration.relative_uncertainty < 0.006
    assert "certificate" in sure.summary["uncertainty_parts"]


@pytest.mark.parametrize("label", ["", "50", "50 pm", "-5 µm", "0 µm", "fifty µm"])
def test_label_that_is_no_length(picture, label):
    """What a person writes is taken as written, or not at all."""
    with pytest.raises(InputError, match="not a length"):
        scale_from_ends(picture, ENDS, label)


def test_bar_without_length(picture):
    """Two ends at one place make no scale."""
    with pytest.raises(InputError, match="1 px apart"):
        scale_from_ends(picture, BarEnds(5, 40, 40.5, 0.3), "50 µm")


@pytest.mark.parametrize("place", [(201, 100), (206, 41), (195, 150)])
def test_bar_near_a_click(picture, place):
    """A click on the bar or a little beside it finds its ends."""
    found = bar_near(picture, *place)
    assert found.col_start_px == pytest.approx(39.5, abs=0.3)
    assert found.col_end_px == pytest.approx(159.5, abs=0.3)


def test_no_bar_near_a_click(picture):
    """Where there is nothing, nothing is found."""
    assert bar_near(picture, 60, 300) is None


def test_bars_of_a_reading(picture):
    """The bars of the procedure that reads them, as a person can take them up."""
    ((ends, label),) = bars_of(measure_scale(picture, label="50 µm"))
    assert label == "50 µm"
    assert ends.length_px == pytest.approx(120, abs=0.5)
