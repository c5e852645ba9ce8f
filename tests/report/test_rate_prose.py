"""Sentences about rates."""

from surfscan.report.rate_prose import cautions_of, methods_of, rate_sentences, speaks_for
from surfscan.report.rates import group_rates, rates_of


def test_summary_names_method_interval_and_specimens(rate_records):
    rates = rates_of(rate_records.values())
    said = rate_sentences(rates, group_rates(["bare", "steel"], rates))
    assert said[0].startswith("By mass loss, “bare”: 2.8")
    assert "95 % interval" in said[0] and said[0].endswith("3 specimens).")
    assert any(s.startswith("By acid dosed, U1 + U2 + U3: 0.5") and "reads low" in s for s in said)
    assert any(s.startswith("By collected hydrogen, “bare”") and s.endswith("; reads low.") for s in said)
    assert any(
        s.startswith("By polarization resistance where branches give none, “steel”: 0.0011") for s in said
    )
    assert said[-1] == "5 of 14 rates refused, each with its reason in the table."


def test_what_time_a_rate_speaks_for(rate_records):
    rates = {(r.record.entry_id, r.method): r for r in rates_of(rate_records.values())}
    assert speaks_for(rates["weighing of U1", "mass loss"]) == (
        "average, 0 to 48\u00a0h",
        "immersed hours of the log rig.csv",
    )
    assert speaks_for(rates["active.csv", "sweep"]) == (
        "moment of the sweep",
        "twin of U1; electrode exposed for 0\u00a0h",
    )


def test_methods_and_cautions_are_those_in_use(rate_records):
    weighed = rates_of([rate_records["weighing of U1"]])
    assert any("cleaning cycles" in line for line in methods_of(weighed))
    assert not any(line.startswith("Gas:") for line in methods_of(weighed))
    cautions = cautions_of(rate_records.values())
    assert any("chromium" in c for c in cautions) and len(cautions) == len(set(cautions))
