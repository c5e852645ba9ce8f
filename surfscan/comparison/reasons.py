"""Known reasons why one method reads below or above another, each with its source.

A reason is named only where it applies and where the gap goes the way that it explains.
"""

from __future__ import annotations

from dataclasses import dataclass

from surfscan.comparison.rates import OF_EDGES, OVER_STARTING_AREA, Method, PenetrationRate
from surfscan.immersion.acid import HIGH_BICARBONATE, LOW_CARBON_DIOXIDE, LOW_PRECIPITATE

_BATH: tuple[Method, ...] = ("gas", "acid")
_CURRENT: tuple[Method, ...] = ("sweep", "polarization resistance")
_MASS: tuple[Method, ...] = ("mass loss",)
_LOST: tuple[Method, ...] = (*OF_EDGES, *OVER_STARTING_AREA)

_STOICHIOMETRY = "stoichiometry of the reaction, no publication found that measured it"
_GEOMETRY = "elementary geometry"


@dataclass(frozen=True)
class Reason:
    """Why two rates may differ.

    Attributes
    ----------
    text : str
        A sentence.
    source : str
        Where that is known from, and whether it was read or is from memory.
    """

    text: str
    source: str


@dataclass(frozen=True)
class _Entry:
    """A reason for `low` to lie below `high`."""

    low: tuple[Method, ...]
    high: tuple[Method, ...]
    reason: Reason
    metal: str = ""
    """Symbol of the base metal that it is known for; empty for all."""
    stated: str = ""
    """Text that the reasons of a rate must hold; empty where it always applies."""


SHRINKS = Reason(
    "The surface of a thin part shrinks as it corrodes: what is lost, over the surface at the start, reads "
    "below how far the surface has moved.",
    _GEOMETRY,
)
TIME = Reason(
    "One is an average over the exposure, the other speaks of a moment, and the rate changes with time.",
    "ASTM F3268-18a, 5.3 (read in extracts): degradation is not linear in time; choose several times",
)
OTHER_PARTS = Reason(
    "They were not measured on the same specimen: their gap holds the scatter between specimens.",
    "ASTM G16-13, 3 (read in extracts): scatter larger than in most tests; minor impurities can decide",
)
ONE_SWEEP = Reason(
    "Both rest on the current of a sweep and on one area: their agreement confirms neither.",
    "definition of both methods",
)
LOCAL = Reason(
    "One is of the worst place, the other of the mean: their ratio tells how local the loss is.",
    "ASTM G46, metal penetration: deepest over average penetration is the pitting factor (from memory)",
)
PITS_ALONE = Reason(
    "Volume below today's surface leaves out what was lost evenly: it is a lower bound of the whole loss.",
    "definition; the original level was not known",
)

_TABLE = (
    _Entry(
        _CURRENT,
        _LOST,
        Reason(
            "Sweeps of magnesium commonly read low against mass loss.",
            "https://doi.org/10.5772/58370, introduction (read): much lower electrochemical rates may be "
            "obtained than those determined gravimetrically; https://doi.org/10.3390/cmd3040031, abstract "
            "(read)",
        ),
        metal="Mg",
    ),
    _Entry(
        (*_BATH, *_CURRENT),
        (*_MASS, *OF_EDGES),
        Reason(
            "Grains of metal shed undissolved are lost to balance and picture, but give no hydrogen, take no "
            "acid and carry no current.",
            "https://doi.org/10.5772/58370, introduction (read): disintegration of the material is among the "
            "causes named for magnesium",
        ),
        metal="Mg",
    ),
    _Entry(
        ("gas",),
        (*_MASS, *OF_EDGES),
        Reason(
            "Bubbles held on surface and vessel, and hydrogen dissolved or lost, are not in the volume.",
            "Bioinorganic Chemistry and Applications 2022, 8289447, Table 1 (read); mass loss generally "
            "exceeds hydrogen: https://doi.org/10.17533/udea.redin.20240102 (read)",
        ),
    ),
    _Entry(
        ("acid",),
        _LOST,
        Reason(f"Acid reads low: {LOW_PRECIPITATE}.", _STOICHIOMETRY),
        stated=LOW_PRECIPITATE,
    ),
    _Entry(
        ("acid",),
        _LOST,
        Reason(f"Acid reads low: {LOW_CARBON_DIOXIDE}.", _STOICHIOMETRY),
        stated=LOW_CARBON_DIOXIDE,
    ),
    _Entry(
        _LOST,
        ("acid",),
        Reason(f"Acid reads high: {HIGH_BICARBONATE}.", _STOICHIOMETRY),
        stated=HIGH_BICARBONATE,
    ),
    _Entry(
        OVER_STARTING_AREA,
        OF_EDGES,
        Reason(
            "Sections and pictures of struts see the places that were cut or pictured, often the worst ones; "
            "mass, gas and acid give the mean over the whole surface.",
            "ASTM G46, mass loss (from memory): it does not tell local attack from even attack",
        ),
    ),
    _Entry(
        (*OF_EDGES, *_BATH, *_CURRENT),
        _MASS,
        Reason(
            "Cleaning takes sound metal as well where the blank does not allow for it.",
            "ASTM G1, 7.1.2 (from memory; a secondary source agrees)",
        ),
    ),
    _Entry(
        _MASS,
        (*OF_EDGES, *_BATH, *_CURRENT),
        Reason(
            "Product that cleaning left on the part is weighed as metal.",
            "ASTM G1, 7.1.2 (from memory; a secondary source agrees)",
        ),
    ),
)


def reasons_for(first: PenetrationRate, second: PenetrationRate, base_metal: str = "") -> tuple[Reason, ...]:
    """Known reasons for the gap between two rates, those that always apply first.

    Parameters
    ----------
    first, second : PenetrationRate
        Both with a rate.
    base_metal : str, optional
        Symbol of the element that there is most of, such as "Mg".

    Returns
    -------
    tuple of Reason
        That `SHRINKS` applies depends on drawn sizes, which `surfscan.comparison.agreement` knows.
    """
    if first.mm_per_y is None or second.mm_per_y is None:
        raise ValueError("reasons are for two rates, and one of them was refused")
    low, high = (first, second) if first.mm_per_y <= second.mm_per_y else (second, first)
    found = []
    if first.kind != second.kind:
        found.append(TIME)
    elif first.kind == "instant":
        found.append(ONE_SWEEP)
    if measured_on(first) != measured_on(second):
        found.append(OTHER_PARTS)
    if first.measurand != second.measurand:
        found.append(LOCAL)
    if "pit volume" in (first.method, second.method) and "at least" in (first.bound, second.bound):
        found.append(PITS_ALONE)
    for entry in _TABLE:
        told = (*low.reasons, *high.reasons)
        if (
            low.method in entry.low
            and high.method in entry.high
            and entry.metal in ("", base_metal)
            and (not entry.stated or entry.stated in told)
        ):
            found.append(entry.reason)
    return tuple(found)


def measured_on(rate: PenetrationRate) -> frozenset[str]:
    """Specimens that a rate was measured on."""
    return frozenset(rate.from_specimens or (rate.specimen,))
