"""From a mass to a rate: interval, contributions, refusals."""

import math

import pytest

from surfscan.immersion.estimates import rate_of_mass, rates_table, refused_rate
from surfscan.materials.material import Value

MG = Value(1.74, "g/cm3", "a table", "from memory")
STEADY = {"area_cm2": 10.0, "starts_h": 0.0, "ends_h": 240.0, "density": MG}


def _rate(mass=50.0, uncertainty=0.5, **more):
    given = {"area_relative_uncertainty": 0.0, "time_uncertainty_h": 0.0, **STEADY, **more}
    return rate_of_mass("mass loss", mass, uncertainty, **given)


def test_rate_in_both_units():
    """50 mg off 10 cm² in 10 d is 5 g/(m² d)."""
    found = _rate()
    assert found.rate_g_per_m2_d == pytest.approx(5.0)
    assert found.rate_mm_per_y == pytest.approx(5.0 * 365.25 / 1740)


def test_contributions_add_in_quadrature():
    found = _rate(area_relative_uncertainty=0.03, time_uncertainty_h=9.6, mass_relative={"titre": 0.02})
    shares = found.contributions_percent
    assert shares["mass"] == pytest.approx(1.0)
    assert (shares["area"], shares["time"], shares["titre"]) == pytest.approx((3, 4, 2))
    half = (found.rate_g_per_m2_d_ci95[1] - found.rate_g_per_m2_d_ci95[0]) / 2
    assert half == pytest.approx(1.959964 * 5.0 * math.sqrt(1 + 9 + 16 + 4) / 100)


def test_range_of_density_widens_depth_only():
    wide = Value(1.74, "g/cm3", "a table", "from memory", 1.64, 1.84)
    plain, found = _rate(), _rate(density=wide)
    assert found.rate_g_per_m2_d_ci95 == plain.rate_g_per_m2_d_ci95
    half = (found.rate_mm_per_y_ci95[1] - found.rate_mm_per_y_ci95[0]) / 2 / found.rate_mm_per_y
    assert half == pytest.approx(1.959964 * math.hypot(0.01, 0.2 / math.sqrt(12) / 1.74))


def test_few_degrees_of_freedom_widen():
    """t of one degree of freedom is 12.706; the effective number rises with what is known well."""
    alone = _rate(degrees_of_freedom=1.0)
    assert alone.rate_g_per_m2_d_ci95[1] == pytest.approx(5 * (1 + 0.12706), rel=1e-5)
    shared = _rate(degrees_of_freedom=1.0, area_relative_uncertainty=0.01)
    half = shared.rate_g_per_m2_d_ci95[1] - 5
    assert half == pytest.approx(5 * 0.01 * math.sqrt(2) * 2.776445, rel=1e-5)  # 1 x 2² = 4 degrees


def test_unknown_density_gives_mass_only():
    found = _rate(density=None)
    assert (found.rate_mm_per_y, found.rate_mm_per_y_ci95) == (None, None)
    assert "density is not known" in found.warnings[-1]


def test_unstated_area_uncertainty_is_said():
    assert "leaves it out" in _rate(area_relative_uncertainty=None).warnings[0]


def test_loss_that_cannot_be_told_from_none():
    found = _rate(mass=0.5)
    assert found.rate_g_per_m2_d_ci95[0] < 0 < found.rate_g_per_m2_d
    assert "cannot be told from none" in found.warnings[0]


def test_nonsense():
    with pytest.raises(ValueError, match="area_cm2"):
        _rate(area_cm2=0.0)
    with pytest.raises(ValueError, match="time must go forward"):
        _rate(ends_h=0.0)


def test_table():
    """One row an estimate; what there is not is not-a-number."""
    table = rates_table((_rate(), refused_rate("gas", "no", 0.0, 24.0)))
    assert table["method"].tolist() == ["mass loss", "gas"]
    assert table["rate_mm_per_y"][0] == _rate().rate_mm_per_y
    assert math.isnan(table["rate_g_per_m2_d_ci95_low"][1])
    assert table["refused"].tolist() == ["", "no"]
    assert rates_table(())["method"].shape == (0,)
