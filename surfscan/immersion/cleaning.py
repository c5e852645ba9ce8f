"""Solutions that take corrosion product off, and the cautions that come with them.

Recipes as recalled from ASTM G1 Table A1.1 and ISO 8407: a reminder of what exists, not an instruction. The
standard itself, the safety data sheets and the rules of the place decide.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from surfscan.materials.material import Material, Status

ALWAYS = (
    "Take the recipe from the standard, not from here; local codes, safety data sheets and people trained "
    "and licensed for the work decide whether and how it is used.",
    "Clean an uncorroded blank of the same metal in every batch (ASTM G1, from memory).",
)

_CHROMIUM = (
    "Hexavalent chromium causes cancer, is toxic and a strong oxidiser: fume hood, gloves, eye protection, "
    "nothing organic near it, regulated waste; some places forbid it or ask for a permit."
)
_SILVER = "Silver salts are toxic to water life; they stain, and must not go down the drain."
_BARIUM = "Soluble barium salts are poisonous."
_HYDROCHLORIC = "Hydrochloric acid fumes and burns: fume hood, gloves, eye protection; add acid to water."
_AMINE = "Hexamethylenetetramine gives off formaldehyde in acid."
_AMMONIUM = "Hot ammonium chloride gives off ammonia."


@dataclass(frozen=True)
class CleaningSolution:
    """One way to take product off.

    Attributes
    ----------
    element : str
        Base metal.
    name : str
    recipe : str
        What makes 1 L, at what temperature, for how long.
    source : str
    status : str
    cautions : tuple of str
    has_chromium_vi : bool
    """

    element: str
    name: str
    recipe: str
    source: str
    status: Status
    cautions: tuple[str, ...]
    has_chromium_vi: bool = False

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


SOLUTIONS = (
    CleaningSolution(
        "Mg",
        "C.5.1",
        "150 g CrO3 and 10 g Ag2CrO4 in water to 1 L, boiling, 1 min",
        "ASTM G1 Table A1.1",
        "from memory",
        (_CHROMIUM, _SILVER),
        True,
    ),
    CleaningSolution(
        "Mg",
        "C.5.2",
        "200 g CrO3, 10 g AgNO3 and 20 g Ba(NO3)2 in water to 1 L, 20 to 25 °C, 1 min",
        "ASTM G1 Table A1.1",
        "from memory",
        (_CHROMIUM, _SILVER, _BARIUM),
        True,
    ),
    CleaningSolution(
        "Mg",
        "chromic acid",
        "180 to 200 g CrO3 in water to 1 L, often with AgNO3",
        "papers on magnesium; 200 g/L in a preprint's abstract",
        "read",
        (_CHROMIUM, _SILVER),
        True,
    ),
    CleaningSolution(
        "Zn",
        "C.9.3",
        "200 g CrO3 in water to 1 L, 80 °C, 1 min",
        "ASTM G1 Table A1.1, recalled with medium confidence",
        "from memory",
        (_CHROMIUM,),
        True,
    ),
    CleaningSolution(
        "Zn",
        "C.9.2",
        "100 g NH4Cl in water to 1 L, 70 °C, 2 to 5 min",
        "ASTM G1 Table A1.1, recalled with medium confidence",
        "from memory",
        (_AMMONIUM,),
    ),
    CleaningSolution(
        "Zn",
        "glycine",
        "250 g glycine in water to 1 L, 20 to 25 °C, 1 to 10 min; free of chromate",
        "ISO 8407, recalled with medium confidence",
        "from memory",
        (),
    ),
    CleaningSolution(
        "Fe",
        "C.3.5",
        "500 mL HCl and 3.5 g hexamethylenetetramine in water to 1 L, 20 to 25 °C, 10 min",
        "ASTM G1 Table A1.1",
        "from memory",
        (_HYDROCHLORIC, _AMINE),
    ),
)
"""What is recalled; metals that are not here have solutions in the standards too."""


def cleaning_solutions(material: Material) -> tuple[CleaningSolution, ...]:
    """Those recalled for the base metal of a material; those free of chromium(VI) first."""
    own = (each for each in SOLUTIONS if each.element == material.base_element)
    return tuple(sorted(own, key=lambda each: each.has_chromium_vi))


def cautions(material: Material) -> tuple[str, ...]:
    """Every caution that concerns the solutions of a material, each once; what always holds comes first."""
    own = (caution for each in cleaning_solutions(material) for caution in each.cautions)
    return tuple(dict.fromkeys((*ALWAYS, *own)))
