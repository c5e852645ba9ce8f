import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders import load
from surfscan.loaders.x3p_matrix import evenly_spaced


def test_even_columns():
    row = np.tile(np.arange(6) * -0.25 + 3, (4, 1))
    assert evenly_spaced(row) == pytest.approx(0.25)
    row[1, 2] = np.nan
    row[:, 4] = np.nan
    assert evenly_spaced(row) == pytest.approx(0.25)
    assert evenly_spaced(row + 0.01) == pytest.approx(0.25)


@pytest.mark.parametrize("values", [
    np.zeros((3, 4)), [[0, 1, 2, 3.2]], [[0, 1], [0, 1.3]], [[1, np.nan]], [[np.nan, np.nan]],
    [[0, 1e308, -1e308]], np.arange(12).reshape(3, 4),
])  # fmt: skip
def test_columns_that_are_not_even(values):
    assert evenly_spaced(np.array(values, float)) is None


ROWS, COLS = 4, 3
SIZE = f"<MatrixDimension><SizeX>{COLS}</SizeX><SizeY>{ROWS}</SizeY></MatrixDimension>"
HEIGHTS = np.arange(1.0, 1 + ROWS * COLS).reshape(ROWS, COLS)


@pytest.fixture
def opened(pack_x3p, x3p_record, linked):
    """Load points with absolute coordinates (float64); an axis that is None is incremental."""

    def load_points(x, y, heights=HEIGHTS, size=SIZE):
        columns = [np.ravel(v) for v in (x, y, heights) if v is not None]
        link, members = linked(np.column_stack(columns).astype("<f8").tobytes())
        axis = x3p_record.axis
        parts = {n: axis("A", "D", "1") for n, v in (("x", x), ("y", y)) if v is not None}
        return load(pack_x3p(x3p_record(points=link, size=size, **parts), members))

    return load_points


def coordinates():
    row, col = np.mgrid[:ROWS, :COLS]
    return 5 + col * 2e-6, row * 3e-6


def pitch(image):
    return image.scale_tags[0].x, image.scale_tags[0].y


def test_coordinates_of_an_even_grid(opened):
    x, y = coordinates()
    for xs, ys, expected in ((x, y, (2e-6, 3e-6)), (x, None, (2e-6, 1e-6)), (None, y, (1e-6, 3e-6))):
        image = opened(xs, ys)
        np.testing.assert_array_equal(image.pixels, HEIGHTS)
        assert pitch(image) == pytest.approx(expected, rel=1e-9) and image.warnings == ()


def test_points_written_y_fastest_are_turned_round(opened):
    x, y = coordinates()
    image = opened(x.T, y.T, HEIGHTS.T)
    np.testing.assert_array_equal(image.pixels, HEIGHTS)
    assert pitch(image) == pytest.approx((2e-6, 3e-6), rel=1e-9)
    assert "y fastest" in image.warnings[0]
    image = opened(None, y.T, HEIGHTS.T)
    np.testing.assert_array_equal(image.pixels, HEIGHTS)


def test_coordinates_of_unmeasured_points_do_not_count(opened):
    x, y = coordinates()
    heights = HEIGHTS.copy()
    x[1, 1] = y[1, 1] = 0
    heights[1, 1] = np.nan
    image = opened(x, y, heights)
    assert pitch(image) == pytest.approx((2e-6, 3e-6), rel=1e-9)
    np.testing.assert_array_equal(image.pixels, heights)


def test_one_row_has_no_pitch_across(opened):
    x = np.arange(5) * 1e-6
    size = "<MatrixDimension><SizeX>5</SizeX><SizeY>1</SizeY></MatrixDimension>"
    image = opened(x, np.zeros(5), np.arange(5.0), size)
    assert image.pixels.shape == (1, 5) and image.scale_tags[0].y is None


@pytest.mark.parametrize("spoil", ["x", "y", "both", "huge"])
def test_coordinates_that_are_not_even(opened, spoil):
    x, y = coordinates()
    if spoil in ("x", "both"):
        x[0, 0] -= 1e-6
    if spoil in ("y", "both"):
        y = y**2
    if spoil == "huge":
        x[0, 0] = 1.7e308
    with pytest.raises(InputError, match="not those of an even grid"):
        opened(x, y)
