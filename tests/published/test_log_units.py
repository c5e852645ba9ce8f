"""Units and dosed acid of rig logs against printed values."""

import numpy as np
import pytest

from surfscan.immersion.exposure import measure_exposure
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_times import read_stamp
from surfscan.immersion.log_units import parse_channel_unit
from surfscan.materials.catalogue import find_material

# Conversion factors of NIST SP 811, appendix B.8 (from memory): to kPa and to mL/min.
FACTORS = [
    ("psi", 6.894757),
    ("bar", 100.0),
    ("mbar", 0.1),
    ("mmHg", 0.1333224),
    ("atm", 101.325),
    ("cmH2O", 0.0980665),
    ("L/h", 16.66667),
    ("L/min", 1000.0),
]


@pytest.mark.parametrize(("unit", "factor"), FACTORS)
def test_factors(unit, factor):
    assert parse_channel_unit(unit).factor == pytest.approx(factor, rel=2e-7)


@pytest.mark.parametrize(("fahrenheit", "celsius"), [(32, 0), (212, 100), (98.6, 37)])
def test_fahrenheit(fahrenheit, celsius):
    """Definition of the degree Fahrenheit: NIST SP 811, appendix B.8 (from memory)."""
    unit = parse_channel_unit("°F")
    assert fahrenheit * unit.factor + unit.offset == pytest.approx(celsius, abs=1e-9)


def test_stamps_of_rfc_3339():
    """The examples of RFC 3339, section 5.8 (from memory)."""
    first = read_stamp(b"1985-04-12T23:20:50.52Z", day_first=False)
    assert np.datetime64(first, "us") == np.datetime64("1985-04-12T23:20:50.52")
    west = read_stamp(b"1996-12-19T16:39:57-08:00", day_first=False)
    assert west == read_stamp(b"1996-12-20T00:39:57Z", day_first=False)
    dutch = read_stamp(b"1937-01-01T12:00:27.87+00:20", day_first=False)
    assert dutch is None  # before 1970: no log of a rig


@pytest.mark.parametrize(("material", "mg_per_mL"), [("Mg", 1.2153), ("Zn", 3.269)])
def test_metal_of_acid_in_a_log(write_acid_log, material, mg_per_mL):
    """2 H+ for each atom: 1.2153 mg Mg and 3.269 mg Zn for 1 mL of 0.100 mol/L strong acid (computed)."""
    result = measure_exposure(
        write_acid_log(),
        ExposureSettings(acid_mol_per_L=0.1),
        material=find_material(material),
        area_cm2=10.0,
    )
    balance = result.summary["acid_balance"]
    assert balance["acid_mL"] == 10.0
    assert balance["metal_mg"] == pytest.approx(10 * mg_per_mL, rel=1e-4)


@pytest.fixture
def write_acid_log(tmp_path):
    def write():
        path = tmp_path / "acid.csv"
        rows = "".join(f"{k},7.4,{k / 10:.1f}\n" for k in range(101))
        path.write_text("elapsed (h),pH,acid (mL)\n" + rows, encoding="utf-8")
        return path

    return write
