"""Sal, Str and Std: against pairs counted one by one, against known shapes, and where they are refused."""

import cv2
import numpy as np
import pytest

from surfscan.measurement.autocorrelation import _Falls, _measured_part, _Transform, spatial_parameters


def blurred(shape, sigma_x, sigma_y, seed=1):
    noise = np.random.default_rng(seed).standard_normal((shape[0] + 400, shape[1] + 400)).astype(np.float32)
    z = cv2.GaussianBlur(noise, (0, 0), sigma_x, sigmaY=sigma_y)[200:-200, 200:-200]
    return np.ascontiguousarray(z / z.std())


def counted(z, rows, cols):
    """Weighted autocorrelation at one lag, pair by pair."""
    m = ~np.isnan(z)
    ramps = [np.clip((np.minimum(np.arange(n), np.arange(n)[::-1]) + 0.5) / (n / 4), 0, 1) for n in z.shape]
    w = np.outer(*(0.5 - 0.5 * np.cos(np.pi * r) for r in ramps)) * m
    f = np.where(m, z - np.nanmean(z), 0) * w

    def mean_product(dr, dc):
        a = (slice(max(0, -dr), z.shape[0] - max(0, dr)), slice(max(0, -dc), z.shape[1] - max(0, dc)))
        b = (slice(max(0, dr), z.shape[0] + min(0, dr)), slice(max(0, dc), z.shape[1] + min(0, dc)))
        return np.sum(f[a] * f[b]) / np.sum(w[a] * w[b])

    return mean_product(rows, cols) / mean_product(0, 0)


@pytest.mark.parametrize("gaps", [0.0, 0.1])
def test_autocorrelation_is_that_of_the_pairs(gaps):
    z = blurred((60, 47), 3, 2).astype(float)
    z[np.random.default_rng(2).random(z.shape) < gaps] = np.nan
    transform = _Transform(*_measured_part(z), threads=2)
    got = transform.autocorrelation()
    across = transform.farthest[1]
    for rows, cols in [(0, 0), (0, 1), (3, 0), (4, -5), (-2, 7), (20, 12), (30, -23)]:
        assert got[rows + 2, cols + across] == pytest.approx(counted(z, rows, cols), abs=2e-6)


@pytest.mark.parametrize(("pixel_size", "degrees"), [((1, 1), 30), ((1, 2), 0), ((2, 1), 75)])
def test_lobe_of_an_ellipse(pixel_size, degrees):
    """A Gaussian autocorrelation with axes of 30 and 9 µm: the shortest and longest fall are known."""
    down, across = 200, 200
    y, x = np.mgrid[-2 : down + 1, -across : across + 1].astype(float)
    x, y = x * pixel_size[0], y * pixel_size[1]
    t = np.radians(degrees)
    u, v = x * np.cos(t) + y * np.sin(t), y * np.cos(t) - x * np.sin(t)
    falls = _Falls(np.exp(-((u / 30) ** 2) - (v / 9) ** 2), (down, across), pixel_size)
    assert falls.shortest() == pytest.approx(9 * np.sqrt(np.log(5)), rel=1e-3)
    assert falls.longest() == pytest.approx(30 * np.sqrt(np.log(5)), rel=1e-3)


def test_narrow_lobe_between_whole_degrees():
    """A lobe 1/200 as wide as it is long is found between the directions that are tried first."""
    down, across = 500, 500
    y, x = np.mgrid[-2 : down + 1, -across : across + 1].astype(float)
    t = np.radians(20.47)
    u, v = x * np.cos(t) + y * np.sin(t), y * np.cos(t) - x * np.sin(t)
    falls = _Falls(np.exp(-((u / 320) ** 2) - (v / 1.6) ** 2), (down, across), (1, 1))
    assert falls.longest() == pytest.approx(320 * np.sqrt(np.log(5)), rel=1e-2)


@pytest.mark.parametrize("gaps", [0.0, 0.3])
def test_gaps_do_not_shift_the_length(gaps):
    z = blurred((700, 700), 4, 4)
    z[np.random.default_rng(3).random(z.shape) < gaps] = np.nan
    got = spatial_parameters(z, pixel_size_um=(0.5, 0.5))
    assert got.sal_um == pytest.approx(4 * np.sqrt(np.log(5)), rel=0.07)
    assert got.str_ratio > 0.85


def test_pixels_that_are_not_square():
    """An isotropic surface sampled half as densely down the columns stays isotropic in µm."""
    z = blurred((1200, 600), 5, 5)[::2]
    got = spatial_parameters(np.ascontiguousarray(z), pixel_size_um=(1, 2))
    assert got.sal_um == pytest.approx(10 * np.sqrt(np.log(5)), rel=0.1)
    assert got.str_ratio > 0.8


@pytest.mark.parametrize(("sigma_x", "sigma_y", "lay"), [(2, 20, 90), (20, 2, 0)])
def test_lay_along_an_axis(sigma_x, sigma_y, lay):
    got = spatial_parameters(blurred((600, 600), sigma_x, sigma_y), pixel_size_um=(1, 1))
    assert got.str_ratio == pytest.approx(0.1, rel=0.3)
    assert abs((got.std_deg - lay + 90) % 180 - 90) < 2
    assert got.warnings == ()


def test_lay_is_counter_clockwise_as_seen():
    """Grooves that rise to the right in the picture have a positive direction."""
    y, x = np.mgrid[:300, :300].astype(float)
    across = np.radians(25 + 90)  # of grooves that run at 25°, y up
    z = np.sin(2 * np.pi / 17 * (x * np.cos(across) - y * np.sin(across)))
    got = spatial_parameters(z, pixel_size_um=(1, 1))
    assert got.std_deg == pytest.approx(25, abs=0.2)
    assert got.str_ratio is None
    assert "below" in got.warnings[0]


def test_isotropic_surface_has_no_lay():
    got = spatial_parameters(blurred((500, 500), 4, 4), pixel_size_um=(1, 1))
    assert got.std_deg is None
    assert "no lay" in got.warnings[0]


def test_unrelated_pixels_are_refused():
    got = spatial_parameters(np.random.default_rng(1).standard_normal((200, 200)), pixel_size_um=(1, 1))
    assert (got.sal_um, got.str_ratio, got.std_deg) == (None, None, None)
    assert "2 pixels" in got.warnings[0]


def test_field_of_one_hump_is_refused():
    y, x = np.mgrid[-50:51, -50:51] / 60
    got = spatial_parameters(np.exp(-(x**2) - y**2), pixel_size_um=(1, 1))
    assert got.sal_um is None
    assert "fifth of the field" in got.warnings[0]


def test_field_of_few_humps_is_doubted():
    got = spatial_parameters(blurred((160, 160), 11, 11, seed=4), pixel_size_um=(1, 1))
    assert got.sal_um is not None
    assert "tenth of the field" in got.warnings[0]


@pytest.mark.parametrize("z", [np.zeros((50, 50)), np.random.default_rng(1).random((8, 300))])
def test_flat_or_tiny_fields(z):
    got = spatial_parameters(z, pixel_size_um=(1, 1))
    assert (got.sal_um, got.str_ratio, got.std_deg) == (None, None, None)
    assert len(got.warnings) == 1


def test_same_on_any_number_of_threads():
    z = blurred((300, 410), 3, 9)
    assert spatial_parameters(z, pixel_size_um=(1, 1), threads=1) == spatial_parameters(
        z, pixel_size_um=(1, 1), threads=3
    )


def test_lags_without_pairs_are_not_judged():
    """Two measured bands, grooves along the rows: how far they go on lies between the bands, unseen."""
    z = blurred((400, 500), 90, 3)
    z[:, 60:440] = np.nan
    got = spatial_parameters(z, pixel_size_um=(1, 1))
    assert got.sal_um == pytest.approx(3 * np.sqrt(np.log(5)) * 2, rel=0.2)
    assert got.str_ratio is None


def test_nothing_measured():
    with pytest.raises(ValueError, match="no measured"):
        spatial_parameters(np.full((50, 50), np.nan), pixel_size_um=(1, 1))
