"""Starting values from the data alone."""

import numpy as np
import pytest

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.starting_values import largest_resistance_ohm_cm2, start_of

POTENTIAL = -0.5 + np.arange(-0.2495, 0.25, 0.001)


@pytest.mark.parametrize("icorr", [0.005, 1.0, 1000.0])
@pytest.mark.parametrize(("anodic", "cathodic"), [(0.05, 0.3), (0.12, 0.12), (0.3, 0.06)])
@pytest.mark.parametrize("ratio", [0.0, 0.25])
def test_start_is_near(icorr, anodic, cathodic, ratio):
    """Corrosion current within a factor of 1.7, slopes within one and a half steps of the grid."""
    curve = MixedControl(-0.5, icorr, anodic, cathodic, ratio)
    found = start_of(POTENTIAL, current_density_uA_per_cm2(POTENTIAL, curve), -0.5)
    assert 1 / 1.7 < found.icorr_uA_per_cm2 / icorr < 1.7
    assert abs(np.log(found.anodic_slope_V / anodic)) < 0.65
    assert abs(np.log(found.cathodic_slope_V / cathodic)) < 0.65


def test_start_needs_both_branches():
    """One side without current of its sign is refused."""
    with pytest.raises(ValueError, match="one side"):
        start_of(POTENTIAL, np.full(len(POTENTIAL), 1.0), -0.5)


def test_resistance_bound_holds():
    """The bound is above the true resistance, and near it where the drop is most of the potential."""
    curve = MixedControl(-0.5, 500.0, 0.06, 0.06, 0.0, 20.0)
    bound = largest_resistance_ohm_cm2(POTENTIAL, current_density_uA_per_cm2(POTENTIAL, curve))
    assert 20.0 < bound < 30.0
    with pytest.raises(ValueError, match="rises nowhere"):
        largest_resistance_ohm_cm2(POTENTIAL, -POTENTIAL)
