"""Form and spikes off, gaps as they are."""

import numpy as np
import pytest

from surfscan.preparation.heights import prepare_heights

SHAPE = (200, 220)


@pytest.fixture
def heights(rough):
    """Tilted, 3 % gaps, five spikes."""
    rng = np.random.default_rng(0)
    out = rough(rng, SHAPE, 0.1, 2.0) + 0.02 * np.arange(SHAPE[1], dtype=np.float32) + 40
    out[rng.random(SHAPE) < 0.03] = np.nan
    out[20:200:40, 50] = 90
    return out


def test_residual_is_flat_and_spikes_are_gaps(heights):
    """Form off, spikes not measured; what was measured is counted before that."""
    before = heights.copy()
    ready = prepare_heights(heights, pixel_size_um=(1.0, 1.0))
    np.testing.assert_array_equal(heights, before)
    assert ready.form.kind == "plane" and ready.spike_count == 5
    assert ready.measured_fraction == np.isfinite(heights).mean()
    gaps = np.isnan(heights)
    gaps[20:200:40, 50] = True
    np.testing.assert_array_equal(np.isnan(ready.residual_um), gaps)
    assert ready.residual_um.dtype == np.float32
    assert np.nanstd(ready.residual_um) == pytest.approx(0.1, rel=0.1)
    assert abs(np.nanmean(ready.residual_um)) < 0.01
    assert ready.warnings == ()


def test_spikes_can_be_kept(heights):
    """As the file has them."""
    ready = prepare_heights(heights, spikes="keep", pixel_size_um=(1.0, 1.0))
    assert ready.spike_count == 0
    assert np.nanmax(ready.residual_um) > 40


def test_region_counts_alone(heights):
    """Measured fraction and spikes of the region; the residual is given everywhere."""
    region = np.zeros(SHAPE, bool)
    region[:100] = True
    ready = prepare_heights(heights, pixel_size_um=(1.0, 1.0), region=region)
    assert ready.measured_fraction == np.isfinite(heights[:100]).mean()
    assert ready.spike_count == 2
    assert np.isfinite(ready.residual_um[100:]).mean() > 0.9


def test_low_measured_fraction_is_warned_about(heights):
    """Below 80 %."""
    heights[:, :100] = np.nan
    ready = prepare_heights(heights, pixel_size_um=(1.0, 1.0))
    assert len(ready.warnings) == 1 and "Only 53 % of the field" in ready.warnings[0]


def test_form_can_be_chosen(heights):
    """The setting reaches the fit."""
    assert prepare_heights(heights, form="polynomial2", pixel_size_um=None).form.kind == "polynomial2"


def test_spikes_word_is_checked(heights):
    """Only two words."""
    with pytest.raises(ValueError, match="spikes"):
        prepare_heights(heights, spikes="some", pixel_size_um=None)
