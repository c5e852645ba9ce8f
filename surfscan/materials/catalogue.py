"""The metals that are known by name, and those that a user states."""

from __future__ import annotations

import tomllib
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from difflib import get_close_matches
from functools import cache
from importlib.resources import files
from typing import Any

from surfscan.errors import InputError
from surfscan.materials.elements import ATOMIC_WEIGHTS
from surfscan.materials.material import Material, Status, Valences, Value, equivalent_weight

_STATED: Status = "stated by the user"


@dataclass(frozen=True)
class StatedMaterial:
    """What a user states of a material; where the name is in the catalogue, the rest comes from there.

    Attributes
    ----------
    name : str
    density_g_per_cm3 : float or None
    mass_percent : mapping of str to float or None
        Element -> mass %; must add up to 95 to 100.5.
    valences : mapping of str to int or None
        Element -> valence.
    equivalent_weight : float or None
        g per mole of electrons, in place of one computed from composition and valences.
    source : str
        Where the figures come from.
    """

    name: str
    density_g_per_cm3: float | None = None
    mass_percent: Mapping[str, float] | None = None
    valences: Mapping[str, int] | None = None
    equivalent_weight: float | None = None
    source: str = ""


def materials() -> tuple[Material, ...]:
    """All metals of the catalogue, in its order."""
    return _catalogue()


def find_material(name: str, user: Iterable[StatedMaterial] = ()) -> Material:
    """A material by name or alias; capitals, spaces, hyphens and underscores do not matter.

    Parameters
    ----------
    name : str
    user : iterable of StatedMaterial, optional
        Looked through first. What one of them states takes the place of what the catalogue has under the same
        name; every value carries where it comes from.

    Raises
    ------
    InputError
        If the name is not known, with the nearest ones, or what the user states cannot be.
    """
    wanted = _plain(name)
    listed = _by_name().get(wanted)
    user = tuple(user)
    stated = next((each for each in user if _plain(each.name) == wanted), None)
    if stated is not None:
        return _stated_material(stated, listed)
    if listed is None:
        known = sorted({*(m.name for m in materials()), *(each.name for each in user)})
        near = [_spelled(user, plain) for plain in get_close_matches(wanted, _all_names(user), n=3)]
        hint = f"Near it are {', '.join(dict.fromkeys(near))}" if near else f"Known are {', '.join(known)}"
        raise InputError(None, f"the material {name!r} is not known", f"{hint}; or state its figures")
    return listed


def _plain(name: str) -> str:
    return "".join(name.casefold().split()).replace("-", "").replace("_", "")


def _all_names(user: Iterable[StatedMaterial]) -> list[str]:
    return [*_by_name(), *(_plain(each.name) for each in user)]


def _spelled(user: Iterable[StatedMaterial], plain: str) -> str:
    return next((each.name for each in user if _plain(each.name) == plain), None) or _by_name()[plain].name


@cache
def _by_name() -> dict[str, Material]:
    return {
        _plain(name): material for material in _catalogue() for name in (material.name, *material.aliases)
    }


@cache
def _catalogue() -> tuple[Material, ...]:
    text = files("surfscan.materials").joinpath("catalogue.toml").read_text(encoding="utf-8")
    content = tomllib.loads(text)
    return tuple(_material(row, content["sources"]) for row in content["material"])


def _material(row: Mapping[str, Any], sources: Mapping[str, str]) -> Material:
    origin = {"source": sources[row["composition_source"]], "status": row["composition_status"]}
    return Material(
        name=row["name"],
        aliases=tuple(row["aliases"]),
        density_g_per_cm3=_density(row["density"], sources) if "density" in row else None,
        composition={
            element: Value(percent / 100, "mass fraction", **origin)
            for element, percent in row["mass_percent"].items()
        },
        valence_choices=tuple(_choice(choice, sources) for choice in row["valence_choices"]),
        other_densities=tuple(_density(each, sources) for each in row.get("other_densities", ())),
    )


def _density(row: Mapping[str, Any], sources: Mapping[str, str]) -> Value:
    return Value(**{"unit": "g/cm3", **row, "source": sources[row["source"]]})


def _choice(row: Mapping[str, Any], sources: Mapping[str, str]) -> Valences:
    source = sources[row["source"]]
    printed = None
    if "printed" in row:
        note = row.get("printed_note", "")
        printed = Value(row["printed"], "g/mol of electrons", source, "from memory", note=note)
    return Valences(row["of"], printed, source)


def _stated_material(stated: StatedMaterial, listed: Material | None) -> Material:
    """What is stated, over what the catalogue has; refused where it cannot be."""
    source = stated.source or "no source stated"
    base = listed or Material(stated.name)
    density, weight = stated.density_g_per_cm3, stated.equivalent_weight
    for what, number in (("density_g_per_cm3", density), ("equivalent_weight", weight)):
        if number is not None and not 0 < number < float("inf"):
            raise InputError(
                None, f"material {stated.name!r}: {what} is {number:g}", "It must be above 0; correct it"
            )
    if density is not None:
        base = replace(
            base,
            density_g_per_cm3=Value(density, "g/cm3", source, _STATED),
            other_densities=_densities(listed),
        )
    if stated.mass_percent is not None:
        composition = {
            element: Value(percent / 100, "mass fraction", source, _STATED)
            for element, percent in stated.mass_percent.items()
        }
        base = replace(base, composition=composition, valence_choices=_choices_for(composition, listed))
    if stated.valences is not None:
        base = _with_stated_valences(base, stated, source)
    if weight is not None:
        base = replace(base, stated_equivalent_weight=Value(weight, "g/mol of electrons", source, _STATED))
    _refuse_impossible(stated, base)
    return replace(base, name=stated.name)


def _with_stated_valences(base: Material, stated: StatedMaterial, source: str) -> Material:
    """Stated valences first; elements whose valence is not stated keep that of the catalogue."""
    given, held = dict(stated.valences or {}), base.mass_fractions
    strange = sorted(set(given) - set(held))
    if strange:
        raise InputError(
            None,
            f"material {stated.name!r}: its composition lacks {', '.join(strange)}, whose valence is stated",
            "State the composition with all elements that have a valence",
        )
    first = Valences(
        {**{e: v for e, v in base.valences.items() if e in held}, **given}, None, source, _STATED
    )
    others = tuple(choice for choice in base.valence_choices if choice.of != first.of)
    return replace(base, valence_choices=(first, *others))


def _densities(listed: Material | None) -> tuple[Value, ...]:
    own = () if listed is None or listed.density_g_per_cm3 is None else (listed.density_g_per_cm3,)
    return (*own, *(listed.other_densities if listed else ()))


def _choices_for(composition: Mapping[str, Value], listed: Material | None) -> tuple[Valences, ...]:
    """Valences of the catalogue that serve a stated composition; printed figures were for another one."""
    choices = listed.valence_choices if listed else ()
    return tuple(replace(choice, printed=None) for choice in choices if set(composition) <= set(choice.of))


def _refuse_impossible(stated: StatedMaterial, material: Material) -> None:
    strange = sorted(set(material.mass_fractions) - set(ATOMIC_WEIGHTS))
    if strange:
        raise InputError(
            None,
            f"material {stated.name!r}: {', '.join(strange)} is no element known here",
            "Use symbols such as Mg, Zn, Fe",
        )
    if material.stated_equivalent_weight is not None or not material.mass_fractions:
        return
    for choice in material.valence_choices:
        try:
            equivalent_weight(material.mass_fractions, choice.of)
        except ValueError as fault:
            raise InputError(
                None,
                f"material {stated.name!r}: {fault}",
                "Correct its composition (mass %) and give a valence for every element in it",
            ) from fault
