"""Spikes are found, and what belongs to the surface is left alone."""

import numpy as np
import pytest

from surfscan.preparation import spikes as spikes_module
from surfscan.preparation.spikes import find_spikes

N = 512
SIZES = ((1, 1), (1, 2), (2, 2), (2, 3), (3, 3))


def with_spikes(rng, heights, sq, number, least=10.0, most=60.0):
    """Heights with spikes of `least` to `most` Sq up or down, none touching another; and where they are."""
    out, where = heights.copy(), np.zeros(heights.shape, bool)
    for _ in range(number):
        rows, cols = SIZES[rng.integers(len(SIZES))]
        row, col = rng.integers(0, N - rows), rng.integers(0, N - cols)
        around = (slice(max(row - 1, 0), row + rows + 1), slice(max(col - 1, 0), col + cols + 1))
        if where[around].any():
            continue
        patch = (slice(row, row + rows), slice(col, col + cols))
        out[patch] += (
            rng.choice([-1, 1]) * rng.uniform(least / 0.9, most) * sq * rng.uniform(0.9, 1.1, (rows, cols))
        )
        where[patch] = True
    return out, where


@pytest.mark.parametrize("correlation_px", [0.0, 1.0, 3.0, 10.0])
@pytest.mark.parametrize("number", [100, 800])
def test_spikes_of_10_sq_are_found(rough, correlation_px, number):
    """At least 98 % of the pixels of spikes and clusters up to 3 by 3, with 2 % gaps."""
    rng = np.random.default_rng(1)
    heights, where = with_spikes(rng, rough(rng, (N, N), 0.3, correlation_px), 0.3, number)
    heights[rng.random(heights.shape) < 0.02] = np.nan
    found = find_spikes(heights)
    assert found[where & np.isfinite(heights)].mean() >= 0.98
    assert np.count_nonzero(found & ~where) <= 2
    assert not found[np.isnan(heights)].any()


@pytest.mark.parametrize("correlation_px", [0.0, 0.7, 1.0, 2.0, 5.0])
def test_clean_surfaces_lose_nothing(rough, correlation_px):
    """White noise and Gaussian roughness: fewer than one pixel in 100 000."""
    found = sum(
        int(find_spikes(rough(np.random.default_rng(seed), (1024, 1024), 0.3, correlation_px)).sum())
        for seed in range(2)
    )
    assert found < 1e-5 * 2 * 1024**2


def lone_pits(rng, radius_px, depth, kind, dig):
    """400 pits that do not touch, with their centres anywhere between pixels."""
    out = np.zeros((400, 400), np.float32)
    for row in range(0, 400, 20):
        for col in range(0, 400, 20):
            centre = np.array([row, col]) + 10 + rng.uniform(-0.5, 0.5, 2)
            y, x = np.mgrid[row : row + 20, col : col + 20]
            q = np.hypot(y - centre[0], x - centre[1]) / radius_px
            profile = {"cone": 1 - q, "paraboloid": 1 - q * q, "cylinder": (q < 1) * 1.0}[kind]
            out[row : row + 20, col : col + 20] = depth * np.clip(profile, 0, None)
    return out


@pytest.mark.parametrize("kind", ["cone", "paraboloid", "cylinder"])
@pytest.mark.parametrize("radius_px", [3.0, 5.0])
@pytest.mark.parametrize("depth_to_radius", [0.25, 0.9])
@pytest.mark.parametrize("sq", [0.05, 0.2])
def test_small_pits_stay(rough, dig, kind, radius_px, depth_to_radius, sq):
    """Of 400 pits of 3 px radius, down to a cone whose tip is one pixel, hardly a pixel is lost."""
    rng = np.random.default_rng(1)
    pits = lone_pits(rng, radius_px, depth_to_radius * radius_px, kind, dig)
    found = find_spikes(rough(rng, pits.shape, sq, 0) - pits)
    assert np.count_nonzero(found) <= 4


@pytest.mark.parametrize("kind", ["cone", "paraboloid", "cap", "cylinder"])
@pytest.mark.parametrize("pixel_um", [0.5, 1.0])
def test_edges_and_walls_of_crowded_pits_stay(rough, dig, kind, pixel_um):
    """Pits of 3 to 30 µm radius that touch and overlap: under 1 pixel in 10 000 of theirs."""
    rng = np.random.default_rng(3)
    lost = dug = 0
    for low, high in ((3, 8), (8, 30)):
        for ratio in (0.25, 0.9):
            pits = dig(
                rng,
                (N, N),
                share=0.2,
                radius_px=(low / pixel_um, high / pixel_um),
                depth=lambda r, ratio=ratio: ratio * r * pixel_um,
                kind=kind,
            )
            lost += int(np.count_nonzero(find_spikes(rough(rng, (N, N), 0.1, 0) - pits)))
            dug += int(np.count_nonzero(pits))
    assert lost < 1e-4 * dug


@pytest.mark.parametrize("sign", [-1, 1])
@pytest.mark.parametrize("size", [1, 2, 3])
def test_spike_on_a_pits_floor_is_found(rough, dig, sign, size):
    """It would be the pit's greatest depth; the floor itself stays."""
    y, x = np.mgrid[:100, :100] - 50.0
    heights = rough(np.random.default_rng(2), (100, 100), 0.1, 1.0) - 6 * np.clip(
        1 - (x**2 + y**2) / 20**2, 0, 1
    )
    heights[50 : 50 + size, 51 : 51 + size] += sign * 4.0
    found = find_spikes(heights.astype(np.float32))
    assert found[50 : 50 + size, 51 : 51 + size].all()
    assert np.count_nonzero(found) == size * size


def test_spikes_beside_gaps_edges_and_each_other(rough):
    """At the rim of a wide gap, in the corner, along the border, and two that are two pixels apart."""
    heights = rough(np.random.default_rng(0), (100, 100), 0.1, 0)
    heights[40:60, 40:60] = np.nan
    places = [(39, 50), (60, 45), (50, 60), (0, 0), (0, 30), (99, 70), (20, 20), (22, 21)]
    for k, place in enumerate(places):
        heights[place] += (-1) ** k * 3.0
    found = find_spikes(heights)
    assert {tuple(map(int, p)) for p in np.argwhere(found)} == set(places)


def test_spikes_on_a_slope(rough):
    """Form need not be off."""
    heights = rough(np.random.default_rng(0), (200, 200), 0.1, 0) + 0.5 * np.arange(200, dtype=np.float32)
    heights[100, 100] += 2
    assert np.argwhere(find_spikes(heights)).tolist() == [[100, 100]]


def test_a_plateau_6_px_wide_is_none(rough):
    """What is wider than a cluster belongs to the surface; a ridge too."""
    heights = rough(np.random.default_rng(0), (100, 100), 0.05, 0)
    heights[20:26, 20:26] += 5
    heights[60, 10:90] += 5
    heights[10:90, 70] -= 5
    assert not find_spikes(heights).any()


def test_quantised_heights_lose_nothing(rough):
    """On a surface smoother than its steps, single steps are no spikes."""
    heights = np.round(rough(np.random.default_rng(0), (N, N), 0.02, 3.0) / 0.05) * 0.05
    assert not find_spikes(heights.astype(np.float32)).any()


def test_region_is_kept_to(rough):
    """Outside nothing is looked for."""
    heights = rough(np.random.default_rng(0), (60, 60), 0.1, 0)
    heights[20, 20] += 5
    heights[20, 40] += 5
    region = np.zeros(heights.shape, bool)
    region[:, :30] = True
    assert np.argwhere(find_spikes(heights, region)).tolist() == [[20, 20]]


@pytest.mark.parametrize("shape", [(1, 1), (1, 50), (50, 1), (3, 3), (5, 4)])
def test_tiny_fields(shape):
    """Nothing can be judged, and nothing fails."""
    heights = np.random.default_rng(0).normal(size=shape)
    assert not find_spikes(heights).any()
    assert not find_spikes(np.full(shape, np.nan)).any()


def test_same_on_one_thread(rough, monkeypatch):
    """Threads and strips change nothing."""
    heights, _ = with_spikes(
        np.random.default_rng(0), rough(np.random.default_rng(0), (N, N), 0.3, 1.0), 0.3, 500
    )
    two = find_spikes(heights)
    monkeypatch.setattr(spikes_module, "_THREADS", 1)
    monkeypatch.setattr(spikes_module, "_STRIP_BYTES", 1 << 14)
    monkeypatch.setattr(spikes_module, "_CHUNK", 37)
    np.testing.assert_array_equal(two, find_spikes(heights))


def test_nonsense_is_refused():
    """Integers and a region of another shape."""
    with pytest.raises(ValueError, match="floating-point"):
        find_spikes(np.zeros((5, 5), int))
    with pytest.raises(ValueError, match="region"):
        find_spikes(np.zeros((5, 5)), np.ones((5, 6), bool))
