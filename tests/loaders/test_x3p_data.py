import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders import load


@pytest.fixture
def opened(pack_x3p, x3p_record, linked):
    """Load a file of the given bytes of points and mask."""

    def load_points(points, mask=None, *, md5=None, mask_md5=None, **parts):
        link, members = linked(points, mask, points_md5=md5, mask_md5=mask_md5)
        return load(pack_x3p(x3p_record(points=link, **parts), members))

    return load_points


def matrix(cols, rows, layers=1):
    return (
        f"<MatrixDimension><SizeX>{cols}</SizeX><SizeY>{rows}</SizeY><SizeZ>{layers}</SizeZ>"
        "</MatrixDimension>"
    )


SIX = np.array([[1, 2, 3], [4, 5, 6]])


@pytest.mark.parametrize(("letter", "dtype", "opens"), [
    ("I", "<i2", np.float32), ("L", "<i4", np.float64), ("F", "<f4", np.float32), ("D", "<f8", np.float64),
])  # fmt: skip
def test_number_types_with_increment(opened, x3p_record, letter, dtype, opens):
    image = opened(SIX.astype(dtype).tobytes(), z=x3p_record.axis("A", letter, "2e-6"))
    assert image.pixels.dtype == opens and image.warnings == ()
    np.testing.assert_array_equal(image.pixels, (SIX * 2e-6).astype(opens))


@pytest.mark.parametrize(("letter", "dtype"), [("I", "<i2"), ("F", "<f4")])
def test_an_offset_is_not_allowed_to_cost_digits(opened, x3p_record, letter, dtype):
    """A stage at 50 mm and steps of 1 nm: float32 would round to 4 nm."""
    image = opened(SIX.astype(dtype).tobytes(), z=x3p_record.axis("A", letter, "1e-9", "0.05"))
    np.testing.assert_allclose(image.pixels - 0.05, SIX * 1e-9, rtol=1e-6)


@pytest.mark.parametrize(("increment", "offset"), [("1", "0"), (None, None)])
def test_floating_point_comes_as_it_is(opened, x3p_record, increment, offset):
    values = np.array([[1e-6, np.nan, -0.0], [3e300, 4e-310, 5]])
    image = opened(values.tobytes(), z=x3p_record.axis("A", "D", increment, offset))
    assert image.pixels.tobytes() == values.tobytes()


@pytest.mark.parametrize(("stored", "increment", "taken"), [
    (SIX * 1e-7, "1e-6", 1e-7),  # metres already: an increment would leave less than an atom
    (SIX * 1.0, "1e-6", 1e-6),  # µm, by the increment
    (SIX * 1e-7, "1e-3", 1e-10),  # small, but not absurd
    (SIX * 1e-2, "1e-12", 1e-14),  # absurd either way: the rule of the format holds
])  # fmt: skip
def test_increment_of_floating_point_heights(opened, x3p_record, stored, increment, taken):
    image = opened(stored.tobytes(), z=x3p_record.axis("A", "D", increment))
    np.testing.assert_allclose(image.pixels, SIX * taken, rtol=1e-12)
    assert bool(image.warnings) == (taken == 1e-7)
    assert not image.warnings or "taken as metres by themselves" in image.warnings[0]


def test_x_runs_fastest_in_rows_of_size_x(opened):
    image = opened(np.arange(12.0).tobytes(), size=matrix(4, 3))
    np.testing.assert_array_equal(image.pixels, np.arange(12).reshape(3, 4))


def test_absolute_axes_stand_before_the_height(opened, x3p_record):
    """x in 16-bit steps, y in float32, z in float64: 14 bytes a point."""
    points = np.zeros(6, [("x", "<i2"), ("y", "<f4"), ("z", "<f8")])
    points["x"], points["y"], points["z"] = [5, 6, 7] * 2, np.repeat([1e-6, 3e-6], 3), SIX.ravel()
    axis = x3p_record.axis
    image = opened(points.tobytes(), x=axis("A", "I", "2e-7", "0.1"), y=axis("A", "F", "1", "9"))
    np.testing.assert_array_equal(image.pixels, SIX)
    assert (image.scale_tags[0].x, image.scale_tags[0].y) == pytest.approx((2e-7, 2e-6), rel=1e-6)


def bits(measured, order, fill):
    padded = np.full(-(-len(measured) // 8) * 8, fill, bool)
    padded[: len(measured)] = measured
    return np.packbits(padded, bitorder=order).tobytes()


def holed(dtype, blank):
    """A 5 x 5 map with four unmeasured points, and which those are."""
    values = np.arange(1, 26).astype(dtype)
    measured = np.ones(25, bool)
    measured[[0, 9, 10, 22]] = False
    values[~measured] = blank
    return values, measured


@pytest.mark.parametrize("fill", [0, 1])
@pytest.mark.parametrize(("letter", "dtype", "blank"), [
    ("D", "<f8", np.nan), ("F", "<f4", 0), ("I", "<i2", 0), ("L", "<i4", -(2**31)),
])  # fmt: skip
def test_either_order_of_mask_bits(opened, x3p_record, letter, dtype, blank, fill):
    values, measured = holed(dtype, blank)
    parts = {"size": matrix(5, 5), "z": x3p_record.axis("A", letter, "1")}
    usual = opened(values.tobytes(), bits(measured, "little", fill), **parts)
    turned = opened(values.tobytes(), bits(measured, "big", fill), **parts)
    np.testing.assert_array_equal(np.isfinite(usual.pixels).ravel(), measured)
    np.testing.assert_array_equal(turned.pixels, usual.pixels)
    assert usual.warnings == () and "most significant first" in turned.warnings[0]


def test_a_mask_over_real_values_is_believed(opened):
    """Masked by hand: neither order marks blanks, so that the usual one holds."""
    values, measured = np.arange(1.0, 26), holed("<f8", 0)[1]
    image = opened(values.tobytes(), bits(measured, "little", 1), size=matrix(5, 5))
    np.testing.assert_array_equal(np.isfinite(image.pixels).ravel(), measured)
    assert image.warnings == ()


def test_nothing_measured(opened):
    with pytest.raises(InputError, match="no point was measured"):
        opened(SIX.astype(float).tobytes(), b"\x00")


@pytest.mark.parametrize(("points", "mask", "fault"), [
    (bytes(47), None, "holds 47 bytes; the record describes 6 items of 8 bytes"),
    (bytes(49), None, "holds 49 bytes"),
    (b"", None, "holds 0 bytes"),
    (bytes(48), b"", "valid.bin holds 0 bytes"),
    (bytes(48), b"\xff\xff", "valid.bin holds 2 bytes"),
])  # fmt: skip
def test_sizes_must_be_those_described(opened, points, mask, fault):
    with pytest.raises(InputError, match=fault):
        opened(points, mask)


def test_checksums_of_the_data(opened):
    with pytest.raises(InputError, match=r"checksum of bindata/data\.bin"):
        opened(bytes(48), md5="1" * 32)
    with pytest.raises(InputError, match=r"checksum of bindata/valid\.bin"):
        opened(bytes(48), b"\xff", mask_md5="1" * 32)
    assert "no checksum of bindata/data.bin" in opened(bytes(48), md5="").warnings[0]
    upper = "DF0D19E3DD8B4EF4CCB87A7D4A3CC1A7"
    with pytest.raises(InputError, match=upper.lower()):
        opened(bytes(48), md5=upper)


def listed(*points):
    return f"<DataList>{''.join(f'<Datum>{p}</Datum>' if p else '<Datum/>' for p in points)}</DataList>"


def test_a_data_list(pack_x3p, x3p_record):
    image = load(pack_x3p(x3p_record(points=listed("1e-6", "", "3E-6", "-4e-6", " 5e-6 ", "INF"))))
    np.testing.assert_array_equal(image.pixels, [[1e-6, np.nan, 3e-6], [-4e-6, 5e-6, np.inf]])


def test_a_data_list_of_whole_numbers(pack_x3p, x3p_record):
    data = listed("1", "2", "", "4", "5", "6")
    image = load(pack_x3p(x3p_record(points=data, z=x3p_record.axis("A", "I", "1e-3", "-0.5"))))
    np.testing.assert_allclose(image.pixels, SIX * 1e-3 - 0.5 + [[0, 0, np.nan], [0, 0, 0]], rtol=1e-12)


@pytest.mark.parametrize(("points", "fault"), [
    (["1"] * 5, "holds 5 points instead of 6"),
    (["1"] * 7, "holds 7 points instead of 6"),
    (["1"] * 5 + ["1;2"], "point 5 of the data list is '1;2'; needed are 1 numbers"),
    (["1"] * 5 + ["a" * 500], "point 5"),
])  # fmt: skip
def test_data_lists_that_do_not_fit(pack_x3p, x3p_record, points, fault):
    with pytest.raises(InputError, match=fault) as caught:
        load(pack_x3p(x3p_record(points=listed(*points))))
    assert len(str(caught.value)) < 400
