"""Scale between two pictures of struts from their centrelines."""

import numpy as np
import pytest

from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_placing import placed_by_centrelines
from surfscan.preparation.registration import Registration

HERE = Registration(
    matrix=np.array([[0.99, 0, 1.5], [0, 0.99, 1.0]]),
    rotation_deg=0.0,
    scale=0.99,
    shift_px=(0.0, 0.0),
    correlation=0.95,
    rival_correlation=-1.0,
    overlap_fraction=1.0,
    uncertainty_px=0.3,
    worst_uncertainty_px=0.5,
    rotation_uncertainty_deg=0.05,
    scale_uncertainty=0.0005,
)
"""Off by 1 % in scale, as outlines of corroded struts make it."""


def struts(lines, width, *, scale=1.0, turn_deg=0.0, noise=0.0):
    """Stations every 2 px along straight lines ((row, col) from, to), moved about the origin."""
    rng = np.random.default_rng(3)
    rows, cols, angles, strut, lengths = [], [], [], [], []
    turn = np.radians(turn_deg)  # counter-clockwise to the eye
    by = scale * np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])  # on (row, col)
    for k, (start, end) in enumerate(lines):
        a, b = by @ np.array(start, float), by @ np.array(end, float)
        length = float(np.hypot(*(b - a)))
        s = np.arange(1.0, length, 2.0)
        way = (b - a) / length
        across = np.array([way[1], -way[0]])
        at = a + s[:, None] * way + noise * rng.standard_normal(len(s))[:, None] * across
        rows.append(at[:, 0])
        cols.append(at[:, 1])
        angles.append(np.full(len(s), np.degrees(np.arctan2(-across[0], across[1]))))
        strut.append(np.full(len(s), k + 1))
        lengths.append(length)
    n = sum(len(r) for r in rows)
    row, col = np.concatenate(rows), np.concatenate(cols)
    blank = np.zeros(n)
    return Stations(
        strut=np.concatenate(strut),
        s=blank,
        row=row,
        col=col,
        normal_deg=np.concatenate(angles),
        left_row=row,
        left_col=col,
        right_row=row,
        right_col=col,
        width=np.full(n, float(width)),
        open_width=blank,
        uncertainty=blank,
        common_uncertainty=blank,
        fault=np.full(n, "", dtype="U8"),
        length=np.array(lengths),
        pitch=2.0,
        correlation_length=3.0,
        unit_um=float("nan"),
    )


SQUARES = [
    *(((80.0 * k, 0.0), (80.0 * k, 240.0)) for k in range(4)),
    *(((0.0, 80.0 * k), (240.0, 80.0 * k)) for k in range(4)),
]


@pytest.mark.parametrize(("scale", "turn_deg"), [(1.0, 0.0), (1.012, 0.4)])
def test_scale_comes_from_centrelines(scale, turn_deg):
    """Outlines said 0.99; the lines say what is true, whatever the widths have become."""
    before = struts(SQUARES, 20, noise=0.05)
    after = struts(SQUARES, 14, scale=scale, turn_deg=turn_deg, noise=0.05)
    found = placed_by_centrelines(HERE, before, after, (241, 241))
    assert found.scale == pytest.approx(scale, abs=2e-4)
    assert 1e-5 < found.scale_uncertainty < 1e-3
    assert abs(found.scale - scale) < 3 * found.scale_uncertainty
    assert found.rotation_deg == pytest.approx(turn_deg, abs=0.05)
    row, _ = found.to_after(before.row, before.col)
    turn = np.radians(turn_deg)
    true_row = scale * (np.cos(turn) * before.row - np.sin(turn) * before.col)
    assert np.abs(row - true_row).max() < 0.3
    assert found.shift_px == pytest.approx(
        tuple(np.array(found.to_after(np.array(120.0), np.array(120.0))) - 120), abs=1e-6
    )


def test_one_straight_strut_says_nothing_of_the_scale():
    """It keeps that of the outlines, known to 5 % then."""
    line = [((100.0, 0.0), (100.0, 240.0))]
    found = placed_by_centrelines(HERE, struts(line, 20), struts(line, 14), (241, 241))
    assert found.scale == pytest.approx(0.99, abs=1e-6)
    assert found.scale_uncertainty == pytest.approx(0.05, rel=0.01)


def test_too_few_stations():
    """Nothing is fitted, and the scale is as doubtful."""
    few = struts([((100.0, 0.0), (100.0, 12.0))], 8)
    found = placed_by_centrelines(HERE, few, few, (241, 241))
    assert np.array_equal(found.matrix, HERE.matrix)
    assert found.scale_uncertainty == 0.05
