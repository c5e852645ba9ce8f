"""One form for rates of all methods."""

from __future__ import annotations

from dataclasses import replace

import pytest

from surfscan.comparison.rates import (
    METHODS,
    NORMAL_FACTOR,
    PenetrationRate,
    in_order,
    penetration_as_rate,
    rate_of_depth,
    refused,
    shared_causes,
)
from surfscan.immersion.estimates import rate_of_mass
from surfscan.materials.catalogue import find_material

MASS = PenetrationRate("s", "mass loss", "mean", 0.5, (0.4, 0.6), "average", starts_h=0, ends_h=168)


def test_depth_becomes_a_rate() -> None:
    """1 µm in 168 h: 8766 h of a year over 168 h, over 1000."""
    assert penetration_as_rate(1.0, 168.0) == pytest.approx(8.766 / 168)
    assert penetration_as_rate(20.0, 8766.0) == pytest.approx(0.02)


def test_penetration_is_the_inverse() -> None:
    assert MASS.penetration_um is not None
    assert penetration_as_rate(MASS.penetration_um, 168.0) == pytest.approx(0.5)


def test_time_widens_the_interval_of_a_depth() -> None:
    rate, limits = rate_of_depth(10.0, (8.0, 13.0), 100.0, 0.02)
    assert limits is not None
    time = rate * 0.02 * NORMAL_FACTOR
    assert rate == pytest.approx(0.8766)
    assert (rate - limits[0]) ** 2 == pytest.approx((0.2 * rate) ** 2 + time**2)
    assert (limits[1] - rate) ** 2 == pytest.approx((0.3 * rate) ** 2 + time**2)
    assert rate_of_depth(10.0, None, 100.0) == (rate, None)
    with pytest.raises(ValueError, match="above 0"):
        rate_of_depth(10.0, None, 0.0)


def test_half_interval_and_standard_uncertainty() -> None:
    assert MASS.expanded == pytest.approx(0.1)
    assert MASS.standard_uncertainty == pytest.approx(0.1 / NORMAL_FACTOR)
    bare = replace(MASS, mm_per_y_ci95=None)
    assert (bare.expanded, bare.standard_uncertainty) == (None, None)
    assert replace(MASS, ends_h=None).penetration_um is None


def test_scaled_keeps_the_relative_interval() -> None:
    doubled = MASS.scaled(2.0)
    assert (doubled.mm_per_y, doubled.mm_per_y_ci95) == (1.0, (0.8, 1.2))
    assert doubled.starts_h == 0
    with pytest.raises(ValueError, match="above 0"):
        MASS.scaled(0.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"method": "guess"}, "method must be one of"),
        ({"kind": "instant"}, "cannot be 'instant'"),
        ({"mm_per_y": None}, "not both or neither"),
        ({"refused": "no"}, "not both or neither"),
        ({"mm_per_y": float("nan")}, "finite"),
        ({"mm_per_y_ci95": (0.6, 0.7)}, "does not hold"),
        ({"joined": "twin"}, "from which specimens"),
    ],
)
def test_what_cannot_be_is_refused(change: dict[str, object], said: str) -> None:
    with pytest.raises(ValueError, match=said):
        replace(MASS, **change)  # type: ignore[arg-type]


def test_causes_that_rates_of_one_bath_share() -> None:
    found = find_material("Mg").known_density()
    rate = rate_of_mass(
        "mass loss",
        10.0,
        0.1,
        area_cm2=5.0,
        area_relative_uncertainty=0.02,
        starts_h=0.0,
        ends_h=100.0,
        time_uncertainty_h=0.5,
        density=found,
    )
    shared = shared_causes(rate.contributions_percent)
    assert shared["area"] == pytest.approx(0.02) and shared["time"] == pytest.approx(0.005)
    assert set(shared) <= {"area", "time", "density"} and "mass" not in shared
    assert shared_causes({"area": 0.0, "time": float("inf"), "mass": 3.0}) == {}


def test_order_of_the_page() -> None:
    rates = [refused("s", method, "none") for method in reversed(METHODS)]
    worst = refused("s", "section", "none", "worst place")
    ordered = in_order([worst, *rates])
    assert [r.method for r in ordered] == ["strut width", "section", *METHODS[1:]]
    assert [r.measurand for r in ordered[:3]] == ["mean", "mean", "worst place"]
    assert ordered[-1].kind == "instant" and ordered[0].kind == "average"
