"""Stations on drawn struts: widths, directions, what counts and what does not."""

import sys
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.images import Calibration
from surfscan.measurement.stations import FAULTS, place_stations
from surfscan.segmentation.centrelines import find_centrelines
from surfscan.segmentation.silhouette import NoStrutError, find_silhouette

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from synthetic_struts import bar, coverage, developed

SHAPE = (260, 340)


def picture(*bars, shape=SHAPE, noise=0.02, blur=1.0):
    share = coverage([bar(np.array(p, float), np.array(q, float), w) for p, q, w in bars], shape)
    rng = np.random.default_rng(0)
    return developed(share, rng, inside=40, outside=200, blur=blur, noise=noise)


def measured(grey, **given):
    silhouette = find_silhouette(grey)
    return place_stations(silhouette, find_centrelines(silhouette.solid), **given)


def through(angle_deg, width, middle=(130, 170), reach=300):
    angle = np.radians(angle_deg)
    d = reach * np.array([-np.sin(angle), np.cos(angle)])  # counter-clockwise on the screen
    return (np.subtract(middle, d), np.add(middle, d), width)


@pytest.mark.parametrize("angle", [0.0, 12.0, 45.0, 80.0, 90.0, 140.0])
def test_a_straight_strut_at_any_angle(angle):
    found = measured(picture(through(angle, 31.4)))
    counts = found.fault == ""
    assert found.width[counts].mean() == pytest.approx(31.4, abs=0.05)
    turned = (found.normal_deg[counts] - angle - 90 + 90) % 180 - 90
    assert np.abs(turned).max() < 1.0
    assert set(found.fault) <= set(FAULTS)
    middle = 0.5 * (found.left_row + found.right_row), 0.5 * (found.left_col + found.right_col)
    assert found.row[counts] == pytest.approx(middle[0][counts], abs=1e-9)
    assert found.col[counts] == pytest.approx(middle[1][counts], abs=1e-9)
    across = np.hypot(found.left_row - found.right_row, found.left_col - found.right_col)
    assert across[counts] == pytest.approx(found.width[counts], abs=1e-9)


def test_stations_are_no_farther_apart_than_asked():
    for pitch in (1.0, 2.0, 3.0):
        found = measured(picture(through(20, 30)), pitch_px=pitch)
        assert np.diff(found.s).max() <= pitch + 1e-9
        assert found.length[0] == pytest.approx(found.s[-1] + np.diff(found.s)[0] / 2, rel=1e-6)
    with pytest.raises(ValueError, match="pitch_px"):
        measured(picture(through(20, 30)), pitch_px=3.5)


def test_pixels_that_are_not_square():
    """A strut drawn at 45 degrees, on pixels twice as long as high: true width by the true direction."""
    calibration = Calibration(2.0, 1.0, 0.01, "made so")
    found = measured(picture(through(45, 30)), calibration=calibration)
    counts = found.fault == ""
    vertical_px = 30 * np.sqrt(2)
    assert np.median(found.width[counts]) * found.unit_um == pytest.approx(
        vertical_px * 1.0 * np.cos(np.arctan2(1.0, 2.0)), rel=0.005
    )


def test_the_fillet_at_a_junction_does_not_count():
    found = measured(picture(through(0, 24), ((130, 170), (-60, 170), 40), ((110, 150), (110, 190), 30)))
    near = found.fault == "junction"
    assert near.any()
    for strut in range(1, found.n_struts + 1):
        part = found.of(strut)
        width = found.width[part][found.fault[part] == ""]
        assert np.ptp(width) < 1.5
    assert np.nanmax(found.width[near]) > 26


def test_a_notch_beside_a_junction_still_counts():
    grey = picture(through(0, 30), ((130, 170), (-60, 170), 30)).astype(float)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    grey[(np.hypot(y - 70, x - 190) < 14)] = 200
    found = measured(grey.astype(np.uint8))
    counts = found.fault == ""
    assert found.width[counts].min() < 24


def test_a_free_end_and_the_frame_do_not_count():
    found = measured(picture(((130, -50), (130, 250), 40)))
    ends = found.fault == "end"
    assert ends.any()
    assert (found.col[ends] > 225).all()
    assert found.width[found.fault == ""].mean() == pytest.approx(40, abs=0.1)
    slanted = measured(picture(through(35, 40)))
    assert (slanted.fault == "frame").any()


def test_a_through_pit_is_taken_off():
    grey = picture(through(0, 60), noise=0.01)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    grey[np.hypot(y - 128, x - 170) < 9] = 200
    found = measured(grey)
    at = int(np.argmin(np.abs(found.col - 170)))
    assert found.open_width[at] == pytest.approx(18, abs=1.0)
    assert found.width[at] == pytest.approx(42, abs=1.0)
    assert found.open_width[np.abs(found.col - 170) > 15].max() == 0
    assert found.table()["through_pit"].sum() == pytest.approx(10, abs=2)


def test_a_ring_has_stations_all_round():
    turns = np.linspace(0, 2 * np.pi, 500)
    circle = np.column_stack([np.sin(turns), np.cos(turns)])
    share = coverage([(130, 170) + 110 * circle], SHAPE) - coverage([(130, 170) + 80 * circle], SHAPE)
    found = measured(developed(share, np.random.default_rng(0), inside=40, outside=200, blur=1, noise=0.02))
    assert (found.fault == "").all()
    assert found.width.mean() == pytest.approx(30, abs=0.05)
    assert found.length[0] == pytest.approx(2 * np.pi * 95, rel=0.005)


def test_product_is_said_and_taken_off():
    rng = np.random.default_rng(0)
    metal = coverage([bar(*[np.array(p, float) for p in through(20, 40)[:2]], 40)], SHAPE)
    cover = coverage([bar(*[np.array(p, float) for p in through(20, 40)[:2]], 56)], SHAPE)
    grey = developed(metal + 0.4 * (cover - metal), rng, inside=40, outside=200, blur=1, noise=0.02)
    found = measured(grey)
    assert found.width[found.fault == ""].mean() == pytest.approx(40, abs=0.3)
    assert "clings" in found.warnings[0]
    assert found.table()["product"].any()


def test_the_table_has_its_columns_with_and_without_a_scale():
    grey = picture(through(20, 30))
    bare = measured(grey).table()
    assert list(bare) == [c.name for c in columns("stations")]
    assert np.isnan(bare["width_um"]).all()
    scaled = measured(grey, calibration=Calibration(0.5, 0.5, 0.01, "made so")).table()
    assert scaled["width_um"] == pytest.approx(0.5 * scaled["width_px"], nan_ok=True)
    assert scaled["s_um"] == pytest.approx(0.5 * scaled["s_px"])


def test_one_edge_or_a_lump_is_refused():
    half = picture(((130, 0), (130, 340), 800)).copy()
    half[:, 200:] = 200
    with pytest.raises(NoStrutError, match="two edges"):
        measured(half)
    y, x = np.mgrid[: SHAPE[0], : SHAPE[1]]
    with pytest.raises(NoStrutError, match="two edges"):
        measured(np.where(np.hypot(y - 130, x - 170) < 50, 40, 200).astype(np.uint8))


def test_the_same_picture_gives_the_same_stations():
    grey = picture(through(20, 30), through(110, 22))
    first, second = measured(grey).table(), measured(grey).table()
    assert all(np.array_equal(first[k], second[k], equal_nan=first[k].dtype.kind == "f") for k in first)


def test_corners_are_no_product():
    """Two struts that cross at 45 degrees: the wedge between them looks like a shelf."""
    found = measured(picture(through(20, 26), through(65, 30), noise=0.01))
    assert not found.product.any()
    assert found.warnings == ()


def test_a_thin_layer_on_one_side_of_part_of_a_strut():
    """3 px at half contrast on one edge over 160 px: the metal's width there, and beside it as ever."""
    layer = np.zeros((200, 400), np.float32)
    layer[117:120, 120:280] = 0.5
    share = np.zeros((200, 400), np.float32)
    share[80:117] = 1
    grey = 200 - 160 * cv2.GaussianBlur(share + layer, (0, 0), 0.9)
    grey += np.random.default_rng(0).normal(0, 3, grey.shape)
    found = measured(np.clip(grey, 0, 255).astype(np.uint8))
    counts = found.fault == ""
    over = (found.col > 130) & (found.col < 270)
    beside = (found.col < 105) | (found.col > 295)
    assert found.product[counts & over].all()
    assert not found.product[counts & beside].any()
    for part in (over, beside):
        assert found.width[counts & part].mean() == pytest.approx(37, abs=0.15)


@pytest.mark.parametrize("share", [0.45, 0.6])
def test_a_notch_past_the_middle(share):
    """Edges are those of the metal beside it: the least width, and its place, in metal."""
    t = np.linspace(-20, 360, 800)
    left = 130 - 20 + share * 40 * np.exp(-(((t - 170) / 12) ** 2) / 2)
    outline = np.concatenate([np.column_stack([left, t]), np.column_stack([np.full(800, 150.0), t])[::-1]])
    share_of = coverage([outline], SHAPE)
    grey = developed(share_of, np.random.default_rng(0), inside=40, outside=200, blur=1.0, noise=0.02)
    found = measured(grey)
    counts = found.fault == ""
    assert not (found.fault == "no edge").any()
    least = int(np.argmin(np.where(counts, found.width, np.inf)))
    assert found.width[least] == pytest.approx(40 * (1 - share), abs=0.4)
    assert found.row[least] == pytest.approx(150 - 20 * (1 - share), abs=0.5)
    assert found.mask_width[least] == pytest.approx(found.width[least], abs=4)


def test_fillet_of_a_junction_that_the_frame_cuts():
    """A mesh whose node lies on the frame: what flares towards it is no width of the strut."""
    bars = [((130, -60), (130, 400), 24), ((-60, 345), (320, 345), 24), ((-60, 100), (320, 100), 24)]
    corners = [bar(np.array(p, float), np.array(q, float), w) for p, q, w in bars]
    turn = np.linspace(0, np.pi / 2, 20)
    for sign in (1, -1):  # fillets of 20 px beside the struts' crossing at the frame
        arc = np.column_stack([130 + sign * (32 - 20 * np.cos(turn)), 313 + 20 * np.sin(turn)])
        corners.append(np.concatenate([arc, [[130.0, 335.0], [130.0, 313.0]]]))
    grey = developed(
        coverage(corners, SHAPE), np.random.default_rng(0), inside=40, outside=200, blur=1.0, noise=0.02
    )
    found = measured(grey)
    flare = (np.abs(found.row - 130) < 5) & (found.col > 323)
    assert flare.any() and not (found.fault[flare] == "").any()
    beside = (np.abs(found.row - 130) < 5) & (found.col > 270) & (found.col < 308)
    assert (found.fault[beside] == "").all()
    assert found.width[found.fault == ""].max() < 25


def test_thin_product_that_blur_hides_is_flagged():
    """2 px at half the contrast along part of one edge: measured as metal, said so, and allowed for."""
    share = coverage([bar(np.array([130.0, -50]), np.array([130.0, 400]), 40)], SHAPE)
    layer = coverage([bar(np.array([151.0, 100]), np.array([151.0, 240]), 2)], SHAPE)
    rng = np.random.default_rng(0)
    grey = developed(share, rng, inside=40, outside=200, blur=1.0, noise=0.02, finishing=-0.5 * 160 * layer)
    found = measured(grey)
    under = (found.fault == "") & (found.col > 120) & (found.col < 220)
    clear = (found.fault == "") & ((found.col < 80) | (found.col > 260))
    assert (found.hidden[under] > 0).all() and (found.hidden[clear] == 0).all()
    assert (found.width[under] - found.hidden[under]).mean() < 40 < found.width[under].mean()
    assert any("softer" in text for text in found.warnings)
    assert found.table()["soft_edge"][under].all()
