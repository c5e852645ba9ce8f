"""ASTM E562 and E1245: interval, relative accuracy and number of fields.

Sources: ASTM E562-19 (equations and tables from memory, not read from a licensed copy); Student's t from any
table of the distribution; the worked example is computed from the standard's formulas on data of our own
(the standard's own example was not at hand).
"""

import pytest

from surfscan.estimates.fields import area_weighted_mean, field_mean, fields_needed, planned_fields
from surfscan.estimates.groups import t_factor

DEGRADED_PERCENT = [8.2, 11.0, 9.1, 6.4, 12.5, 10.3, 7.7, 9.8, 8.9, 11.6]


def test_worked_example_of_ten_fields():
    e = field_mean(DEGRADED_PERCENT, upper=100.0)
    assert e.fields == 10
    assert e.mean == pytest.approx(9.550, abs=5e-4)
    assert e.standard_deviation == pytest.approx(1.8686, abs=5e-5)
    assert e.half_width == pytest.approx(1.3367, abs=5e-5)
    assert e.ci95 == pytest.approx((8.2133, 10.8867), abs=1e-4)
    assert e.relative_accuracy_percent == pytest.approx(13.997, abs=5e-4)
    assert e.warnings == ()


def test_fields_needed_for_ten_percent():
    """E562 Eq. 7 with t rounded to 2 gives 15.31, so 16 fields; with t = 2.262 it gives 19.6, so 20."""
    assert fields_needed(9.550, 1.8686, 10.0) == 16
    assert fields_needed(9.550, 1.8686, 10.0, t=2.262) == 20


@pytest.mark.parametrize(
    ("fields", "t"),
    [
        (2, 12.706),
        (3, 4.303),
        (4, 3.182),
        (5, 2.776),
        (6, 2.571),
        (7, 2.447),
        (8, 2.365),
        (9, 2.306),
        (10, 2.262),
        (12, 2.201),
        (15, 2.145),
        (20, 2.093),
        (25, 2.064),
        (30, 2.045),
        (40, 2.023),
        (60, 2.001),
    ],
)
def test_multipliers_of_table_1(fields, t):
    """E562 Table 1, which is Student's t at 97.5 % with n - 1 degrees of freedom."""
    assert t_factor(fields - 1) == pytest.approx(t, abs=5e-4)
    # Two values a and -a around a mean of 1 and the rest at the mean: s = a sqrt(2 / (n - 1)).
    e = field_mean([0.5, 1.5] + [1.0] * (fields - 2))
    assert e.half_width == pytest.approx(t * 0.5 * (2 / (fields - 1)) ** 0.5 / fields**0.5, rel=3e-4)


PLAN = {
    # expected %: fields at 33, 20 and 10 %RA for grids of 16, 25, 49 and 100 points
    2: ((110, 75, 35, 20), (310, 200, 105, 50), (1250, 800, 410, 200)),
    5: ((50, 30, 15, 8), (125, 80, 40, 20), (500, 320, 165, 80)),
    10: ((25, 15, 10, 5), (65, 40, 20, 10), (250, 160, 85, 40)),
    20: ((15, 10, 5, 4), (30, 20, 10, 5), (125, 80, 40, 20)),
}


@pytest.mark.parametrize("percent", PLAN)
def test_planning_guide_of_table_3(percent):
    """E562 Table 3 (from memory); it rounds to steps of 5 and, above 100, of 10."""
    for accuracy, row in zip((33, 20, 10), PLAN[percent], strict=True):
        for points, printed in zip((16, 25, 49, 100), row, strict=True):
            assert abs(planned_fields(percent / 100, points, accuracy) - printed) <= 5


def test_ratio_estimator_against_its_textbook_form():
    """Cochran, Sampling Techniques (1977) ch. 6: v(R) = sum (y - R x)² / [n (n - 1) x̄²], worked out by hand.

    y = 2, 3, 7 on x = 1, 2, 3 gives R = 2, residuals 0, -1, 1, so v = 2 / (6 x 4) = 1/12.
    """
    e = area_weighted_mean([2.0, 3.0, 7.0], [1.0, 2.0, 3.0])
    assert e.mean == 2
    assert (e.standard_deviation / 3**0.5) ** 2 == pytest.approx(1 / 12)
    assert e.half_width == pytest.approx(4.303 * (1 / 12) ** 0.5, rel=2e-4)
