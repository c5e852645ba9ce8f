import numpy as np
import pytest

from surfscan.segmentation.features import blurred, features_of, reduced, sample_windows


def test_grey_over_light_is_free_of_light():
    light = np.linspace(50, 200, 12, dtype=np.float32).reshape(3, 4)
    np.testing.assert_allclose(features_of(0.8 * light, light), np.full((3, 4, 1), 0.8), rtol=1e-6)


def test_tint_does_not_change_with_light():
    light = np.array([[50.0, 200.0]], np.float32)
    rgb = light[..., None] * np.array([1.0, 0.7, 0.4], np.float32)
    features = features_of(rgb, light)
    np.testing.assert_allclose(features[0, 0], features[0, 1], rtol=1e-6)
    assert features[0, 0, 1] > 1 > features[0, 0, 2]


def test_pixels_off_the_specimen_do_not_bleed_in():
    block = np.full((30, 30), 100, np.uint8)
    block[:, 15:] = 0
    valid = np.zeros(block.shape, bool)
    valid[:, :15] = True
    np.testing.assert_allclose(blurred(block, valid, 2.0)[:, :15], 100, rtol=1e-4)
    assert blurred(block, None, 2.0)[5, 14] < 90


def test_unrecorded_pixels_outside_the_region_are_harmless():
    block = np.full((40, 40, 3), 100, np.float32)
    valid = np.ones((40, 40), bool)
    valid[:10] = False
    block[:10] = np.nan
    small, good = reduced(block, valid, 20)
    np.testing.assert_allclose(small[good], 100, rtol=1e-5)
    assert np.count_nonzero(good) == 15 * 20
    assert np.isfinite(blurred(block, valid, 1.5)[valid]).all()


@pytest.mark.parametrize("shape", [(40, 60), (1000, 300)])
def test_windows_lie_on_the_specimen(shape):
    valid = np.zeros(shape, bool)
    valid[:, : shape[1] // 2 + 20] = True
    windows = sample_windows(valid)
    assert 1 <= len(windows) <= 25
    assert all(valid[w].any() for w in windows)
