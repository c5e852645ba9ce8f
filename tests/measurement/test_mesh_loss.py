"""Loss of a mesh, with lost metal and over survivors."""

import numpy as np
import pytest

from surfscan.measurement.mesh_loss import mean_with_gaps, mesh_loss
from surfscan.measurement.strut_matching import StrutMatch


def match(before, after, strut, missing=(), length=None):
    after = np.asarray(after, float)
    n = len(after)
    return StrutMatch(
        strut_before=np.asarray(strut),
        strut_after=np.where(after > 0, 1, 0),
        station_after=np.arange(n),
        row=np.zeros(n),
        col=np.zeros(n),
        length=np.ones(n) if length is None else np.asarray(length, float),
        width_before=np.asarray(before, float),
        width_after=after,
        missing=np.asarray(missing, int),
        outside=np.zeros(0, int),
    )


def test_one_of_four_struts_gone():
    """A quarter of the metal gone, a tenth off the rest: 0.75 x 0.9 is left, survivors have 0.9."""
    found = mesh_loss(match(np.full(40, 50), [45] * 30 + [0] * 10, np.repeat([1, 2, 3, 4], 10), [4]))
    assert found.width_before == 50
    assert found.width_with_lost == pytest.approx(33.75)
    assert found.width_of_survivors == 45
    assert found.loss_with_lost == pytest.approx(1 - 0.675)
    assert found.loss_of_survivors == pytest.approx(0.1)
    assert found.lost_fraction == 0.25
    assert (found.struts_before, found.struts_missing) == (4, 1)


def test_places_count_for_their_length():
    """Gone over 1 of 4 px, a tenth off the other 3: places before and after need not be as far apart."""
    found = mesh_loss(match([50, 50], [45, 0], [1, 2], [2], length=[3, 1]))
    assert found.loss_with_lost == pytest.approx(1 - 0.675)
    assert found.loss_of_survivors == pytest.approx(0.1)
    assert found.lost_fraction == 0.25


def test_all_gone_and_nothing_compared():
    """Survivors of a mesh that is gone are not-a-number; so is all where nothing was compared."""
    gone = mesh_loss(match([50, 50], [0, 0], [1, 1], [1]))
    assert gone.loss_with_lost == 1
    assert np.isnan(gone.loss_of_survivors)
    assert np.isnan(mesh_loss(match([], [], [])).loss_with_lost)


def test_gaps_count_as_zero_width():
    """100 px of 40 and 50 px of 20, with a gap of 50 px."""
    mean, length = np.array([40.0, 20.0, np.nan]), np.array([100.0, 50.0, 30.0])
    assert mean_with_gaps(mean, length, np.zeros(0)) == pytest.approx(5000 / 150)
    assert mean_with_gaps(mean, length, np.array([50.0])) == pytest.approx(25)
    assert np.isnan(mean_with_gaps(mean[2:], length[2:], np.zeros(0)))
