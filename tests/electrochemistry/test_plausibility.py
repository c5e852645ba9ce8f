from pathlib import Path

import numpy as np
import pytest

from surfscan.electrochemistry.plausibility import (
    check_area,
    check_columns,
    check_current,
    check_density,
    check_potential,
    impossible_density,
    rough_corrosion_density,
)
from surfscan.electrochemistry.sweep import ColumnRead, Scan, Sweep
from surfscan.errors import InputError
from surfscan.images import Source

FILE = Path("file.txt")
UP = np.arange(-0.65, -0.3, 0.001)
CURRENT = 1e-5 * (10 ** ((UP + 0.5) / 0.1) - 10 ** (-(UP + 0.5) / 0.12))
READS = (ColumnRead("potential", 1, "E", "V", "name"), ColumnRead("current", 2, "I", "A", "name"))


def sweep(current):
    return Sweep(Source("x"), UP, current, None, None, (Scan(0, UP.size, 1),), None, None, "", ())


def test_columns_the_right_way_round_pass():
    check_columns(FILE, UP, CURRENT, READS)
    check_columns(FILE, UP, (UP + 0.5) / 2, READS)


@pytest.mark.parametrize("current", [CURRENT, 1e3 * CURRENT, 1e-4 * (UP + 0.5)])
def test_swapped_columns(current):
    with pytest.raises(InputError, match="look swapped") as caught:
        check_columns(FILE, current, UP, READS)
    assert '{"potential": 2, "current": 1}' in caught.value.remedy


def test_potentials():
    assert check_potential(FILE, UP, READS[0]) == ()
    with pytest.raises(InputError, match="mV"):
        check_potential(FILE, 1000 * UP, READS[0])
    assert "mV only" in check_potential(FILE, UP / 1000, READS[0])[0]


def test_currents():
    assert check_current(CURRENT, is_density=False) == ()
    assert "mA or µA may have been called A" in check_current(1e4 * CURRENT, is_density=False)[0]
    assert "overrun" in check_current(np.clip(CURRENT, None, 3e-4), is_density=True)[0]


def test_densities():
    assert check_density(sweep(CURRENT), 1.0) == ()
    assert "more than a wall in a cell can carry" in check_density(sweep(1e4 * CURRENT), 1.0)[0]
    narrow = np.abs(UP + 0.5) < 0.05
    few = Sweep(
        Source("x"), UP[narrow], 2e4 * CURRENT[narrow], None, None, (Scan(0, 9, 1),), None, None, "", ()
    )
    assert "more than 500 mm/y" in check_density(few, 1.0)[0]
    assert "below what cells can measure" in check_density(sweep(1e-8 * CURRENT), 1.0)[0]
    assert "below what cells can measure" in check_density(sweep(1e-5 * CURRENT), 1000.0)[0]
    with pytest.raises(ValueError, match="area"):
        check_density(sweep(CURRENT))


def test_impossible_density():
    assert "2 A/cm² would follow" in impossible_density(np.array([np.nan, -3e6, 1.0]), 2e6)
    assert impossible_density(np.array([3e6, 1.0]), 100.0) == ""
    assert impossible_density(np.array([2e5, 1.0]), 1e5) == ""


def test_rough_density():
    assert rough_corrosion_density(UP, CURRENT) == pytest.approx(1e-5, rel=0.5)
    assert rough_corrosion_density(UP, np.abs(CURRENT)) is None


def test_areas():
    assert check_area(1.5) == ()
    assert "if it is mm², state 1.5 cm²" in check_area(150.0)[0]
    assert "dm² or m²" in check_area(1e-4)[0]
    for area in (0.0, -1.0, float("nan"), float("inf")):
        with pytest.raises(InputError, match="cannot be"):
            check_area(area, FILE)
    with pytest.raises(InputError, match="missing"):
        check_area(None)
