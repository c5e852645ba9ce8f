"""Acid columns: totals and doses told apart and added up, whatever the pages."""

import numpy as np
import pytest

from surfscan.immersion.acid_log import AcidTotals

NAN = np.nan


MINUTE_US = 60_000_000


def added(values, pages=(), **more):
    """Totals and doses of readings a minute apart, with those that waited in their places."""
    values = np.asarray(values, float)
    times = MINUTE_US * np.arange(len(values))
    acid = AcidTotals(**more)
    both = np.full((2, len(values)), NAN)

    def place(late):
        both[0, np.searchsorted(times, late.time_us)] = late.totals

    for part in np.split(np.arange(len(values)), pages):
        if len(part):
            found, late = acid.take(times[part], values[part])
            both[:, part] = found
            place(late)
    place(acid.finish())
    return both, acid


def shown(totals):
    return np.nan_to_num(np.round(totals, 9), nan=-1).tolist()


@pytest.mark.parametrize("pages", [(), (1, 2, 5)])
def test_totals_and_doses(pages):
    (total, doses), _ = added([0, 0.5, NAN, 0.5, 1.0, 1.5], pages)
    assert shown(total) == [0, 0.5, -1, 0.5, 1.0, 1.5]
    assert doses.tolist() == [0, 0.5, 0.5, 1.0, 2.0, 3.5]


@pytest.mark.parametrize("pages", [(), (3,), (4,), (5,), (2, 4, 6, 8)])
def test_set_back(pages):
    """A bottle is changed at 3 mL, the counter starts again, and again."""
    (total, _), acid = added([1, 2, 3, 0.5, 1, 1.5, 2, 2.5, 0, 0.5, 1, 1.5], pages)
    assert shown(total) == [1, 2, 3, 3.5, 4, 4.5, 5, 5.5, 5.5, 6, 6.5, 7]
    assert (acid.resets, acid.glitches) == (2, 0)


@pytest.mark.parametrize("pages", [(), (20,), (21,), (22,), (19, 21, 23), (20, 21, 22, 23, 24)])
@pytest.mark.parametrize(("misread", "count"), [([0.0], 1), ([1e4] * 3, 3), ([1e4, 0.0], 2), ([3.0, 2.5], 2)])
def test_misread_readings_are_left_out(misread, count, pages):
    """A total of 0.5 mL a minute that is read wrong once: readings go on where they were."""
    values = 10 + 0.5 * np.arange(40)
    values[20 : 20 + count] = misread
    (total, _), acid = added(values, pages)
    expected = 10 + 0.5 * np.arange(40)
    expected[20 : 20 + count] = -1
    assert shown(total) == expected.tolist()
    assert (acid.resets, acid.glitches, acid.misread) == (0, 1, count)
    assert acid.kind().kind == "cumulative"


@pytest.mark.parametrize("pages", [(), (38,), (39,)])
@pytest.mark.parametrize("misread", [0.0, 1e4])
def test_last_reading_misread(misread, pages):
    """Nothing follows that could tell: a fall, or a rise beyond all others, does not count."""
    values = 10 + 0.5 * np.arange(40)
    values[-1] = misread
    (total, _), acid = added(values, pages)
    assert np.nanmax(total) == 10 + 0.5 * 38 and np.isnan(total[-1])
    assert (acid.resets, acid.misread) == (0, 1)


def test_set_back_near_the_end_that_goes_on():
    values = np.concatenate([10 + 0.5 * np.arange(20), 0.5 * np.arange(3)])
    (total, _), acid = added(values)
    assert (total[-1], acid.resets) == (20.5, 1)


def test_a_fast_counter_wraps():
    """To 255 and on from 0, ten readings a second: neither the wrap nor the first count is misread."""
    values = np.arange(2000.0) % 256
    times = 100_000 * np.arange(2000)
    acid = AcidTotals()
    found, _ = acid.take(times, values)
    late = acid.finish()
    total = np.concatenate([found[0][~np.isnan(found[0])], late.totals[~np.isnan(late.totals)]])
    assert len(total) == 2000
    assert (acid.resets, acid.glitches) == (7, 0)
    assert total[-1] == 1999 - 7  # one count is lost in each wrap


def test_pump_bounds_a_rise():
    """1000 mL more from one minute to the next, and it stays so: not of a pump of 5 mL/min."""
    values = 10 + 0.5 * np.arange(40)
    values[20:] += 1000
    (total, _), acid = added(values, pump_per_us=5 / MINUTE_US)
    assert total[-1] == pytest.approx(10 + 0.5 * 38)
    assert (acid.jumps, acid.jumped, acid.lone_rise) == (1, 1000.5, 0)
    (total, _), acid = added(values)
    assert (total[-1], acid.jumps, acid.lone_rise) == (1029.5, 0, 1000.5)


def test_noise_is_no_set_back():
    """Read off a balance with noise, from 0 on."""
    values = 0.01 * np.arange(3000) + np.random.default_rng(2).normal(0, 0.02, 3000)
    (total, _), acid = added(values)
    assert (acid.resets, acid.glitches) == (0, 0)
    assert np.array_equal(total, values)


def test_small_falls_are_no_set_back():
    (total, _), totals = added([5.0, 5.02, 5.01, 5.03])
    assert shown(total) == [5.0, 5.02, 5.01, 5.03]
    assert totals.resets == 0


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (np.floor(np.arange(200) / 20) * 0.05, "cumulative"),
        (np.concatenate([np.zeros(150), np.full(50, 0.05)]), "cumulative"),
        (np.zeros(50), "cumulative"),
        (np.where(np.arange(200) % 20 == 7, 0.05, 0.0), "events"),
        (np.where(np.arange(200) % 20 == 7, 0.05, NAN), "events"),
        (np.where(np.arange(200) % 20 == 7, 0.01 * (1 + np.arange(200) % 3), 0.0), "events"),
        (np.tile(np.arange(100.0), 3), "cumulative"),
        (5 + np.sin(np.arange(100.0)), ""),
        ([NAN, NAN], ""),
    ],
)
def test_kind(values, kind):
    found = added(values)[1].kind()
    assert found.kind == kind
    assert found.why
