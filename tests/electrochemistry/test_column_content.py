import numpy as np
import pytest

from surfscan.electrochemistry.column_content import (
    is_constant,
    is_count,
    is_increasing,
    is_scan_number,
    span,
    unevenness,
)

RAMP = np.concatenate([np.arange(-0.6, 0.4, 0.001), np.arange(0.4, -0.6, -0.001)])


@pytest.mark.parametrize("noise", [0, 2e-4, 1e-3])
@pytest.mark.parametrize("thin", [1, 10, 100])
def test_a_ramp_is_more_even_than_its_current(noise, thin):
    rng = np.random.default_rng(1)
    potential = (RAMP + rng.normal(0, noise, RAMP.size))[::thin]
    current = 10 ** (potential / 0.1) - 10 ** (-(potential + 0.1) / 0.12)
    assert unevenness(potential) < 0.5 < unevenness(current)


def test_columns_without_steps():
    assert unevenness(np.ones(50)) == unevenness(np.array([1.0, 2.0])) == 1e3
    assert is_constant(np.array([np.nan, 2.0, 2.0]))
    assert is_constant(np.full(4, np.nan))
    assert not is_constant(np.array([1.0, 2.0]))


def test_times_counts_and_scan_numbers():
    assert is_increasing(np.array([0, 0.5, 1.2]))
    assert not is_increasing(np.array([0, 0.5, 0.4]))
    assert not is_increasing(np.repeat([0.0, 1.0], 10))
    assert is_count(np.arange(1.0, 9.0))
    assert not is_count(np.arange(2.0, 9.0))
    assert not is_count(np.arange(0, 4.5, 0.5))
    assert is_scan_number(np.repeat([1.0, 2.0, 3.0], 10))
    assert not is_scan_number(np.ones(30))
    assert not is_scan_number(np.repeat([1.0, 2.0, 1.0], 10))
    assert not is_scan_number(np.repeat([0.5, 1.5], 10))


def test_span():
    assert span(np.array([1.0, np.nan, -2.0])) == 3
    assert span(np.full(3, np.nan)) == 0
