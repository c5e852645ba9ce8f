"""Sweeps as read."""

import numpy as np
import pytest

from surfscan.electrochemistry.sweep import Scan, Sweep
from surfscan.images import Source


def _sweep(**held) -> Sweep:
    given = {"current_A": None, "density_A_per_cm2": None, "time_s": None} | held
    return Sweep(
        Source("s.csv", "0", None, "text"),
        np.linspace(-0.1, 0.1, 3),
        scans=(Scan(0, 3, 1),),
        reference=None,
        scan_rate_V_per_s=None,
        sign="",
        columns=(),
        **given,
    )


def test_density_comes_from_current_and_area_or_as_it_stands():
    current = np.array([-1e-6, 0.0, 2e-6])
    assert _sweep(current_A=current).density_uA_per_cm2(2.0) == pytest.approx([-0.5, 0.0, 1.0])
    assert _sweep(density_A_per_cm2=current).density_uA_per_cm2() == pytest.approx([-1.0, 0.0, 2.0])


@pytest.mark.parametrize("area", [None, 0.0, -1.0, np.nan])
def test_no_density_without_an_area(area):
    with pytest.raises(ValueError, match="area above 0"):
        _sweep(current_A=np.zeros(3)).density_uA_per_cm2(area)


def test_a_scan_names_its_points():
    assert np.arange(5)[Scan(1, 4, -1).points].tolist() == [1, 2, 3]
