"""A material: values with their source, equivalent weight and its refusals."""

import pytest

from surfscan.errors import InputError
from surfscan.materials.material import Material, Valences, Value, equivalent_weight


def _alloy(**composition):
    fractions = {e: Value(f, "mass fraction", "invented", "invented") for e, f in composition.items()}
    return Material("X", composition=fractions, valence_choices=(Valences(dict.fromkeys(composition, 2)),))


def test_one_element_is_weight_over_valence():
    assert equivalent_weight({"Mg": 1.0}, {"Mg": 2}) == pytest.approx(24.305 / 2)


def test_elements_left_out_give_no_electrons():
    """Not made to add up to 1: 1 % left out raises the figure by 1/0.99."""
    whole = equivalent_weight({"Mg": 1.0}, {"Mg": 2})
    assert equivalent_weight({"Mg": 0.99}, {"Mg": 2}) == pytest.approx(whole / 0.99)
    both = equivalent_weight({"Mg": 0.995, "Zn": 0.005}, {"Mg": 2}, least_fraction=0.01)
    assert both == pytest.approx(whole / 0.995)


@pytest.mark.parametrize(
    ("fractions", "valences", "said"),
    [
        ({"Mg": 0.5}, {"Mg": 2}, "add up to"),
        ({"Mg": 1.2, "Al": -0.2}, {"Mg": 2, "Al": 3}, "0 or more"),
        ({}, {}, "add up to"),
        ({"Mg": 0.96, "Al": 0.04}, {"Mg": 2}, "the valence of Al must be 1 to 8, got None"),
        ({"Mg": 1.0}, {"Mg": 0}, "got 0"),
        ({"Xx": 1.0}, {"Xx": 2}, "'Xx' is not the symbol"),
    ],
)
def test_nonsense_is_refused(fractions, valences, said):
    with pytest.raises(ValueError, match=said):
        equivalent_weight(fractions, valences)


def test_computed_beside_printed():
    printed = Value(12.15, "g/mol of electrons", "a table", "from memory")
    material = Material(
        "Mg",
        composition={"Mg": Value(1.0, "mass fraction", "definition", "computed")},
        valence_choices=(Valences({"Mg": 2}, printed),),
    )
    (weight,) = material.equivalent_weights
    assert weight.difference_percent == pytest.approx(100 * (12.1525 / 12.15 - 1))
    assert material.printed_equivalent_weight is printed
    assert material.equivalent_weight.status == "computed"
    assert "Mg2" in material.equivalent_weight.source
    shown = material.as_dict()
    assert shown["equivalent_weights"][0]["printed"]["value"] == 12.15
    assert shown["density_g_per_cm3"] is None


def test_stated_equivalent_weight_goes_first():
    stated = Value(13.0, "g/mol of electrons", "own work", "stated by the user")
    material = Material("Mg", stated_equivalent_weight=stated)
    assert material.known_equivalent_weight() is stated
    assert material.equivalent_weights == ()


def test_other_valences():
    iron = _alloy(Fe=1.0)
    three = iron.with_valences({"Fe": 3})
    assert three.known_equivalent_weight().value == pytest.approx(55.845 / 3)
    assert three.valence_choices[0].status == "stated by the user"
    assert three.with_valences({"Fe": 2}).valence_choices[0] is iron.valence_choices[0]
    with pytest.raises(InputError, match="Cr, which X does not hold"):
        iron.with_valences({"Cr": 3})


def test_base_element():
    assert _alloy(Mg=0.9, Al=0.1).base_element == "Mg"
    assert _alloy(Co=0.35, Ni=0.35, Cr=0.3).base_element is None


def test_what_is_not_known_is_refused():
    with pytest.raises(InputError, match="density of X is not known"):
        Material("X").known_density()
    with pytest.raises(InputError, match="equivalent weight of X is not known"):
        Material("X").known_equivalent_weight()


def test_range_as_uncertainty():
    """Anywhere in the range with equal chance: width over the root of 12."""
    value = Value(7.4, "g/cm3", "papers", "from memory", 7.3, 7.6)
    assert value.relative_standard_uncertainty == pytest.approx(0.3 / 12**0.5 / 7.4)
    assert Value(1.0, "1", "", "computed").relative_standard_uncertainty == 0
    assert value.as_dict()["range"] == [7.3, 7.6]
