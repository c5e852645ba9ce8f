import cv2
import numpy as np
import pytest

from surfscan.preparation.strip import DataStrip, find_data_strip

ROWS, COLS = 300, 400


def metal(seed=1, level=150.0):
    rng = np.random.default_rng(seed)
    return np.clip(rng.normal(level, 12, (ROWS, COLS)), 0, 255).astype(np.uint8)


def with_strip(size=36, ground=0, ink=255, image=None):
    picture = metal() if image is None else image
    picture[-size:] = ground
    cv2.putText(picture, "20 um", (20, ROWS - 12), cv2.FONT_HERSHEY_SIMPLEX, 0.6, ink, 1)
    cv2.rectangle(picture, (120, ROWS - 20), (200, ROWS - 16), ink, -1)
    return picture


@pytest.mark.parametrize(("ground", "ink"), [(0, 255), (255, 0), (90, 255)])
def test_a_strip_of_any_ground_is_found_with_its_exact_size(ground, ink):
    assert find_data_strip(with_strip(36, ground, ink)) == DataStrip("bottom", 36)


@pytest.mark.parametrize(("turns", "edge"), [(0, "bottom"), (1, "right"), (2, "top"), (3, "left")])
def test_a_strip_is_found_along_every_edge(turns, edge):
    # A quarter turn counter-clockwise moves the bottom edge to the right.
    assert find_data_strip(np.rot90(with_strip(), turns)) == DataStrip(edge, 36)


def test_what_lies_outside_the_strip_is_left_out_with_it():
    picture = with_strip(56)
    picture[-20:] = metal(seed=2)[-20:]
    picture[-56:-20][:, :] = 0
    cv2.putText(picture, "20 um", (20, ROWS - 30), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    assert find_data_strip(picture) == DataStrip("bottom", 56)


def test_depth_of_the_pixels_does_not_matter():
    picture = with_strip()
    assert find_data_strip(picture.astype(np.uint16) * 257) == DataStrip("bottom", 36)
    assert find_data_strip(picture.astype(np.float32) / 255) == DataStrip("bottom", 36)


def test_lossy_compression_does_not_hide_a_strip():
    ok, coded = cv2.imencode(".jpg", with_strip(), [cv2.IMWRITE_JPEG_QUALITY, 85])
    assert ok
    strip = find_data_strip(cv2.imdecode(coded, cv2.IMREAD_GRAYSCALE))
    assert strip is not None
    assert strip.edge == "bottom"
    assert abs(strip.size_px - 36) <= 2


def test_frame_is_what_is_left():
    assert DataStrip("bottom", 36).frame((300, 400)) == (0, 264, 0, 400)
    assert DataStrip("top", 36).frame((300, 400)) == (36, 300, 0, 400)
    assert DataStrip("left", 36).frame((300, 400)) == (0, 300, 36, 400)
    assert DataStrip("right", 36).frame((300, 400)) == (0, 300, 0, 364)


def dark_surround():
    picture = metal()
    picture[:, -50:] = np.random.default_rng(3).normal(15, 3, (ROWS, 50)).clip(0, 255).astype(np.uint8)
    return picture


def overexposed_edge():
    rows, cols = np.mgrid[:ROWS, :COLS]
    lit = metal().astype(float) + 400.0 * np.exp(-(ROWS - 1 - rows + 10 * np.sin(cols / 40.0)) / 25.0)
    picture = lit.clip(0, 255).astype(np.uint8)
    cv2.circle(picture, (80, ROWS - 10), 6, 40, -1)
    cv2.circle(picture, (180, ROWS - 12), 5, 40, -1)
    return picture


def unmarked_black_band():
    picture = metal()
    picture[-40:] = 0
    return picture


def label_box():
    picture = metal()
    picture[-40:, :120] = 255
    cv2.putText(picture, "20 um", (10, ROWS - 12), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 0, 1)
    return picture


def flat_with_pits():
    picture = np.full((ROWS, COLS), 180, np.uint8)
    for x in range(30, COLS, 60):
        cv2.circle(picture, (x, ROWS - 20), 7, 30, -1)
    return picture


@pytest.mark.parametrize(
    "picture", [metal, dark_surround, overexposed_edge, unmarked_black_band, label_box, flat_with_pits]
)
def test_metal_surround_and_glare_are_no_strip(picture):
    assert find_data_strip(picture()) is None


@pytest.mark.parametrize(
    "picture",
    [
        np.zeros((1, 1), np.uint8),
        np.zeros((200, 200), np.uint8),
        np.full((200, 200), np.nan, np.float32),
        np.full((200, 200), 7, np.uint16),
    ],
)
def test_empty_pictures_have_no_strip(picture):
    assert find_data_strip(picture) is None
