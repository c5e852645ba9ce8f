"""Groups of specimens compared, and when they are not."""

import math

import numpy as np
import pytest

from surfscan.estimates.comparing import compare_several, compare_two, permutation_p

FEW, MANY = [1.0, 1.2], [2.0, 2.4, 2.2, 2.9]


def test_below_three_specimens_points_only():
    found = compare_two(FEW, MANY, names=("as received", "28 d"))
    assert found.refused == "as received has 2 specimens, at least 3 are needed; its points are shown"
    assert (found.difference, found.ci95, found.effect, found.p) == (None, None, None, None)
    assert found.points == ((1.0, 1.2), (2.0, 2.4, 2.2, 2.9))
    assert found.sentence.startswith("Not compared: as received has 2 specimens")


def test_specimens_without_the_figure_do_not_count():
    assert "has 2 specimens" in compare_two([1.0, 1.2, math.nan], MANY).refused
    assert "no specimen" in compare_two([], MANY).refused


def test_no_scatter_no_comparison():
    assert "scatter" in compare_two([1, 1, 1], [2, 2, 2]).refused


def test_sentence_says_the_effect_first_and_p_second():
    text = compare_two([1.0, 1.2, 1.1], MANY, names=("plain", "coated"), unit="µm").sentence
    assert text.startswith("coated less plain: 1.27 µm (95 % ")
    assert text.index("Hedges' g") < text.index("p = ")


def test_the_other_way_round_changes_signs_only():
    one, other = compare_two([1.0, 1.2, 1.1], MANY), compare_two(MANY, [1.0, 1.2, 1.1])
    assert one.difference == pytest.approx(-other.difference)
    assert one.ci95 == pytest.approx((-other.ci95[1], -other.ci95[0]))
    assert one.effect.ci95 == pytest.approx((-other.effect.ci95[1], -other.effect.ci95[0]))
    assert one.p == pytest.approx(other.p)


def test_three_and_three_cannot_give_a_small_permutation_p():
    found = compare_two([1, 2, 3], [10, 11, 12], test="permutation")
    assert found.p == pytest.approx(0.1)
    assert "p cannot fall below 0.1." in found.sentence
    assert found.statistic is None


def test_drawn_permutations_repeat():
    rng = np.random.default_rng(0)
    a, b = rng.normal(0, 1, 14), rng.normal(0.5, 1, 12)
    assert permutation_p(a, b, seed=3) == permutation_p(a, b, seed=3)
    assert permutation_p(a, b, seed=3) == pytest.approx(permutation_p(a, b, seed=4), abs=0.02)


def test_no_p_of_nothing_from_draws():
    assert permutation_p(np.arange(20.0), 1000 + np.arange(20.0), most_splits=100) == pytest.approx(2 / 101)


def test_equal_groups_differ_by_chance():
    assert permutation_p([1, 2, 3, 4], [1, 2, 3, 4]) == 1.0


def test_several_leave_out_those_too_small():
    found = compare_several({"A": MANY, "B": FEW, "C": [1.0, 1.1, 1.3], "D": [5, 5, 5]})
    assert found.compared == ("A", "C")
    assert len(found.pairs) == 1
    assert found.left_out == (
        "B has 2 specimens, at least 3 are needed; its points are shown",
        "D: all specimens gave the same value",
    )
    assert found.points["B"] == (1.0, 1.2)
    assert "Left out: B has 2 specimens" in found.sentence


def test_two_of_several_compare_as_two():
    pair = compare_several({"A": MANY, "C": [1.0, 1.1, 1.3]}).pairs[0]
    alone = compare_two(MANY, [1.0, 1.1, 1.3])
    assert pair.p == pytest.approx(alone.p)
    assert pair.ci95 == pytest.approx(alone.ci95)


def test_several_below_two_groups_are_refused():
    found = compare_several({"A": MANY, "B": FEW})
    assert found.p is None
    assert found.refused.startswith("B has 2 specimens")


def test_simultaneous_intervals_are_wider_than_each_alone():
    groups = {"A": MANY, "B": [1.0, 1.1, 1.3], "C": [3.0, 3.5, 2.8, 4.0]}
    for correction in ("Games-Howell", "Holm"):
        for pair in compare_several(groups, correction=correction).pairs:
            alone = compare_two(groups[pair.names[0]], groups[pair.names[1]])
            assert pair.ci95[1] - pair.ci95[0] > alone.ci95[1] - alone.ci95[0]
            assert pair.p >= alone.p


def test_groups_alike_hold_no_variance():
    found = compare_several({n: [1.0, 2.0, 3.0] for n in "ABC"})
    assert found.omega_squared == 0
    assert found.p == pytest.approx(1)
    assert "0 of 3 pairs differ" in found.sentence


@pytest.mark.parametrize(
    "make",
    [
        lambda: compare_two([1, 2, math.inf], MANY),
        lambda: compare_two(MANY, MANY, test="t"),
        lambda: compare_several({"A": MANY, "B": MANY}, correction="none"),
    ],
)
def test_nonsense_is_refused(make):
    with pytest.raises(ValueError, match=r"\w"):
        make()
