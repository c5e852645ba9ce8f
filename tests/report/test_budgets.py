"""Budgets of figures of specimens and groups."""

import math

import pytest

from surfscan.report.budgets import budget_rows, figure_budgets, specimen_budgets
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def drawn(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study_folder).all())
    specimens = summarise_specimens(study.specimens, records)
    return specimens, summarise_groups(study.groups, specimens)


def test_parts_make_up_the_interval(drawn):
    """Fields and boundary of a drawn specimen: their half widths squared sum to that of the interval."""
    specimens, _ = drawn
    summary = next(s for s in specimens if s.specimen.id == "U1")
    budget = specimen_budgets(summary)["degraded_area_fraction"]
    by_source = {c.source: c for c in budget.contributions}
    fields = by_source["fields"]
    assert fields.degrees_of_freedom == 2 and fields.evaluation == "A"
    assert fields.standard_uncertainty == pytest.approx(0.02 / math.sqrt(3), rel=1e-6)
    half = summary.half_width("degraded_area_fraction")
    rest = by_source["edge"].standard_uncertainty if "edge" in by_source else 0.0
    assert math.hypot(4.3027 * fields.standard_uncertainty, 1.96 * rest) == pytest.approx(half, rel=1e-3)


def test_scale_enters_density_twice(drawn):
    specimens, _ = drawn
    summary = next(s for s in specimens if s.specimen.id == "U1")
    budget = specimen_budgets(summary)["pit_density_per_mm2"]
    scale = next(c for c in budget.contributions if c.source == "scale")
    relative = summary.pooled["pits"][0].done("pits").calibration.relative_uncertainty
    assert scale.standard_uncertainty == pytest.approx(2 * relative * budget.value)


def test_groups_split_specimens_and_fields(drawn):
    specimens, groups = drawn
    found = figure_budgets(specimens, groups, [], None)
    own = next(b for b in found if b.level == "group" and b.figure == "degraded_area_fraction")
    sources = own.budget.shares_by_source()
    assert set(sources) <= {"specimens", "fields", "scale"} and sum(sources.values()) == pytest.approx(1)
    group = next(g for g in groups if g.name == own.name)
    scatter = math.hypot(*(c.part for c in own.budget.contributions if c.source in ("specimens", "fields")))
    assert scatter == pytest.approx(group.means["degraded_area_fraction"].standard_uncertainty)
    assert own.advice.endswith(".")


def test_groups_are_as_sure_as_their_table_says(drawn):
    """However the scatter is split, it keeps its degrees of freedom, and known parts only widen it."""
    specimens, groups = drawn
    own = [b for b in figure_budgets(specimens, groups, [], None) if b.level == "group"]
    assert own
    for found in own:
        mean = next(g for g in groups if g.name == found.name).means[found.figure]
        half = max(mean.value - mean.ci95[0], mean.ci95[1] - mean.value)  # an end may be cut at 0 or 1
        assert found.expanded == pytest.approx(half, rel=1e-6)


def test_specimens_are_as_sure_as_their_table_says(drawn):
    specimens, groups = drawn
    own = [b for b in figure_budgets(specimens, groups, [], None) if b.level == "specimen"]
    assert own
    for found in own:
        summary = next(s for s in specimens if s.specimen.id == found.name)
        assert found.expanded == pytest.approx(summary.half_width(found.figure))


def test_no_images_no_budget(sides):
    """Rows put in by hand pool no pictures, so nothing tells where their intervals come from."""
    named = {b.figure for b in sides.found().budgets if b.level == "specimen"}
    assert "mass_loss_rate_mm_per_y" in named and "sweep_rate_mm_per_y" in named
    assert not named.intersection({"width_penetration_um", "section_penetration_um"})


def test_lower_bounds_have_none(sides):
    """The floor of the deepest pit of the third plate was not seen."""
    deep = {b.name for b in sides.found().budgets if b.figure == "max_depth_um"}
    assert {"C1", "C2"} <= deep and "C3" not in deep


def test_rates_of_a_group_keep_the_common_area(sides):
    found = sides.found()
    own = next(b for b in found.budgets if b.name == "bare 14 d" and b.figure == "mass_loss_rate_mm_per_y")
    area = next(c for c in own.budget.contributions if c.source == "area")
    assert area.standard_uncertainty == pytest.approx(0.02 * own.budget.value, rel=1e-3)


def test_rows(drawn):
    specimens, groups = drawn
    found = figure_budgets(specimens, groups, [], None)
    rows = budget_rows(found)
    assert len(rows) == sum(len(b.budget.contributions) for b in found)
    of_one = [r for r in rows if (r["name"], r["figure"]) == ("U1", "degraded_area_fraction")]
    assert sum(r["share"] for r in of_one) == pytest.approx(1)


def test_reviewers_are_a_contribution(reviewed_folder):
    from surfscan.report.by_hand_tables import gather_by_hand
    from surfscan.study.reviewed import study_corrections

    study = load_study(reviewed_folder)
    records, _ = gather(study, list(ResultsStore(reviewed_folder).all()), study_corrections(study))
    specimens = summarise_specimens(study.specimens, records)
    groups = summarise_groups(study.groups, specimens)
    by_hand = gather_by_hand(study, records, specimens, groups)
    hands = [
        c
        for s in specimens
        for b in specimen_budgets(s, by_hand).values()
        for c in b.contributions
        if c.source == "hand"
    ]
    assert hands and all(c.note.startswith("A and B on") and c.standard_uncertainty > 0 for c in hands)
