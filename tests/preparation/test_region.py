import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.preparation.region import SMALLEST_REGION_PX, specimen_region
from surfscan.preparation.strip import DataStrip

ROWS, COLS = 400, 500


def textured(level, spread, seed, shape=(ROWS, COLS)):
    return np.random.default_rng(seed).normal(level, spread, shape)


def picture(specimen, metal=150.0, ground=14.0, shading=0.0):
    """Metal with noise and shading on `specimen`, an even ground elsewhere, the step blurred as by a lens."""
    cols = np.mgrid[: specimen.shape[0], : specimen.shape[1]][1]
    shape = specimen.shape
    lit = textured(metal, 10, 1, shape) * (1 - shading * cols / shape[1])
    image = np.where(specimen, lit, textured(ground, 2, 2, shape))
    return cv2.GaussianBlur(image, (0, 0), 0.8).clip(0, 255).astype(np.uint8)


def tile(right=60, bottom=0, shape=(ROWS, COLS)):
    specimen = np.ones(shape, bool)
    specimen[:, shape[1] - right :] = False
    if bottom:
        specimen[shape[0] - bottom :] = False
    return specimen


def agreement(found, true):
    return np.count_nonzero(found & true) / np.count_nonzero(found | true)


@pytest.mark.parametrize(("metal", "ground", "tone"), [(150.0, 14.0, "dark"), (90.0, 252.0, "light")])
@pytest.mark.parametrize("shading", [0.0, 0.4])
def test_background_along_one_side_is_left_out(metal, ground, tone, shading):
    true = tile()
    region = specimen_region(picture(true, metal, ground, shading))
    assert tone in region.origin
    assert agreement(region.mask, true) > 0.995
    assert region.warnings[0].startswith(f"A {tone} background, ") and "was left out" in region.warnings[0]


@pytest.mark.parametrize("radius", [100, 120, 150])
def test_bright_metal_round_a_wide_pit_is_no_background(radius):
    """Grey metal is brighter than the pit and reaches the border all round, but it is no white table."""
    pit = np.zeros((ROWS, COLS), np.uint8)
    cv2.circle(pit, (COLS // 2, ROWS // 2), radius, 1, -1)
    grey = np.where(pit, 60.0, 170.0) + np.random.default_rng(4).normal(0, 2, (ROWS, COLS))
    region = specimen_region(cv2.GaussianBlur(grey, (0, 0), 1).astype(np.uint8))
    assert region.mask is None and region.warnings == ()


def test_specimen_surrounded_on_all_sides_is_found():
    true = np.zeros((ROWS, COLS), np.uint8)
    cv2.ellipse(true, (250, 200), (190, 150), 20, 0, 360, 1, -1)
    region = specimen_region(picture(true.astype(bool)))
    assert agreement(region.mask, true.astype(bool)) > 0.99


def test_outline_at_full_size_follows_the_half_way_contour():
    true = np.zeros((1500, 2000), np.uint8)
    cv2.circle(true, (1000, 750), 650, 1, -1)
    region = specimen_region(picture(true.astype(bool)))
    error_px = abs(np.count_nonzero(region.mask) - np.count_nonzero(true)) / (2 * np.pi * 650)
    assert error_px < 0.5


def test_a_pit_at_the_specimen_edge_stays_in_the_specimen():
    true = tile()
    pitted = true.astype(np.uint8)
    cv2.circle(pitted, (COLS - 62, 200), 5, 0, -1)
    pit = true & (pitted == 0)
    region = specimen_region(picture(pitted.astype(bool)))
    assert np.count_nonzero(region.mask & pit) > 0.8 * np.count_nonzero(pit)


def test_a_shaded_metallic_edge_stays_in():
    cols = np.mgrid[:ROWS, :COLS][1]
    shaded = textured(150, 8, 4) * np.clip((COLS - cols) / 150.0, 0.1, 1.0)
    region = specimen_region(shaded.clip(0, 255).astype(np.uint8))
    assert region.mask is None
    assert region.origin == "whole picture"


def test_a_dark_corroded_patch_at_the_border_stays_in():
    specimen = np.ones((ROWS, COLS), np.uint8)
    cv2.ellipse(specimen, (COLS, 200), (120, 90), 0, 0, 360, 0, -1)
    assert specimen_region(picture(specimen.astype(bool))).mask is None


def test_a_bright_porous_coating_is_no_background():
    specimen = tile(right=0, bottom=200)
    image = picture(specimen, metal=90.0, ground=235.0)
    rng = np.random.default_rng(5)
    for row, col in rng.integers((ROWS - 190, 10), (ROWS - 10, COLS - 10), (60, 2)):
        cv2.circle(image, (int(col), int(row)), 4, 60, -1)
    assert specimen_region(image).mask is None


@pytest.mark.parametrize("level", [0, 128, 255])
def test_an_even_picture_is_taken_whole(level):
    assert specimen_region(np.full((100, 100), level, np.uint8)).mask is None


def test_everything_means_everything():
    assert specimen_region(picture(tile()), mode="everything").mask is None


def test_deeper_pixels_give_the_same_region():
    image = picture(tile())
    expected = specimen_region(image).mask
    np.testing.assert_array_equal(specimen_region(image.astype(np.uint16) * 257).mask, expected)
    np.testing.assert_array_equal(specimen_region(image.astype(np.float64)).mask, expected)


def test_unrecorded_pixels_do_not_stop_the_search():
    image = picture(tile()).astype(np.float32)
    image[10:20, 10:20] = np.nan
    region = specimen_region(image)
    assert agreement(region.mask, tile()) > 0.99
    assert not region.mask[10:20, 10:20].any()
    assert region.warnings[1:] == ("The specimen region leaves out 100 pixels that held no value.",)


def test_strip_is_left_out_of_frame_and_mask():
    strip = DataStrip("bottom", 30)
    whole = specimen_region(textured(150, 10, 6), strip=strip)
    assert whole.frame == (0, ROWS - 30, 0, COLS)
    assert "strip" in whole.origin
    assert np.count_nonzero(whole.full_mask((ROWS, COLS))) == (ROWS - 30) * COLS
    found = specimen_region(picture(tile()), strip=strip)
    assert not found.mask[-30:].any()


def test_a_given_mask_overrules_and_never_includes_the_strip():
    given = np.zeros((ROWS, COLS), np.uint8)
    given[100:, 50:200] = 255
    region = specimen_region(picture(tile()), given=given, strip=DataStrip("bottom", 30))
    assert np.count_nonzero(region.mask) == (ROWS - 130) * 150
    assert region.origin == "given mask"


def test_a_mask_of_another_size_is_refused_with_both_sizes():
    with pytest.raises(InputError, match=r"x\.png: .*10 x 12 .*400 x 500"):
        specimen_region(picture(tile()), given=np.ones((10, 12), bool), path="x.png")


@pytest.mark.parametrize("count", [0, SMALLEST_REGION_PX - 1])
def test_a_mask_that_marks_too_little_is_refused(count):
    given = np.zeros((ROWS, COLS), bool)
    given.flat[:count] = True
    with pytest.raises(InputError, match="region"):
        specimen_region(picture(tile()), given=given)


@pytest.mark.parametrize("image", [np.zeros((1, 1), np.uint8), np.full((50, 50), np.nan, np.float32)])
def test_an_image_with_nothing_recorded_is_refused(image):
    with pytest.raises(InputError, match="fewer than 100"):
        specimen_region(image, path="x.tif")


def test_overlays_are_left_out():
    """A bar drawn on the picture is no specimen, with a strip, a given mask and beyond the frame."""
    grey = picture(tile())
    boxes = ((10, 20, 30, 60), (-5, 3, 0, 10), (10_000, 10_010, 0, 5))
    region = specimen_region(grey, mode="everything", overlays=boxes)
    assert not region.mask[10:20, 30:60].any()
    assert np.count_nonzero(~region.mask) == 10 * 30 + 3 * 10
    assert "without the scale bar drawn on it (330 pixels)" in region.origin
    given = np.ones(grey.shape, bool)
    masked = specimen_region(grey, given=given, overlays=boxes)
    assert given.all()
    assert not masked.mask[10:20, 30:60].any()
    assert specimen_region(grey, mode="everything", overlays=boxes[2:]).mask is None
