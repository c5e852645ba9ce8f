"""How well and how fast `surfscan` measures pits on height maps.

What: objects matched at IoU 0.5 (F1, errors of count); bias of depth, floor depth and volume over the
matched pits; how often depth lies within two standard uncertainties; pits called on pit-free rough surfaces.
Then speed of the whole measurement against `plain_heights.py`, alternating, minima, and what memory each adds
at most. How: `surfscan.procedures.measure_pits` with default settings. On what: seeded maps of
`synthetic_heights.py`, 1024 x 1024 by family, seeds from --first-seed on; for speed a 4096 x 4096 map with
some 4000 pits and 2 % gaps.

depth_um is the deepest reading, so it is held against the true deepest point with the roughness of its floor;
floor_depth_um against the smooth pit. Pits whose floor was not seen (lower bounds) are left out of both.

    python benchmarks/bench_height_pits.py [--maps 6] [--first-seed 200] [--family smooth ...]
    python benchmarks/bench_height_pits.py --speed [--size 4096] [--pits 4000] [--repeat 3]
"""

from __future__ import annotations

import argparse
import os
import platform
import threading
import time
from collections.abc import Callable
from typing import Any

import numpy as np
import plain_heights
import psutil
import synthetic_heights
from scoring import Score, match, score
from synthetic_heights import SyntheticHeights

from surfscan.images import Calibration, HeightMap, Source
from surfscan.procedures import Result, measure_pits

EMPTY = Score(0, 0, 0, 0, 0)
HEADER = (
    f"{'family':10}{'pits':>6}{'F1':>8}{'count':>8}{'depth':>8}{'floor':>8}{'volume':>8}"
    f"{'within 2u':>11}{'bounds':>8}{'hidden':>8}{'review':>8}"
)
FREE = {"white": 0.1, "short": 1.0, "middle": 4.0, "long": 15.0}


def as_map(made: SyntheticHeights) -> HeightMap:
    """The map as if it had been opened from a file with its pixel size."""
    return HeightMap(made.heights_um, Calibration(*made.pixel_size_um, 0.01, "made so"), Source("synthetic"))


def compare(made: SyntheticHeights, result: Result) -> dict[str, np.ndarray]:
    """Relative errors and flags of the matched pits."""
    table = result.tables["pits"]
    pairs = match(result.masks["pits"], made.labels)
    i = np.array([a - 1 for a, _, _ in pairs], dtype=int)
    j = np.array([b - 1 for _, b, _ in pairs], dtype=int)
    depth = table["depth_um"][i]
    return {
        "depth": depth / made.deepest_um[j] - 1,
        "floor": table["floor_depth_um"][i] / made.depth_um[j] - 1,
        "volume": table["volume_um3"][i] / made.volume_um3[j] - 1,
        "z": (depth - made.deepest_um[j]) / table["depth_uncertainty_um"][i],
        "bound": table["depth_is_lower_bound"][i].astype(bool),
        "hidden": made.floor_hidden[j],
    }


def run_family(family: str, seeds: range) -> None:
    """Score one family and print a line."""
    total, review, parts = EMPTY, 0, []
    for seed in seeds:
        made = synthetic_heights.make_family(family, seed)
        result = measure_pits(as_map(made))
        total += score(result.masks["pits"], made.labels)
        review += len(result.tables["for_review"]["label"])
        parts.append(compare(made, result))
    of = {name: np.concatenate([p[name] for p in parts]) for name in parts[0]}
    seen = ~of["bound"]
    caught = np.count_nonzero(of["bound"] & of["hidden"])
    print(
        f"{family:10}{total.known:>6}{total.f1:>8.3f}{total.count_error:>+8.1%}"
        f"{of['depth'][seen].mean():>+8.1%}{of['floor'][seen].mean():>+8.1%}{of['volume'].mean():>+8.1%}"
        f"{np.mean(np.abs(of['z'][seen]) < 2):>11.1%}{np.count_nonzero(of['bound']):>8}"
        f"{caught:>4}/{np.count_nonzero(of['hidden']):<3}{review:>8}"
    )


def run_free(seeds: range) -> None:
    """Pits called where there are none, by correlation length in px; normal and skewed surfaces."""
    for name, length in FREE.items():
        counts = []
        for skew in (0.0, -0.15, 0.15):
            found = 0
            for seed in seeds:
                made = synthetic_heights.make_heights(
                    seed, n_pits=0, correlation_um=(length * 0.5,), skew=skew, sq_um=0.2
                )
                found += int(measure_pits(as_map(made)).masks["pits"].max())
            counts.append(found)
        print(
            f"pit-free, correlation {name} ({length:g} px), {len(seeds)} maps each: {counts[0]} called on "
            f"normal surfaces, {counts[1]} on such with deep valleys, {counts[2]} with high peaks"
        )


def peak_memory_mb(work: Callable[[], Any]) -> float:
    """What the process takes beyond what it held before, sampled every 2 ms, MB."""
    process, most, done = psutil.Process(), [0], threading.Event()
    before = process.memory_info().rss

    def watch() -> None:
        while not done.wait(0.002):
            most[0] = max(most[0], process.memory_info().rss)

    watcher = threading.Thread(target=watch)
    watcher.start()
    try:
        work()
    finally:
        done.set()
        watcher.join()
    return (most[0] - before) / 1e6


def run_speed(size: int, pits: int, repeat: int) -> None:
    """Whole measurement of one large map, both ways in turn."""
    made = synthetic_heights.make_heights(
        7, (size, size), pixel_size_um=(1.0, 1.0), n_pits=pits, sq_um=0.15, correlation_um=(3.0, 12.0)
    )
    image = as_map(made)

    def ours() -> np.ndarray:
        return measure_pits(image).masks["pits"]

    def plain() -> np.ndarray:
        labels, depth = plain_heights.label_pits(made.heights_um)
        plain_heights.measure_pits(labels, depth, 1.0)
        return labels

    print(
        f"{size} x {size}, {len(made.depth_um)} pits on {np.mean(made.labels > 0):.0%} of the field, "
        f"{np.mean(np.isnan(made.heights_um)):.1%} not measured; {platform.machine()}, {os.cpu_count()} cores"
    )
    memory = {way.__name__: peak_memory_mb(way) for way in (ours, plain)}
    seconds: dict[str, list[float]] = {"ours": [], "plain": []}
    labels = {}
    for _ in range(repeat):
        for way in (ours, plain):
            started = time.perf_counter()
            labels[way.__name__] = way()
            seconds[way.__name__].append(time.perf_counter() - started)
    for name, times in seconds.items():
        print(
            f"{name:6}{min(times):7.2f} s (all: {', '.join(f'{t:.2f}' for t in times)}), "
            f"peak +{memory[name]:.0f} MB, F1 {score(labels[name], made.labels).f1:.3f}"
        )
    print(f"ratio of minima: {min(seconds['plain']) / min(seconds['ours']):.1f}")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--maps", type=int, default=6, help="maps of each family")
    parser.add_argument("--first-seed", type=int, default=200)
    parser.add_argument(
        "--family", nargs="+", choices=synthetic_heights.FAMILIES, default=synthetic_heights.FAMILIES
    )
    parser.add_argument("--speed", action="store_true", help="time a large map instead")
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--pits", type=int, default=4000)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    if options.speed:
        run_speed(options.size, options.pits, options.repeat)
        return
    seeds = range(options.first_seed, options.first_seed + options.maps)
    print(HEADER)
    for family in options.family:
        run_family(family, seeds)
    run_free(seeds)


if __name__ == "__main__":
    main()
