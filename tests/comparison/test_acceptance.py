"""Pass, fail or undecided: what the figure, its interval and what is known of it allow."""

from __future__ import annotations

import math

import pytest

from surfscan.comparison.acceptance import Limits, Verdict, conformance_probability, judge
from surfscan.comparison.rates import NORMAL_FACTOR

MOST = Limits(at_most=0.5)
LEAST = Limits(at_least=0.6)


def _judged(value: float, half: float, limits: Limits = MOST, **others: object) -> Verdict:
    return judge(value, limits, ci95=(value - half, value + half), **others)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(0.3, "pass"), (0.39, "pass"), (0.45, "undecided"), (0.55, "undecided"), (0.61, "fail")],
)
def test_guarded_against_an_upper_limit(value: float, outcome: str) -> None:
    found = _judged(value, 0.1)
    assert (found.outcome, found.guard_band) == (outcome, pytest.approx(0.1))


@pytest.mark.parametrize(
    ("value", "outcome"), [(0.71, "pass"), (0.65, "undecided"), (0.55, "undecided"), (0.49, "fail")]
)
def test_guarded_against_a_lower_limit(value: float, outcome: str) -> None:
    assert _judged(value, 0.1, LEAST).outcome == outcome


@pytest.mark.parametrize(
    ("value", "outcome"),
    [(1.5, "pass"), (1.05, "undecided"), (1.95, "undecided"), (0.85, "fail"), (2.15, "fail")],
)
def test_between(value: float, outcome: str) -> None:
    assert _judged(value, 0.1, Limits(1.0, 2.0)).outcome == outcome


def test_simple_goes_by_the_figure_alone() -> None:
    assert _judged(0.49, 0.3, rule="simple").outcome == "pass"
    assert _judged(0.51, 0.3, rule="simple").outcome == "fail"
    bare = judge(0.49, MOST, rule="simple")
    assert (bare.outcome, bare.guard_band, bare.probability) == ("pass", 0.0, None)


def test_guard_factor_moves_the_band() -> None:
    assert _judged(0.45, 0.1, guard_factor=0.4).outcome == "pass"
    assert _judged(0.35, 0.1, guard_factor=2.0).outcome == "undecided"


def test_uneven_interval_counts_by_the_side_that_faces_the_limit() -> None:
    wide_above = judge(0.4, MOST, ci95=(0.39, 0.6))
    wide_below = judge(0.4, MOST, ci95=(0.1, 0.45))
    assert (wide_above.outcome, wide_below.outcome) == ("undecided", "pass")
    assert wide_above.probability is not None and wide_below.probability is not None
    assert wide_above.probability < 0.9 < wide_below.probability


@pytest.mark.parametrize(
    ("bound", "value", "limits", "outcome"),
    [
        ("at least", 0.1, MOST, "undecided"),  # the true depth may be any
        ("at least", 0.9, MOST, "fail"),
        ("at least", 0.9, LEAST, "pass"),
        ("at least", 0.1, LEAST, "undecided"),
        ("at most", 0.1, MOST, "pass"),
        ("at most", 0.9, MOST, "undecided"),
        ("at most", 0.9, LEAST, "undecided"),
        ("at most", 0.1, LEAST, "fail"),
    ],
)
@pytest.mark.parametrize("rule", ["guarded", "simple"])
def test_a_bound_decides_only_what_it_can(
    rule: str, bound: str, value: float, limits: Limits, outcome: str
) -> None:
    found = _judged(value, 0.05, limits, bound=bound, rule=rule)
    assert found.outcome == outcome
    assert f"is {bound} {value}" in found.sentence


def test_without_value_or_interval() -> None:
    nothing = judge(None, MOST, name="The greatest depth")
    assert (nothing.outcome, nothing.probability) == ("undecided", None)
    assert nothing.sentence == "The greatest depth is not known; it is to be at most 0.5."
    bare = judge(0.3, MOST, unit="mm/y")
    assert bare.outcome == "undecided" and "without an interval" in bare.sentence
    assert judge(math.nan, MOST).outcome == "undecided"
    assert judge(0.3, MOST, ci95=(math.nan, math.nan)).outcome == "undecided"


def test_probability_and_sentence() -> None:
    found = judge(0.4, MOST, standard_uncertainty=0.05, name="Mass loss", unit="mm/y")
    assert found.probability == pytest.approx(0.97725, abs=1e-5)
    assert found.guard_band == pytest.approx(0.05 * NORMAL_FACTOR)
    assert found.sentence == (
        "Mass loss is 0.4 mm/y, to be at most 0.5 mm/y: pass; guard band 0.098 mm/y; "
        "probability of conformity 97.7 %."
    )
    assert "below 0.1 %" in judge(5.0, MOST, standard_uncertainty=0.1).sentence
    assert "above 99.9 %" in judge(0.1, MOST, standard_uncertainty=0.01).sentence


def test_certain_figures() -> None:
    assert conformance_probability(0.5, 0.0, MOST) == 1.0
    assert conformance_probability(0.6, 0.0, MOST) == 0.0
    assert conformance_probability(1.5, (0.0, 0.1), Limits(1.4, 1.6)) == pytest.approx(0.841345, abs=1e-6)


@pytest.mark.parametrize("limits", [{}, {"at_most": math.nan}, {"at_least": 2.0, "at_most": 1.0}])
def test_limits_that_cannot_be(limits: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="limit"):
        Limits(**limits)


def test_words_of_limits() -> None:
    assert Limits(1.0, 2.0).words() == "between 1 and 2"
    assert LEAST.words("1") == "at least 0.6"
    assert MOST.words("mm/y") == "at most 0.5 mm/y"


@pytest.mark.parametrize(
    "stated",
    [
        {"rule": "strict"},
        {"guard_factor": -1.0},
        {"standard_uncertainty": 0.1, "ci95": (0.0, 1.0)},
        {"standard_uncertainty": -0.1},
        {"ci95": (0.5, 0.6)},
    ],
)
def test_nonsense_is_refused(stated: dict[str, object]) -> None:
    with pytest.raises(ValueError):
        judge(0.4, MOST, **stated)  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="finite"):
        conformance_probability(0.4, -1.0, MOST)


@pytest.mark.parametrize(
    ("value", "half", "shown"),
    [
        (0.54632, 0.041, "0.546"),
        (0.91202, 0.28, "0.91"),
        (12.0, 3.0, "12"),
        (1888.87, 400.0, "1890"),
        (688.0, 155.0, "690"),
        (0.5000004, 0.0, "0.5000004"),
        (0.4997, 0.02, "0.4997"),
    ],
)
def test_figures_are_rounded_to_what_is_known_and_never_onto_the_limit(
    value: float, half: float, shown: str
) -> None:
    found = judge(value, Limits(at_most=0.5), ci95=(value - half, value + half))
    assert f"is {shown}, to be" in found.sentence
