"""Budgets: parts, shares, what dominates, and the line of advice."""

import math

import pytest

from surfscan.estimates.uncertainty import SOURCES, Budget, Contribution, advice, coverage_factor


def budget(*contributions, value=100.0, correlations=None):
    return Budget("pit density", "mm⁻²", value, contributions, correlations or {})


FIELDS = Contribution("between fields", "fields", 1.0, 12.0, 4, "A")
SPECIMENS = Contribution("between specimens", "specimens", 1.0, 20.0, 3, "A")
SCALE = Contribution("scale", "scale", 200.0, 0.01)
EDGE = Contribution("edges", "edge", -3.0, 0.5)


def test_parts_combine_as_root_sum_of_squares():
    b = budget(FIELDS, SCALE, EDGE)
    assert b.standard_uncertainty == pytest.approx(math.hypot(12, 2, 1.5))
    assert sum(b.shares().values()) == pytest.approx(1)
    assert b.dominant() is FIELDS
    assert next(iter(b.shares_by_source())) == "fields"


def test_degrees_of_freedom_of_one_part_are_its_own():
    assert budget(FIELDS).effective_degrees_of_freedom == pytest.approx(4)
    assert budget(FIELDS).expanded() == pytest.approx(coverage_factor(4) * 12)
    assert math.isinf(budget(SCALE, EDGE).effective_degrees_of_freedom)


def test_correlated_parts_add_or_cancel():
    a, b = Contribution("left edge", "edge", 1.0, 0.3, 5), Contribution("right edge", "edge", 1.0, 0.4, 9)
    together = budget(a, b, correlations={("left edge", "right edge"): 1.0})
    against = budget(a, b, correlations={("left edge", "right edge"): -1.0})
    assert together.standard_uncertainty == pytest.approx(0.7)
    assert against.standard_uncertainty == pytest.approx(0.1)
    assert together.effective_degrees_of_freedom == pytest.approx(5)
    assert sum(against.shares().values()) == pytest.approx(1)
    assert against.shares()["left edge"] < 0


def test_without_a_source_its_correlations_go_too():
    b = budget(FIELDS, SCALE, EDGE, correlations={("scale", "edges"): 0.5})
    assert b.without("scale").correlations == {}
    assert b.without("scale").standard_uncertainty == pytest.approx(math.hypot(12, 1.5))


def test_a_budget_of_nothing():
    empty = budget()
    assert (empty.standard_uncertainty, empty.expanded(), empty.shares(), empty.dominant()) == (
        0,
        0,
        {},
        None,
    )
    assert "nothing can be planned" in advice(empty)


def test_contribution_from_an_interval():
    made = Contribution.from_half_width("fields", "fields", 4.303, degrees_of_freedom=2)
    assert made.part == pytest.approx(1.0, abs=1e-4)
    assert Contribution.from_half_width("scale", "scale", 1.96).part == pytest.approx(1.0, abs=1e-4)


def test_contribution_from_a_range():
    made = Contribution.from_range("two reviewers", "hand", 40.0, 43.0)
    assert made.part == pytest.approx(3 / math.sqrt(12))
    with pytest.raises(ValueError, match="not below 0"):
        Contribution.from_range("two reviewers", "hand", 43.0, 40.0)


@pytest.mark.parametrize(
    "make",
    [
        lambda: Contribution("a", "nowhere", 1.0, 1.0),
        lambda: Contribution("a", "scale", 1.0, -1.0),
        lambda: Contribution("a", "scale", math.nan, 1.0),
        lambda: Contribution("a", "scale", 1.0, 1.0, 0),
        lambda: budget(SCALE, SCALE),
        lambda: budget(SCALE, EDGE, correlations={("scale", "nothing"): 0.5}),
        lambda: budget(SCALE, EDGE, correlations={("scale", "edges"): 1.5}),
        lambda: coverage_factor(0),
        lambda: coverage_factor(5, 1.0),
        lambda: advice(budget(SCALE), relative_accuracy_percent=0),
    ],
)
def test_nonsense_is_refused(make):
    with pytest.raises(ValueError, match=r"\w"):
        make()


def test_correlations_that_contradict_one_another_are_refused():
    three = [Contribution(n, "other", 1.0, 1.0) for n in "abc"]
    with pytest.raises(ValueError, match="contradict"):
        budget(*three, correlations={("a", "b"): 1.0, ("b", "c"): 1.0, ("a", "c"): -1.0})


def test_more_specimens_bring_their_fields():
    """Fields of specimens that are added average out with them: they are no floor."""
    own = Contribution("fields within specimens", "fields", 1.0, 9.0, 3, "A")
    text = advice(budget(SPECIMENS, own), relative_accuracy_percent=8, specimens=4)
    assert "cannot bring" not in text and "specimens in place of 4" in text


def test_advice_is_on_the_interval_that_is_stated():
    text = advice(
        budget(SPECIMENS), relative_accuracy_percent=20, specimens=4, expanded=budget(SPECIMENS).value
    )
    assert text.startswith("Known to 100 % (95 %)")


def test_advice_counts_specimens_where_they_dominate():
    text = advice(budget(SPECIMENS, SCALE), relative_accuracy_percent=20, specimens=4)
    assert "mostly differences between specimens" in text
    assert "specimens in place of 4" in text
    assert text.endswith("more.")


def test_advice_gives_no_count_it_does_not_know():
    assert advice(budget(SPECIMENS), relative_accuracy_percent=20).endswith("Take more specimens.")


def test_advice_says_when_fields_cannot_help():
    text = advice(
        budget(FIELDS, Contribution("edges", "edge", 1.0, 8.0)), relative_accuracy_percent=10, fields=5
    )
    assert (
        "More fields alone cannot bring 10 %: where edges and thresholds lie would still leave 16 %." in text
    )


def test_advice_on_the_scale():
    text = advice(budget(Contribution("scale", "scale", 200.0, 0.05)), relative_accuracy_percent=10)
    assert "the scale must be 2 times as sure" in text
    loose = budget(Contribution("scale", "scale", 200.0, 0.05), Contribution("edges", "edge", 1.0, 8.0))
    assert "A better scale alone cannot bring 10 %" in advice(loose, relative_accuracy_percent=10)


def test_advice_where_it_is_sure_enough_and_where_the_figure_is_nothing():
    assert "better than 10 %, nothing more is needed" in advice(budget(SCALE))
    assert "no relative accuracy" in advice(budget(FIELDS, value=0.0))


@pytest.mark.parametrize("source", sorted(SOURCES))
def test_every_source_has_advice(source):
    text = advice(budget(Contribution("it", source, 1.0, 30.0)), relative_accuracy_percent=5)
    assert text.startswith("Known to 59 % (95 %), mostly ")
    assert text.endswith(".")
    assert len(text.splitlines()) == 1
