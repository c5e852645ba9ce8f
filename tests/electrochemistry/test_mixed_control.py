"""The current of a corroding electrode: closed forms, derivatives, ohmic drop."""

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import (
    PARAMETERS,
    MixedControl,
    current_and_jacobian,
    current_density_uA_per_cm2,
    interface_overpotential_V,
    partial_currents_uA_per_cm2,
)

CURVE = MixedControl(-0.4, 12.0, 0.08, 0.13, 0.15, 25.0)
POTENTIAL = -0.4 + np.linspace(-0.3, 0.3, 61)


@pytest.mark.parametrize("ratio", [0.0, 0.1, 1.0])
@pytest.mark.parametrize("resistance", [0.0, 40.0])
def test_zero_current_at_the_corrosion_potential(ratio, resistance):
    """Whatever the parameters, no net current flows at Ecorr and either part is icorr."""
    curve = MixedControl(-0.4, 12.0, 0.08, 0.13, ratio, resistance)
    at = np.array([-0.4])
    assert current_density_uA_per_cm2(at, curve)[0] == pytest.approx(0.0, abs=1e-12)
    anodic, cathodic = partial_currents_uA_per_cm2(at, curve)
    assert anodic[0] == pytest.approx(12.0) and cathodic[0] == pytest.approx(12.0)


def test_reciprocal_sum_of_activation_and_limit():
    """1/ic = 1/iact + 1/ilim, iact through the point where the sum is icorr."""
    curve = MixedControl(0.0, 10.0, 0.1, 0.12, 0.25)
    over = np.linspace(-0.3, 0.0, 20)
    limit = 40.0
    exchange = 10.0 * limit / (limit - 10.0)
    activation = exchange * 10 ** (-over / 0.12)
    expected = 1 / (1 / activation + 1 / limit)
    assert partial_currents_uA_per_cm2(over, curve)[1] == pytest.approx(expected, rel=1e-12)
    assert curve.limiting_current_uA_per_cm2 == pytest.approx(40.0)
    assert math.isinf(replace(curve, limiting_ratio=0.0).limiting_current_uA_per_cm2)


def test_far_branches_have_their_slopes():
    """A decade of current for each Tafel slope, 150 mV and more from Ecorr without limit and resistance."""
    curve = MixedControl(0.0, 1.0, 0.06, 0.09)
    anodic = current_density_uA_per_cm2(np.array([0.30, 0.36]), curve)
    cathodic = current_density_uA_per_cm2(np.array([-0.45, -0.54]), curve)
    assert anodic[1] / anodic[0] == pytest.approx(10, rel=1e-6)
    assert cathodic[1] / cathodic[0] == pytest.approx(10, rel=1e-6)


def test_ohmic_drop_closes():
    """Potential at the metal plus drop is the potential applied, also where the drop is nearly all of it."""
    for resistance in (1e-3, 25.0, 1e4, 1e6):
        curve = replace(CURVE, series_resistance_ohm_cm2=resistance)
        over = interface_overpotential_V(POTENTIAL, curve)
        free = current_density_uA_per_cm2(-0.4 + over, curve.without_resistance)
        assert over + free * resistance * 1e-6 == pytest.approx(POTENTIAL + 0.4, abs=1e-10)


def test_huge_current_is_bounded_by_the_resistance():
    """1 mA/cm² and a volt of overpotential through 10 ohm cm²: current near E/R, no overflow."""
    curve = MixedControl(0.0, 1000.0, 0.05, 0.05, 0.0, 10.0)
    current = current_density_uA_per_cm2(np.array([-1.0, 1.0]), curve)
    assert np.all(np.isfinite(current)) and current[1] == pytest.approx(-current[0])
    assert 0.8e5 < current[1] < 1.0e5


@pytest.mark.parametrize("resistance", [0.0, 25.0])
def test_jacobian_against_differences(resistance):
    """Every column against a central difference."""

    def of(values):
        return MixedControl(
            values[0], math.exp(values[1]), math.exp(values[2]), math.exp(values[3]), values[4], values[5]
        )

    centre = np.array([-0.4, math.log(12), math.log(0.08), math.log(0.13), 0.15, resistance])
    current, jacobian = current_and_jacobian(POTENTIAL, of(centre))
    assert current == pytest.approx(current_density_uA_per_cm2(POTENTIAL, of(centre)))
    for k, name in enumerate(PARAMETERS):
        step = 1e-5 if name == "resistance" else 1e-6
        up, down = centre.copy(), centre.copy()
        up[k] += step
        down[k] -= 0.0 if name == "resistance" and resistance == 0 else step
        width = up[k] - down[k]
        slope = (
            current_density_uA_per_cm2(POTENTIAL, of(up)) - current_density_uA_per_cm2(POTENTIAL, of(down))
        ) / width
        scale = np.abs(slope).max()
        assert jacobian[:, k] == pytest.approx(slope, rel=1e-3, abs=1e-3 * scale), name


@pytest.mark.parametrize(
    "wrong",
    [
        {"icorr_uA_per_cm2": 0.0},
        {"anodic_slope_V": -0.1},
        {"limiting_ratio": 1.5},
        {"series_resistance_ohm_cm2": -1.0},
    ],
)
def test_impossible_electrodes_are_refused(wrong):
    """Parameters that no electrode has."""
    with pytest.raises(ValueError):
        replace(CURVE, **wrong)
