"""Volume over surface, and how long to expose."""

import pytest

from surfscan.immersion.solution import exposure_warning, least_hours, solution_ratio


@pytest.mark.parametrize(
    ("volume", "verdict"), [(400, "preferred"), (399, "acceptable"), (200, "acceptable"), (199, "too little")]
)
def test_ratio(volume, verdict):
    found = solution_ratio(volume, 10.0)
    assert (found.mL_per_cm2, found.verdict) == (volume / 10, verdict)
    assert bool(found.warnings) == (verdict == "too little")
    assert "from memory" in found.as_dict()["source"]


def test_hours():
    """2000 over the rate in mpy: 1 mm/y is 39.37 mpy, 50.8 h."""
    assert least_hours(1.0) == pytest.approx(50.8)
    assert least_hours(0.0254) == pytest.approx(2000)


def test_short_exposures_are_said():
    assert "508 h" in exposure_warning(100, 0.1)
    assert exposure_warning(600, 0.1) == exposure_warning(1, None) == exposure_warning(1, -0.1) == ""


def test_nonsense():
    with pytest.raises(ValueError, match="area_cm2"):
        solution_ratio(100, 0)
    with pytest.raises(ValueError, match="rate_mm_per_y"):
        least_hours(0)
