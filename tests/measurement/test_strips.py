"""Strips cover the map once, in order, whatever the number of threads."""

import numpy as np
import pytest

from surfscan.measurement.strips import aligned, check_heights, check_pixel_size, over_strips, strips


@pytest.mark.parametrize("shape", [(1, 1), (7, 5), (100, 33), (3, 1000)])
def test_strips_cover_every_row_once(shape):
    parts = list(strips(shape, 100))
    rows = np.concatenate([np.arange(*part) for part in parts])
    np.testing.assert_array_equal(rows, np.arange(shape[0]))


@pytest.mark.parametrize("threads", [1, 2, 3, 50])
def test_results_come_in_the_order_of_the_strips(threads):
    got = over_strips(lambda a, b: (a, b), (40, 10), pixels=30, threads=threads)
    assert got == list(strips((40, 10), 30))


def test_faults_in_a_strip_come_out():
    def work(row0, row1):
        raise ArithmeticError(f"rows {row0} to {row1}")

    with pytest.raises(ArithmeticError, match="rows 0"):
        over_strips(work, (40, 10), pixels=30, threads=2)


@pytest.mark.parametrize("shape", [(1, 1), (3, 17), (100, 0)])
def test_aligned_starts_on_a_cache_line(shape):
    array = aligned(shape)
    assert array.shape == shape
    assert array.size == 0 or array.ctypes.data % 64 == 0


@pytest.mark.parametrize("bad", [np.zeros(3), np.zeros((0, 3)), np.zeros((3, 3), int), np.zeros((2, 2, 2))])
def test_heights_that_are_none(bad):
    with pytest.raises(ValueError, match="heights_um"):
        check_heights(bad)


@pytest.mark.parametrize("bad", [(0, 1), (1, np.nan), (1, -2), (1, np.inf), (1, 1, 1), (1,)])
def test_pixel_sizes_that_are_none(bad):
    with pytest.raises(ValueError, match="pixel_size_um"):
        check_pixel_size(bad)
