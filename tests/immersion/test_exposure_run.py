"""Running totals of a log: against plain sums, whatever the pages."""

import numpy as np
import pytest

from surfscan.immersion.exposure_run import ExposureRun
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_channels import Channel
from surfscan.immersion.log_units import parse_channel_unit

S = 1_000_000
CHANNELS = tuple(
    Channel(name, k + 1, name, parse_channel_unit(unit), "name")
    for k, (name, unit) in enumerate(
        [
            ("temperature", "°C"),
            ("pH", "pH"),
            ("flow", "mL/min"),
            ("pressure before", "kPa"),
            ("pressure after", "kPa"),
        ]
    )
)
SETTINGS = ExposureSettings(temperature_degC=37, temperature_tolerance_degC=0.5, pH=7.4, pH_tolerance=0.2)


def log(n=3000):
    rng = np.random.default_rng(8)
    held = rng.integers(1, 3, n) * S
    held[0] = 0
    held[[500, 900]] = -1
    times = np.cumsum(np.where(held < 0, 1000 * S, held))
    values = np.array([37.0, 7.4, 100.0, 12.0, 2.0])[:, None] + rng.normal(0, 1, (5, n)) * np.array(
        [[0.4], [0.15], [1.0], [0.1], [0.1]]
    )
    values[:, rng.random(n) < 0.02] = np.nan
    values[1, rng.random(n) < 0.05] = np.nan
    return times, held, values


def went(times, held, values, pages=(), interval_us=None, **window):
    run = ExposureRun(CHANNELS, SETTINGS, **window)
    for part in np.split(np.arange(len(times)), pages):
        if len(part):
            run.take(times[part], held[part], values[:, part], interval_us or 1.5 * S)
    return run


def test_a_channel_logged_less_often_stands_in_between():
    """pH in every fiftieth row only: known throughout, and a long silence is not."""
    times, held = np.arange(20_000) * S, np.full(20_000, S)
    held[0] = 0
    values = np.full((5, 20_000), 37.0)
    values[1] = np.where(np.arange(20_000) % 50 == 0, 7.4, np.nan)
    for pages in ((), (3000, 3001, 9990)):
        run = went(times, held, values, pages)
        assert run.totals[1].inside_us == run.joint_us == 19_999 * S
    values[1, 5001:10_000] = np.nan
    silent = went(times, held, values)
    assert silent.totals[1].inside_us == (19_999 - 4999 + 500) * S


@pytest.mark.parametrize("pages", [(), (700,)])
def test_a_lost_reading_ends_no_excursion(pages):
    """Out of range for 400 rows, every fifth empty: one excursion, and what is lost is not in range."""
    times, held = np.arange(2000) * 120 * S, np.full(2000, 120 * S)
    held[0] = 0
    values = np.tile(np.array([37.0, 7.4, 100.0, 12.0, 2.0])[:, None], 2000)
    values[1, 500:900] = 9.0
    values[1, 502:900:5] = np.nan
    values[1, 1000:1050] = np.nan
    run = went(times, held, values, pages, 120 * S)
    [found] = run.totals[1].finder.finish()
    assert found.length_us == 400 * 120 * S
    assert run.totals[1].inside_us == (1999 - 450) * 120 * S
    assert run.totals[1].known_us == (1999 - 80 - 50) * 120 * S


@pytest.mark.parametrize("pages", [(), (1, 2, 500, 501, 900, 2999)])
def test_against_plain_sums(pages):
    times, held, values = log()
    run = went(times, held, values, pages)
    stood = np.maximum(held[1:], 0)
    standing = values[:, :-1]  # logged in every row: an empty one is a reading that failed
    inside = [np.abs(standing[0] - 37) <= 0.5, np.abs(standing[1] - 7.4) <= 0.2]
    assert run.joint_us == stood[inside[0] & inside[1]].sum()
    for k in (0, 1):
        assert run.totals[k].inside_us == stood[inside[k]].sum()
        assert run.totals[k].known_us == stood[~np.isnan(standing[k])].sum()
    for total, row in zip(run.totals, values, strict=True):
        known = row[~np.isnan(row)]
        assert (total.readings, total.missing) == (len(known), len(row) - len(known))
        assert total.mean == pytest.approx(known.mean(), rel=1e-12)
        assert total.sd == pytest.approx(known.std(ddof=1), rel=1e-9)
        assert total.noise == pytest.approx(np.sqrt(0.5 * np.mean(np.diff(known) ** 2)), rel=1e-9)
    assert (run.gap_us, run.gap_count, run.rows) == (2000 * S, 2, 3000)
    drop = values[3] - values[4]
    both = ~np.isnan(drop) & ~np.isnan(values[2])
    counts = run.trace.counts(5)
    assert counts.sum() == both.sum()
    assert (counts * np.nan_to_num(run.trace.means(5))).sum() == pytest.approx(drop[both].sum())


def test_window():
    times, held, values = log()
    run = went(times, held, values, (700,), start_us=int(times[100]), stop_us=int(times[2000]))
    assert (run.first_us, run.last_us, run.rows) == (times[100], times[2000], 1901)
    assert went(times, held, values, start_us=int(times[-1]) + 1).first_us is None


@pytest.mark.parametrize("pages", [(), (50, 51, 52)])
def test_repeated_rows_are_left_out(pages):
    times, held, values = log()
    again = np.sort(np.concatenate([np.arange(3000), [50, 51, 51]]))
    held = held[again]
    held[1:][np.diff(again) == 0] = 0
    doubled = went(times[again], held, values[:, again], pages)
    plain = went(*log())
    assert doubled.duplicates == 3
    assert (doubled.rows, doubled.joint_us) == (plain.rows, plain.joint_us)
    assert doubled.totals[0].mean == plain.totals[0].mean


def test_a_reading_on_the_limit_is_in_range():
    """7.3 + 0.1 is below 7.4 in binary fractions."""
    settings = ExposureSettings(pH=7.3, pH_tolerance=0.1)
    run = ExposureRun(CHANNELS[1:2], settings)
    run.take(np.arange(3) * S, np.array([0, S, S]), np.array([[7.4, 7.2, 7.3]]), S)
    assert run.joint_us == 2 * S


def test_no_flow_is_no_resistance():
    times, held, values = log()
    values[2, :1500] = 0.0
    run = went(times, held, values)
    assert run.trace.counts(6).sum() < 1500
