"""A material: density, composition and valences, each with its source, and the equivalent weight of them."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from surfscan.errors import InputError
from surfscan.materials.elements import ATOMIC_WEIGHTS_SOURCE, ATOMIC_WEIGHTS_STATUS, atomic_weight

Status = Literal[
    "read", "read in a secondary source", "from memory", "computed", "stated by the user", "invented"
]
"""How a value came to stand here; only "read" was seen in the primary document."""

LEAST_SUM, LARGEST_SUM = 0.95, 1.005
"""Mass fractions that an equivalent weight is computed from add up to between these: elements below 1 % may
be left out, a forgotten main element may not (common practice, no source)."""


@dataclass(frozen=True)
class Value:
    """A number with its unit, and where it comes from.

    Attributes
    ----------
    value : float
    unit : str
    source : str
    status : str
        One of `Status`.
    low, high : float or None
        Range of published or plausible values, where one is known.
    note : str
        What to know about it.
    """

    value: float
    unit: str
    source: str
    status: Status
    low: float | None = None
    high: float | None = None
    note: str = ""

    @property
    def relative_standard_uncertainty(self) -> float:
        """That of a value anywhere in the range with equal chance; 0 where no range is known."""
        if self.low is None or self.high is None:
            return 0.0
        return (self.high - self.low) / math.sqrt(12) / self.value

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON; a range or note only where there is one."""
        out: dict[str, Any] = {"value": self.value, "unit": self.unit}
        if self.low is not None:
            out["range"] = [self.low, self.high]
        out |= {"source": self.source, "status": self.status}
        return out | ({"note": self.note} if self.note else {})


@dataclass(frozen=True)
class Valences:
    """One choice of the valences at which the elements dissolve.

    Attributes
    ----------
    of : mapping of str to int
        Element -> electrons given up by an atom.
    printed : Value or None
        Equivalent weight that a standard prints for this choice.
    source : str
    status : str
    """

    of: Mapping[str, int]
    printed: Value | None = None
    source: str = ""
    status: Status = "from memory"

    def __str__(self) -> str:
        return " ".join(f"{element}{valence}" for element, valence in self.of.items())


@dataclass(frozen=True)
class EquivalentWeight:
    """The equivalent weight of one choice of valences beside the printed one.

    Attributes
    ----------
    valences : Valences
    computed : Value
    printed : Value or None
    """

    valences: Valences
    computed: Value
    printed: Value | None

    @property
    def difference_percent(self) -> float | None:
        """How far the computed one lies above the printed one, %."""
        if self.printed is None:
            return None
        return 100 * (self.computed.value / self.printed.value - 1)

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {
            "valences": dict(self.valences.of),
            "valences_source": self.valences.source,
            "valences_status": self.valences.status,
            "computed": self.computed.as_dict(),
            "printed": self.printed.as_dict() if self.printed else None,
            "difference_percent": self.difference_percent,
        }


def equivalent_weight(
    mass_fractions: Mapping[str, float], valences: Mapping[str, int], *, least_fraction: float = 0.0
) -> float:
    """Grams of a material per mole of electrons: 1 / sum(n f / W) (ASTM G102 Eq 4).

    Parameters
    ----------
    mass_fractions : mapping of str to float
        Element -> mass fraction, 0 to 1. They are not made to add up to 1: as in the standard, elements left
        out give no electrons.
    valences : mapping of str to int
        Element -> valence, for every element that is counted.
    least_fraction : float, optional
        Elements below it are left out; the standard's rule is 0.01.

    Returns
    -------
    float
        g/mol of electrons.

    Raises
    ------
    ValueError
        If an element or its valence is not known, or the fractions do not add up to about 1.
    """
    total = math.fsum(mass_fractions.values())
    if min(mass_fractions.values(), default=0.0) < 0 or not LEAST_SUM <= total <= LARGEST_SUM:
        raise ValueError(
            f"mass fractions must be 0 or more and add up to {LEAST_SUM} to {LARGEST_SUM}, these give "
            f"{total:.4g}"
        )
    electrons_per_g = 0.0
    for element, fraction in mass_fractions.items():
        if fraction < least_fraction:
            continue
        valence = valences.get(element)
        if valence is None or not 1 <= valence <= 8:
            raise ValueError(f"the valence of {element} must be 1 to 8, got {valence!r}")
        electrons_per_g += valence * fraction / atomic_weight(element)
    return 1 / electrons_per_g


@dataclass(frozen=True)
class Material:
    """What rates need to know of a metal.

    Attributes
    ----------
    name : str
    aliases : tuple of str
    density_g_per_cm3 : Value or None
    composition : mapping of str to Value
        Element -> mass fraction.
    valence_choices : tuple of Valences
        The first is used unless another is asked for.
    stated_equivalent_weight : Value or None
        Stated by the user in place of a computed one.
    other_densities : tuple of Value
        What other sources give.
    """

    name: str
    aliases: tuple[str, ...] = ()
    density_g_per_cm3: Value | None = None
    composition: Mapping[str, Value] | None = None
    valence_choices: tuple[Valences, ...] = ()
    stated_equivalent_weight: Value | None = None
    other_densities: tuple[Value, ...] = ()

    @property
    def valences(self) -> Mapping[str, int]:
        """Those used for the equivalent weight; empty where none are known."""
        return self.valence_choices[0].of if self.valence_choices else {}

    @property
    def mass_fractions(self) -> dict[str, float]:
        """Element -> mass fraction, 0 to 1."""
        return {element: value.value for element, value in (self.composition or {}).items()}

    @property
    def base_element(self) -> str | None:
        """The element that makes up more than half of the mass."""
        return next((e for e, fraction in self.mass_fractions.items() if fraction > 0.5), None)

    @property
    def equivalent_weights(self) -> tuple[EquivalentWeight, ...]:
        """One for each choice of valences, computed, with the printed one beside it."""
        if not self.composition:
            return ()
        origin = next(iter(self.composition.values()))
        out = []
        for choice in self.valence_choices:
            computed = Value(
                equivalent_weight(self.mass_fractions, choice.of),
                "g/mol of electrons",
                f"ASTM G102 Eq 4 with valences {choice}, composition: {origin.source} ({origin.status}); "
                f"{ATOMIC_WEIGHTS_SOURCE} ({ATOMIC_WEIGHTS_STATUS})",
                "computed",
            )
            out.append(EquivalentWeight(choice, computed, choice.printed))
        return tuple(out)

    @property
    def equivalent_weight(self) -> Value | None:
        """The stated one, else that computed for the first choice of valences; None without either."""
        if self.stated_equivalent_weight is not None:
            return self.stated_equivalent_weight
        weights = self.equivalent_weights
        return weights[0].computed if weights else None

    @property
    def printed_equivalent_weight(self) -> Value | None:
        """What the standard prints for the first choice of valences, where it does."""
        return self.valence_choices[0].printed if self.valence_choices else None

    def known_density(self) -> Value:
        """Density, g/cm³.

        Raises
        ------
        InputError
            If none is known.
        """
        if self.density_g_per_cm3 is None:
            raise InputError(
                None, f"the density of {self.name} is not known", "State its density_g_per_cm3 and the source"
            )
        return self.density_g_per_cm3

    def known_equivalent_weight(self) -> Value:
        """Equivalent weight, g per mole of electrons.

        Raises
        ------
        InputError
            If none is known.
        """
        found = self.equivalent_weight
        if found is None:
            raise InputError(
                None,
                f"the equivalent weight of {self.name} is not known",
                "State its composition and valences, or its equivalent weight",
            )
        return found

    def with_valences(self, valences: Mapping[str, int]) -> Material:
        """The same material dissolving at other valences; elements not named keep theirs.

        Raises
        ------
        InputError
            If the composition is not known, or an element is not in it.
        """
        strange = sorted(set(valences) - set(self.mass_fractions))
        if strange:
            raise InputError(
                None,
                f"valences are given of {', '.join(strange)}, which {self.name} does not hold",
                f"Its composition has {', '.join(self.mass_fractions) or 'no elements'}",
            )
        wanted = {**self.valences, **valences}
        listed = next((choice for choice in self.valence_choices if choice.of == wanted), None)
        first = listed or Valences(wanted, None, "stated with the call", "stated by the user")
        others = tuple(choice for choice in self.valence_choices if choice is not listed)
        return replace(self, valence_choices=(first, *others), stated_equivalent_weight=None)

    def as_dict(self) -> dict[str, Any]:
        """Every value with source and status, ready for JSON."""
        density, weight = self.density_g_per_cm3, self.equivalent_weight
        return {
            "name": self.name,
            "aliases": list(self.aliases),
            "density_g_per_cm3": density.as_dict() if density else None,
            "other_densities": [other.as_dict() for other in self.other_densities],
            "composition": {element: value.as_dict() for element, value in (self.composition or {}).items()},
            "valences": dict(self.valences),
            "equivalent_weight": weight.as_dict() if weight else None,
            "equivalent_weights": [each.as_dict() for each in self.equivalent_weights],
        }
