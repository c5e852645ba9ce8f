"""Uncertainty of a scale: never zero, every part in its place."""

import math

import pytest

from surfscan.calibration.uncertainty import (
    ANISOTROPY_ALLOWANCE,
    DECLARED_SCALE_ALLOWANCE,
    bar_uncertainty,
    combine,
    instrument_uncertainty,
    length_relative_uncertainty,
    two_ends_px,
    widened,
)


def test_parts_add_as_squares():
    assert combine(0.003, 0.004) == pytest.approx(0.005)
    with pytest.raises(ValueError, match="not negative"):
        combine(0.1, -0.1)


def test_a_perfect_bar_is_still_uncertain():
    """Ends known exactly leave the whole pixels of the drawing and the instrument."""
    budget = bar_uncertainty(100, 0)
    assert budget.ends == 0
    assert budget.label == pytest.approx(0.01 / math.sqrt(12))
    assert budget.combined > DECLARED_SCALE_ALLOWANCE
    assert "declared allowance" in budget.text


def test_a_certificate_takes_the_place_of_the_allowance():
    budget = bar_uncertainty(1000, 0.1, certificate_relative_uncertainty=0.002)
    expected = math.sqrt((math.sqrt(2) * 1e-4) ** 2 + 1e-6 / 12 + 0.002**2 + ANISOTROPY_ALLOWANCE**2)
    assert budget.combined == pytest.approx(expected)
    assert "certificate 0.2 %" in budget.text
    known = bar_uncertainty(1000, 0.1, certificate_relative_uncertainty=0.002, covers_both_directions=True)
    assert known.combined < budget.combined
    assert known.anisotropy == 0


@pytest.mark.parametrize("wrong", [0, 1, -0.1, float("nan")])
def test_impossible_certificates(wrong):
    with pytest.raises(ValueError, match="between 0 and 1"):
        instrument_uncertainty(wrong)


def test_a_bar_without_length():
    with pytest.raises(ValueError, match="above 0 px"):
        bar_uncertainty(0, 0.3)


def test_a_label_that_is_not_round_counts():
    assert bar_uncertainty(200, 0.3, label_step_relative=0.05 / 11.9).label > bar_uncertainty(200, 0.3).label


def test_ends_that_err_together():
    assert two_ends_px(0.5, same_direction=True) == 1
    assert two_ends_px(0.5) == pytest.approx(0.7071, abs=1e-4)


def test_length_takes_in_the_scale():
    assert length_relative_uncertainty(0.01, 1e9, 0.5) == pytest.approx(0.01)


def test_widened_interval():
    """By a scale that matters, by one that does not, from a lower limit of 0, and round a value of 0."""
    low, high = widened(100, (99.999, 100.001), 0.01, power=2)
    assert (low, high) == pytest.approx((100 * math.exp(-0.0392), 100 * math.exp(0.0392)), rel=1e-4)
    assert widened(100, (50, 200), 1e-9, power=2) == pytest.approx((50, 200))
    assert widened(3, (0, 10), 0.01, power=1)[0] == 0
    low, high = widened(0, (0, 4), 0.01, power=2)
    assert low == 0
    assert high == pytest.approx(4 * math.hypot(1, 0.0392), rel=1e-4)
    assert widened(None, None, 0.01, power=2) is None


def test_widened_covers_as_it_says():
    """Both errors drawn at random: about 95 % of the combined intervals hold the truth."""
    import numpy as np

    draw = np.random.default_rng(4)
    measured = np.exp(draw.normal(0, 0.03, 4000) + 2 * draw.normal(0, 0.02, 4000))
    half = np.exp(1.96 * 0.03)
    hits = [
        low <= 1 <= high for v in measured for low, high in [widened(v, (v / half, v * half), 0.02, power=2)]
    ]
    assert np.mean(hits) == pytest.approx(0.95, abs=0.01)
