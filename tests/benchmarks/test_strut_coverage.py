"""The coverage run of strut widths measures what it says."""

import numpy as np
import strut_coverage


def test_one_strut():
    """Truth, reading and limits of each figure; µm are half of px, for the pixel is 0.5 µm."""
    rows = strut_coverage.one(7)
    assert rows.shape == (len(strut_coverage.FIGURES), 4)
    truth, value, low, high = rows.T
    assert (low < value + 1e-9).all()
    assert (value < high + 1e-9).all()
    assert truth[1] / truth[0] == 0.5
    assert np.abs(value - truth)[[0, 2]].max() < 1.5
    assert (truth[2:] <= truth[:2]).all()
