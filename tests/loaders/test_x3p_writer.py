import zipfile

import numpy as np
import pytest

from surfscan import open_image
from surfscan.loaders import load
from surfscan.loaders.x3p_writer import write_x3p


@pytest.fixture
def heights():
    """Heights in µm over 37 x 53 points with gaps, in no round numbers."""
    rng = np.random.default_rng(3)
    values = rng.normal(0, 4, (37, 53))
    values[rng.random(values.shape) < 0.02] = np.nan
    return values


@pytest.mark.parametrize(("data_type", "opens", "tolerance"), [
    ("float64", np.float64, 4e-16), ("float32", np.float32, 2e-7),
])  # fmt: skip
def test_floating_point_comes_back(tmp_path, heights, data_type, opens, tolerance):
    """Equal within one rounding of the type: metres and µm differ by a factor that is no power of 2."""
    write_x3p(tmp_path / "a.x3p", heights, (0.5, 0.25), data_type=data_type)
    image = open_image(tmp_path / "a.x3p")
    assert image.heights_um.dtype == opens
    np.testing.assert_allclose(image.heights_um, heights, rtol=tolerance, atol=0)
    assert (image.calibration.pixel_size_x_um, image.calibration.pixel_size_y_um) == (0.5, 0.25)
    assert image.warnings == ()


def test_float32_heights_come_back_bit_by_bit_from_float64(tmp_path, heights):
    write_x3p(tmp_path / "a.x3p", heights.astype(np.float32), 0.5)
    opened = open_image(tmp_path / "a.x3p").heights_um
    np.testing.assert_array_equal(opened.astype(np.float32), heights.astype(np.float32))


@pytest.mark.parametrize(("data_type", "step"), [("int16", 1 / 32767), ("int32", 1 / (2**31 - 1))])
def test_whole_numbers_spread_over_the_range(tmp_path, heights, data_type, step):
    write_x3p(tmp_path / "a.x3p", heights, 0.5, data_type=data_type)
    image = open_image(tmp_path / "a.x3p")
    half = (np.nanmax(heights) - np.nanmin(heights)) / 4 * step
    np.testing.assert_allclose(image.heights_um, heights, rtol=0, atol=half * 1.001 + 1e-14)
    assert image.warnings == ()


@pytest.mark.parametrize(("data_type", "opens"), [("int16", np.float32), ("int32", np.float64)])
def test_multiples_of_a_step_come_back(tmp_path, heights, data_type, opens):
    stepped = np.rint(heights / 0.001) * 0.001
    write_x3p(tmp_path / "a.x3p", stepped, 0.5, data_type=data_type, z_step_um=0.001)
    image = open_image(tmp_path / "a.x3p")
    assert image.heights_um.dtype == opens
    np.testing.assert_allclose(image.heights_um, stepped, rtol=1e-6 if opens == np.float32 else 1e-14)


@pytest.mark.parametrize("data_type", ["float64", "float32", "int32", "int16"])
@pytest.mark.parametrize("value", [0.0, -3.25])
def test_a_flat_surface(tmp_path, data_type, value):
    write_x3p(tmp_path / "a.x3p", np.full((20, 20), value), 1, data_type=data_type)
    image = open_image(tmp_path / "a.x3p")
    np.testing.assert_allclose(image.heights_um, value, rtol=1e-6)
    assert image.warnings == ()


def test_without_mask(tmp_path, heights):
    write_x3p(tmp_path / "a.x3p", heights, 0.5, mask=False)
    with zipfile.ZipFile(tmp_path / "a.x3p") as file:
        assert "bindata/valid.bin" not in file.namelist()
    np.testing.assert_array_equal(np.isnan(open_image(tmp_path / "a.x3p").heights_um), np.isnan(heights))
    with pytest.raises(ValueError, match="int16 cannot mark unmeasured heights"):
        write_x3p(tmp_path / "a.x3p", heights, 0.5, data_type="int16", mask=False)


def test_layers(tmp_path, heights):
    write_x3p(tmp_path / "a.x3p", np.stack([heights, heights[::-1]]), 0.5)
    np.testing.assert_array_equal(
        load(tmp_path / "a.x3p", 0).pixels, load(tmp_path / "a.x3p", 1).pixels[::-1]
    )
    np.testing.assert_allclose(open_image(tmp_path / "a.x3p", page=1).heights_um, heights[::-1], rtol=4e-16)


def test_the_same_bytes_for_the_same_input(tmp_path, heights):
    for name in "ab":
        write_x3p(tmp_path / name, heights, 0.5)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
    with zipfile.ZipFile(tmp_path / "a") as file:
        assert {info.date_time for info in file.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_texts_are_kept_from_breaking_the_record(tmp_path, heights):
    comment = 'tilt < 2° & "quoted" {x} </Comment>'
    write_x3p(tmp_path / "a.x3p", heights, 0.5, creator="A & B", comment=comment, date="2020-01-01")
    assert open_image(tmp_path / "a.x3p").warnings == ()
    with zipfile.ZipFile(tmp_path / "a.x3p") as file:
        text = file.read("main.xml").decode()
    assert "tilt &lt; 2° &amp;" in text and "<Date>2020-01-01</Date>" in text and "A &amp; B" in text


@pytest.mark.parametrize(("change", "fault"), [
    ({"heights_um": np.zeros(4)}, "2 or 3 dimensions"),
    ({"heights_um": np.zeros((0, 4))}, "filled array"),
    ({"heights_um": np.zeros((2, 2), complex)}, "filled array"),
    ({"heights_um": np.full((2, 2), np.nan)}, "some must be finite"),
    ({"heights_um": np.array([[0, np.inf]])}, "must be finite"),
    ({"pixel_size_um": 0}, "pixel size"),
    ({"pixel_size_um": (1, float("nan"))}, "pixel size"),
    ({"data_type": "int8"}, "data_type 'int8' is unknown"),
    ({"z_step_um": 0.1}, "for whole number types"),
    ({"data_type": "int16", "z_step_um": 0.0}, "z_step_um must be"),
    ({"data_type": "int16", "z_step_um": 1e-5}, "do not fit into int16"),
    ({"comment": "bell \a"}, "characters that XML cannot hold"),
    ({"creator": "\ud800"}, "characters that XML cannot hold"),
])  # fmt: skip
def test_what_cannot_be_written(tmp_path, change, fault):
    arguments = {"heights_um": np.eye(2), "pixel_size_um": 1.0} | change
    with pytest.raises(ValueError, match=fault):
        write_x3p(tmp_path / "a.x3p", **arguments)
    assert not (tmp_path / "a.x3p").exists()
