"""The clock: daylight-saving time, steps back, gaps, repeats; whatever the pages."""

from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_blocks import TimeForm
from surfscan.immersion.log_clock import LogClock, duration_text

S = 1_000_000
LOCAL = TimeForm("stamp", (0,))


def mended(raw, form=LOCAL, pages=(), **settings):
    clock = LogClock(Path("log.csv"), form, ExposureSettings(**settings))
    raw = np.asarray(raw, np.int64)
    parts = [clock.mend(raw[part], part + 2) for part in np.split(np.arange(len(raw)), pages) if len(part)]
    return clock, np.concatenate([a for a, _ in parts]), np.concatenate([b for _, b in parts])


def steady(n=400, step_s=60.0, jumps=None):
    steps = np.full(n, step_s)
    steps[0] = 0
    for row, jump in (jumps or {}).items():
        steps[row] += jump
    return np.round(np.cumsum(steps) * S).astype(np.int64)


def at(stamp, raw, row):
    """Times moved so that a row stands at a stamp."""
    return raw + (np.datetime64(stamp, "us").astype(np.int64) - raw[row])


SPRING, AUTUMN = "2024-03-31T03:00", "2024-10-27T02:00"


@pytest.mark.parametrize("step_s", [0.1, 1.0, 60.0, 600.0, 7200.0, 86400.0])
@pytest.mark.parametrize(("hour", "stamp"), [(3600, SPRING), (-3600, AUTUMN), (-3600, "2024-04-06T23:00")])
@pytest.mark.parametrize("pages", [(), (200,), (199, 201)])
def test_daylight_saving_is_mended(step_s, hour, stamp, pages):
    raw = at(stamp, steady(400, step_s, {200: hour}), 200)
    clock, times, held = mended(raw, pages=pages)
    assert (times - times[0]).tolist() == steady(400, step_s).tolist()
    assert clock.counts == {"daylight saving": 1}
    assert (clock.steps[0].line, clock.gap_us) == (202, 0)
    assert held[1:].min() >= 0.9 * step_s * S
    assert clock.stamp(int(times[300])) == raw[300]
    assert clock.mended(int(raw[300]), first=False) == times[300]
    assert clock.mended(int(raw[100]), first=True) == times[100]


def test_both_changes():
    clock, times, _ = mended(at("2024-03-31T01:00", steady(400, 60, {100: 3600, 200: -3600}), 100))
    assert (times - times[0]).tolist() == steady(400).tolist()
    assert clock.counts == {"daylight saving": 2}


@pytest.mark.parametrize("stamp", ["2024-06-12T16:00", "2024-03-31T16:00", "2024-12-01T03:00"])
def test_a_pause_of_one_hour_when_clocks_do_not_change(stamp):
    raw = at(stamp, steady(400, 60, {200: 3600}), 200)
    clock, times, _ = mended(raw)
    assert clock.counts == {"gap": 1}
    assert times.tolist() == raw.tolist()
    assert mended(raw, clock_changes="any")[0].counts == {"daylight saving": 1}


def test_no_change_of_clocks_stated():
    raw = at(SPRING, steady(400, 60, {200: 3600}), 200)
    assert mended(raw, clock_changes="none")[0].counts == {"gap": 1}
    with pytest.raises(InputError, match="the clock goes back"):
        mended(at(AUTUMN, steady(400, 60, {200: -3600}), 200), clock_changes="none")


def test_hourly_readings_leave_it_open():
    """In spring a reading may be missing; in autumn one stamp stands twice, which only the clock does."""
    raw = at(SPRING, steady(400, 3600, {200: 3600}), 200)
    clock, times, held = mended(raw)
    assert clock.counts == {"doubtful hour": 1}
    assert (times.tolist(), held[200]) == (raw.tolist(), 7200 * S)
    assert mended(at(AUTUMN, steady(400, 3600, {200: -3600}), 200))[0].counts == {"daylight saving": 1}


def test_days_of_uneven_length_are_no_change():
    """Read once a day, to the minute but one: 25 h are no daylight-saving time."""
    raw = at("2024-03-31T09:00", steady(60, 86400, {29: 1800, 30: 3600, 31: -3600}), 30)
    assert mended(raw)[0].counts == {}


def test_bare_time_of_day_changes_at_night_only():
    form = TimeForm("clock", (0,))
    assert mended(at("1970-01-01T03:00", steady(400, 60, {150: 3600}), 150), form)[0].counts == {
        "daylight saving": 1
    }
    assert mended(at("1970-01-01T15:00", steady(400, 60, {150: 3600}), 150), form)[0].counts == {"gap": 1}


@pytest.mark.parametrize("form", [TimeForm("stamp", (0,), has_zone=True), TimeForm("elapsed", (0,), 1e6)])
def test_no_daylight_saving_where_times_are_absolute(form):
    clock, _, held = mended(steady(400, 60, {200: 3600}), form)
    assert clock.counts == {"gap": 1}
    assert clock.gap_us == 3660 * S
    assert held[200] == -1
    with pytest.raises(InputError, match=r"log\.csv:202: the clock goes back by 59 min"):
        mended(steady(400, 60, {200: -3600}), form)


@pytest.mark.parametrize("jump", [3000, 7200, 3600 * 24])
def test_other_pauses_are_gaps(jump):
    clock, times, held = mended(steady(400, 60, {200: jump}))
    assert clock.counts == {"gap": 1}
    assert clock.gap_us == (60 + jump) * S
    assert times[-1] == steady(400, 60, {200: jump})[-1]
    assert np.count_nonzero(held == -1) == 1


def test_an_hour_in_unsteady_sampling_is_a_gap():
    raw = steady(400, 60, {199: 900, 200: 3600})
    assert mended(raw)[0].counts == {"gap": 2}


def test_backwards():
    raw = steady(400, 60, {200: -500})
    with pytest.raises(InputError, match=r"log.csv:202: the clock goes back by 7.33 min.*resync"):
        mended(raw)
    clock, times, _ = mended(raw, clock_backwards="resync")
    assert times.tolist() == steady(400).tolist()
    assert clock.counts == {"backwards": 1}


def test_midnight_of_a_bare_time_of_day():
    raw = steady(3000, 60) % (86_400 * S)
    clock, times, _ = mended(raw, TimeForm("clock", (0,)))
    assert times.tolist() == steady(3000, 60).tolist()
    assert clock.counts == {"midnight": 2}


def test_repeats_and_stated_interval():
    raw = np.repeat(np.arange(100), 5) * S
    clock, _, held = mended(raw)
    assert clock.repeats == 400
    assert clock.interval_us == S
    assert held.sum() == 99 * S
    clock, *_ = mended(steady(100, 60, {50: 100}), sampling_interval_s=10)
    assert clock.counts["gap"] == 1


def test_sampling_that_changes_between_pages():
    raw = np.concatenate([np.arange(200), 199 + 60 * np.arange(1, 200)]) * S
    assert mended(raw, pages=(200,))[0].counts == {}


@pytest.mark.parametrize(("us", "text"), [(500_000, "0.5 s"), (90 * S, "1.5 min"), (5400 * S, "1.5 h")])
def test_duration(us, text):
    assert duration_text(us) == text


def test_one_and_two_readings():
    clock, times, held = mended([5 * S])
    assert (times.tolist(), held.tolist(), clock.interval_us) == ([5 * S], [0], 0)
    assert mended([0, 3600 * S])[0].counts == {}
