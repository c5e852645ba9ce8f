"""The catalogue: every row usable, names found, users' statements over it."""

import math
import tomllib
from importlib.resources import files
from typing import get_args

import pytest

from surfscan.errors import InputError
from surfscan.materials.catalogue import StatedMaterial, find_material, materials
from surfscan.materials.material import Status


def test_every_value_has_source_and_known_status():
    for material in materials():
        values = [*material.composition.values(), *material.other_densities]
        values += [material.density_g_per_cm3] if material.density_g_per_cm3 else []
        values += [c.printed for c in material.valence_choices if c.printed]
        values += [w.computed for w in material.equivalent_weights]
        for value in values:
            assert value.source and value.status in get_args(Status), (material.name, value)
            assert math.isfinite(value.value) and value.value > 0
            assert value.low is None or value.low <= value.value <= value.high


def test_sources_are_all_used():
    content = tomllib.loads(files("surfscan.materials").joinpath("catalogue.toml").read_text("utf-8"))
    used = set()
    for row in content["material"]:
        used |= {row["composition_source"], *(c["source"] for c in row["valence_choices"])}
        used |= {d["source"] for d in (row.get("density"), *row.get("other_densities", ())) if d}
    assert used == set(content["sources"])


def test_names_are_unique():
    names = [
        n.casefold().replace(" ", "").replace("-", "") for m in materials() for n in (m.name, *m.aliases)
    ]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("asked", "name"),
    [("s31603", "316"), ("ti 6al 4v", "Ti-6Al-4V"), ("magnesium", "Mg"), ("f_75", "Co-28Cr-6Mo")],
)
def test_found_by_alias(asked, name):
    assert find_material(asked).name == name


def test_unknown_names_its_neighbours():
    with pytest.raises(InputError, match=r"'WE44' is not known\. Near it are WE43"):
        find_material("WE44")
    with pytest.raises(InputError, match=r"Known are .*mine"):
        find_material("qqq", [StatedMaterial("mine")])


def test_stated_takes_the_place_of_the_catalogue():
    own = StatedMaterial("WE43", density_g_per_cm3=1.82, source="supplier")
    found = find_material("we43", [own])
    assert (found.known_density().value, found.known_density().status) == (1.82, "stated by the user")
    assert found.other_densities[0].value == 1.84
    assert found.known_equivalent_weight().value == find_material("WE43").known_equivalent_weight().value


def test_stated_composition():
    own = StatedMaterial("Zn-1Mg", 7.0, {"Zn": 99, "Mg": 1}, {"Zn": 2, "Mg": 2}, source="melt sheet")
    weight = find_material("zn 1mg", [own]).known_equivalent_weight()
    assert weight.value == pytest.approx(1 / (2 * 0.99 / 65.38 + 2 * 0.01 / 24.305))
    assert "melt sheet (stated by the user)" in weight.source


def test_stated_composition_keeps_valences_but_not_the_printed_figure():
    found = find_material(
        "316", [StatedMaterial("316", mass_percent={"Fe": 66, "Cr": 18, "Ni": 13, "Mo": 3})]
    )
    assert found.printed_equivalent_weight is None
    assert found.valences == {"Fe": 2, "Cr": 3, "Ni": 2, "Mo": 3}


def test_stated_valence_of_one_element():
    found = find_material("304", [StatedMaterial("304", valences={"Fe": 3})])
    assert found.known_equivalent_weight().value == pytest.approx(18.990, abs=5e-4)


@pytest.mark.parametrize(
    ("own", "said"),
    [
        (StatedMaterial("X", density_g_per_cm3=0.0), "density_g_per_cm3 is 0"),
        (StatedMaterial("X", equivalent_weight=-1.0), "equivalent_weight is -1"),
        (StatedMaterial("X", mass_percent={"Mg": 50.0}, valences={"Mg": 2}), "add up to"),
        (StatedMaterial("X", mass_percent={"Mgg": 100.0}), "Mgg is no element"),
        (StatedMaterial("X", mass_percent={"Mg": 100.0}, valences={"Zn": 2}), "composition lacks Zn"),
        (StatedMaterial("X", mass_percent={"Mg": 90.0, "Al": 10.0}, valences={"Mg": 2}), "the valence of Al"),
    ],
)
def test_impossible_statements(own, said):
    with pytest.raises(InputError, match=said):
        find_material("X", [own])


def test_stated_density_alone():
    """A study may state no more than a density; what needs more says so."""
    found = find_material("X", [StatedMaterial("X", 5.0)])
    assert found.known_density().source == "no source stated"
    assert found.equivalent_weight is None
