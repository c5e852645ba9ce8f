"""Widths of struts from made-up stations."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.measurement.strut_widths import measure_widths


def test_plain_figures(stations):
    """Mean, standard deviation, percentile and least width with its place, strut by strut."""
    rng = np.random.default_rng(0)
    first, second = 40 + rng.normal(0, 1, 100), np.full(30, 20.0)
    first[37] = 31.0
    found = measure_widths(stations(first, second))
    assert found.mean == pytest.approx([first.mean(), 20])
    assert found.sd == pytest.approx([first.std(ddof=1), 0])
    assert found.p05[0] == pytest.approx(np.percentile(first, 5))
    assert found.least == pytest.approx([31, 20])
    assert found.least_s[0] == pytest.approx(75)
    assert (found.least_row[0], found.least_col[0]) == (100, 125)
    assert found.least_station[0] == 37
    assert found.length == pytest.approx([200, 60])
    assert list(found.stations) == [100, 30]


def test_only_stations_without_a_fault_count(stations):
    """Fillets and the frame are left out of everything."""
    width = np.full(40, 20.0)
    width[:10] = 35
    faults = ["junction"] * 10 + [""] * 30
    found = measure_widths(stations(width, faults=faults))
    assert found.mean[0] == 20
    assert found.counted_length[0] == pytest.approx(60)
    assert found.length[0] == pytest.approx(80)


def test_too_few_stations_give_nothing(stations):
    """Two stations make no mean; nor does a strut whose stations all have a fault."""
    found = measure_widths(stations(np.full(2, 20.0), np.full(5, 20.0), faults=["", ""] + ["frame"] * 5))
    assert np.isnan(found.mean).all()
    assert np.isnan(found.least).all()
    assert list(found.least_station) == [-1, -1]


def test_common_parts_do_not_average_out(stations):
    """Independent noise falls with the root of the length; levels, edges and scale do not."""
    short, long = (measure_widths(stations(np.full(n, 40.0))) for n in (25, 2500))
    assert long.mean_random[0] == pytest.approx(short.mean_random[0] / 10)
    assert long.mean_common[0] == pytest.approx(short.mean_common[0])
    edge = measure_widths(stations(np.full(2500, 40.0), common=0), edge_uncertainty=0.5)
    assert edge.mean_common[0] == pytest.approx(1.0)
    scaled = measure_widths(stations(np.full(2500, 40.0), common=0, u=0), relative_scale_uncertainty=0.005)
    assert scaled.mean_high[0] - scaled.mean[0] == pytest.approx(1.96 * 0.2, rel=1e-3)


def test_correlated_stations_count_as_fewer(stations):
    """Stations nearer than the correlation length are not independent readings."""
    dense, sparse = (measure_widths(stations(np.full(n, 40.0), pitch=p)) for n, p in ((300, 1.0), (100, 3.0)))
    assert dense.mean_random[0] == pytest.approx(sparse.mean_random[0])


def test_interval_of_the_mean_holds_it(stations):
    """Over 250 struts with noise as stated, the mean of the true widths lies inside in 90 to 98 %."""
    rng = np.random.default_rng(2)
    held = 0
    for _ in range(250):
        true = np.full(60, 40.0)
        found = measure_widths(
            stations(true + rng.normal(0, 0.3, 60) + rng.normal(0, 0.02), u=0.3, common=0.1, pitch=3.0)
        )
        held += found.mean_low[0] <= 40 <= found.mean_high[0]
    assert 0.90 <= held / 250 <= 0.98


def test_least_of_many_readings_is_not_taken_at_its_word(stations):
    """Noise alone draws the least reading of an even strut down; its interval still holds the width."""
    rng = np.random.default_rng(3)
    held, below = 0, 0
    for _ in range(100):
        found = measure_widths(stations(40 + rng.normal(0, 0.3, 200), u=0.3))
        held += found.least_low[0] <= 40 <= found.least_high[0]
        below += found.least[0] < 39.5
    assert below == 100
    assert held / 100 >= 0.9


def test_least_interval_reaches_further_down_in_a_narrow_notch(stations):
    """Blur fills a narrow notch: its interval is wider, and wider downwards, than that of a shallow one."""
    s = np.arange(200) * 2.0
    wide, narrow = (40 - 8 * np.exp(-0.5 * ((s - 200) / long) ** 2) for long in (60, 5))
    found = measure_widths(stations(wide, narrow, u=0.02))
    down, up = found.least - found.least_low, found.least_high - found.least
    assert down[1] > 2 * down[0]
    assert down[1] > up[1]


def test_roughness_of_known_waves(stations):
    """A wave of amplitude a has the root mean square a/sqrt 2, on the side where it is."""
    s = (np.arange(300) + 0.5) * 2.0
    wave = 1.5 * np.sin(2 * np.pi * s / 12)
    found = measure_widths(stations(np.full(300, 30.0), u=0, left=wave))
    assert found.roughness_left[0] == pytest.approx(1.5 / np.sqrt(2), rel=0.02)
    assert found.roughness_right[0] == pytest.approx(0, abs=1e-6)
    assert found.roughness[0] == pytest.approx(1.5 / 2, rel=0.02)


def test_form_is_no_roughness(stations):
    """A taper and a long bend are taken off; noise as stated does not count as roughness."""
    s = (np.arange(300) + 0.5) * 2.0
    tapered = 30 + 0.03 * s + 4 * np.sin(2 * np.pi * s / 900)
    assert measure_widths(stations(tapered, u=0)).roughness[0] < 0.02
    rng = np.random.default_rng(1)
    noisy = stations(
        np.full(300, 30.0), u=0.4, left=rng.normal(0, 0.283, 300), right=rng.normal(0, 0.283, 300)
    )
    assert measure_widths(noisy).roughness[0] < 0.1


def test_unequal_pixels_in_roughness(stations):
    """Edges are measured in lengths, not in rows and columns."""
    s = (np.arange(300) + 0.5) * 2.0
    wave = 1.5 * np.sin(2 * np.pi * s / 12)
    found = measure_widths(stations(np.full(300, 30.0), u=0, left=wave), axes=(1.0, 2.0))
    assert found.roughness_left[0] == pytest.approx(3.0 / np.sqrt(2), rel=0.02)


def test_through_pits_are_flagged(stations):
    """A strut with an open station is pitted through."""
    opened = np.zeros(60)
    opened[5] = 3.0
    assert list(
        measure_widths(stations(np.full(30, 20.0), np.full(30, 20.0), open_width=opened)).through_pitted
    ) == [
        True,
        False,
    ]


def test_nonsense_is_refused(stations):
    """An uncertainty below 0."""
    with pytest.raises(ValueError, match="0 or above"):
        measure_widths(stations(np.full(30, 20.0)), edge_uncertainty=-1)


def test_missing_edges_widen_the_interval_of_the_least_width_downwards(stations):
    """8 px from station to station: where one edge is missing a pit of 4 px may hide, where both are 8 px."""
    width, faults = np.full(60, 40.0), [""] * 60
    whole = measure_widths(stations(width, u=0, common=0, faults=faults))
    faults[20:23] = ["no edge"] * 3
    made = stations(width, u=0, common=0, faults=faults)
    for sides, deep in ((1, 4.0), (2, 8.0)):
        rows = [made.left_row.copy(), made.right_row.copy()]
        for row in rows[:sides]:
            row[20:23] = np.nan
        found = measure_widths(replace(made, left_row=rows[0], right_row=rows[1]))
        assert found.least[0] == 40
        assert found.least_low[0] == pytest.approx(whole.least_low[0] - deep)
        assert found.least_high[0] == whole.least_high[0]


def test_a_fillet_between_stations_widens_nothing(stations):
    """Only where an edge was looked for and not found."""
    width, faults = np.full(60, 40.0), [""] * 60
    whole = measure_widths(stations(width, faults=faults))
    faults[20:23] = ["junction"] * 3
    assert measure_widths(stations(width, faults=faults)).least_low[0] == pytest.approx(
        whole.least_low[0], abs=0.05
    )


def test_the_lower_limit_stays_above_zero(stations):
    """A gap longer than the strut is wide."""
    faults = [""] * 20 + ["no edge"] * 40 + [""] * 20
    made = stations(np.full(80, 30.0), faults=faults)
    row = np.where(np.array(faults) == "", made.left_row, np.nan)
    assert measure_widths(replace(made, left_row=row, right_row=row)).least_low[0] == 0
