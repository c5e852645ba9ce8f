import numpy as np
import pytest

from surfscan.electrochemistry.signs import give_sign
from surfscan.electrochemistry.sweep import Scan

UP = np.arange(-0.7, -0.2, 0.001) + 3e-4
CURRENT = 1e-5 * (10 ** ((UP + 0.45) / 0.07) - 10 ** (-(UP + 0.45) / 0.12))
SCAN = (Scan(0, UP.size, 1),)


@pytest.mark.parametrize("order", [1, -1])
def test_both_signs(order):
    scans = (Scan(0, UP.size, order),)
    kept = give_sign(UP[::order], CURRENT[::order], scans)
    np.testing.assert_array_equal(kept.current, CURRENT[::order])
    assert kept.warnings == ()
    turned = give_sign(UP[::order], -CURRENT[::order], scans)
    np.testing.assert_array_equal(turned.current, CURRENT[::order])
    assert "sign was turned" in turned.warnings[0]


@pytest.mark.parametrize("file_sign", [1, -1])
@pytest.mark.parametrize("thin", [1, 5, 20])
def test_absolute_currents_get_their_sign_at_the_smallest(file_sign, thin):
    found = give_sign(UP[::thin], file_sign * np.abs(CURRENT[::thin]), (Scan(0, UP[::thin].size, 1),))
    np.testing.assert_array_equal(found.current, CURRENT[::thin])
    assert found.sign.startswith("restored")


def test_each_scan_has_its_own_zero():
    back = 1e-5 * (10 ** ((UP + 0.43) / 0.07) - 10 ** (-(UP + 0.43) / 0.12))
    potential = np.concatenate([UP, UP[::-1]])
    current = np.concatenate([CURRENT, back[::-1]])
    scans = (Scan(0, UP.size, 1), Scan(UP.size, 2 * UP.size, -1))
    np.testing.assert_array_equal(give_sign(potential, np.abs(current), scans).current, current)


def test_a_broad_minimum_of_passivity_is_no_change_of_sign():
    potential = np.arange(-0.4, 1.2, 0.002)
    peak = 1e-3 * np.exp(-(((potential + 0.2) / 0.08) ** 2)) + 2e-6
    current = peak * 10 ** np.clip((potential + 0.4) / 0.08 - 2, None, 0) + 1e-6 * 10 ** (
        (potential - 0.9) / 0.06
    )
    found = give_sign(potential, current, (Scan(0, potential.size, 1),))
    np.testing.assert_array_equal(found.current, current)
    assert "one branch only, anodic" in found.sign
    assert found.warnings == ()


@pytest.mark.parametrize(("part", "branch"), [(UP > -0.4, "anodic"), (UP < -0.5, "cathodic")])
def test_one_branch(part, branch):
    scan = (Scan(0, int(part.sum()), 1),)
    kept = give_sign(UP[part], CURRENT[part], scan)
    np.testing.assert_array_equal(kept.current, CURRENT[part])
    assert branch in kept.sign
    assert kept.warnings == ()
    turned = give_sign(UP[part], -CURRENT[part], scan)
    np.testing.assert_array_equal(turned.current, CURRENT[part])
    assert "sign of the current was turned" in turned.warnings[0]
    restored = give_sign(UP[part], np.abs(CURRENT[part]), scan, is_absolute=True)
    np.testing.assert_array_equal(restored.current, CURRENT[part])


@pytest.mark.parametrize("seed", range(20))
def test_noise_hides_no_change_of_sign_and_makes_none(seed):
    rng = np.random.default_rng(seed)
    noisy = UP + rng.normal(0, 2e-4, UP.size)
    current = CURRENT * (1 + 0.01 * rng.normal(size=UP.size))
    found = give_sign(noisy, np.abs(current), SCAN)
    assert np.mean(np.sign(found.current) == np.sign(current)) > 0.995
    passive = np.abs(2e-6 * (1 + (UP + 0.45) ** 2 / 0.01) * (1 + 0.3 * rng.normal(size=UP.size)))
    found = give_sign(noisy, passive, SCAN)
    assert not found.sign.startswith("restored")


def test_a_current_that_reads_zero_over_a_stretch():
    current = np.where(np.abs(UP + 0.45) < 0.1, 0.0, np.abs(CURRENT))
    found = give_sign(UP, current, SCAN)
    assert np.isfinite(found.current).all()
    assert not found.sign.startswith("restored")


@pytest.mark.parametrize("file_sign", [1, -1])
def test_three_points_of_both_signs(file_sign):
    potential, current = np.array([-0.67, -0.47, -0.27]), np.array([-8.6e-6, -2.3e-6, 6.6e-5])
    found = give_sign(potential, file_sign * current, (Scan(0, 3, 1),))
    np.testing.assert_array_equal(found.current, current)
    assert found.sign.startswith("as in the file" if file_sign > 0 else "turned")


def test_few_points_whose_signs_tell_nothing():
    potential, current = np.linspace(-0.6, -0.2, 5), np.array([1e-6, 2e-6, -3e-6, 5e-6, 9e-6])
    found = give_sign(potential, current, (Scan(0, 5, 1),))
    np.testing.assert_array_equal(found.current, current)
    assert "1 of 5 points have the other sign" in found.warnings[0]
