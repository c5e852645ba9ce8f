"""Thinned traces: against bins counted plainly."""

import numpy as np
import pytest

from surfscan.immersion.log_trace import MOST_BINS, LogTrace


def taken(times, values, cuts):
    trace = LogTrace(len(values), int(times[0]))
    for part in np.split(np.arange(len(times)), cuts):
        if len(part):
            trace.take(times[part], values[:, part])
    return trace


@pytest.mark.parametrize("cuts", [[], [1, 7, 3000, 3001, 11000]])
def test_as_counted(cuts):
    rng = np.random.default_rng(2)
    times = 5_000_000 + np.cumsum(rng.integers(0, 200_000, 12_000))
    values = rng.normal(37, 1, (2, 12_000))
    values[1, rng.random(12_000) < 0.3] = np.nan
    values[1, 500:900] = np.nan
    trace = taken(times, values, cuts)
    bins = (times - times[0]) // trace.width_us
    assert MOST_BINS / 2 <= bins[-1] + 1 <= MOST_BINS
    assert len(trace.centres_us()) == bins[-1] + 1
    for channel, row in enumerate(values):
        for k in range(0, bins[-1] + 1, 17):
            inside = row[bins == k]
            known = inside[~np.isnan(inside)]
            assert trace.counts(channel)[k] == len(known)
            if len(known):
                assert trace.means(channel)[k] == pytest.approx(known.mean(), rel=1e-12)
                assert (trace.lows(channel)[k], trace.highs(channel)[k]) == (known.min(), known.max())
                assert trace.lasts(channel)[k] == known[-1]
            else:
                assert np.isnan(trace.means(channel)[k])
        assert trace.counts(channel).sum() == np.isfinite(row).sum()
    assert trace.ends_us().max() == times[-1]
    filled = np.unique(bins)
    assert (trace.ends_us()[filled] == [times[bins == k][-1] for k in filled]).all()


def test_one_reading():
    trace = taken(np.array([9]), np.array([[1.0]]), [])
    assert trace.means(0).tolist() == [1.0]


def test_a_long_pause():
    """Bins double as often as the pause asks for."""
    times = np.array([0, 1000, 10**13])
    trace = taken(times, np.array([[1.0, 2.0, 3.0]]), [2])
    assert trace.counts(0).sum() == 3
    assert trace.means(0)[0] == 1.5
