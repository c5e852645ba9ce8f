"""Reference electrodes: their names in headers, their potentials, and potentials converted between them.

Potentials against the standard hydrogen electrode at 25 °C as in the appendix of ASTM G3 and usual handbooks,
from memory, with the range of values in use. Temperature coefficients are from memory too, and less sure.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from surfscan.errors import InputError
from surfscan.materials.material import Status

TABLE_TEMPERATURE_DEGC = 25.0

ELECTRODE_TOLERANCE_V = 0.003
"""Half-width of what a sound electrode may differ from its table value by (common practice, no source):
checks against a second electrode usually allow 3 mV."""

_TEMPERATURES_DEGC = (-10.0, 110.0)
_ALLOWED_AT_TABLE_K = 1.0


@dataclass(frozen=True)
class Electrode:
    """A reference electrode.

    Attributes
    ----------
    name : str
    offset_V : float
        Against the standard hydrogen electrode at 25 °C.
    low_V, high_V : float
        Range of the values in use.
    coefficient_mV_per_K : float
        Change of the offset with temperature, both electrodes at that temperature.
    coefficient_tolerance_mV_per_K : float
        Half-width of what the coefficient is trusted to.
    status : str
        How the offset came to stand here; coefficients are from memory throughout.
    note : str
    """

    name: str
    offset_V: float
    low_V: float
    high_V: float
    coefficient_mV_per_K: float
    coefficient_tolerance_mV_per_K: float
    status: Status
    note: str = ""

    @property
    def standard_uncertainty_V(self) -> float:
        """Of the offset at 25 °C: any value in the range alike, and what this electrode may differ by."""
        if self.name == SHE:
            return 0.0
        return math.hypot((self.high_V - self.low_V) / math.sqrt(12), ELECTRODE_TOLERANCE_V / math.sqrt(3))


SHE = "SHE"
UNSTATED_FILLING = "Ag/AgCl, filling not stated"
HYDROGEN_AT_PH = "RHE"

ELECTRODES: Mapping[str, Electrode] = {
    one.name: one
    for one in (
        Electrode(SHE, 0.0, 0.0, 0.0, 0.0, 0.0, "computed", "0 by definition, at every temperature"),
        Electrode("SCE", 0.2425, 0.241, 0.244, -0.66, 0.1, "from memory", "calomel, saturated KCl"),
        Electrode("Ag/AgCl sat. KCl", 0.198, 0.197, 0.199, -1.0, 0.1, "from memory"),
        Electrode("Ag/AgCl 3 M KCl", 0.2085, 0.207, 0.210, -0.75, 0.15, "from memory"),
        Electrode(
            UNSTATED_FILLING,
            0.2035,
            0.197,
            0.210,
            -0.85,
            0.3,
            "from memory",
            "saturated or 3 M KCl: state which",
        ),
        Electrode("Cu/CuSO4", 0.317, 0.316, 0.318, 0.0, 0.9, "from memory", "saturated CuSO4"),
        Electrode("Hg/Hg2SO4 sat. K2SO4", 0.648, 0.64, 0.656, -0.8, 0.4, "from memory"),
    )
}
"""By name; offsets are the middle of the range in use."""

_PATTERNS = tuple(
    (name, re.compile(pattern, re.IGNORECASE))
    for name, pattern in (
        (
            "Hg/Hg2SO4 sat. K2SO4",
            r"Hg\s*[/|]\s*Hg2SO4|(?<![A-Za-z])MSE(?![A-Za-z])|mercur(?:y|ous)[ -]sul(?:ph|f)ate",
        ),
        ("Ag/AgCl", r"Ag\s*[/|,-]?\s*AgCl|silver\s*[/-]?\s*silver[ -]chloride|(?<![A-Za-z])SSE(?![A-Za-z])"),
        (
            "Cu/CuSO4",
            r"Cu\s*[/|]\s*CuSO4|(?<![A-Za-z])CSE(?![A-Za-z])|copper\s*[/-]?\s*copper[ -]sul(?:ph|f)ate",
        ),
        ("SCE", r"(?<![A-Za-z])SCE(?![A-Za-z])|calomel"),
        (HYDROGEN_AT_PH, r"(?<![A-Za-z])RHE(?![A-Za-z])|reversible hydrogen"),
        (SHE, r"(?<![A-Za-z])(?:SHE|NHE)(?![A-Za-z])|(?:standard|normal) hydrogen"),
    )
)
_SATURATED = re.compile(r"(?<![A-Za-z])(?:sat|saturated|ges)(?![A-Za-z])", re.IGNORECASE)
_MOLAR = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:M(?![A-Za-z])|mol)")
_NEAR = 40


def find_references(text: str) -> tuple[str, ...]:
    """Names of the reference electrodes that a text speaks of, each once, in the order they stand.

    Examples
    --------
    >>> find_references("E (V vs. SCE)"), find_references("Reference: Ag/AgCl (3 M KCl)")
    (('SCE',), ('Ag/AgCl 3 M KCl',))
    >>> find_references("V vs Ag/AgCl (1 M KCl)"), find_references("scene 3")
    (('Ag/AgCl 1 M KCl',), ())
    """
    hits: list[tuple[int, str]] = []
    for name, pattern in _PATTERNS:
        for match in pattern.finditer(text):
            found = name
            if name == "Ag/AgCl":
                found = _silver(text[max(match.start() - 16, 0) : match.start()], text[match.end() :][:_NEAR])
            hits.append((match.start(), found))
    return tuple(dict.fromkeys(name for _, name in sorted(hits)))


def _silver(before: str, after: str) -> str:
    """Name of a silver chloride electrode by the words around it."""
    saturated = _SATURATED.search(after) or _SATURATED.search(before)
    molar = _MOLAR.search(after)
    if molar and not (saturated and saturated.string is after and saturated.start() < molar.start()):
        strength = molar[1].replace(",", ".")
        strength = strength.rstrip("0").rstrip(".") if "." in strength else strength
        return f"Ag/AgCl {strength} M KCl"
    return "Ag/AgCl sat. KCl" if saturated else UNSTATED_FILLING


def find_electrode(name: str) -> Electrode:
    """The electrode of a name in any usual spelling.

    Raises
    ------
    InputError
        If it is not known, several are named, or its potential depends on pH.
    """
    known = ", ".join(ELECTRODES)
    if name in ELECTRODES:
        return ELECTRODES[name]
    found = find_references(name)
    if len(found) == 1 and found[0] in ELECTRODES:
        return ELECTRODES[found[0]]
    if HYDROGEN_AT_PH in found:
        raise InputError(
            None,
            "the potential of the reversible hydrogen electrode (RHE) depends on pH and cannot be converted",
            "Convert the potentials with the pH of the solution first",
        )
    raise InputError(
        None, f"the potential of the reference electrode {name!r} is not known", f"Known are: {known}"
    )


class ConvertedPotential(NamedTuple):
    """Potentials against another electrode.

    Attributes
    ----------
    potential_V : ndarray
    standard_uncertainty_V : float
        Of the shift, common to all points.
    warnings : tuple of str
    """

    potential_V: np.ndarray
    standard_uncertainty_V: float
    warnings: tuple[str, ...]


def convert_potential(
    potential_V: ArrayLike,
    source: str | Electrode,
    target: str | Electrode,
    temperature_degC: float = TABLE_TEMPERATURE_DEGC,
) -> ConvertedPotential:
    """Potentials against another reference electrode.

    The shift is that of 25 °C at every temperature. Elsewhere the uncertainty holds an allowance: anything up
    to (difference of the temperature coefficients + what they are trusted to) × distance from 25 °C, with
    equal chance. It is an allowance and no correction, since the coefficients are from memory and electrodes
    are often kept at another temperature than the cell.

    Parameters
    ----------
    potential_V : array_like
        Against `source`.
    source, target : str or Electrode
    temperature_degC : float
        Temperature of the reference electrode.

    Returns
    -------
    ConvertedPotential

    Raises
    ------
    InputError
        If an electrode is not known.
    ValueError
        If the temperature is no number between -10 and 110 °C.
    """
    low, high = _TEMPERATURES_DEGC
    if not low <= temperature_degC <= high:
        raise ValueError(f"a temperature of {temperature_degC} °C is not between {low:g} and {high:g} °C")
    start = find_electrode(source) if isinstance(source, str) else source
    end = find_electrode(target) if isinstance(target, str) else target
    potential = np.asarray(potential_V, np.float64)
    if start == end:
        return ConvertedPotential(potential.copy(), 0.0, ())
    shift = start.offset_V - end.offset_V
    warnings = [
        f"{one.name}: between {one.low_V:+.3f} and {one.high_V:+.3f} V against SHE ({one.note})."
        for one in (start, end)
        if one.name == UNSTATED_FILLING
    ]
    allowance = temperature_allowance_V(start, end, temperature_degC)
    if abs(temperature_degC - TABLE_TEMPERATURE_DEGC) > _ALLOWED_AT_TABLE_K:
        warnings.append(
            f"The shift from {start.name} to {end.name} ({1000 * shift:+.0f} mV) is that of 25 °C; at "
            f"{temperature_degC:g} °C up to {1000 * allowance:.0f} mV are allowed for "
            f"({_coefficient(start)}; {_coefficient(end)}; from memory). Measure the electrode against one "
            "of known potential at that temperature to do better."
        )
    uncertainty = math.sqrt(
        start.standard_uncertainty_V**2 + end.standard_uncertainty_V**2 + (allowance / math.sqrt(3)) ** 2
    )
    return ConvertedPotential(potential + shift, uncertainty, tuple(warnings))


def temperature_allowance_V(source: Electrode, target: Electrode, temperature_degC: float) -> float:
    """What the shift between two electrodes may differ from that of 25 °C by, V, 0 or above.

    Examples
    --------
    >>> round(temperature_allowance_V(ELECTRODES["SCE"], ELECTRODES["SHE"], 37.0), 4)
    0.0091
    """
    per_K = (
        abs(source.coefficient_mV_per_K - target.coefficient_mV_per_K)
        + source.coefficient_tolerance_mV_per_K
        + target.coefficient_tolerance_mV_per_K
    )
    return 1e-3 * per_K * abs(temperature_degC - TABLE_TEMPERATURE_DEGC)


def _coefficient(one: Electrode) -> str:
    return f"{one.name} {one.coefficient_mV_per_K:+.2g} ± {one.coefficient_tolerance_mV_per_K:.2g} mV/K"
