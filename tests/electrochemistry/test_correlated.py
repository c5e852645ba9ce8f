"""What correlated residuals are worth."""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.correlated import corrected_akaike, correlation_length, schwarz


def autoregressive(n, memory, seed=1):
    """First-order autoregression of unit variance."""
    rng = np.random.default_rng(seed)
    values = np.empty(n)
    values[0] = rng.standard_normal()
    for k in range(1, n):
        values[k] = memory * values[k - 1] + math.sqrt(1 - memory**2) * rng.standard_normal()
    return values


def test_white_residuals_are_worth_themselves():
    """Independent values: 1 but for chance."""
    assert correlation_length(autoregressive(20_000, 0.0)) == pytest.approx(1.0, abs=0.1)


@pytest.mark.parametrize("memory", [0.5, 0.8])
def test_autoregression(memory):
    """(1 + a) / (1 - a) is the exact value for the mean of a first-order autoregression."""
    assert correlation_length(autoregressive(50_000, memory)) == pytest.approx(
        (1 + memory) / (1 - memory), rel=0.1
    )


def test_a_smooth_wave_is_worth_little():
    """Misfit that waves three times over 300 points leaves a handful of independent ones."""
    assert 300 / correlation_length(np.sin(np.linspace(0, 6 * np.pi, 300))) < 15


def test_too_few_or_none():
    """No estimate from three points or from a perfect fit."""
    assert correlation_length(np.array([1.0, -1.0, 1.0])) == 1.0
    assert correlation_length(np.zeros(50)) == 1.0


def test_criteria_by_hand():
    """Both against their formulas; correlation takes points away, too few leave none."""
    assert corrected_akaike(20.0, 40, 3, 1.0) == pytest.approx(40 * math.log(0.5) + 8 + 40 / 35)
    assert schwarz(20.0, 40, 3, 2.0) == pytest.approx(20 * math.log(0.5) + 4 * math.log(20))
    assert math.isinf(corrected_akaike(20.0, 40, 3, 10.0)) and math.isinf(schwarz(20.0, 40, 3, 10.0))
