"""Rates of a study: every one on its own feet, means method by method over specimens."""

import math

import pytest

from surfscan.estimates.groups import t_factor
from surfscan.report.rates import ACID, GAS, MASS_LOSS, RESISTANCE, SWEEP, group_rates, over_time, rates_of


@pytest.fixture(scope="module")
def rates(rate_records):
    return rates_of(rate_records.values())


def test_every_entry_gives_its_rates_or_says_why_not(rates):
    found = [(r.record.entry_id, r.method, bool(r.refused)) for r in rates]
    assert found == [
        ("weighing of U1", MASS_LOSS, False),
        ("weighing of U2", MASS_LOSS, False),
        ("weighing of U3", MASS_LOSS, False),
        ("weighing of R1", MASS_LOSS, True),
        ("gas of U1", GAS, False),
        ("gas of R2", GAS, True),
        ("rig.csv", ACID, False),
        ("active.csv", SWEEP, False),
        ("broken.csv", SWEEP, True),
        ("held.csv", SWEEP, True),
        ("garbage.csv", SWEEP, True),
        ("active.csv", RESISTANCE, False),
        ("broken.csv", RESISTANCE, False),
        ("held.csv", RESISTANCE, False),
    ]
    assert all(math.isnan(r.g_per_m2_d) == bool(r.refused) for r in rates)


def test_averages_have_a_stretch_and_instants_none(rates):
    for rate in rates:
        if rate.is_instant:
            assert math.isnan(rate.starts_h) and math.isnan(rate.ends_h)
        else:
            assert (rate.starts_h, rate.ends_h) == (0, 48)


def test_rate_of_the_resistance_is_that_of_the_sweep_where_it_is_the_result(rates, rate_records):
    """The summary of `broken.csv` has its rate by polarization resistance; both ways must agree."""
    (rate,) = [r for r in rates if r.record.entry_id == "broken.csv" and r.method == RESISTANCE]
    record = rate_records["broken.csv"]
    assert record.text("method").startswith("Stern-Geary")
    assert rate.mm_per_y == pytest.approx(record.figure("rate_mm_per_y"), rel=1e-12)
    assert rate.mm_per_y_ci95 == pytest.approx(record.interval("rate_mm_per_y"), rel=1e-12)
    assert rate.g_per_m2_d == pytest.approx(record.figure("rate_g_per_m2_d"), rel=1e-12)
    assert rate.valence_range_mm_per_y == pytest.approx(
        tuple(record.value("rate_mm_per_y_valence_range")), rel=1e-12
    )


def test_means_are_over_specimens_of_one_method(rates):
    groups = group_rates(["bare", "steel"], rates)
    assert ("bare", ACID) not in {(g.group, g.method) for g in groups}  # a vessel is no specimen
    mass = next(g for g in groups if (g.group, g.method) == ("bare", MASS_LOSS))
    values = mass.values["rate_mm_per_y"]
    mean = mass.means["rate_mm_per_y"]
    half = t_factor(2) * values.std(ddof=1) / math.sqrt(3)
    assert mean.n == 3 and mean.ci95 == pytest.approx((values.mean() - half, values.mean() + half))
    assert (mass.starts_h, mass.ends_h, mass.refused_count) == (0, 48, 0)
    steel = next(g for g in groups if (g.group, g.method) == ("steel", SWEEP))
    assert (steel.means["rate_mm_per_y"].n, steel.refused_count) == (0, 3)


def test_a_specimen_counts_once(rates):
    twice = [r for r in rates if r.record.entry_id == "weighing of U1"] * 2
    others = [r for r in rates if r.record.entry_id == "weighing of U2"]
    (group,) = group_rates(["bare"], twice + others)
    assert group.means["rate_mm_per_y"].n == 2
    assert group.values["rate_mm_per_y"].tolist() == [twice[0].mm_per_y, others[0].mm_per_y]


def test_no_material_no_rate(rate_records, changed):
    bare = changed(
        rate_records["active.csv"],
        material=None,
        rate_mm_per_y=None,
        rate_g_per_m2_d=None,
        rate_mm_per_y_ci95=None,
        rate_g_per_m2_d_ci95=None,
    )
    assert [r.refused for r in rates_of([bare])] == ["no material is stated of the specimen"] * 2


def test_readings_of_gas_and_acid_over_time(rate_records):
    found = {(r.entry_id, method): len(t["starts_h"]) for r, method, t in over_time(rate_records.values())}
    assert found["gas of U1", GAS] == 2
    assert found["rig.csv", ACID] >= 4
