"""One mean over methods, and every way it is refused."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.comparison.agreement import Context, pairs
from surfscan.comparison.blending import blend, weighted_mean
from surfscan.comparison.rates import NORMAL_FACTOR, Kind, Method, PenetrationRate, penetration_as_rate
from surfscan.measurement.strut_sections import DrawnSection


def _rate(method: Method, value: float, half: float = 0.05) -> PenetrationRate:
    kind: Kind = "instant" if method in ("sweep", "polarization resistance") else "average"
    return PenetrationRate("s", method, "mean", value, (value - half, value + half), kind, "", 0.0, 168.0)


METHODS_OF_STRUTS: tuple[Method, ...] = ("mass loss", "section")
MASS, GAS, SECTION = _rate("mass loss", 0.50), _rate("gas", 0.46, 0.1), _rate("section", 0.54)


def test_two_that_agree() -> None:
    found = blend([MASS, GAS])
    weights = np.array([1 / 0.05**2, 1 / 0.1**2])
    assert found.mm_per_y == pytest.approx(np.average([0.5, 0.46], weights=weights))
    assert found.mm_per_y_ci95 is not None and found.mm_per_y is not None
    assert found.mm_per_y_ci95[1] - found.mm_per_y == pytest.approx(1 / math.sqrt(weights.sum()))
    assert (found.methods, found.over, found.refused) == (("mass loss", "gas"), "starting area", "")


def test_birge_ratio_widens() -> None:
    found = blend([MASS, replace(GAS, mm_per_y=0.57, mm_per_y_ci95=(0.52, 0.62))])
    u = 0.05 / NORMAL_FACTOR
    assert found.birge_ratio == pytest.approx(0.07 / (math.sqrt(2) * u))
    assert found.mm_per_y_ci95 == pytest.approx(
        (0.535 - 0.07 * NORMAL_FACTOR / 2, 0.535 + 0.07 * NORMAL_FACTOR / 2)
    )


def test_shared_area_does_not_average_out() -> None:
    """Two equal rates whose uncertainty is all of the area know no more together than each alone."""
    u = 0.05 / NORMAL_FACTOR
    twins = [
        replace(_rate(method, 0.5), shared_relative={"area": u / 0.5}) for method in ("mass loss", "gas")
    ]
    assert weighted_mean(twins).standard_uncertainty == pytest.approx(u, rel=1e-3)
    alone = [replace(rate, shared_relative={}) for rate in twins]
    assert weighted_mean(alone).standard_uncertainty == pytest.approx(u / math.sqrt(2))


def test_penetration_where_sizes_are_drawn() -> None:
    drawn = DrawnSection(100.0, 100.0, "ellipse")
    mass = replace(MASS, mm_per_y=0.016, mm_per_y_ci95=(0.015, 0.017), ends_h=8766.0)
    section = replace(SECTION, mm_per_y=0.020, mm_per_y_ci95=(0.019, 0.021), ends_h=8766.0)
    found = blend([mass, section], Context(drawn=drawn))
    assert found.mm_per_y == pytest.approx(0.020, abs=1e-6) and found.over == "penetration"


@pytest.mark.parametrize(
    ("rates", "said"),
    [
        ([MASS], "no two methods"),
        ([MASS, _rate("sweep", 0.5)], "no two methods"),
        ([MASS, _rate("gas", 0.2)], "mass loss and gas do not agree"),
        ([MASS, replace(GAS, bias="reads low")], "gas left out for a known bias"),
        ([MASS, SECTION], "cannot be corrected: the drawn sizes of the part are not stated"),
        ([MASS, replace(GAS, ends_h=100.0)], "no two methods"),
        (
            [MASS, replace(GAS, ends_h=150.0), replace(_rate("acid", 0.5), starts_h=25.0)],
            "gas and acid do not speak of the same thing and time",
        ),
    ],
)
def test_refused_with_the_reason(rates: list[PenetrationRate], said: str) -> None:
    found = blend(rates)
    assert (found.mm_per_y, found.mm_per_y_ci95) == (None, None) and said in found.refused


def test_a_biased_method_that_agrees_is_left_out() -> None:
    acid = replace(_rate("acid", 0.45, 0.1), bias="reads low")
    found = blend([MASS, GAS, acid])
    assert found.methods == ("mass loss", "gas") and found.left_out == ("acid",)


def test_rates_of_other_specimens_are_passed_over() -> None:
    twin = replace(GAS, joined="twin", from_specimens=("t",))
    found = blend([MASS, twin], Context(between_specimens_relative=0.1))
    assert "fewer than two methods of its own" in found.refused


def test_six_that_agree_in_pairs_but_not_together() -> None:
    """Three at 0.465 and three at 0.535: every E_n is 0.99, chi-square on 5 degrees of freedom 11.3."""
    low: tuple[Method, ...] = ("strut width", "section", "pit volume")
    high: tuple[Method, ...] = ("mass loss", "gas", "acid")
    rates = [_rate(method, 0.465) for method in low] + [_rate(method, 0.535) for method in high]
    found = blend(rates, Context(drawn=DrawnSection(50_000.0, 50_000.0)))
    assert found.mm_per_y is None and "scatter more than their intervals say" in found.refused
    assert found.chi_square == pytest.approx(6 * (0.035 * NORMAL_FACTOR / 0.05) ** 2, rel=0.01)
    assert found.probability is not None and 0.04 < found.probability < 0.05


def test_weighted_mean_needs_two_with_intervals() -> None:
    with pytest.raises(ValueError, match="two rates"):
        weighted_mean([MASS])
    with pytest.raises(ValueError, match="interval"):
        weighted_mean([MASS, replace(GAS, mm_per_y_ci95=None)])


def test_agreement_and_mean_over_made_struts() -> None:
    """Square struts of 150 µm that lost 5 to 40 µm, by weighing and by section.

    Corrected for the shrinking surface, the two agree as often as an interval of 95 % says, and the mean
    covers the truth; uncorrected, they would not.
    """
    rng = np.random.default_rng(0)
    drawn, hours, made = DrawnSection(150.0, 150.0), 336.0, 400
    agree = plain = held = given = 0
    for _ in range(made):
        depth = rng.uniform(5, 40)
        truth, apparent = (penetration_as_rate(d, hours) for d in (depth, depth - 2 * depth**2 / 300))
        mass = apparent * (1 + rng.normal(0, 0.02)) + rng.normal(0, 0.03 * apparent)
        section = truth * (1 + rng.normal(0, 0.04))
        halves = NORMAL_FACTOR * math.hypot(0.02, 0.03) * apparent, NORMAL_FACTOR * 0.04 * truth
        pair = [
            replace(_rate(method, value, half), ends_h=hours)
            for method, value, half in zip(METHODS_OF_STRUTS, (mass, section), halves, strict=True)
        ]
        [compared] = pairs(pair, Context(drawn=drawn))
        agree += compared.agree is True
        plain += abs(pairs(pair)[0].e_n or 0.0) <= 1
        found = blend(pair, Context(drawn=drawn))
        if found.mm_per_y_ci95 is not None:
            given += 1
            held += found.mm_per_y_ci95[0] <= truth <= found.mm_per_y_ci95[1]
    assert 0.91 < agree / made < 0.98 and plain / made < 0.5
    assert given > 350 and held / given > 0.91
