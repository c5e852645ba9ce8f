import numpy as np
import pytest

from surfscan.electrochemistry.resistance import correct_potential, correct_sweep
from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.images import Source

TRUE = np.arange(-0.65, -0.35, 0.001)
CURRENT = 1e-3 * (10 ** ((TRUE + 0.5) / 0.1) - 10 ** (-(TRUE + 0.5) / 0.12))
OHM = 8.0


def sweep(*, is_density=False):
    flow = CURRENT / 2 if is_density else CURRENT
    return Sweep(
        Source("x"),
        TRUE + OHM * CURRENT,
        None if is_density else flow,
        flow if is_density else None,
        None,
        (Scan(0, TRUE.size, 1),),
        None,
        None,
        "",
        (),
        ("before",),
    )


@pytest.mark.parametrize(
    ("is_density", "how"),
    [
        (False, {"resistance_ohm": OHM}),
        (False, {"resistance_ohm_cm2": 2 * OHM, "area_cm2": 2}),
        (True, {"resistance_ohm": OHM, "area_cm2": 2}),
        (True, {"resistance_ohm_cm2": 2 * OHM}),
    ],
)
def test_the_drop_comes_off(is_density, how):
    found = correct_sweep(sweep(is_density=is_density), **how)
    np.testing.assert_allclose(found.potential_V, TRUE, atol=1e-12)
    assert found.warnings == ("before",)


def test_a_resistance_too_large():
    potential = TRUE + OHM * CURRENT
    backwards = correct_potential(potential, CURRENT, 1.5 * OHM)
    assert any("runs backwards" in w for w in backwards.warnings)
    too_large = correct_potential(potential, CURRENT, 100 * OHM)
    assert any("larger than the polarization" in w for w in too_large.warnings)
    assert too_large.largest_drop_V == pytest.approx(100 * OHM * np.abs(CURRENT).max())


def test_none_and_downwards():
    assert correct_potential(TRUE, CURRENT, 0).warnings == ()
    down = correct_potential((TRUE + OHM * CURRENT)[::-1], CURRENT[::-1], OHM)
    np.testing.assert_allclose(down.potential_V, TRUE[::-1])
    assert down.warnings == ()


@pytest.mark.parametrize("resistance", [-1, np.nan, np.inf])
def test_resistances_that_cannot_be(resistance):
    with pytest.raises(ValueError, match="not 0 or above"):
        correct_potential(TRUE, CURRENT, resistance)


@pytest.mark.parametrize(
    ("is_density", "how", "fault"),
    [
        (False, {}, "either in ohm"),
        (False, {"resistance_ohm": 1, "resistance_ohm_cm2": 1}, "either in ohm"),
        (False, {"resistance_ohm_cm2": 1}, "area is needed"),
        (True, {"resistance_ohm": 1}, "area is needed"),
        (True, {"resistance_ohm": 1, "area_cm2": 0}, "not above 0"),
    ],
)
def test_what_is_missing(is_density, how, fault):
    with pytest.raises(ValueError, match=fault):
        correct_sweep(sweep(is_density=is_density), **how)
    with pytest.raises(ValueError, match="as many points"):
        correct_potential(TRUE, CURRENT[1:], 1)
