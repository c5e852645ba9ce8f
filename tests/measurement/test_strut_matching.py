"""Stations before matched with stations after, on made-up struts."""

import numpy as np
import pytest

from surfscan.measurement.strut_matching import match_struts


def same(rows, cols):
    return rows, cols


def test_every_place_is_compared(stations, solid_of):
    """Thinner struts in the same place."""
    before, after = stations(*[np.full(60, 24.0)] * 3), stations(*[np.full(60, 20.0)] * 3)
    found = match_struts(before, after, same, solid_of(after))
    assert len(found.strut_before) == 180
    assert (found.strut_before == found.strut_after).all()
    assert (found.width_before, found.width_after) == (pytest.approx(24), pytest.approx(20))
    assert not found.missing.size
    assert not found.lost.any()
    assert found.of_after(2).sum() == 60


def test_a_missing_strut_and_a_part(stations, solid_of):
    """Strut 2 is gone, half of strut 3 is: zero width there, and only strut 2 is missing."""
    before = stations(*[np.full(60, 24.0)] * 3)
    after = stations(np.full(60, 20.0), np.full(30, 20.0))
    moved = after.row.copy()
    moved[60:] = 300.0  # what is left of strut 3
    after = type(after)(**{**after.__dict__, "row": moved})
    found = match_struts(before, after, same, solid_of(after))
    assert list(found.missing) == [2]
    assert (found.width_after[found.strut_before == 2] == 0).all()
    third = found.strut_before == 3
    assert found.length[third].sum() == pytest.approx(120, abs=4)
    assert np.mean(found.lost[third]) == pytest.approx(0.5, abs=0.12)
    assert set(found.strut_after[third]) == {0, 2}


def test_where_nothing_is_known_nothing_is_said(stations, solid_of):
    """Fillets after, and metal without a station, are left out; so are struts outside the field."""
    before = stations(*[np.full(60, 24.0)] * 2)
    after = stations(np.full(60, 20.0), faults=["junction"] * 20 + [""] * 40)
    solid = solid_of(before)
    found = match_struts(before, after, same, solid)
    assert np.count_nonzero(found.strut_before == 1) == 40
    assert not (found.strut_before == 2).any()
    found = match_struts(before, after, same, solid, frame=(0, 150, 0, 400))
    assert list(found.outside) == [2]


def test_units_and_places(stations, solid_of):
    """Widths come out in the units handed in, places on the picture after."""
    before, after = stations(np.full(60, 24.0)), stations(np.full(60, 20.0))
    found = match_struts(before, after, lambda r, c: (r + 1, c + 1), solid_of(after), units=(0.5, 0.6))
    assert found.width_before[0] == pytest.approx(12)
    assert found.width_after[0] == pytest.approx(12)
    assert (found.length[0], found.row[0]) == (pytest.approx(1.2), 100)
    gone = match_struts(
        before,
        stations(np.zeros(0)),
        lambda r, c: (r + 1, c + 1),
        np.zeros((500, 400), bool),
        units=(0.5, 0.6),
    )
    assert (gone.length[0], gone.row[0]) == (pytest.approx(1.0), 101)


@pytest.mark.parametrize(("pitch", "shift"), [(2.0, 0.7), (3.1, 0.0), (1.3, -0.4)])
def test_every_counted_station_has_its_width_before(stations, solid_of, pitch, shift):
    """A taper: widths before are those of the very place, whatever the pitch of the stations before."""
    after = stations(np.full(60, 20.0))
    n = int(120 / pitch)
    s = (np.arange(n) + 0.5) * pitch
    before = stations(30 + 0.05 * s, pitch=pitch)
    found = match_struts(before, after, lambda r, c: (r, c + shift), solid_of(after))
    assert len(found.station_after) >= 59
    inside = slice(2, -2)  # beyond the last station its own width holds
    assert found.width_before[inside] == pytest.approx(
        30 + 0.05 * (after.s[found.station_after] - shift)[inside], abs=1e-9
    )


def test_nothing_left(stations):
    """No station after: every strut is missing."""
    before = stations(*[np.full(60, 24.0)] * 2)
    after = stations(np.zeros(0))
    found = match_struts(before, after, same, np.zeros((500, 400), bool))
    assert list(found.missing) == [1, 2]
    assert found.lost.all()
