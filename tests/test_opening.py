import hashlib

import cv2
import numpy as np
import pytest
import tifffile

import surfscan
from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph
from surfscan.opening import open_image, open_mask

SCALED = {"resolution": (20_000, 20_000), "resolutionunit": "CENTIMETER"}


@pytest.fixture
def grey():
    return np.arange(20 * 30, dtype=np.uint16).reshape(20, 30)


def test_a_scaled_file_opens_without_a_word(tmp_path, grey):
    path = tmp_path / "a.tif"
    tifffile.imwrite(path, grey, **SCALED)
    image = surfscan.open_image(str(path))
    assert isinstance(image, Micrograph) and image.warnings == ()
    np.testing.assert_array_equal(image.pixels, grey)
    assert image.calibration.pixel_size_x_um == 0.5
    assert image.source.as_dict() == {
        "path": str(path),
        "sha256": hashlib.sha256(path.read_bytes()).hexdigest(),
        "page": None,
        "file_format": "TIFF",
    }


def test_unknown_scale_is_none_not_one(tmp_path, grey):
    cv2.imwrite(str(tmp_path / "a.png"), grey)
    image = open_image(tmp_path / "a.png")
    assert image.calibration is None
    assert "No usable scale" in image.warnings[0]
    image = open_image(tmp_path / "a.png", pixel_size_um=(0.5, 0.25), pixel_size_relative_uncertainty=0.002)
    assert image.calibration.as_dict() == {
        "pixel_size_x_um": 0.5,
        "pixel_size_y_um": 0.25,
        "relative_uncertainty": 0.002,
        "origin": "stated pixel size",
    }
    assert image.warnings == ()


def test_page_is_reported(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", np.stack([grey, grey + 1]), **SCALED)
    image = open_image(tmp_path / "a.tif", page=1)
    assert image.source.page == 1 and image.pixels[0, 0] == 1
    with pytest.raises(InputError, match="2 pages"):
        open_image(tmp_path / "a.tif")


@pytest.mark.parametrize(("dtype", "opened", "words"), [
    (np.uint8, np.uint8, ""),
    (np.uint16, np.uint16, ""),
    (np.int8, np.float32, "int8 are held as float32"),
    (np.int16, np.float32, "int16 are held as float32"),
    (np.uint32, np.float32, "values are kept"),
    (np.int32, np.float32, "values are kept"),
    (np.uint64, np.float32, "values are kept"),
])  # fmt: skip
def test_whole_number_types_keep_their_values(tmp_path, dtype, opened, words):
    pixels = np.arange(400).reshape(20, 20).clip(0, 120).astype(dtype)
    tifffile.imwrite(tmp_path / "a.tif", pixels, **SCALED)
    image = open_image(tmp_path / "a.tif")
    assert image.pixels.dtype == opened
    np.testing.assert_array_equal(image.pixels, pixels)
    assert words in " ".join(image.warnings) and bool(words) == bool(image.warnings)


def test_rounding_of_large_whole_numbers_is_told(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.full((20, 20), 2**24 + 1, np.uint32), **SCALED)
    assert "rounded" in " ".join(open_image(tmp_path / "a.tif").warnings)


@pytest.mark.parametrize(("dtype", "opened"), [
    (np.float16, np.float32),
    (np.float32, np.float32),
    (np.float64, np.float64),
])  # fmt: skip
def test_float_is_heights_unless_told(tmp_path, grey, dtype, opened):
    heights = (grey / 8).astype(dtype)
    tifffile.imwrite(tmp_path / "a.tif", heights, **SCALED)
    image = open_image(tmp_path / "a.tif")
    assert isinstance(image, HeightMap) and image.heights_um.dtype == opened
    np.testing.assert_array_equal(image.heights_um, heights)
    image = open_image(tmp_path / "a.tif", kind="micrograph")
    assert isinstance(image, Micrograph) and image.pixels.dtype == np.float32
    np.testing.assert_array_equal(image.pixels, heights)
    assert "are taken as brightness" in image.warnings[-1]


def test_whole_numbers_may_be_stated_to_be_heights(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", grey, **SCALED)
    image = open_image(tmp_path / "a.tif", kind="heightmap")
    assert isinstance(image, HeightMap)
    np.testing.assert_array_equal(image.heights_um, grey)
    assert "heights in µm" in image.warnings[0]


def test_colour_of_equal_channels_is_grey(tmp_path, grey):
    """A grey picture stored as RGB opens as grey; one pixel of colour keeps it colour."""
    colour = np.dstack([grey] * 3)
    tifffile.imwrite(tmp_path / "grey.tif", colour, photometric="rgb")
    assert np.array_equal(open_image(tmp_path / "grey.tif").pixels, grey)
    colour[0, 0, 2] ^= 1
    tifffile.imwrite(tmp_path / "colour.tif", colour, photometric="rgb")
    assert np.array_equal(open_image(tmp_path / "colour.tif").pixels, colour)


def test_colour_is_no_height_map(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.zeros((20, 20, 3), np.float32), photometric="rgb")
    with pytest.raises(InputError, match="colour"):
        open_image(tmp_path / "a.tif", kind="heightmap")


@pytest.mark.parametrize("kind", ["micrograph", "heightmap"])
def test_missing_values(tmp_path, grey, kind):
    values = grey.astype(np.float32)
    values[0, :3] = np.nan, np.inf, -np.inf
    tifffile.imwrite(tmp_path / "a.tif", values, **SCALED)
    image = open_image(tmp_path / "a.tif", kind=kind)
    opened = image.pixels if kind == "micrograph" else image.heights_um
    assert np.isnan(opened[0, :3]).all() and np.isfinite(opened).sum() == 597
    assert image.warnings[0] == "2 infinite values are treated as not recorded."
    gaps = "3 of 600 values are not recorded (not a number)."
    assert (gaps in image.warnings) is (kind == "micrograph")  # a height map has gaps as a matter of course


@pytest.mark.parametrize("kind", ["micrograph", "heightmap"])
def test_signalling_missing_values_become_quiet(tmp_path, grey, kind):
    """Some programs mark a missing value by a signalling not-a-number, over which fmin does not pass."""
    values = grey.astype(np.float32)
    values.view(np.uint32)[0, 0] = 0x7F8007A2
    tifffile.imwrite(tmp_path / "a.tif", values, **SCALED)
    image = open_image(tmp_path / "a.tif", kind=kind)
    opened = image.pixels if kind == "micrograph" else image.heights_um
    assert np.isnan(opened[0, 0]) and opened.view(np.uint32)[0, 0] & 0x400000
    assert np.fmin.reduce(opened, axis=None) == 1


@pytest.mark.parametrize("kind", ["micrograph", "heightmap"])
def test_no_number_at_all(tmp_path, kind):
    tifffile.imwrite(tmp_path / "a.tif", np.full((20, 20), np.nan, np.float32))
    with pytest.raises(InputError, match="no pixel holds a number"):
        open_image(tmp_path / "a.tif", kind=kind)


def test_float64_beyond_float32(tmp_path):
    values = np.linspace(0, 1, 400).reshape(20, 20)
    values[0, 0] = 1e300
    tifffile.imwrite(tmp_path / "a.tif", values, **SCALED)
    image = open_image(tmp_path / "a.tif", kind="micrograph")
    assert np.isnan(image.pixels[0, 0]) and "infinite" in image.warnings[0]


def test_one_pixel_opens_with_a_warning(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.array([[7]], np.uint8), **SCALED)
    image = open_image(tmp_path / "a.tif")
    assert image.shape == (1, 1)
    assert "only 1 x 1 px" in image.warnings[0]


def test_all_black_opens(tmp_path):
    tifffile.imwrite(tmp_path / "a.tif", np.zeros((20, 20), np.uint8), **SCALED)
    image = open_image(tmp_path / "a.tif")
    assert image.warnings == () and not image.pixels.any()


def test_60000_pixels_wide(tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), np.tile(np.arange(60_000, dtype=np.uint16), (64, 1)))
    assert open_image(tmp_path / "a.png").shape == (64, 60_000)


def test_unknown_kind(tmp_path):
    with pytest.raises(InputError, match="kind 'photo' is unknown"):
        open_image(tmp_path / "a.tif", kind="photo")


def test_missing_file(tmp_path):
    with pytest.raises(InputError, match=r"a\.tif: there is no such file"):
        open_image(tmp_path / "a.tif")


@pytest.mark.parametrize("name", ["m.png", "m.bmp", "m.tif"])
def test_mask_any_value_but_0_is_inside(tmp_path, name):
    drawn = np.array([[0, 1, 255], [128, 0, 2]], np.uint8)
    cv2.imwrite(str(tmp_path / name), drawn)
    mask = open_mask(tmp_path / name, (2, 3))
    assert mask.dtype == bool
    np.testing.assert_array_equal(mask, drawn > 0)


def test_mask_of_other_kinds(tmp_path):
    labels = np.array([[0, 70_000], [-1, 0]], np.int32)
    tifffile.imwrite(tmp_path / "labels.tif", labels, compression="zlib")
    np.testing.assert_array_equal(open_mask(tmp_path / "labels.tif", (2, 2)), labels != 0)
    tifffile.imwrite(tmp_path / "bits.tif", labels != 0)
    np.testing.assert_array_equal(open_mask(tmp_path / "bits.tif", (2, 2)), labels != 0)
    floats = np.array([[0, 0.5], [np.nan, 0]], np.float32)
    tifffile.imwrite(tmp_path / "floats.tif", floats)
    np.testing.assert_array_equal(open_mask(tmp_path / "floats.tif", (2, 2)), [[False, True], [False, False]])
    colour = np.zeros((2, 2, 3), np.uint8)
    colour[0, 1, 2] = 9
    cv2.imwrite(str(tmp_path / "colour.png"), colour)
    np.testing.assert_array_equal(open_mask(tmp_path / "colour.png", (2, 2)), [[False, True], [False, False]])


def test_mask_of_the_wrong_size_names_both(tmp_path):
    cv2.imwrite(str(tmp_path / "m.png"), np.zeros((2, 3), np.uint8))
    with pytest.raises(InputError, match=r"2 x 3 px.*40 x 60 px"):
        open_mask(tmp_path / "m.png", (40, 60))


def test_mask_with_loss_is_refused(tmp_path):
    cv2.imwrite(str(tmp_path / "m.jpg"), np.zeros((16, 16), np.uint8))
    with pytest.raises(InputError, match="with loss"):
        open_mask(tmp_path / "m.jpg", (16, 16))


@pytest.mark.parametrize(("dtype", "opened"), [
    (np.float16, np.float32), (np.float32, np.float32), (np.float64, np.float64),
    (np.int16, np.float32), (np.uint8, np.float32), (np.int32, np.float64),
])  # fmt: skip
def test_a_stated_height_unit(tmp_path, dtype, opened):
    """nm come out in µm, multiplied in float64 and rounded once."""
    stored = np.arange(400).reshape(20, 20).clip(0, 120).astype(dtype)
    tifffile.imwrite(tmp_path / "a.tif", stored, **SCALED)
    image = open_image(tmp_path / "a.tif", kind="heightmap", height_unit="nm")
    assert image.heights_um.dtype == opened
    np.testing.assert_array_equal(image.heights_um, (stored.astype(np.float64) * 1e-3).astype(opened))
    whole = [f"Whole numbers ({np.dtype(dtype)}) are taken as heights in nm."]
    assert list(image.warnings) == (whole if np.dtype(dtype).kind in "iu" else [])


@pytest.mark.parametrize("ome", [False, True])
def test_float_tiff_is_in_micrometres_by_convention(tmp_path, ome):
    """OME's own units are about the lateral scale and the stack, never about pixel values."""
    heights = np.linspace(-3, 5, 400, dtype=np.float32).reshape(20, 20)
    if ome:
        metadata = {f"PhysicalSize{a}": 500 for a in "XYZ"} | {f"PhysicalSize{a}Unit": "nm" for a in "XYZ"}
        tifffile.imwrite(tmp_path / "a.ome.tif", heights, ome=True, metadata={"axes": "YX", **metadata})
    else:
        tifffile.imwrite(tmp_path / "a.ome.tif", heights, description="unit=nm", **SCALED)
    image = open_image(tmp_path / "a.ome.tif")
    np.testing.assert_array_equal(image.heights_um, heights)
    assert image.calibration.pixel_size_x_um == 0.5 and image.warnings == ()
    image = open_image(tmp_path / "a.ome.tif", height_unit="mm")
    np.testing.assert_array_equal(image.heights_um, heights * np.float32(1000))
    assert "check their unit" in image.warnings[0]


def test_a_height_unit_is_for_heights(tmp_path, grey):
    tifffile.imwrite(tmp_path / "a.tif", grey, **SCALED)
    with pytest.raises(InputError, match="taken as a micrograph"):
        open_image(tmp_path / "a.tif", height_unit="nm")
    with pytest.raises(InputError, match="no unit of length"):
        open_image(tmp_path / "a.tif", kind="heightmap", height_unit="V")


@pytest.fixture(scope="module")
def barred(draw_bar):
    ground = np.random.default_rng(8).normal(130, 12, (400, 600)).clip(0, 255).astype(np.uint8)
    return draw_bar(ground, "50 µm", row=300, col=60, length=200)


def test_a_scale_bar_gives_the_scale_that_the_file_lacks(tmp_path, barred):
    tifffile.imwrite(tmp_path / "a.tif", barred)
    opened = open_image(tmp_path / "a.tif")
    assert opened.calibration.pixel_size_x_um == pytest.approx(0.25, rel=1e-3)
    assert opened.calibration.origin == "scale bar '50 µm'"
    assert opened.warnings == ()
    row0, row1, col0, col1 = opened.overlays[0]
    assert row0 <= 300 < 304 <= row1 and col0 <= 60 < 260 <= col1


def test_a_bar_is_not_looked_for_where_told(tmp_path, barred):
    tifffile.imwrite(tmp_path / "a.tif", barred)
    opened = open_image(tmp_path / "a.tif", read_bar=False)
    assert opened.calibration is None
    assert opened.overlays == ()
    assert any("No usable scale" in warning for warning in opened.warnings)


def test_a_stated_scale_wins_over_the_bar_and_a_contradiction_is_told(tmp_path, barred):
    tifffile.imwrite(tmp_path / "a.tif", barred)
    agreeing = open_image(tmp_path / "a.tif", pixel_size_um=0.251)
    assert agreeing.calibration.pixel_size_x_um == 0.251
    assert agreeing.warnings == ()
    assert agreeing.overlays
    differing = open_image(tmp_path / "a.tif", pixel_size_um=1.0)
    assert differing.calibration.pixel_size_x_um == 1.0
    assert any("-75.0 %" in warning for warning in differing.warnings)


def test_a_bar_without_label_is_offered(tmp_path, draw_bar):
    ground = np.random.default_rng(8).normal(130, 12, (400, 600)).clip(0, 255).astype(np.uint8)
    tifffile.imwrite(tmp_path / "a.tif", draw_bar(ground, "", row=300, col=60, length=200))
    opened = open_image(tmp_path / "a.tif")
    assert opened.calibration is None
    assert any("200.0 px" in warning and "--label" in warning for warning in opened.warnings)
