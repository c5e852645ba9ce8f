"""Mass loss: the line of base-metal removal, its interval, the blank, and what is refused."""

import math

import numpy as np
import pytest

from surfscan.immersion.mass_loss import base_metal_line, mass_loss_rate_of_cycles
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.material import Value

MG = Value(1.74, "g/cm3", "a table", "from memory")
PART = {"area_cm2": 10.0, "hours": 240.0, "density": MG, "area_relative_uncertainty": 0.0}
CYCLES = np.arange(1.0, 7)


def _of_losses(losses_mg, **more):
    return mass_loss_rate_of_cycles(2.0, 2.0 - np.asarray(losses_mg) / 1000, **{**PART, **more})


def test_clean_line():
    """50 mg and 1 mg a cycle from the first: no cycle removed product."""
    found = _of_losses(50 + CYCLES)
    assert found.how == "extrapolated to zero cycles"
    assert found.loss_mg == pytest.approx(50)
    assert (found.product_cycles, found.line.first_cycle, found.line.last_cycle) == (0, 1, 6)
    assert found.line.slope_mg_per_cycle == pytest.approx(1)
    assert found.estimate.rate_g_per_m2_d == pytest.approx(5.0)
    assert found.estimate.bias == ""


def test_leading_cycles_that_remove_product():
    """Two cycles of product, then the line: only it is followed back."""
    found = _of_losses([20, 44, 53, 54, 55, 56])
    assert (found.product_cycles, found.loss_at_bend_mg) == (2, pytest.approx(53))
    assert found.loss_mg == pytest.approx(50)


def test_scale_of_the_balance_decides_what_is_product():
    """0.3 mg below the line: noise for a balance of 0.2 mg, product for one of 0.02 mg."""
    losses = 50 + CYCLES - np.array([0.3, 0, 0, 0, 0, 0])
    coarse = _of_losses(losses, settings=ImmersionSettings(balance_uncertainty_mg=0.2))
    fine = _of_losses(losses, settings=ImmersionSettings(balance_uncertainty_mg=0.02))
    assert (coarse.product_cycles, fine.product_cycles) == (0, 1)


def test_uncertainty_of_the_line_by_hand():
    """Variance of a line at 0: 1/n + mean²/Sxx, and the weighing before exposure once more."""
    line = base_metal_line(50 + CYCLES, 0.1)
    assert line.intercept_uncertainty_mg == pytest.approx(0.1 * math.sqrt(1 / 6 + 3.5**2 / 17.5 + 1))
    assert line.slope_uncertainty_mg_per_cycle == pytest.approx(0.1 / math.sqrt(17.5))
    assert math.isinf(line.degrees_of_freedom)


def test_interval_holds_the_loss():
    """Invented parts of 50 mg with product that leaves geometrically: 95 % intervals hold 93 % or more."""
    rng = np.random.default_rng(11)
    for count, left in ((4, 0.0), (6, 0.1), (6, 0.3), (8, 0.5)):
        cycles, held, given = np.arange(1.0, count + 1), 0, 0
        for _ in range(150):
            noise = rng.normal(0, 0.1, count + 1)
            found = _of_losses(50 + cycles - 20 * left**cycles + noise[1:] - noise[0])
            if found.loss_mg is None:
                continue
            given += 1
            low, high = found.estimate.rate_g_per_m2_d_ci95
            held += low <= 5.0 <= high
        assert given >= 140
        assert held / given >= 0.93, (count, left)


def test_late_product_is_refused():
    """Half of the product left by each of five cycles: the line tilts, and the loss would read 10 % low."""
    found = _of_losses(50 + CYCLES[:5] - 20 * 0.5 ** CYCLES[:5])
    assert found.loss_mg is None
    assert "still coming off" in found.estimate.refused or "not lie on a line" in found.estimate.refused


def test_slow_product_is_refused_or_held():
    """0.7 and more left by a cycle: the interval holds the loss, or there is none in most."""
    rng = np.random.default_rng(5)
    for count, left in ((6, 0.7), (8, 0.7), (6, 0.8), (8, 0.9)):
        cycles, held, given = np.arange(1.0, count + 1), 0, 0
        for _ in range(40):
            found = _of_losses(100 + 2 * cycles - 20 * left**cycles + rng.normal(0, 0.1, count))
            if found.loss_mg is None:
                continue
            given += 1
            low, high = found.estimate.rate_g_per_m2_d_ci95
            held += low <= 10.0 <= high
        assert given < 20 or held >= 0.9 * given, (count, left, given, held)


@pytest.mark.parametrize("count", [3, 4, 6])
def test_slow_product_shows_beside_a_blank(count):
    """0.9 left by a cycle, few cycles: no bend to see, but more lost in each than by the blank."""
    rng, cycles = np.random.default_rng(8), np.arange(1.0, count + 1)
    held = given = 0
    for _ in range(40):
        losses = 100 + 2 * cycles - 20 * 0.9**cycles + rng.normal(0, 0.1, count)
        blank = 1 - 0.002 * np.arange(count + 1) + rng.normal(0, 1e-4, count + 1)
        found = _of_losses(losses, blank_g=tuple(blank))
        if found.loss_mg is not None:
            low, high = found.estimate.rate_g_per_m2_d_ci95
            given, held = given + 1, held + (low <= 10.0 <= high)
    assert given < 20 or held >= 0.9 * given, (given, held)


def test_product_without_end_is_refused():
    found = _of_losses(100 + 8 * CYCLES - 0.1 * CYCLES**2)
    assert "no end of it is in sight" in found.estimate.refused


def test_what_is_taken_of_slow_product_is_said():
    """2 mg in each cycle, without blank: metal, unless product comes off slowly."""
    bare = _of_losses(50 + 2 * CYCLES)
    assert any("no more than half" in warning for warning in bare.estimate.warnings)
    with_blank = _of_losses(50 + 2 * CYCLES, blank_g=tuple(1 - 0.002 * np.arange(7)))
    assert not any("no more than half" in warning for warning in with_blank.estimate.warnings)


def test_wide_allowance_is_said():
    found = _of_losses(50 + CYCLES[:3])
    assert found.loss_uncertainty_mg > 2 * found.line.intercept_uncertainty_mg
    assert any("More cycles narrow it" in warning for warning in found.estimate.warnings)


def test_cycles_not_on_a_line_are_refused():
    found = _of_losses([40, 50, 57, 60.5, 67, 68])
    assert found.loss_mg is None and found.line is not None
    assert "do not lie on a line" in found.estimate.refused
    assert found.estimate.rate_mm_per_y is None


def test_scatter_beyond_the_balance_widens():
    """0.3 mg off with a balance of 0.1 mg: kept, with its own scatter and one degree of freedom."""
    found = _of_losses([61.0, 62.6, 63.0], settings=ImmersionSettings(largest_line_departure=0.2))
    assert not found.line.is_straight
    assert found.line.degrees_of_freedom == 1
    assert found.line.intercept_uncertainty_mg > 0.5
    assert any("scatter by" in warning for warning in found.estimate.warnings)


def test_gain_of_mass_is_refused():
    found = _of_losses([-30.0, -29, -28])
    assert "weighs 28 mg more than before exposure" in found.estimate.refused


def test_loss_of_the_cleaning_alone():
    """All that is missing went in the cleaning: nothing, within the interval, had corroded."""
    found = _of_losses(1.0 * CYCLES)
    assert found.loss_mg == pytest.approx(0, abs=1e-9)
    assert "cannot be told from none" in " ".join(found.estimate.warnings)


def test_more_removed_than_missing_is_refused():
    found = _of_losses(3.0 * CYCLES - 6)
    assert "a gain" in found.estimate.refused


@pytest.mark.parametrize("count", [1, 2])
def test_few_cycles_need_a_blank(count):
    bare = _of_losses((50 + CYCLES)[:count])
    assert "no blank" in bare.estimate.refused and bare.loss_mg is None
    blank = tuple(1.0 - 0.0008 * np.arange(count + 1))
    found = _of_losses((50 + CYCLES)[:count], blank_g=blank)
    assert found.how == "blank subtracted"
    assert found.loss_mg == pytest.approx(50 + count - 0.8 * count)
    assert found.loss_uncertainty_mg == pytest.approx(0.2)  # four weighings of 0.1 mg
    assert found.estimate.bias == "reads low"
    assert found.blank_mg_per_cycle == pytest.approx(0.8)


def test_blank_in_proportion_to_its_area():
    found = _of_losses([51.0], blank_g=(1.0, 0.9995), blank_area_cm2=5.0)
    assert found.loss_mg == pytest.approx(50.0)
    assert found.loss_uncertainty_mg == pytest.approx(0.1 * math.sqrt(2 + 2 * 4))


def test_blank_beside_a_line_is_a_check():
    """The line decides; a blank that loses another mass in each cycle is said."""
    same = _of_losses(50 + CYCLES, blank_g=tuple(1 - 0.001 * np.arange(7)))
    other = _of_losses(50 + CYCLES, blank_g=tuple(1 - 0.0003 * np.arange(7)))
    assert same.loss_mg == other.loss_mg == pytest.approx(50)
    assert same.blank_corrected_mg == pytest.approx(50)
    assert not any("the blank" in warning for warning in same.estimate.warnings)
    assert any("the blank 0.3 mg in each cycle" in warning for warning in other.estimate.warnings)


def test_sheltering_product_is_said():
    """3 mg removed by each cycle: between 50 and 59 mg had corroded, by when the cleaning reached metal."""
    found = _of_losses([30, 45, 59, 62, 65, 68])
    assert any("up to 59 mg had corroded" in warning for warning in found.estimate.warnings)


def test_gain_in_each_cycle_is_said():
    found = _of_losses(50 - CYCLES)
    assert any("gained 1 mg in each cleaning cycle" in warning for warning in found.estimate.warnings)


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"cleaned_g": []}, "at least one cleaning"),
        ({"cleaned_g": [1.9, float("nan")]}, "numbers above 0"),
        ({"initial_g": 0.0}, "numbers above 0"),
        ({"area_cm2": 0.0}, "area_cm2 must be above 0"),
        ({"hours": -1.0}, "hours must be above 0"),
        ({"blank_g": (1.0, 0.9)}, "the blank has 2 weighings; 4 are needed"),
        ({"blank_area_cm2": 0.0}, "blank_area_cm2"),
    ],
)
def test_nonsense_is_refused(given, said):
    with pytest.raises(ValueError, match=said):
        mass_loss_rate_of_cycles(**{"initial_g": 2.0, "cleaned_g": [1.95, 1.949, 1.948], **PART, **given})


def test_a_line_needs_three():
    with pytest.raises(ValueError, match="3 cleaning cycles, got 2"):
        base_metal_line(np.array([1.0, 2.0]), 0.1)


def test_ready_for_json():
    from surfscan.cli.result_json import plain_json

    text = plain_json(_of_losses([20, 44, 53, 54, 55, 56]).as_dict())
    assert '"product_cycles": 2' in text and '"degrees_of_freedom": null' in text
