"""What is timed against each other gives the same figures."""

import subprocess
import sys
from pathlib import Path

import bench_surfaces
import numpy as np
import plain_heights
import pytest


@pytest.fixture(scope="module")
def heights():
    return bench_surfaces.make_map(700)


def test_forms_agree(heights):
    """Within a fiftieth of Sq at the corners of a small map, where sampling leaves the most."""
    ours, plain = bench_surfaces.our_form(heights), bench_surfaces.plain_form(heights)
    np.testing.assert_array_equal(np.isnan(ours), np.isnan(plain))
    assert np.nanmax(np.abs(ours - plain)) < 0.02 * 3.0


def test_means_agree(heights):
    """Within 2e-5 µm, with the plain weights as far out as ours; as scipy cuts them, within 2e-4 µm."""
    flat = heights - np.float32(100)
    ours = bench_surfaces.our_mean(flat)
    wide = plain_heights.gaussian_mean(flat, bench_surfaces.SIGMA_PX, truncate=5.33)
    assert np.abs(ours - wide).max() < 2e-5
    assert np.abs(ours - bench_surfaces.plain_mean(flat)).max() < 1e-3


def test_memory_and_time_are_seen():
    """A block of 80 MB that is held for a while is noticed, in a process without freed memory."""
    code = (
        "import time, numpy as np, bench_surfaces\n"
        "def hold(heights):\n"
        "    block = np.ones((10, 1000, 1000)) * heights.sum()\n"
        "    time.sleep(0.5)\n"
        "    return block\n"
        "seconds, extra, result = bench_surfaces.timed(hold, np.ones(3))\n"
        "print(seconds, extra, result.size)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=Path(bench_surfaces.__file__).parent,
    )
    seconds, extra, size = map(float, done.stdout.split())
    assert seconds >= 0.5 and extra > 40 and size == 1e7
