"""Loss against exposure over specimens."""

import pytest

from surfscan.report.loss_over_time import families, law_words, loss_over_time, over_time_rows

LIMIT = """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.4
groups = ["bare 14 d"]
"""


def test_groups_that_belong_together(sides):
    sides.found()
    assert families(sides.groups) == {"bare": ("bare 7 d", "bare 14 d"), "coated 14 d": ("coated 14 d",)}


def test_linear_loss_is_found_linear(sides):
    """20 µm in 7 d and 40 µm in 14 d: the mass over the starting area is turned into penetration first."""
    found = sides.found()
    assert [(s.name, s.method) for s in found.over_time] == [
        ("bare", "mass loss"),
        ("bare", "section"),
        ("bare", "strut width"),
    ]
    series = found.over_time[0]
    assert series.losses_um == pytest.approx([18, 20, 22, 36, 40, 44], rel=1e-6)
    assert series.fitted.best.law == "linear"
    assert series.fitted.best.factor == pytest.approx(40 / 336, rel=1e-3)
    assert series.projection is None and "add a [[criterion]]" in law_words(series)[-1]


def test_projection_to_the_section_of_a_criterion(sides):
    """40 % of 400 x 300 µm are left at 62.6 µm, which 40 µm in 336 h reaches at 526 h."""
    series = sides.found(LIMIT).over_time[0]
    assert series.limit_um == pytest.approx(62.64, abs=0.01) and "40 %" in series.limit_from
    assert series.projection.hours == pytest.approx(62.64 / 40 * 336, rel=1e-3)
    low, high = series.projection.hours_ci95
    assert low < series.projection.hours and high is None  # of two exposures the exponent cannot be told
    assert "to beyond 672 h" in series.projection.sentence
    assert "no statement on service life" in series.projection.sentence


def test_too_far_is_refused(sides):
    series = sides.found(LIMIT.replace("0.4", "0.05")).over_time[0]
    assert series.projection.hours is None and "furthest allowed" in series.projection.refused


def test_rows(sides):
    found = sides.found(LIMIT)
    rows = over_time_rows(found.over_time)
    best = [row for row in rows if row["aicc_difference"] == 0]
    assert len(best) == 3 and all(row["projected_h"] > 0 for row in best)
    assert {row["unit"] for row in rows} == {"µm"}


def test_one_exposure_has_no_course(sides):
    study = sides.study()
    found = sides.found()
    alone = [g for g in sides.groups if g.name == "coated 14 d"]
    assert loss_over_time(study, alone, found.specimens) == []
