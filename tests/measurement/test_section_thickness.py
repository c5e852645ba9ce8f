"""Thickness of a foil that crosses the field."""

import numpy as np
import pytest

from surfscan.measurement.section_thickness import thickness_profile

ROWS, COLS = np.mgrid[:120, :300].astype(float)


def foil(thickness, tilt=0.0, middle=60.3):
    """A foil along the rows, its square thickness given."""
    away = abs(ROWS - middle - np.tan(tilt) * (COLS - 150)) * np.cos(tilt)
    return np.clip(thickness / 2 - away, -0.5, 0.5).astype(np.float32)


@pytest.mark.parametrize("tilt", [0.0, 0.1, -0.2])
def test_thickness_is_square_to_the_foil(tilt):
    found = thickness_profile(foil(40.6, tilt), along_rows=True)
    assert found.thickness_px == pytest.approx(40.6, abs=0.3)
    assert found.thickness_px.mean() == pytest.approx(40.6, abs=0.05)
    assert found.tilt_rad == pytest.approx(tilt, abs=0.002)
    assert found.middle[150] == pytest.approx([150, 60.3], abs=0.1)
    assert found.s_px[100] == pytest.approx(100 / np.cos(tilt), rel=1e-3)


def test_a_foil_down_the_picture():
    found = thickness_profile(foil(33.0).T.copy(), along_rows=False)
    assert found.thickness_px == pytest.approx(33.0, abs=0.1)
    assert found.middle[10] == pytest.approx([60.3, 10], abs=0.1)


def test_thinned_and_missing_parts():
    field = foil(40.0)
    field[:, 100:110] = np.minimum(field[:, 100:110], foil(20.0, middle=70.0)[:, 100:110])
    field[:, 200:205] = -0.5
    found = thickness_profile(field, along_rows=True)
    assert found.thickness_px[105] == pytest.approx(20, abs=0.3)
    assert np.isnan(found.thickness_px[200:205]).all()


def test_next_to_no_metal_is_refused():
    with pytest.raises(ValueError, match="too few"):
        thickness_profile(np.full((20, 20), -0.5, np.float32), along_rows=True)
