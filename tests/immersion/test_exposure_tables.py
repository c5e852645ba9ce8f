"""Tables of rig logs: columns of the registry whatever the log holds."""

import numpy as np

from surfscan.columns import TABLES
from surfscan.immersion.exposure import measure_exposure
from surfscan.immersion.exposure_settings import ExposureSettings


def test_a_log_with_nothing_to_tell(write_log):
    """No acid, no excursion, one channel: tables are there, with no rows where there are none."""
    rows = [(f"{7.4 + k % 5 / 100:.2f}",) for k in range(300)]
    found = measure_exposure(write_log("time,pH", rows)).tables
    for name, table in found.items():
        assert list(table) == [column.name for column in TABLES[name]]
        assert len({len(values) for values in table.values()}) == 1
    assert len(found["excursions"]["kind"]) == len(found["acid_over_time"]["ends_h"]) == 0
    assert set(found["log_trace"]["channel"].tolist()) == {"pH"}
    assert np.isnan(found["channels"]["set_point"][0])


def test_acid_trace_starts_at_zero_in_mL(write_log):
    rows = [(f"{7.4 + k % 5 / 100:.2f}", 40 + k // 10) for k in range(300)]
    settings = ExposureSettings(acid_mL_per_pulse=0.5)
    found = measure_exposure(write_log("time,pH,acid (pulses)", rows), settings).tables
    trace = found["log_trace"]
    acid = trace["channel"] == "acid"
    assert trace["least"][acid][0] == 0
    assert trace["greatest"][acid][-1] == 0.5 * 29
    assert found["acid_over_time"]["acid_mL"][-1] == 0.5 * 29
    assert found["channels"]["unit"].tolist() == ["1", "pulses"]


def test_resistance_is_mean_drop_over_mean_flow(write_log):
    rows = [(100 + k % 3, 12 + k % 2, 2) for k in range(300)]
    found = measure_exposure(write_log("time,flow (mL/min),p in (kPa),p out (kPa)", rows)).tables["log_trace"]
    bins = {
        name: found["mean"][found["channel"] == name] for name in ("flow", "pressure before", "resistance")
    }
    assert np.allclose(bins["resistance"], (bins["pressure before"] - 2) / bins["flow"], rtol=1e-12)
