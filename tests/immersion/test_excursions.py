"""Excursions against a plain loop, whatever the pages."""

import numpy as np
import pytest

from surfscan.immersion.excursions import ExcursionFinder

S = 1_000_000


def found(times, row, low, high, merge_us=0, pages=(), gaps=()):
    finder = ExcursionFinder(low, high, merge_us)
    held = np.diff(times)
    held[list(gaps)] = -1
    for part in np.split(np.arange(len(held)), pages):
        if len(part):
            finder.take(times[part[0] : part[-1] + 2], held[part], row[part])
    return finder.finish(), finder


def plain(times, row, low, high, merge_us, gaps=()):
    """Runs outside, one reading after the other, merged by the stated rule."""
    runs = []
    for i in range(len(times) - 1):
        beyond = max(row[i] - high, low - row[i])
        if not beyond > 0:
            continue
        end = times[i] if i in gaps else times[i + 1]
        held = 0 if i in gaps else times[i + 1] - times[i]
        if runs and runs[-1][5] == i - 1 and i - 1 not in gaps:
            last = runs[-1]
            runs[-1] = [last[0], end, max(last[2], beyond), last[3] + held, last[4] + beyond * held, i]
        else:
            runs.append([times[i], end, beyond, held, beyond * held, i])
    merged = []
    for run in runs:
        last = merged[-1] if merged else None
        if last and run[0] - last[1] <= merge_us and last[3] + run[3] >= 0.5 * (run[1] - last[0]):
            merged[-1] = [last[0], run[1], max(last[2], run[2]), last[3] + run[3], last[4] + run[4]]
        else:
            merged.append(run[:5])
    return merged


@pytest.mark.parametrize("merge_s", [0, 3, 60])
@pytest.mark.parametrize("pages", [(), (1, 2, 50, 51, 200, 399)])
def test_as_a_plain_loop(merge_s, pages):
    rng = np.random.default_rng(4)
    times = np.cumsum(rng.integers(1, 4, 401)) * S
    row = 37 + np.cumsum(rng.normal(0, 0.4, 401)) * 0.5
    row[rng.random(401) < 0.1] = np.nan
    gaps = (17, 18, 120, 250)
    mine, finder = found(times, row, 36.5, 37.5, merge_s * S, pages, gaps)
    expected = plain(times, row, 36.5, 37.5, merge_s * S, gaps)
    assert len(expected) > (1 if merge_s == 60 else 5)
    assert finder.count == len(mine) == len(expected)
    assert finder.longest_us == max(end - start for start, end, *_ in expected)
    for one, (start, end, beyond, outside, size) in zip(mine, expected, strict=True):
        assert (one.start_us, one.end_us, one.outside_us) == (start, end, outside)
        assert one.beyond == pytest.approx(beyond)
        assert one.size_us == pytest.approx(size)
        assert one.worst == pytest.approx(37.5 + beyond if one.side == "above" else 36.5 - beyond)


def test_known_by_hand():
    """Ten seconds 2 above the limit, five at once back inside, then four seconds 1 below."""
    times = np.arange(31) * S
    row = np.full(31, 37.0)
    row[5:15], row[20:24] = 40.0, 35.0
    (above, below), _ = found(times, row, 36.0, 38.0)
    assert (above.start_us, above.length_us, above.worst, above.beyond) == (5 * S, 10 * S, 40.0, 2.0)
    assert above.size_us == 20 * S
    assert (below.side, below.start_us, below.length_us, below.worst, below.size_us) == (
        "below",
        20 * S,
        4 * S,
        35.0,
        4 * S,
    )


def test_on_the_limit_is_inside():
    assert found(np.arange(5) * S, np.full(5, 38.0), 36.0, 38.0)[0] == ()


def test_noise_across_a_limit_is_no_long_excursion():
    """One reading in ten outside is not an excursion of an hour; nine in ten outside are one."""
    times = np.arange(3601) * S
    row = np.where(np.arange(3601) % 10 == 3, 38.5, 37.0)
    rare, finder = found(times, row, 36.0, 38.0, 60 * S)
    assert finder.count == 360
    assert finder.longest_us == S
    often, finder = found(times, 75.5 - row, 36.0, 38.0, 60 * S)
    assert finder.count == 1
    assert often[0].length_us > 3590 * S
    assert len(rare) == 360


def test_only_the_longest_are_kept():
    times = np.arange(20_001) * S
    row = np.where(np.arange(20_001) % 2, 37.0, 39.0)
    row[5000:5100] = 39.0
    kept, finder = found(times, row, 36.0, 38.0, 0)
    assert finder.count > 9000
    assert len(kept) == 1000
    assert max(one.length_us for one in kept) >= 100 * S
    assert [one.start_us for one in kept] == sorted(one.start_us for one in kept)
