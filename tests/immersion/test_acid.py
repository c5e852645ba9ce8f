"""Acid: stoichiometry, blank, which way it errs, refusals. Factors: tests/published."""

import numpy as np
import pytest

from surfscan.immersion.acid import HIGH_BICARBONATE, LOW_PRECIPITATE, acid_rates, metal_of_acid_mg
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.catalogue import find_material

BATH = {
    "concentration_mol_per_L": 0.1,
    "material": find_material("Mg"),
    "area_cm2": 10.0,
    "area_relative_uncertainty": 0.0,
}


def test_rate_from_first_principles():
    """m = C V M / 2: 10 mL of 0.1 M in 48 h off 10 cm² is 12.15 mg, 6.08 g/(m² d)."""
    found = acid_rates([48], [10], **BATH)
    assert found.metal_mg[-1] == pytest.approx(0.1 * 10 * 24.305 / 2)
    assert found.estimate.rate_g_per_m2_d == pytest.approx(12.1525 / 1e-3 / 2 / 1000)


def test_two_protons():
    one, two = acid_rates([48], [10], **BATH), acid_rates([48], [5], protons=2, **BATH)
    assert two.metal_mg[-1] == pytest.approx(one.metal_mg[-1])


def test_blank_is_subtracted():
    found = acid_rates([24, 48], [6, 11], blank_mL=2.0, **BATH)
    np.testing.assert_allclose(found.acid_mmol, [0, 0.5, 0.9])
    assert not any("No blank" in warning for warning in found.estimate.warnings)
    assert "No blank dosing was subtracted" in acid_rates([24], [6], **BATH).estimate.warnings[0]


@pytest.mark.parametrize(
    ("medium", "bias", "reasons"),
    [
        ({}, "reads low", 1),
        ({"has_precipitate": False, "takes_up_carbon_dioxide": True}, "reads low", 1),
        ({"takes_up_carbon_dioxide": True}, "reads low", 2),
        ({"has_precipitate": False, "has_bicarbonate": True}, "reads high", 1),
        ({"has_bicarbonate": True}, "", 2),
        ({"has_precipitate": False}, "", 0),
    ],
)
def test_which_way_it_errs(medium, bias, reasons):
    found = acid_rates([48], [10], blank_mL=1.0, **medium, **BATH).estimate
    assert (found.bias, len(found.reasons)) == (bias, reasons)
    said = " ".join(found.warnings)
    assert ("no bound on either side" in said) == (bias == "" and reasons == 2)
    assert ("stated, not checked" in said) == (reasons == 0)
    if reasons == 2 and not bias:
        assert found.reasons == (LOW_PRECIPITATE, HIGH_BICARBONATE)


def test_iron_is_refused():
    found = acid_rates([48], [10], **{**BATH, "material": find_material("Fe-35Mn")})
    assert found.estimate.rate_mm_per_y is None
    assert "Fe(OH)3 precipitates" in found.estimate.refused
    assert found.metal_mg_per_mL is None


def test_unknown_metal_is_refused():
    found = acid_rates([48], [10], **{**BATH, "material": find_material("Ti")})
    assert "only Mg and Zn are" in found.estimate.refused


def test_alloying_elements_are_said():
    """AZ91: 12.1525/0.90 = 13.50 g per mole of H+ if Al and Zn bind none, 11.85 if by valence: 14 % more."""
    found = acid_rates([48], [10], **{**BATH, "material": find_material("AZ91")})
    assert "the rate is 14 % higher" in " ".join(found.estimate.warnings)


def test_uncertainty_by_hand():
    found = acid_rates([100], [10], blank_mL=1.0, settings=ImmersionSettings(time_uncertainty_h=0), **BATH)
    shares = found.estimate.contributions_percent
    assert shares["volume readings"] == pytest.approx(100 * 0.02 * 2 / 9)  # four readings
    assert shares["titre and pump"] == pytest.approx(1.0)


def test_amounts_alone():
    np.testing.assert_allclose(metal_of_acid_mg([0, 2], find_material("Zn")), [0, 65.38])


@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({"concentration_mol_per_L": 0.0}, "above 0 and below 20"),
        ({"concentration_mol_per_L": 100.0}, "below 20"),
        ({"protons": 0}, "protons"),
        ({"area_cm2": 0.0}, "area_cm2"),
        ({"blank_mL": [1, 2]}, "blank_mL must be one number or 1"),
    ],
)
def test_nonsense_is_refused(given, said):
    with pytest.raises(ValueError, match=said):
        acid_rates([48], [10], **{**BATH, **given})
