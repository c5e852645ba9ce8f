"""Atomic weights and the Faraday constant."""

from __future__ import annotations

FARADAY_C_PER_MOL = 96485.33212
"""Faraday constant, C/mol (CODATA 2018, exact; from memory). ASTM G102 was computed with 96 489."""

ATOMIC_WEIGHTS_SOURCE = "IUPAC standard atomic weights, conventional values"

ATOMIC_WEIGHTS_STATUS = "from memory"

ATOMIC_WEIGHTS: dict[str, float] = {
    "H": 1.008,
    "Li": 6.94,
    "Be": 9.0122,
    "B": 10.81,
    "C": 12.011,
    "N": 14.007,
    "O": 15.999,
    "Mg": 24.305,
    "Al": 26.982,
    "Si": 28.085,
    "P": 30.974,
    "S": 32.06,
    "Ca": 40.078,
    "Sc": 44.956,
    "Ti": 47.867,
    "V": 50.942,
    "Cr": 51.996,
    "Mn": 54.938,
    "Fe": 55.845,
    "Co": 58.9332,
    "Ni": 58.693,
    "Cu": 63.546,
    "Zn": 65.38,
    "Ga": 69.723,
    "Ge": 72.630,
    "Sr": 87.62,
    "Y": 88.906,
    "Zr": 91.224,
    "Nb": 92.906,
    "Mo": 95.95,
    "Ru": 101.07,
    "Rh": 102.91,
    "Pd": 106.42,
    "Ag": 107.87,
    "Cd": 112.41,
    "In": 114.82,
    "Sn": 118.71,
    "Sb": 121.76,
    "La": 138.91,
    "Ce": 140.12,
    "Pr": 140.91,
    "Nd": 144.24,
    "Sm": 150.36,
    "Gd": 157.25,
    "Dy": 162.50,
    "Er": 167.26,
    "Yb": 173.05,
    "Hf": 178.49,
    "Ta": 180.95,
    "W": 183.84,
    "Re": 186.21,
    "Ir": 192.22,
    "Pt": 195.08,
    "Au": 196.97,
    "Pb": 207.2,
    "Bi": 208.98,
}
"""Symbol -> atomic weight, g/mol."""


def atomic_weight(element: str) -> float:
    """Atomic weight of an element, g/mol.

    Parameters
    ----------
    element : str
        Symbol, such as "Mg".

    Raises
    ------
    ValueError
        If the symbol is not listed.
    """
    try:
        return ATOMIC_WEIGHTS[element]
    except KeyError:
        raise ValueError(f"{element!r} is not the symbol of an element known here") from None
