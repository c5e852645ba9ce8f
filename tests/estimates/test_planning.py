"""How many more, or how much better."""

import math

import pytest

from surfscan.estimates.fields import fields_needed
from surfscan.estimates.groups import t_factor
from surfscan.estimates.planning import (
    best_fields_per_specimen,
    needed_scale,
    needed_specimens,
    needed_to_average,
    nested_plan,
)


@pytest.mark.parametrize("sd", [0.5, 2.0, 5.0, 9.0])
@pytest.mark.parametrize("percent", [5.0, 10.0, 33.0])
def test_the_count_is_the_smallest_that_will_do(sd, percent):
    n = needed_to_average(10.0, sd, percent)
    assert t_factor(n - 1) * sd / math.sqrt(n) <= percent / 10 + 1e-9
    assert n >= fields_needed(10.0, sd, percent)
    if n > max(2, fields_needed(10.0, sd, percent)):
        assert t_factor(n - 2) * sd / math.sqrt(n - 1) > percent / 10


def test_what_replicates_share_is_left_over():
    alone = needed_to_average(100.0, 20.0, 10.0)
    shared = needed_to_average(100.0, 20.0, 10.0, common_uncertainty=4.0)
    assert shared > alone
    assert needed_to_average(100.0, 20.0, 10.0, common_uncertainty=6.0) is None


def test_impracticable_counts_are_not_given():
    assert needed_to_average(1.0, 10.0, 0.1) is None


def test_specimens_are_three_at_least():
    assert needed_specimens(100.0, 0.1, 50.0) == 3
    assert needed_to_average(100.0, 0.1, 50.0) == 2


def test_scale():
    assert needed_scale(100.0, 10.0, 0.0, 9.8) == pytest.approx(2.0, rel=1e-3)
    assert needed_scale(100.0, 1.0, 0.0, 10.0) < 1
    assert needed_scale(100.0, 1.0, 6.0, 10.0) is None


def test_more_fields_cannot_make_specimens_alike():
    one = nested_plan(100.0, 15.0, 30.0, 20.0, fields_per_specimen=1)
    nine = nested_plan(100.0, 15.0, 30.0, 20.0, fields_per_specimen=9)
    endless = nested_plan(100.0, 15.0, 30.0, 20.0, fields_per_specimen=10**6)
    assert one.specimens > nine.specimens >= endless.specimens == needed_specimens(100.0, 15.0, 20.0)
    assert nine.relative_accuracy_percent <= 20
    beyond = nested_plan(100.0, 1500.0, 30.0, 0.1, fields_per_specimen=3)
    assert beyond.specimens is None
    assert math.isnan(beyond.relative_accuracy_percent)


def test_fields_for_a_given_effort():
    assert best_fields_per_specimen(10.0, 20.0, specimen_cost=9.0, field_cost=1.0) == 6
    assert best_fields_per_specimen(10.0, 1.0, specimen_cost=1.0, field_cost=1.0) == 1


@pytest.mark.parametrize(
    "make",
    [
        lambda: needed_to_average(0.0, 1.0, 10.0),
        lambda: needed_to_average(1.0, 1.0, 0.0),
        lambda: needed_to_average(1.0, 1.0, 10.0, common_uncertainty=-1.0),
        lambda: needed_to_average(1.0, 1.0, 10.0, least=1),
        lambda: needed_scale(1.0, -1.0, 0.0, 10.0),
        lambda: nested_plan(1.0, -1.0, 1.0, 10.0, fields_per_specimen=3),
        lambda: nested_plan(1.0, 1.0, 1.0, 10.0, fields_per_specimen=0),
        lambda: best_fields_per_specimen(0.0, 1.0, specimen_cost=1.0, field_cost=1.0),
    ],
)
def test_nonsense_is_refused(make):
    with pytest.raises(ValueError, match=r"\w"):
        make()
