"""Struts found, measured anew where edges were moved, and numbered on the metal."""

import numpy as np
import pytest

from surfscan.measurement.strut_edges import EdgeMove, EdgeMoves
from surfscan.measurement.strut_widths import measure_widths
from surfscan.procedures import StrutSettings
from surfscan.procedures.strut_finding import find_struts, strut_field, strut_labels, with_moved_edges


@pytest.fixture(scope="module")
def found(strut_picture):
    """A picture with three bars, and what is found on it."""
    settings = StrutSettings()
    return (
        strut_picture,
        settings,
        find_struts(strut_picture, settings, *strut_field(strut_picture, settings, None)),
    )


def test_only_the_moved_strut_is_measured_anew(found):
    """Its figures are those of measuring all struts again, to the bit; the others are untouched."""
    picture, settings, before = found
    s = before.stations
    k = s.of(2).start + 60
    move = EdgeMove(2, "left", float(s.s[k]), -5.0, 24.0, float(s.left_row[k]), float(s.left_col[k]))
    after, moved = with_moved_edges(before, picture, settings, EdgeMoves((move,)))
    assert list(moved.struts) == [2]
    again = measure_widths(
        after.stations, relative_scale_uncertainty=picture.calibration.relative_uncertainty
    )
    for name in again.__dataclass_fields__:
        assert np.array_equal(getattr(again, name), getattr(after.widths, name), equal_nan=True), name
    assert after.widths.mean[1] < before.widths.mean[1]
    assert after.widths.least[1] == pytest.approx(s.width[k] - 5.0)
    assert after.widths.mean[0] == before.widths.mean[0]
    # The hand errs the same way along a drag: the mean is less sure, by its mean over the stations.
    hand = float(after.stations.hand_uncertainty[s.of(2)].mean())
    assert after.widths.mean_common[1] == pytest.approx(
        np.hypot(before.widths.mean_common[1], hand), rel=1e-6
    )


def test_no_move_changes_nothing(found):
    """What was found is handed back as it is."""
    picture, settings, before = found
    assert with_moved_edges(before, picture, settings, EdgeMoves())[0] is before


def test_labels_are_those_of_the_nearest_station(found):
    """Every metal pixel has the number of its bar, none off the metal."""
    _, _, before = found
    labels = strut_labels(before.silhouette.mask, before.stations)
    assert set(np.unique(labels)) == {0, 1, 2, 3}
    assert not labels[~before.silhouette.mask].any()
    for k in (1, 2, 3):
        own = before.stations.of(k)
        middle = (own.start + own.stop) // 2
        row, col = round(before.stations.row[middle]), round(before.stations.col[middle])
        assert labels[row, col] == k
