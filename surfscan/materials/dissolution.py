"""What a dissolving metal gives and takes: hydrogen, and acid at constant pH.

Known for magnesium, zinc and iron, by the element that makes up more than half of the mass. For others the
gas and the acid do not tell how much dissolved, and rates from them are refused.
"""

from __future__ import annotations

from dataclasses import dataclass

from surfscan.materials.elements import atomic_weight
from surfscan.materials.material import Material


@dataclass(frozen=True)
class Dissolution:
    """Reaction of a base metal in nearly neutral solution with air.

    Attributes
    ----------
    element : str
    reaction : str
    gives_hydrogen : bool
        Whether the metal is oxidised by water, so that hydrogen tells how much dissolved.
    takes_acid : bool
        Whether each atom needs two H+ to hold the pH, so that acid tells how much dissolved.
    hydrogen_reason, acid_reason : str
        Why not; empty where it does.
    source : str
    status : str
    """

    element: str
    reaction: str
    gives_hydrogen: bool
    takes_acid: bool
    hydrogen_reason: str = ""
    acid_reason: str = ""
    source: str = "stoichiometry of the reaction"
    status: str = "computed"


_OXYGEN = "in neutral solution with air it is oxidised by oxygen and gives next to no hydrogen"

DISSOLUTION = {
    "Mg": Dissolution("Mg", "Mg + 2 H2O -> Mg2+ + 2 OH- + H2", True, True),
    "Zn": Dissolution("Zn", "Zn + 1/2 O2 + H2O -> Zn2+ + 2 OH-", False, True, _OXYGEN),
    "Fe": Dissolution(
        "Fe",
        "Fe + 1/2 O2 + H2O -> Fe2+ + 2 OH-, then Fe(OH)3",
        False,
        False,
        _OXYGEN,
        "the two OH- of each atom are taken back as Fe(OH)3 precipitates, so in the end no acid is needed",
    ),
}
"""Base element -> its reaction."""


def dissolution_of(material: Material) -> Dissolution | None:
    """Reaction of the base metal, or None where it is not known here."""
    return DISSOLUTION.get(material.base_element or "")


def acid_weights(material: Material) -> tuple[float, float]:
    """Grams of material per mole of H+, if alloying elements bind acid by their valence, and if none.

    Returns
    -------
    (float, float)
        The first is the equivalent weight; both are half the atomic weight for a pure metal of valence 2. The
        second is the greater: the base metal alone takes acid, and the rest goes with it.

    Raises
    ------
    InputError
        If no equivalent weight is known.
    ValueError
        If the material has no base element.
    """
    base = material.base_element
    if base is None:
        raise ValueError(f"{material.name} has no element of more than half of its mass")
    alone = atomic_weight(base) / (2 * material.mass_fractions[base])
    return material.known_equivalent_weight().value, alone
