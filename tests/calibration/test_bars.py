"""Bars drawn here by hand, pixel by pixel, so that their ends are known without the generator."""

import cv2
import numpy as np
import pytest

from surfscan.calibration.bars import LIKELY_FROM, Bar, find_bars, label_windows

SHAPE = (480, 640)


def texture(seed=1, level=130.0, spread=25.0):
    rng = np.random.default_rng(seed)
    blobs = cv2.GaussianBlur(rng.standard_normal(SHAPE), (0, 0), 2.5)
    return np.clip(level + spread * blobs / blobs.std(), 0, 240).astype(np.uint8)


def with_strip(level=255):
    picture = texture()
    picture[430:] = level
    return picture


def only(picture):
    bars = find_bars(picture)
    assert len(bars) == 1
    return bars[0]


@pytest.mark.parametrize("thickness", [1, 2, 3, 7])
@pytest.mark.parametrize(("ground", "ink"), [(255, 0), (0, 255), (255, 120), (60, 255), (192, 0)])
def test_plain_bar_in_a_strip(thickness, ground, ink):
    picture = with_strip(ground)
    picture[450 : 450 + thickness, 40:140] = ink
    bar = only(picture)
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((39.5, 139.5), abs=0.01)
    assert bar.length_px == pytest.approx(100, abs=0.02)
    assert bar.row_px == pytest.approx(449.5 + thickness / 2, abs=0.05)
    assert bar.thickness_px == pytest.approx(thickness, abs=0.1)
    assert bar.tick_width_px == 0
    assert bar.style == "plain" and not bar.ticks and bar.polarity == ("dark" if ink < ground else "light")
    assert bar.evidence > 0.8
    # Ends on whole pixels tell no more than that the drawing was rounded.
    assert bar.end_uncertainty_px == pytest.approx(1 / np.sqrt(12), abs=0.02)


@pytest.mark.parametrize("ways", ["both", "up", "down"])
def test_ends_of_a_bar_with_ticks_lie_between_tick_centres_and_outer_edges(ways):
    picture = with_strip()
    picture[450:452, 40:140] = 0
    top, bottom = 450 - 8 * (ways != "down"), 452 + 8 * (ways != "up")
    picture[top:bottom, 40:42] = 0
    picture[top:bottom, 138:140] = 0
    bar = only(picture)
    assert bar.style == "ticks" and bar.ticks
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((40, 139), abs=0.02)
    assert bar.tick_width_px == pytest.approx(2, abs=0.02)
    assert bar.box == (top, bottom, 40, 140)


@pytest.mark.parametrize("ink", [0, 255])
def test_bar_on_the_picture_itself(ink):
    picture = texture()
    picture[420:424, 500:600] = ink
    bar = only(picture)
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((499.5, 599.5), abs=0.3)


@pytest.mark.parametrize("colour", [(255, 0, 0), (0, 255, 0), (255, 255, 0), (40, 90, 255)])
def test_coloured_bar(colour):
    picture = np.dstack([texture()] * 3)
    picture[420:424, 500:600] = colour
    bar = only(picture)
    assert bar.polarity == "coloured"
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((499.5, 599.5), abs=0.05)
    assert only(np.dstack([picture, np.full(SHAPE, 255, np.uint8)])) == bar  # opacity is not looked at


def test_bar_in_a_box():
    picture = texture(level=60)
    picture[400:460, 480:620] = 0
    picture[440:446, 490:610] = 255
    bar = only(picture)
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((489.5, 609.5), abs=0.01)
    assert bar.evidence > 0.9


@pytest.mark.parametrize("fraction", [0.25, 0.5, 0.8])
def test_ends_between_pixels(fraction):
    picture = with_strip(0).astype(float)
    picture[450:454, 40:140] = 255
    picture[450:454, 39] = 255 * fraction
    bar = only(picture.astype(np.uint8))
    assert bar.col_start_px == pytest.approx(39.5 - fraction, abs=0.09)
    assert bar.col_end_px == pytest.approx(139.5, abs=0.01)


def test_two_bars_are_both_returned():
    picture = with_strip()
    picture[450:453, 40:140] = 0
    picture[60:64, 300:450] = 255
    bars = find_bars(picture)
    assert sorted(round(b.length_px) for b in bars) == [100, 150]


def test_other_depths_and_repeatability():
    picture = with_strip(0)
    picture[450:453, 40:140] = 255
    bar = only(picture)
    assert only(picture) == bar
    assert only(picture.astype(np.uint16) * 257) == bar
    assert only(picture.astype(np.float32)).col_start_px == pytest.approx(bar.col_start_px, abs=0.01)
    assert only(picture[..., None]) == bar


@pytest.mark.parametrize("noise", [3.0, 8.0])
def test_jpeg_and_noise_cost_little(noise):
    rng = np.random.default_rng(3)
    picture = with_strip(0).astype(float)
    picture[450:454, 40:140] = 255
    picture = cv2.GaussianBlur(picture, (0, 0), 0.7) + noise * rng.standard_normal(SHAPE)
    _, coded = cv2.imencode(".jpg", np.clip(picture, 0, 255).astype(np.uint8), [cv2.IMWRITE_JPEG_QUALITY, 70])
    bar = only(cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE))
    assert (bar.col_start_px, bar.col_end_px) == pytest.approx((39.5, 139.5), abs=0.3)
    assert 0.1 <= bar.end_uncertainty_px < 0.6


def _frame(picture):
    cv2.rectangle(picture, (200, 200), (400, 260), 255, 2)


def _ruler(picture):
    picture[250:252, 200:402] = 255
    for k in range(11):
        picture[240:250, 200 + 20 * k : 202 + 20 * k] = 255


def _letters(picture):
    cv2.putText(picture, "TEL 10-3", (150, 300), cv2.FONT_HERSHEY_SIMPLEX, 3, 255, 6)


def _line_under_text(picture):
    picture[300:302, 200:350] = 255
    for k in range(10):
        picture[270:297, 200 + 15 * k : 205 + 15 * k] = 255
    picture[270:297, 345:350] = 255


def _border(picture):
    picture[:3] = picture[-3:] = 255
    picture[:, :3] = picture[:, -3:] = 255


def _slanted(picture):
    cv2.line(picture, (150, 300), (400, 320), 255, 4, cv2.LINE_AA)


def _block(picture):
    picture[200:240, 200:280] = 255


def _across(picture):
    picture[300:303] = 255


@pytest.mark.parametrize(
    "draw",
    [_frame, _ruler, _letters, _line_under_text, _border, _slanted, _block, _across],
    ids=lambda f: f.__name__,
)
def test_what_is_no_bar(draw):
    picture = np.full(SHAPE, 60, np.uint8)
    draw(picture)
    assert find_bars(picture) == []


@pytest.mark.parametrize("seed", range(6))
def test_texture_alone_has_no_bar(seed):
    assert find_bars(texture(seed, spread=40.0)) == []


@pytest.mark.parametrize("shape", [(1, 1), (5, 400), (400, 5), (30, 30)])
def test_pictures_too_small_for_a_bar(shape):
    assert find_bars(np.zeros(shape, np.uint8)) == []


def test_pixels_of_another_shape_are_refused():
    with pytest.raises(ValueError, match="expected"):
        find_bars(np.zeros((4, 4, 2), np.uint8))
    with pytest.raises(ValueError, match="expected"):
        find_bars(np.zeros((0, 4), np.uint8))


def test_not_a_number_is_no_obstacle():
    picture = with_strip(0).astype(np.float32)
    picture[450:453, 40:140] = 255
    picture[10:20, 10:20] = np.nan
    assert only(picture).length_px == pytest.approx(100, abs=0.02)


def test_less_evidence_shows_more():
    picture = texture(2, spread=60.0)
    weak = find_bars(picture, least_evidence=0.0)
    assert all(b.evidence < LIKELY_FROM for b in weak) and len(weak) > 0
    assert [b.evidence for b in weak] == sorted((b.evidence for b in weak), reverse=True)


def test_label_windows_lie_in_the_picture_and_around_the_bar():
    bar = Bar(450.5, 39.5, 139.5, 2.0, "plain", "dark", 0.29, 1.0, (450, 452, 40, 140))
    windows = label_windows(bar, SHAPE)
    assert windows[0][1] == 450 and windows[1][0] == 452  # above, below
    assert windows[2][2] == 140  # beside it, right
    assert all(0 <= a < b <= 480 and 0 <= c < d <= 640 for a, b, c, d in windows)
    edge = Bar(1.5, 39.5, 139.5, 2.0, "plain", "dark", 0.29, 1.0, (1, 3, 40, 140))
    assert all(b - a >= 6 for a, b, _, _ in label_windows(edge, SHAPE))  # no room above, none offered
