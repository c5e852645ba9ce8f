"""Tables of rates: what the store has, row by row."""

import csv

import numpy as np
import pytest

from surfscan.report.rate_tables import checks_text, no_current, rate_tables
from surfscan.report.rates import group_rates, rates_of


@pytest.fixture(scope="module")
def tables(rate_records):
    rates = rates_of(rate_records.values())
    return rate_tables(list(rate_records.values()), rates, group_rates(["bare", "steel"], rates))


def row(table, column, name):
    """The one row whose `column` is `name`."""
    (at,) = np.flatnonzero(table[column] == name)
    return {key: values[at].item() for key, values in table.items()}


def test_breakdown_censored_at_the_vertex(tables):
    broken = row(tables["study_sweeps"], "sweep", "broken.csv")
    held = row(tables["study_sweeps"], "sweep", "held.csv")
    assert not broken["is_breakdown_censored"] and broken["breakdown_V"] == pytest.approx(0.42, abs=0.02)
    assert held["is_breakdown_censored"] and np.isnan(held["breakdown_V"])
    assert held["breakdown_at_least_V"] == pytest.approx(0.85, abs=0.003)
    assert broken["protection_V"] == pytest.approx(0.02, abs=0.01)


def test_a_sweep_that_failed_has_a_row_with_its_reason(tables):
    failed = row(tables["study_sweeps"], "sweep", "garbage.csv")
    assert failed["status"] == "failed" and failed["refused"] == failed["message"] != ""
    assert np.isnan(failed["icorr_uA_per_cm2"]) and not failed["is_breakdown_censored"]


def test_rate_rows_say_what_they_rest_on(tables):
    table = tables["study_rates"]
    acid = row(table, "method", "acid")
    assert (acid["specimen"], acid["n_specimens"], acid["enters_means"]) == ("U1 + U2 + U3", 3, False)
    assert acid["area_cm2"] == pytest.approx(12) and acid["bias"] == "reads low"
    weighed = row(table, "entry", "weighing of U2")
    assert weighed["speaks_for"] == "average" and weighed["hours_from"].endswith("rig.csv")
    assert weighed["material"] == "AZ31" and acid["material"] == "AZ31"
    swept = table["specimen"] == "E1"
    assert set(table["speaks_for"][swept].tolist()) == {"instant"}
    assert set(table["twin_of"][swept].tolist()) == {"U1"}


def test_log_rows(tables):
    exposure = row(tables["study_exposures"], "log", "rig.csv")
    assert exposure["immersed_h"] == 48 and exposure["gap_h"] == pytest.approx(6)
    assert exposure["is_clogging"] == "yes" and exposure["verdict"] == "exposure not valid"
    assert len(exposure["verdict_reasons"].split(" | ")) == 4
    assert exposure["acid_blank_mL"] == pytest.approx(1.0)
    assert tables["study_excursions"]["kind"].tolist() == ["above", "gap"]
    assert set(tables["study_channels"]["log"].tolist()) == {"rig.csv"}


def test_runs_and_methods_carry_whose_they_are(tables):
    methods = tables["study_sweep_methods"]
    assert set(methods["specimen"].tolist()) == {"E1", "R1", "R2"}
    assert len(tables["study_sweep_runs"]["scan"]) == 5


def test_files_hold_the_same(tables, reported_rates):
    for name, table in tables.items():
        path = reported_rates / "tables" / f"{name.removeprefix('study_')}.csv"
        with path.open(encoding="utf-8", newline="") as handle:
            rows = list(csv.DictReader(handle))
        assert len(rows) == len(next(iter(table.values())))


def test_reasons_and_checks_in_words(rate_records):
    assert no_current(rate_records["active.csv"]) == ""
    assert no_current(rate_records["garbage.csv"]).startswith("the file holds no table")
    assert checks_text(rate_records["rig.csv"]).startswith("pH probe: off by 0.01 before, 0.05 after")
