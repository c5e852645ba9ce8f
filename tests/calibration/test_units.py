import math

import pytest

from surfscan.calibration.units import um_per_unit


@pytest.mark.parametrize(("unit", "um"), [
    ("m", 1e6), ("cm", 1e4), ("mm", 1e3), ("nm", 1e-3), ("pm", 1e-6), ("fm", 1e-9), ("km", 1e9),
    ("Mm", 1e12), ("dm", 1e5), ("dam", 1e7),
    ("\u00b5m", 1), ("\u03bcm", 1), ("um", 1), (" µm ", 1), ("micron", 1), ("microns", 1),
    ("Micrometer", 1), ("micrometres", 1), ("nanometers", 1e-3), ("metre", 1e6), ("millimeter", 1e3),
    ("\u00c5", 1e-4), ("\u212b", 1e-4), ("angstroms", 1e-4),
    ("inch", 25400), ("in", 25400), ("thou", 25.4), ("mil", 25.4),
])  # fmt: skip
def test_units_of_length(unit, um):
    assert math.isclose(um_per_unit(unit), um, rel_tol=1e-12)


@pytest.mark.parametrize(
    "unit", ["", "px", "pixel", "reference frame", "s", "MM", "NM", "mu", "undefined unit 7"]
)
def test_anything_else_is_none(unit):
    assert um_per_unit(unit) is None
