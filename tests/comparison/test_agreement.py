"""Agreement of rates: who is set against whom, and what is said."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from surfscan.comparison.agreement import (
    Agreement,
    Context,
    as_penetration,
    compare,
    covariance,
    normalised_error,
    pairs,
    ratio_interval,
)
from surfscan.comparison.rates import (
    NORMAL_FACTOR,
    Interval,
    Kind,
    Measurand,
    Method,
    PenetrationRate,
    refused,
)
from surfscan.comparison.reasons import SHRINKS
from surfscan.comparison.shrinkage import shrinkage_factor
from surfscan.measurement.strut_sections import DrawnSection


def _rate(
    method: Method, value: float, half: float | None = 0.05, measurand: Measurand = "mean"
) -> PenetrationRate:
    kind: Kind = "instant" if method in ("sweep", "polarization resistance") else "average"
    limits = None if half is None else (value - half, value + half)
    return PenetrationRate("s", method, measurand, value, limits, kind, starts_h=0.0, ends_h=168.0)


MASS, GAS, SECTION = _rate("mass loss", 0.50), _rate("gas", 0.44), _rate("section", 0.54)
SWEEP = _rate("sweep", 0.1)


def _compared(first: PenetrationRate, second: PenetrationRate, **known: object) -> Agreement:
    return compare(first, second, Context(**known))  # type: ignore[arg-type]


def test_like_rates_by_normalised_error() -> None:
    found = _compared(MASS, GAS)
    assert found.e_n == pytest.approx(0.06 / math.hypot(0.05, 0.05)) and found.agree is True
    assert found.ratio == pytest.approx(0.5 / 0.44) and found.reasons == ()
    assert found.sentence == (
        "Mass loss 0.5 mm/y and gas 0.44 mm/y agree: ratio 1.14 (0.98 to 1.33), E_n 0.85."
    )
    apart = _compared(MASS, _rate("gas", 0.30))
    assert apart.agree is False and "do not agree" in apart.sentence
    assert any("Bubbles" in reason.text for reason in apart.reasons)


def test_uneven_intervals_by_the_side_that_faces_the_other() -> None:
    high = replace(MASS, mm_per_y_ci95=(0.48, 0.9))
    low = replace(GAS, mm_per_y=0.4, mm_per_y_ci95=(0.1, 0.43))
    assert _compared(high, low).e_n == pytest.approx(0.1 / math.hypot(0.02, 0.03))


def test_shared_causes_are_no_part_of_the_difference() -> None:
    """Area known to 4 %: both 0.5 and 0.44 move together, so the gap is surer than the intervals say."""
    one, two = (replace(rate, shared_relative={"area": 0.04}) for rate in (MASS, GAS))
    assert covariance(one, two) == pytest.approx(0.5 * 0.44 * 0.04**2)
    squared = 2 * 0.05**2 - 2 * NORMAL_FACTOR**2 * 0.5 * 0.44 * 0.04**2
    assert _compared(one, two).e_n == pytest.approx(0.06 / math.sqrt(squared))
    other = replace(GAS, shared_relative={"titre": 0.04})
    assert covariance(one, other) == 0.0


@pytest.mark.parametrize(
    ("second", "said"),
    [
        (SWEEP, "a moment are not the same"),
        (replace(SECTION, measurand="worst place"), "worst place are not the same"),
        (_rate("pit volume", 0.1, measurand="local"), "places picked for their pits are not the same"),
        (
            replace(GAS, bound="at least", mm_per_y=0.2, mm_per_y_ci95=(0.1, 0.3)),
            "gas is known as 'at least'",
        ),
        (replace(GAS, ends_h=100.0), "share 60 % of the time"),
        (replace(GAS, ends_h=None), "time of one of them is not known"),
        (replace(GAS, mm_per_y_ci95=None), "no interval"),
        (replace(SECTION, joined="twin", from_specimens=("t",)), "scatter between specimens is not known"),
    ],
)
def test_unlike_rates_have_no_normalised_error(second: PenetrationRate, said: str) -> None:
    found = _compared(MASS, second, drawn=DrawnSection(5000.0, 5000.0))
    assert (found.e_n, found.agree) == (None, None)
    assert found.ratio is not None and said in found.sentence and "not judged" in found.sentence


def test_two_figures_of_one_sweep_confirm_nothing() -> None:
    found = _compared(SWEEP, _rate("polarization resistance", 0.1))
    assert (found.e_n, found.agree) == (None, None) and "share current and area" in found.sentence


def test_two_worst_places_are_no_means() -> None:
    worst = [replace(rate, measurand="worst place") for rate in (SECTION, _rate("strut width", 0.5))]
    found = _compared(*worst)
    assert found.e_n is None and "neither is of the mean" in found.sentence


def test_nearly_the_same_stretch_counts() -> None:
    assert _compared(MASS, replace(GAS, ends_h=150.0)).e_n is not None


def test_other_specimens_with_known_scatter() -> None:
    """The scatter between specimens enters once for each rate that rests on a single one."""
    twin = replace(GAS, joined="twin", from_specimens=("t",))
    found = _compared(MASS, twin, between_specimens_relative=0.1)
    scatter = 2 * (NORMAL_FACTOR * 0.1 * 0.47) ** 2
    assert found.e_n == pytest.approx(0.06 / math.sqrt(2 * 0.05**2 + scatter))
    group = replace(GAS, joined="group", from_specimens=("a", "b", "c"))
    of_group = _compared(MASS, group, between_specimens_relative=0.1)
    assert of_group.e_n == pytest.approx(0.06 / math.sqrt(2 * 0.05**2 + scatter / 2))
    assert "gas (of its group)" in of_group.sentence


def test_ratio_of_different_specimens_holds_their_scatter() -> None:
    """Each of two specimens 1 with a scatter of 10 %, methods exact to 2 %: the ratio is 1 in 95 %."""
    rng = np.random.default_rng(5)
    held = 0
    for _ in range(600):
        a, b = 1 + rng.normal(0, math.hypot(0.1, 0.02), 2)
        twin = replace(_rate("gas", b, NORMAL_FACTOR * 0.02), joined="twin", from_specimens=("t",))
        found = _compared(_rate("mass loss", a, NORMAL_FACTOR * 0.02), twin, between_specimens_relative=0.1)
        assert found.ratio_ci95 is not None
        held += found.ratio_ci95[0] <= 1 <= found.ratio_ci95[1]
    assert 0.92 < held / 600 < 0.98
    assert _compared(MASS, twin).ratio_ci95 is None, "how specimens scatter is not known"


def test_ratio_of_an_uneven_interval_stays_on_its_side() -> None:
    """A volume of 0.005 (0.002 to 0.015) is no less than none of the loss."""
    pits = replace(_rate("pit volume", 0.005), mm_per_y_ci95=(0.002, 0.015), bound="at least")
    found = _compared(pits, MASS)
    assert found.ratio_ci95 is not None
    assert found.ratio_ci95 == pytest.approx((0.002 / 0.5, 0.015 / 0.5), rel=0.05)
    of_twin = replace(pits, joined="twin", from_specimens=("t",))
    widest = _compared(of_twin, MASS, between_specimens_relative=0.5).ratio_ci95
    assert widest is None or widest[0] >= 0
    wide = _compared(of_twin, replace(MASS, mm_per_y_ci95=(0.49, 0.51)), between_specimens_relative=0.45)
    assert wide.ratio_ci95 is not None and wide.ratio_ci95[0] == 0.0
    back = _compared(MASS, replace(pits, mm_per_y_ci95=(0.003, 0.008))).ratio_ci95
    assert back is not None and back == pytest.approx((0.5 / 0.008, 0.5 / 0.003), rel=0.15)


def test_starting_area_is_corrected_where_sizes_are_drawn() -> None:
    """A wire of 100 µm that lost 20 µm all round: d - d² / 2 R = 16 µm over its starting surface."""
    hours = 8766.0
    mass = replace(MASS, mm_per_y=0.016, mm_per_y_ci95=(0.015, 0.017), ends_h=hours)
    section = replace(SECTION, mm_per_y=0.020, mm_per_y_ci95=(0.019, 0.021), ends_h=hours)
    drawn = DrawnSection(100.0, 100.0, "ellipse")
    found = _compared(section, mass, drawn=drawn)
    assert found.corrected_by == pytest.approx(1.25) and found.second.mm_per_y == pytest.approx(0.020)
    assert found.e_n == pytest.approx(0.0, abs=1e-6) and found.agree is True
    assert "Mass loss was multiplied by 1.25" in found.sentence
    assert found.second.mm_per_y_ci95 == pytest.approx(
        (0.015 * shrinkage_factor(15.0, drawn), 0.017 * shrinkage_factor(17.0, drawn))
    )
    without = _compared(section, mass)
    assert (without.corrected_by, without.agree) == (1.0, None) and without.e_n is not None
    assert without.reasons[0] is SHRINKS and "drawn sizes of the part are not stated" in without.sentence


def test_doubt_about_drawn_sizes_widens_what_is_corrected() -> None:
    mass = replace(MASS, mm_per_y=0.016, mm_per_y_ci95=(0.015, 0.017), ends_h=8766.0)
    exact = DrawnSection(120.0, 100.0)
    unsure = replace(exact, width_uncertainty=5.0, thickness_uncertainty=5.0)
    one, two = (as_penetration(mass, Context(drawn=drawn))[0] for drawn in (exact, unsure))
    assert one.mm_per_y == two.mm_per_y and one.expanded is not None and two.expanded is not None
    assert one.expanded < two.expanded < 1.5 * one.expanded


def test_order_changes_the_sign_alone() -> None:
    assert _compared(MASS, GAS).e_n == -(_compared(GAS, MASS).e_n or 0.0)


def test_shrinkage_excuses_only_the_lower_side() -> None:
    high = replace(MASS, mm_per_y=0.9, mm_per_y_ci95=(0.85, 0.95))
    found = _compared(SECTION, high)
    assert found.agree is False and SHRINKS not in found.reasons


def test_more_metal_than_there_was_is_said() -> None:
    mass = replace(MASS, mm_per_y=2.0, mm_per_y_ci95=(1.9, 2.1))  # 38 µm off a wire that has 25 to give
    section = replace(SECTION, mm_per_y=2.6, mm_per_y_ci95=(2.5, 2.7))
    found = _compared(section, mass, drawn=DrawnSection(100.0, 100.0, "ellipse"))
    assert found.agree is None and "more metal than there was (25 µm)" in found.not_corrected
    assert as_penetration(section, Context())[1:] == (1.0, "")


@pytest.mark.parametrize(("limits", "agree"), [((0.1, 0.3), None), ((0.5, 0.6), None), ((0.6, 0.7), False)])
def test_a_bound_contradicts_only_what_it_excludes(limits: Interval, agree: bool | None) -> None:
    """Pits alone account for at least so much: more than all that was weighed cannot be."""
    pits = PenetrationRate(
        "s", "pit volume", "mean", sum(limits) / 2, limits, "average", "at least", 0.0, 168.0
    )
    found = _compared(pits, MASS)
    assert found.agree is agree and found.e_n is None
    assert ("contradict" in found.sentence) == (agree is False)


def test_an_upper_bound_contradicts_what_lies_above() -> None:
    most = replace(GAS, bound="at most", mm_per_y=0.2, mm_per_y_ci95=(0.15, 0.25))
    assert _compared(most, MASS).agree is False
    assert _compared(replace(most, mm_per_y=0.6, mm_per_y_ci95=(0.5, 0.7)), MASS).agree is None


def test_pairs_in_order_and_without_refused_ones() -> None:
    worst = replace(SECTION, measurand="worst place")
    found = pairs([SWEEP, GAS, MASS, worst, SECTION, refused("s", "acid", "none")])
    assert [(p.first.method, p.second.method) for p in found] == [
        ("section", "mass loss"),
        ("section", "gas"),
        ("section", "sweep"),
        ("section", "mass loss"),
        ("section", "gas"),
        ("section", "sweep"),
        ("mass loss", "gas"),
        ("mass loss", "sweep"),
        ("gas", "sweep"),
    ]
    assert pairs([MASS]) == []
    with pytest.raises(ValueError, match="one specimen"):
        pairs([MASS, replace(GAS, specimen="t")])


def test_ratio_of_a_rate_that_may_be_zero_has_no_interval() -> None:
    found = _compared(MASS, replace(GAS, mm_per_y=0.03, mm_per_y_ci95=(-0.02, 0.08)))
    assert found.ratio is not None and found.ratio_ci95 is None
    below = replace(GAS, mm_per_y=-0.01, mm_per_y_ci95=(-0.06, 0.04))
    for found in (_compared(MASS, below), _compared(below, MASS)):
        assert found.ratio is None and "ratio" not in found.sentence


def test_ratio_interval_covers() -> None:
    rng = np.random.default_rng(4)
    common = rng.normal(0, 0.02, 4000)
    first, second = 1.0 + common + rng.normal(0, 0.1, 4000), 0.5 + common + rng.normal(0, 0.03, 4000)
    held = 0
    for a, b in zip(first, second, strict=True):
        found = ratio_interval(a, b, math.hypot(0.1, 0.02), math.hypot(0.03, 0.02), 0.02**2)
        assert found is not None
        held += found[0] <= 2.0 <= found[1]
    assert 0.94 < held / 4000 < 0.96


def test_same_value_agrees_whatever_the_widths() -> None:
    assert _compared(MASS, replace(GAS, mm_per_y=0.5, mm_per_y_ci95=(0.5, 0.5))).e_n == 0.0
    exact = replace(MASS, mm_per_y_ci95=(0.5, 0.5))
    found = _compared(exact, replace(GAS, mm_per_y_ci95=(0.44, 0.44)))
    assert found.e_n is None and "neither interval has a width" in found.sentence


@pytest.mark.parametrize("expanded", [(-0.1, 0.1), (0.0, 0.0)])
def test_normalised_error_needs_uncertainties(expanded: Interval) -> None:
    with pytest.raises(ValueError, match="cannot be"):
        normalised_error(1.0, 2.0, *expanded)
