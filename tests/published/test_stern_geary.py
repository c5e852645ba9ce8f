"""Stern-Geary relation.

Sources: ASTM G102, Eq 9 and 10 (read in a secondary source; from memory), Stern and Geary, J. Electrochem.
Soc. 104 (1957) 56; the examples of B were computed outside this package with ln 10 rounded to 2.303, as the
standard prints it. Range of B 13 to 52 mV, 26 mV active and 52 mV passive: Stern and Weisert, Proc. ASTM 59
(1959) 1280 (read in a secondary source). Wagner and Traud's superposition of the partial currents is the
closed form behind the slope at zero current.
"""

import math

import numpy as np
import pytest

from surfscan.electrochemistry.polarization_resistance import fit_polarization_resistance
from surfscan.electrochemistry.settings import SweepSettings
from surfscan.electrochemistry.stern_geary import corrosion_current_uA_per_cm2, stern_geary_constant_V

AS_PRINTED = 2.303 / math.log(10)


@pytest.mark.parametrize(
    ("anodic", "cathodic", "printed_mV"),
    [(0.120, 0.120, 26.053), (0.100, 0.100, 21.711), (0.100, math.inf, 43.422)],
)
def test_constant(anodic, cathodic, printed_mV):
    """To the last digit with 2.303; the exact ln 10 differs by 0.02 %."""
    exact = 1000 * stern_geary_constant_V(anodic, cathodic)
    assert round(exact / AS_PRINTED, 3) == printed_mV
    assert exact == pytest.approx(printed_mV, rel=2e-4)


def test_current_of_resistance():
    """B 26 mV and 1000 ohm cm² give 26.0 µA/cm²."""
    assert round(corrosion_current_uA_per_cm2(0.026, 1000.0), 1) == 26.0


def test_sensitivity_to_slopes():
    """Doubling one of two equal slopes multiplies B by 4/3, doubling both by 2."""
    B = stern_geary_constant_V(0.1, 0.1)
    assert stern_geary_constant_V(0.2, 0.1) / B == pytest.approx(4 / 3)
    assert stern_geary_constant_V(0.2, 0.2) / B == pytest.approx(2.0)


def test_defaults_are_those_of_stern_and_weisert():
    settings = SweepSettings()
    assert settings.assumed_stern_geary_V == 0.026
    assert settings.assumed_stern_geary_range_V == (0.013, 0.052)


@pytest.mark.parametrize(("anodic", "cathodic"), [(0.06, 0.12), (0.12, 0.12), (0.1, math.inf)])
def test_resistance_of_superposed_partial_currents(anodic, cathodic):
    """icorr = B / Rp with Rp read from the curve of Wagner and Traud."""
    over = np.linspace(-0.01, 0.01, 81)
    density = 20.0 * (10 ** (over / anodic) - 10 ** (-over / cathodic))
    found = fit_polarization_resistance(over - 0.4, density, -0.4)
    B = stern_geary_constant_V(anodic, cathodic)
    assert corrosion_current_uA_per_cm2(B, found.ohm_cm2) == pytest.approx(20.0, rel=2e-3)
