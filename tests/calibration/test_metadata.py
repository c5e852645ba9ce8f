from pathlib import Path

import numpy as np
import pytest

from surfscan.calibration.metadata import PRINTER_DPI, calibrate, judge
from surfscan.calibration.uncertainty import DECLARED_SCALE_ALLOWANCE
from surfscan.errors import InputError
from surfscan.loaders import ScaleTag


def density(x, unit, y=None, name="TIFF resolution"):
    return ScaleTag(name, "density", x, x if y is None else y, unit, unit)


def size(x, unit="µm", y=None, y_unit=None):
    return ScaleTag("OME physical size", "size", x, x if y is None else y, unit, y_unit or unit)


@pytest.mark.parametrize(("tag", "expected"), [
    (size(250, "nm"), (0.25, 0.25)),
    (size(250, "nm", 0.3, "µm"), (0.25, 0.3)),
    (size(2.5, "Å"), (0.00025, 0.00025)),
    (size(0.001, "mm"), (1, 1)),
    (density(20_000, "cm", 10_000), (0.5, 1)),
    (density(25_400, "inch"), (1, 1)),
    (density(2_000_000, "m", 4_000_000), (0.5, 0.25)),
    (density(100, "cm"), (100, 100)),
    (density(254, "inch"), (100, 100)),
])  # fmt: skip
def test_pixel_size_from_a_tag(tag, expected):
    found, reason = judge(tag)
    assert reason == ""
    np.testing.assert_allclose(found, expected, rtol=1e-12)


@pytest.mark.parametrize("dpi", PRINTER_DPI)
@pytest.mark.parametrize(("unit", "per_inch"), [("inch", 1), ("cm", 2.54), ("m", 0.0254)])
def test_printer_defaults_are_unknown(dpi, unit, per_inch):
    exact = dpi / per_inch
    for value in (exact, round(exact, 2), round(exact), int(exact)):
        calibration, (warning,) = calibrate([density(value, unit)])
        assert calibration is None
        assert f"{value:.6g} x {value:.6g} px/{unit}" in warning and "default" in warning
        assert "--pixel-size-um" in warning and "study.toml" in warning


@pytest.mark.parametrize(("value", "unit"), [
    (2835, "m"), (2834, "m"), (3780, "m"), (3779, "m"), (11811, "m"), (5906, "m"), (7874, "m"), (23622, "m"),
    (118.11, "cm"), (118, "cm"), (28.35, "cm"), (28, "cm"), (236.22, "cm"),
    (72.009, "inch"), (299.9994, "inch"),
])  # fmt: skip
def test_printer_defaults_as_programs_round_them(value, unit):
    assert judge(density(value, unit))[0] is None


@pytest.mark.parametrize(("x", "y"), [(72, 25_400), (25_400, 72)])
def test_one_default_spoils_both_directions(x, y):
    assert calibrate([density(x, "inch", y)])[0] is None


def test_a_physical_size_is_never_a_printer_default():
    assert calibrate([size(25400 / 72)])[0] is not None


@pytest.mark.parametrize(("tag", "reason"), [
    (density(20_000, ""), "no absolute unit"),
    (density(0, "cm"), "not a size above 0"),
    (density(-5, "m"), "not a size above 0"),
    (density(float("nan"), "m"), "not a size above 0"),
    (size(float("inf")), "not a size above 0"),
    (size(0.09, "nm"), "outside 0.1 nm to 1 mm"),
    (size(1.1, "mm"), "outside 0.1 nm to 1 mm"),
    (density(1, "inch"), "outside 0.1 nm to 1 mm"),
    (size(1, "pixel"), "no unit of length"),
    (density(5, "undefined unit 7"), "no unit of length"),
])  # fmt: skip
def test_what_is_no_scale_is_unknown_and_named(tag, reason):
    calibration, (warning,) = calibrate([tag])
    assert calibration is None
    assert reason in warning and str(tag) in warning


@pytest.mark.parametrize("edge", [0.1, 1e6])
def test_plausible_range_is_closed(edge):
    assert calibrate([size(edge, "nm")])[0] is not None


def test_no_tag_no_scale():
    calibration, (warning,) = calibrate([])
    assert calibration is None
    assert "No usable scale" in warning and "--pixel-size-um" in warning


def test_calibration_says_where_it_comes_from_and_how_sure():
    calibration, warnings = calibrate([size(0.5)])
    assert warnings == ()
    assert calibration.origin == "file metadata: OME physical size 0.5 x 0.5 µm"
    assert calibration.relative_uncertainty == DECLARED_SCALE_ALLOWANCE > 0
    assert calibrate([size(0.5)], relative_uncertainty=0.003)[0].relative_uncertainty == 0.003


def test_one_direction_is_read_as_square_with_a_warning():
    tag = ScaleTag("OME physical size", "size", None, 0.5, "µm", "µm")
    calibration, (warning,) = calibrate([tag])
    assert (calibration.pixel_size_x_um, calibration.pixel_size_y_um) == (0.5, 0.5)
    assert "square" in warning


def test_best_usable_tag_counts():
    calibration, warnings = calibrate([size(0.5), density(72, "inch")])
    assert (calibration.pixel_size_x_um, warnings) == (0.5, ())
    calibration, (warning,) = calibrate([size(0), density(20_000, "cm")])
    assert calibration.pixel_size_x_um == 0.5
    assert "OME physical size 0 x 0" in warning and "used instead" in warning


@pytest.mark.parametrize(("per_cm", "warned"), [(20_000, 0), (20_100, 0), (20_300, 1), (10_000, 1)])
def test_two_scales_of_one_file_that_disagree(per_cm, warned):
    calibration, warnings = calibrate([size(0.5), density(per_cm, "cm")])
    assert calibration.pixel_size_x_um == 0.5
    assert len(warnings) == warned


@pytest.mark.parametrize(("stated", "x", "y"), [
    (0.25, 0.25, 0.25),
    ((0.25, 0.5), 0.25, 0.5),
    ([1, 2], 1, 2),
    (np.float32(0.25), 0.25, 0.25),
])  # fmt: skip
def test_stated_size_wins(stated, x, y):
    calibration, _ = calibrate([size(9)], stated)
    assert (calibration.pixel_size_x_um, calibration.pixel_size_y_um) == (x, y)
    assert calibration.origin == "stated pixel size"
    assert calibration.relative_uncertainty == DECLARED_SCALE_ALLOWANCE


@pytest.mark.parametrize(("stated", "warned"), [(0.5, 0), (0.504, 0), (0.51, 1), ((0.5, 0.6), 1)])
def test_stated_against_the_file(stated, warned):
    _, warnings = calibrate([size(0.5)], stated)
    assert len(warnings) == warned
    if warned:
        assert "0.5 x 0.5 µm" in warnings[0] and f"{np.broadcast_to(stated, 2)[1]:g} µm" in warnings[0]


def test_stated_size_over_a_default_is_no_disagreement():
    assert calibrate([density(72, "inch")], 0.5)[1] == ()


@pytest.mark.parametrize(
    "stated", [0, -1, float("nan"), float("inf"), 5000, 1e-5, "0.5", True, (1, 2, 3), (1,), ()]
)
def test_impossible_stated_size(stated):
    with pytest.raises(InputError, match=r"field\.tif: pixel size .*µm"):
        calibrate([], stated, path=Path("field.tif"))


@pytest.mark.parametrize("value", [0, -0.1, 1, float("nan"), "small", True])
def test_impossible_uncertainty(value):
    with pytest.raises(InputError, match="relative uncertainty"):
        calibrate([size(1)], relative_uncertainty=value)


@pytest.mark.parametrize("factor", [0.01, 0.5, 3, 100])
def test_scaling_law(factor):
    """Pixels grow by the factor that the stated size grows by, or the density shrinks by."""
    base = judge(density(3_333, "cm"))[0]
    np.testing.assert_allclose(judge(density(3_333 / factor, "cm"))[0], np.multiply(base, factor))
    np.testing.assert_allclose(judge(size(0.7 * factor))[0], np.multiply(judge(size(0.7))[0], factor))
