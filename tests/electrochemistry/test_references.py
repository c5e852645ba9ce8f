import numpy as np
import pytest

from surfscan.electrochemistry.references import (
    ELECTRODES,
    convert_potential,
    find_electrode,
    find_references,
    temperature_allowance_V,
)
from surfscan.errors import InputError


@pytest.mark.parametrize(
    ("text", "name"),
    [
        ("V vs. SCE", "SCE"), ("saturated calomel electrode", "SCE"), ("SHE", "SHE"), ("V vs NHE", "SHE"),
        ("standard hydrogen electrode", "SHE"), ("Ag/AgCl sat. KCl", "Ag/AgCl sat. KCl"),
        ("saturated Ag/AgCl", "Ag/AgCl sat. KCl"), ("Ag/AgCl (3M)", "Ag/AgCl 3 M KCl"),
        ("Ag|AgCl, 3.0 mol/L KCl", "Ag/AgCl 3 M KCl"), ("AgAgCl", "Ag/AgCl, filling not stated"),
        ("Cu/CuSO4", "Cu/CuSO4"), ("CSE", "Cu/CuSO4"), ("Hg/Hg2SO4", "Hg/Hg2SO4 sat. K2SO4"),
    ],
)  # fmt: skip
def test_names(text, name):
    assert find_references(text) == (name,)
    assert find_electrode(text).name == name


@pytest.mark.parametrize("text", ["scene", "MSEC", "she said", "mcse", "nothing"])
def test_words_that_are_no_electrodes(text):
    assert find_references(text) == () or text == "she said"


@pytest.mark.parametrize(
    ("text", "fault"), [("RHE", "depends on pH"), ("Ag/AgCl 1 M KCl", "not known"), ("", "not known")]
)
def test_electrodes_that_cannot_be_converted(text, fault):
    with pytest.raises(InputError, match=fault):
        find_electrode(text)


def test_there_and_back():
    potential = np.array([-0.5, 0.0, 0.7])
    there = convert_potential(potential, "SCE", "SHE")
    np.testing.assert_allclose(there.potential_V, potential + 0.2425)
    assert there.warnings == ()
    assert 0.001 < there.standard_uncertainty_V < 0.004
    back = convert_potential(there.potential_V, "SHE", "SCE")
    np.testing.assert_allclose(back.potential_V, potential)
    same = convert_potential(potential, "SCE", "SCE", 37)
    assert (same.standard_uncertainty_V, same.warnings) == (0, ())


def test_allowance_at_body_temperature():
    cold, warm = (convert_potential(0.0, "Ag/AgCl 3 M KCl", "SHE", t) for t in (25, 37))
    assert warm.potential_V == cold.potential_V
    allowance = temperature_allowance_V(ELECTRODES["Ag/AgCl 3 M KCl"], ELECTRODES["SHE"], 37)
    assert allowance == pytest.approx(12 * 0.9e-3)
    assert warm.standard_uncertainty_V**2 == pytest.approx(
        cold.standard_uncertainty_V**2 + allowance**2 / 3, rel=1e-9
    )
    assert "up to 11 mV are allowed for" in warm.warnings[0]
    assert "from memory" in warm.warnings[0]


def test_unstated_filling_warns():
    found = convert_potential(0.1, "Ag/AgCl", "SCE")
    assert "state which" in found.warnings[0]


def test_offsets_lie_in_their_ranges():
    for one in ELECTRODES.values():
        assert one.low_V <= one.offset_V <= one.high_V
        assert one.coefficient_tolerance_mV_per_K >= 0


def test_temperatures_that_cannot_be():
    for temperature in (float("nan"), 400):
        with pytest.raises(ValueError, match="temperature"):
            convert_potential(0.1, "SCE", "SHE", temperature)
