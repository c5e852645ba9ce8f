"""Cracks, gaps, free ends and fragments on drawn struts."""

import cv2
import numpy as np
import pytest

from surfscan.measurement.stations import place_stations
from surfscan.measurement.strut_faults import broken_struts, find_faults
from surfscan.measurement.strut_widths import measure_widths
from surfscan.segmentation.centrelines import find_centrelines
from surfscan.segmentation.silhouette import find_silhouette


def faults_of(picture, *, region=None, free_ends="auto"):
    """Faults on a picture of dark struts (True) on a light ground."""
    grey = np.where(picture, 40, 200).astype(np.uint8)
    grey = cv2.GaussianBlur(grey, (0, 0), 0.8)
    silhouette = find_silhouette(grey, polarity="dark")
    lines = find_centrelines(silhouette.solid)
    stations = place_stations(silhouette, lines)
    mean = measure_widths(stations).mean
    found, _ = find_faults(silhouette, lines, stations, mean, region=region, free_ends=free_ends)
    return found, broken_struts(found, lines.n)


def ladder():
    """Two rails across the field and three rungs between them: a mesh with junctions."""
    picture = np.zeros((300, 420), bool)
    picture[60:84] = True
    picture[210:234] = True
    for col in (80, 200, 320):
        picture[84:210, col : col + 22] = True
    return picture


def test_whole_mesh_has_no_fault():
    """Nothing is broken where nothing is."""
    found, broken = faults_of(ladder())
    assert found == []
    assert not broken.any()


@pytest.mark.parametrize(("width", "kind"), [(6, "crack"), (40, "gap")])
def test_break_of_a_rung(width, kind):
    """A crack is shorter than half the width, a gap longer; both halves are broken, at its middle."""
    picture = ladder()
    picture[147 - width // 2 : 147 + width // 2, 195:230] = False
    found, broken = faults_of(picture)
    assert [f.kind for f in found] == [kind]
    fault = found[0]
    assert fault.through
    assert fault.length == pytest.approx(width, abs=1.5)
    assert (fault.row, fault.col) == (pytest.approx(146.5, abs=2), pytest.approx(210.5, abs=2))
    assert fault.strut != fault.other_strut
    assert np.count_nonzero(broken) == 2


def test_broken_off_at_the_rail():
    """One end alone faces the rail that it came off."""
    picture = ladder()
    picture[196:210, 195:230] = False
    found, broken = faults_of(picture)
    assert [f.kind for f in found] == ["gap"]
    assert found[0].length == pytest.approx(14, abs=1.5)
    assert np.count_nonzero(broken) == 1


def test_free_end_in_a_mesh_and_of_a_test_strut():
    """A stump in a mesh is broken; the ends of a strut by itself are drawn, unless it is said otherwise."""
    picture = ladder()
    picture[130:210, 195:230] = False
    found, _ = faults_of(picture)
    assert [f.kind for f in found] == ["free end"]
    assert faults_of(picture, free_ends="drawn")[0] == []
    single = np.zeros((200, 400), bool)
    single[90:115, 60:340] = True
    assert faults_of(single)[0] == []
    assert [f.kind for f in faults_of(single, free_ends="broken")[0]] == ["free end"] * 2


def test_fragment():
    """A loose piece in a gap: a row of its own, and a gap on either side of it."""
    picture = ladder()
    picture[110:184, 195:230] = False
    picture[138:158, 202:220] = True
    found, _ = faults_of(picture)
    assert sorted(f.kind for f in found) == ["fragment", "gap", "gap"] or sorted(f.kind for f in found) == [
        "fragment",
        "free end",
        "free end",
    ]
    piece = next(f for f in found if f.kind == "fragment")
    assert piece.area == pytest.approx(360, rel=0.25)
    assert (piece.row, piece.col) == (pytest.approx(147.5, abs=1), pytest.approx(210.5, abs=1))


def test_crack_part_of_the_way():
    """A cut that leaves less than half of the width: a crack that does not part the strut."""
    picture = ladder()
    picture[144:150, 200:214] = False
    found, broken = faults_of(picture)
    assert [(f.kind, f.through) for f in found] == [("crack", False)]
    assert found[0].row == pytest.approx(146.5, abs=3)
    assert not broken.any()


def test_an_end_at_what_was_not_looked_at_is_no_fault():
    """A scale bar over a strut cuts the picture, not the metal."""
    picture = ladder()
    picture[130:165, 180:250] = False
    region = np.ones(picture.shape, bool)
    region[130:165, 180:250] = False
    assert faults_of(picture, region=region)[0] == []


def severed(removed):
    """One strut across the field with so much taken out of its middle."""
    picture = np.zeros((200, 420), bool)
    picture[85:115] = True
    picture[:, 210 - removed // 2 : 210 + removed // 2] = False
    return picture


@pytest.mark.parametrize("removed", [60, 160, 240])
def test_ends_on_one_line_over_any_distance(removed):
    """Both are broken and what lies between is lost; unless ends are stated to be drawn."""
    found, broken = faults_of(severed(removed))
    assert [f.kind for f in found] == ["gap"]
    assert found[0].length == pytest.approx(removed, abs=1)
    assert broken.all()
    stated, _ = faults_of(severed(removed), free_ends="drawn")
    assert [f.kind for f in stated] == (["gap"] if removed < 120 else [])


@pytest.mark.parametrize("radius", [4, 8, 12, 20])
def test_round_fragments(radius):
    """Largest Feret diameter and area of a disc; it neither cracks nor breaks anything."""
    rows, cols = np.mgrid[:200, :420]
    covered = np.clip(radius + 0.5 - np.hypot(rows - 40, cols - 200), 0, 1)
    covered[100:130] = 1
    grey = cv2.GaussianBlur((200 - 160 * covered).astype(np.float32), (0, 0), 0.8)
    silhouette = find_silhouette(np.round(grey).astype(np.uint8), polarity="dark")
    lines = find_centrelines(silhouette.solid)
    stations = place_stations(silhouette, lines)
    found, drawn = find_faults(silhouette, lines, stations, measure_widths(stations).mean)
    assert [f.kind for f in found] == ["fragment"] and not found[0].through
    assert found[0].length == pytest.approx(2 * radius, abs=1)
    assert found[0].area == pytest.approx(np.pi * radius**2, rel=0.02)
    assert drawn == 0


def test_drawn_ends_are_counted():
    """Ends of a test strut inside the field pass for drawn: somebody should know."""
    picture = np.zeros((200, 420), bool)
    picture[85:115, 60:420] = True
    grey = cv2.GaussianBlur(np.where(picture, 40, 200).astype(np.uint8), (0, 0), 0.8)
    silhouette = find_silhouette(grey, polarity="dark")
    lines = find_centrelines(silhouette.solid)
    stations = place_stations(silhouette, lines)
    assert find_faults(silhouette, lines, stations, measure_widths(stations).mean) == ([], 1)
