from datetime import datetime

import numpy as np
import pytest

from surfscan import open_image
from surfscan.loaders.sdf import read_sdf
from surfscan.loaders.sdf_writer import write_sdf

FORMS = ["ascii", "binary"]


@pytest.fixture
def heights():
    rng = np.random.default_rng(8)
    heights = rng.normal(0, 12, (40, 25))
    heights[rng.random(heights.shape) < 0.1] = np.nan
    return heights


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("version", ["ISO", "older"])
def test_floats_come_back_to_the_last_place(tmp_path, heights, form, version):
    path = tmp_path / "a.sdf"
    write_sdf(path, heights, (0.5, 0.25), form=form, version=version)
    opened = open_image(path)
    assert opened.heights_um.dtype == np.float64
    np.testing.assert_array_equal(np.isnan(opened.heights_um), np.isnan(heights))
    off = np.abs(opened.heights_um - heights) / np.spacing(np.abs(heights))
    assert np.nanmax(off) <= 1
    assert (opened.calibration.pixel_size_x_um, opened.calibration.pixel_size_y_um) == (0.5, 0.25)
    expected = {"ISO": "ISO-1.0", "older": "BCR-1.0"}[version]
    assert path.read_bytes()[:8].decode() == f"{form[0]}{expected}"


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize(("data_type", "rtol"), [("int32", 4e-16), ("int16", 1.2e-7)])
def test_whole_steps_come_back_exactly(tmp_path, form, data_type, rtol):
    rng = np.random.default_rng(9)
    steps = rng.integers(-32767, 32768, (30, 20))
    gaps = rng.random(steps.shape) < 0.1
    heights = np.where(gaps, np.nan, steps * 0.005)
    path = tmp_path / "a.sdf"
    write_sdf(path, heights, 1.25, form=form, data_type=data_type, z_step_um=0.005)
    back = open_image(path).heights_um.astype(np.float64)
    np.testing.assert_array_equal(np.isnan(back), gaps)
    np.testing.assert_array_equal(np.rint(back[~gaps] / 0.005), steps[~gaps])
    np.testing.assert_allclose(back, heights, rtol=rtol)


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("data_type", ["int32", "int16"])
@pytest.mark.parametrize("scale", [1e-6, 0.032767, 1.0, 3.3e4])
def test_a_step_is_chosen_and_rounding_is_half_of_it(tmp_path, heights, form, data_type, scale):
    path = tmp_path / "a.sdf"
    write_sdf(path, heights * scale, 1.0, form=form, data_type=data_type)
    content = read_sdf(path)
    step = content.header.z_scale
    assert np.nanmax(np.abs(heights * scale)) / 1e6 / step <= np.iinfo(data_type).max
    assert np.nanmax(np.abs(heights * scale)) / 1e6 / step > np.iinfo(data_type).max / 2.6
    tolerance = 0.5 * step * (1 + 1e-6) + np.nanmax(np.abs(heights)) * scale * 1e-6 * 1.2e-7
    assert np.nanmax(np.abs(content.heights_m - heights * scale / 1e6)) <= tolerance


def test_flat_and_wholly_unmeasured(tmp_path):
    path = tmp_path / "a.sdf"
    for data_type in ("float64", "int32", "int16"):
        write_sdf(path, np.zeros((3, 4)), 1.0, data_type=data_type, form="binary")
        np.testing.assert_array_equal(read_sdf(path).heights_m, np.zeros((3, 4)))
        write_sdf(path, np.full((3, 4), np.nan), 1.0, data_type=data_type, form="binary")
        assert np.isnan(read_sdf(path).heights_m).all()


@pytest.mark.parametrize("form", FORMS)
def test_trailer_and_date(tmp_path, heights, form):
    a, b = tmp_path / "a.sdf", tmp_path / "b.sdf"
    write_sdf(a, heights, 1.0, form=form, trailer="Part = plate 7", created=datetime(2025, 3, 4, 15, 6))
    assert read_sdf(a).trailer == "Part = plate 7"
    assert b"040320251506" in a.read_bytes()
    write_sdf(a, heights, 1.0, form=form)
    write_sdf(b, heights, 1.0, form=form)
    assert a.read_bytes() == b.read_bytes()
    assert b"010119700000" in a.read_bytes()
    assert read_sdf(a).trailer == ""


def test_any_number_type_and_row_order(tmp_path):
    path = tmp_path / "a.sdf"
    for kind in (np.float32, np.int16, np.uint8):
        write_sdf(path, np.arange(12).reshape(3, 4).astype(kind)[::-1], 1.0)
        np.testing.assert_array_equal(
            open_image(path).heights_um, np.arange(12).reshape(3, 4)[::-1].astype(float)
        )


@pytest.mark.parametrize(("arguments", "fault"), [
    ({"heights_um": np.zeros(5)}, "2-D array"),
    ({"heights_um": np.zeros((0, 5))}, "2-D array"),
    ({"heights_um": np.array([["a"]])}, "2-D array"),
    ({"heights_um": np.array([[1.0, np.inf]])}, "infinite"),
    ({"pixel_size_um": 0.0}, "pixel_size_um"),
    ({"pixel_size_um": (1.0, np.nan)}, "pixel_size_um"),
    ({"pixel_size_um": (1.0, 1.0, 1.0)}, "pixel_size_um"),
    ({"pixel_size_um": 1e-310}, "too small"),
    ({"form": "xml"}, "form must be one of ascii, binary"),
    ({"data_type": "uint8"}, "data_type must be"),
    ({"version": "1"}, "version must be"),
    ({"trailer": "a * b"}, "asterisk"),
    ({"heights_um": np.zeros((1, 70_000)), "form": "binary"}, "16-bit counts"),
    ({"data_type": "int16", "z_step_um": 0.0}, "z_step_um"),
    ({"data_type": "int16", "z_step_um": 0.5, "heights_um": np.array([[0.75]])}, "off whole steps"),
    ({"data_type": "int16", "z_step_um": 0.5, "heights_um": np.array([[16384.0]])}, "do not fit int16"),
    ({"data_type": "int16", "z_step_um": 0.5, "heights_um": np.array([[-16384.0]])}, "do not fit int16"),
    ({"data_type": "int32", "z_step_um": 1e-9, "heights_um": np.array([[1e300]])}, "do not fit int32"),
])  # fmt: skip
def test_what_is_refused(tmp_path, arguments, fault):
    path = tmp_path / "a.sdf"
    with pytest.raises(ValueError, match=fault):
        write_sdf(path, **{"heights_um": np.ones((3, 4)), "pixel_size_um": 1.0, **arguments})
    assert not path.exists()
