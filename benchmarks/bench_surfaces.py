"""Speed and memory of what makes height maps ready, beside the plain way, and how well the two agree.

What: the robust second-order form (fitted and taken off), the Gaussian mean with gaps at a cut-off of 80
pixels, spikes, and the whole preparation. How: in turn, --repeat times, in one process; ratios are those of
minima; memory is what the process takes beyond what it held before, sampled every 2 ms. On what: a seeded
4096 x 4096 float32 map, tilted and bent, Sq 3 µm, 2 % not measured, without pits (which would pull the plain
form). The plain way is `plain_heights.py`.

    python benchmarks/bench_surfaces.py [--size 4096] [--repeat 3]
"""

from __future__ import annotations

import argparse
import math
import os
import platform
import threading
import time
from collections.abc import Callable
from importlib.metadata import version

import numpy as np
import plain_heights
import psutil

from surfscan.preparation.form import fit_form
from surfscan.preparation.gaussian import ALPHA, gaussian_filter
from surfscan.preparation.heights import prepare_heights
from surfscan.preparation.spikes import find_spikes

CUTOFF_PX = 80.0
SIGMA_PX = CUTOFF_PX * ALPHA / math.sqrt(2 * math.pi)
PIXEL = (1.0, 1.0)


def make_map(size: int, *, sq_um: float = 3.0, gaps: float = 0.02, seed: int = 1) -> np.ndarray:
    """White roughness on a tilted, bent plate, some of it not measured; float32."""
    rng = np.random.default_rng(seed)
    heights = rng.standard_normal((size, size), np.float32) * np.float32(sq_um)
    along = np.linspace(-1, 1, size, dtype=np.float32)
    heights += 20 * along + 15 * along**2 + 100
    heights += (8 * along**2 - 10 * along)[:, None]
    heights[rng.random((size, size), np.float32) < gaps] = np.nan
    return heights


def our_form(heights: np.ndarray) -> np.ndarray:
    """Second-order form fitted and taken off."""
    return fit_form(heights, "polynomial2", pixel_size_um=PIXEL).remove(heights)


def plain_form(heights: np.ndarray) -> np.ndarray:
    """The same, the plain way."""
    return heights - plain_heights.robust_form(heights)


def our_mean(heights: np.ndarray) -> np.ndarray:
    """Gaussian mean of what was measured."""
    return gaussian_filter(heights, CUTOFF_PX, PIXEL)


def plain_mean(heights: np.ndarray) -> np.ndarray:
    """The same, the plain way, weights ending at four standard deviations as scipy has it."""
    return plain_heights.gaussian_mean(heights, SIGMA_PX)


def timed(work: Callable[[np.ndarray], object], heights: np.ndarray) -> tuple[float, float, object]:
    """Seconds, extra memory in MB, and the result."""
    process = psutil.Process()
    before = process.memory_info().rss
    peak, done = before, threading.Event()

    def watch() -> None:
        nonlocal peak
        while not done.wait(0.002):
            peak = max(peak, process.memory_info().rss)

    watcher = threading.Thread(target=watch)
    watcher.start()
    started = time.perf_counter()
    result = work(heights)
    seconds = time.perf_counter() - started
    done.set()
    watcher.join()
    return seconds, (peak - before) / 1e6, result


def compare(
    name: str,
    ours: Callable[[np.ndarray], np.ndarray],
    plain: Callable[[np.ndarray], np.ndarray],
    heights: np.ndarray,
    repeat: int,
) -> None:
    """Both ways in turn."""
    mine, theirs = [], []
    for _ in range(repeat):
        mine.append(timed(ours, heights))
        theirs.append(timed(plain, heights))
    difference = np.nanmax(np.abs(np.asarray(mine[-1][2]) - np.asarray(theirs[-1][2])))
    for label, runs in (("surfscan", mine), ("plain", theirs)):
        seconds = ", ".join(f"{s:.3f}" for s, _, _ in runs)
        print(f"  {name:<9} {label:<8} {seconds} s; {max(m for _, m, _ in runs):.0f} MB more")
    ratio = min(s for s, _, _ in theirs) / min(s for s, _, _ in mine)
    print(f"  {name:<9} {ratio:.0f} times faster; largest difference {difference:.2g} µm")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--repeat", type=int, default=3)
    options = parser.parse_args()
    names = ("numpy", "scipy", "scikit-image", "opencv-python-headless")
    print(f"{platform.platform()}, {os.cpu_count()} cores, Python {platform.python_version()}")
    print(", ".join(f"{name} {version(name)}" for name in names))
    heights = make_map(options.size)
    print(f"{options.size} x {options.size} float32, 2 % not measured, {options.repeat} runs each, in turn")
    compare("form", our_form, plain_form, heights, options.repeat)
    compare("Gaussian", our_mean, plain_mean, heights, options.repeat)
    residual = our_form(heights)
    steps: tuple[tuple[str, Callable[[np.ndarray], object], np.ndarray], ...] = (
        ("spikes", find_spikes, residual),
        ("whole preparation", lambda h: prepare_heights(h, pixel_size_um=PIXEL), heights),
    )
    for name, work, given in steps:
        runs = [timed(work, given)[:2] for _ in range(options.repeat)]
        print(f"  {name}: {min(s for s, _ in runs):.3f} s; {max(m for _, m in runs):.0f} MB more")


if __name__ == "__main__":
    main()
