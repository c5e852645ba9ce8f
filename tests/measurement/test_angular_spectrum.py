"""Power by direction, and the lay."""

import numpy as np
import pytest

from surfscan.measurement.angular_spectrum import angular_spectrum, lay_direction


def spectrum_of(z, pixel_size=(1.0, 1.0)):
    power = np.abs(np.fft.rfft2(z - z.mean())) ** 2
    side = min(z.shape[0] * pixel_size[1], z.shape[1] * pixel_size[0])
    return angular_spectrum(power, z.shape, pixel_size, longest_um=side)


@pytest.mark.parametrize(("waves_x", "waves_y"), [(20, 0), (0, 20), (15, 15), (15, -15), (20, 7), (-9, 25)])
@pytest.mark.parametrize("pixel_size", [(1.0, 1.0), (1.0, 3.0)])
def test_one_wave_lies_in_one_direction(waves_x, waves_y, pixel_size):
    """A wave of a single frequency puts all power where its crest-to-crest direction points, y up."""
    y, x = np.mgrid[:200, :200] / 200
    got = spectrum_of(np.cos(2 * np.pi * (waves_x * x + waves_y * y)), pixel_size)
    direction = np.degrees(np.arctan2(-waves_y / pixel_size[1], waves_x / pixel_size[0])) % 180
    assert got.sum() == pytest.approx(180)
    away = np.minimum((np.arange(180) - direction) % 180, (direction - np.arange(180)) % 180)
    assert got[away < 6].sum() > 0.98 * 180


@pytest.mark.parametrize("pixel_size", [(1.0, 1.0), (1.0, 2.0), (2.0, 1.0)])
def test_even_power_is_shared_evenly(pixel_size):
    """Directions along the axes, whose frequencies are stored once, count no more than the others."""
    got = angular_spectrum(np.ones((512, 257)), (512, 512), pixel_size, longest_um=512)
    np.testing.assert_allclose(got, 1, atol=0.12)


def test_white_noise_has_no_direction():
    """Corners of the frequency square, beyond the highest frequency of an axis, must not count."""
    got = spectrum_of(np.random.default_rng(1).standard_normal((600, 600)))
    np.testing.assert_allclose(got.reshape(12, 15).mean(axis=1), 1, atol=0.06)


@pytest.mark.parametrize("pixel_size", [(1.0, 2.0), (2.0, 1.0)])
def test_white_noise_on_oblong_pixels(pixel_size):
    got = spectrum_of(np.random.default_rng(2).standard_normal((500, 500)), pixel_size)
    np.testing.assert_allclose(got.reshape(12, 15).mean(axis=1), 1, atol=0.08)


def test_waves_longer_than_the_field_are_left_out():
    power = np.zeros((64, 33))
    power[0, 1] = power[1, 0] = 1e9
    power[5, 5] = 1.0
    got = angular_spectrum(power, (64, 64), (1, 1), longest_um=40)
    assert got[128:143].sum() == pytest.approx(180)


def test_no_power_at_all():
    assert not angular_spectrum(np.zeros((64, 33)), (64, 64), (1, 1), longest_um=64).any()


@pytest.mark.parametrize("degrees", [0.0, 12.3, 89.6, 90.4, 133.0, 179.8])
def test_lay_is_across_the_peak(degrees):
    away = (np.arange(180) - degrees + 90) % 180 - 90
    lay, warnings = lay_direction(180 * np.exp(-0.5 * (away / 3) ** 2) / 7.5)
    assert abs((lay - degrees) % 180 - 90) < 0.05
    assert -90 < lay <= 90
    assert warnings == ()


def test_even_power_has_no_lay():
    lay, (why,) = lay_direction(np.ones(180))
    assert lay is None
    assert "1.0 times" in why


def test_two_lays_are_told():
    spectrum = np.zeros(180)
    spectrum[40], spectrum[130] = 95, 85
    lay, (why,) = lay_direction(spectrum)
    assert lay == pytest.approx(-50, abs=0.1)
    assert "40°" in why


def test_lays_25_degrees_apart_are_two():
    spectrum = np.zeros(180)
    spectrum[40], spectrum[65] = 95, 90
    lay, (why,) = lay_direction(spectrum)
    assert lay == pytest.approx(-50, abs=0.2)
    assert "second direction, -25°" in why
