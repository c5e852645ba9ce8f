import numpy as np
import pytest

from surfscan.loaders.lattice import to_lattice


@pytest.fixture
def grid():
    row, col = np.mgrid[:11, :17]
    return row.ravel(), col.ravel(), (100.0 * row + col).ravel()


@pytest.mark.parametrize(("pitch_x", "pitch_y"), [(1, 1), (0.5, 0.25), (1 / 3, 1 / 7), (1e-9, 3e6)])
@pytest.mark.parametrize(("x0", "y0"), [(0, 0), (-3.7, 12.1)])
def test_any_pitch_and_origin(grid, pitch_x, pitch_y, x0, y0):
    row, col, z = grid
    found = to_lattice(x0 * pitch_x + col * pitch_x, y0 * pitch_y + row * pitch_y, z)
    np.testing.assert_array_equal(found.z, z.reshape(11, 17))
    assert (found.pitch_x, found.pitch_y) == pytest.approx((pitch_x, pitch_y), rel=1e-9)


def test_any_order_gives_the_same(grid):
    row, col, z = grid
    expected = to_lattice(col * 0.3, row * 0.2, z)
    for seed in range(3):
        order = np.random.default_rng(seed).permutation(z.size)
        found = to_lattice(col[order] * 0.3, row[order] * 0.2, z[order])
        np.testing.assert_array_equal(found.z, expected.z)
        assert (found.pitch_x, found.pitch_y) == (expected.pitch_x, expected.pitch_y)
    down = to_lattice(-col * 0.3, -row * 0.2, z)
    np.testing.assert_array_equal(down.z, expected.z[::-1, ::-1])


def test_missing_points_rows_and_columns(grid):
    row, col, z = grid
    keep = (np.random.default_rng(1).random(z.size) < 0.6) & (row != 4) & ~((col > 5) & (col < 12))
    keep |= (row == 0) | (row == 10) & (col % 16 == 0)
    keep &= ~((col > 5) & (col < 12))
    found = to_lattice(col[keep] * 0.5, row[keep] * 0.5, z[keep])
    expected = np.where(keep, z, np.nan).reshape(11, 17)
    np.testing.assert_array_equal(found.z, expected)


@pytest.mark.parametrize("digits", [2, 3, 9])
def test_coordinates_rounded_in_print(grid, digits):
    row, col, z = grid
    found = to_lattice(np.round(col / 3, digits), np.round(row / 7, digits), z)
    np.testing.assert_array_equal(found.z, z.reshape(11, 17))
    assert found.pitch_x == pytest.approx(1 / 3, abs=10.0**-digits / 10)


@pytest.mark.parametrize("jitter", [1e-12, 1e-7, 1e-3, 0.01])
def test_coordinates_with_a_little_noise(grid, jitter):
    row, col, z = grid
    rng = np.random.default_rng(4)
    x, y = (v + rng.uniform(-jitter, jitter, v.size) for v in (col, row))
    found = to_lattice(x, y, z)
    np.testing.assert_array_equal(found.z, z.reshape(11, 17))
    assert (found.pitch_x, found.pitch_y) == pytest.approx((1, 1), abs=jitter)


def test_the_same_point_twice(grid):
    row, col, z = grid
    twice = [np.append(v, v[:5]) for v in (col, row, z)]
    np.testing.assert_array_equal(to_lattice(*twice).z, z.reshape(11, 17))
    twice[2][-1] += 1
    with pytest.raises(ValueError, match=r"differ in height \(x 4, y 0: 4 and 5\)"):
        to_lattice(*twice)


def refused(x, y, z=None):
    x, y = np.asarray(x, float), np.asarray(y, float)
    with pytest.raises(ValueError) as caught:
        to_lattice(x, y, np.zeros(x.size) if z is None else z)
    return str(caught.value)


def test_what_is_no_grid(grid):
    row, col, _ = grid
    rng = np.random.default_rng(2)
    scattered = rng.random((2, 500))
    assert "no regular grid" in refused(*scattered)
    assert "no regular grid" in refused(*np.round(scattered, 2))
    assert "no regular grid" in refused(*np.round(scattered * 50, 1))
    angle = np.radians(10)
    turned = (np.cos(angle) * col - np.sin(angle) * row, np.sin(angle) * col + np.cos(angle) * row)
    assert "no regular grid" in refused(*turned)
    assert "no regular grid" in refused(col**1.5, row)
    assert "no regular grid" in refused(col + 0.5 * (row % 2) + 0.1 * row, row)
    assert "no regular grid" in refused([0.1, 0.7, 0.9, 0.2], [0.2, 0.33, 0.95, 0.6])


def test_what_is_no_area(grid):
    row, col, _ = grid
    assert "same y" in refused(col, np.zeros(col.size))
    assert "same x" in refused(np.zeros(col.size), row)
    assert "2 of 187 x coordinates are not numbers" in refused(np.where(np.arange(187) < 2, np.nan, col), row)
    assert "not numbers" in refused(col, np.where(row == 0, np.inf, row))


def test_a_stray_point_does_not_make_one_position_of_all_others():
    row, col = np.mgrid[:30, :40]
    x, y = np.append(col.ravel(), 1e12), np.append(row.ravel(), 5)
    with pytest.raises(ValueError, match="would share"):
        to_lattice(x.astype(float), y.astype(float), np.ones(x.size))
