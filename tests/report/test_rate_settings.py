"""Settings of rates on the page."""

from surfscan.report.rate_settings import rate_settings_grids
from surfscan.study.manifest import load_study


def test_tables_of_what_is_used_and_what_a_log_states_itself(reported_rates, rate_records):
    study = load_study(reported_rates)
    grids = rate_settings_grids(study, list(rate_records.values()))
    assert [g.caption.partition(": ")[2] for g in grids] == ["sweeps", "mass loss, gas and acid", "rig logs"]
    (own,) = [row for row in grids[-1].rows if row[2].text == "stated with the log"]
    assert [cell.text for cell in own][:2] == ["acid_blank_mL_per_day of rig.csv", "0.5"]
    assert rate_settings_grids(study, [rate_records["active.csv"]])[0].caption == "Settings: sweeps"
    assert len(rate_settings_grids(study, [rate_records["active.csv"]])) == 1
