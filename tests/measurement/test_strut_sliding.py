"""One straight strut that fits anywhere along itself."""

from dataclasses import replace

import numpy as np
import pytest

from surfscan.measurement.strut_sliding import free_direction, match_sliding, stretch_uncertainty
from surfscan.preparation.registration import Registration

HERE = np.array([[1.0, 0, 0], [0, 1, 0]])


def place(*shifts, turn_deg=0.0, fault="another position fits as well"):
    """A position with rivals shifted by (column, row) and turned."""
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    rivals = []
    for shift in shifts:
        linear = np.array([[c, s], [-s, c]])
        middle = np.array([110.0, 100.0])
        rivals.append(np.column_stack([linear, middle - linear @ middle + shift]))
    return Registration(HERE, 0, 1, (0, 0), 0.93, 0.93, 1, 0.3, 0.5, 0.1, 0.0, fault, tuple(rivals))


def test_slides_along_itself(stations):
    """Rivals along the strut, also turned by half a turn: free along the rows."""
    strut = stations(np.full(60, 24.0))
    assert free_direction(place((30, 0), (-40, 2)), strut, strut) == pytest.approx(0, abs=1e-9)
    assert free_direction(place((30, 0), turn_deg=180), strut, strut) == pytest.approx(0, abs=1e-9)
    upright = replace(strut, normal_deg=np.zeros(60), row=strut.col, col=strut.row)
    there = place((0, 30))
    assert free_direction(there, upright, upright) == pytest.approx(90)


def test_anything_else_stays_refused(stations):
    """Across the strut, turned, more struts, a bent one, another part, or nothing to decide."""
    strut = stations(np.full(60, 24.0))
    assert free_direction(place((0, 40)), strut, strut) is None
    assert free_direction(place((30, 0), turn_deg=40), strut, strut) is None
    two = stations(*[np.full(60, 24.0)] * 2)
    assert free_direction(place((30, 0)), two, two) is None
    bent = replace(strut, normal_deg=np.linspace(50, 90, 60))
    assert free_direction(place((30, 0)), bent, bent) is None
    assert free_direction(place(), strut, strut) is None
    assert free_direction(place((30, 0), fault=""), strut, strut) is None
    short = stations(np.full(8, 24.0))
    assert free_direction(place((30, 0)), short, short) is None


def test_means_are_compared(stations):
    """Every station that counts after against the mean before, in one unit."""
    before = stations(np.linspace(20, 28, 60))
    after = stations(np.full(40, 18.0), faults=["end"] * 4 + [""] * 36)
    found = match_sliding(before, after, units=(1.1, 1.0))
    assert len(found.station_after) == 36
    assert found.width_before == pytest.approx(26.4)
    assert found.length.sum() == pytest.approx(72)
    assert not found.missing.size


def test_stretches_hold_the_mean_of_the_whole():
    """Of 400 stretches of a wavy strut, 95 % of the intervals hold its mean; of an even one there is none."""
    from types import SimpleNamespace

    rng = np.random.default_rng(5)
    width = np.convolve(rng.standard_normal(400 * 120 + 8), np.ones(9) / 3, "valid")
    held = 0
    for part in np.split(width, 400):
        seen = SimpleNamespace(width=part, fault=np.full(len(part), ""))
        held += abs(part.mean() - width.mean()) <= 1.96 * stretch_uncertainty(seen)
    assert 0.92 <= held / 400 <= 0.98


def test_an_even_strut_has_no_doubt(stations):
    """All stretches of it are alike."""
    assert stretch_uncertainty(stations(np.full(60, 24.0))) == 0
