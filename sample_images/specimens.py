"""The invented specimens of the demo study and how fast each corrodes.

One true corrosion rate per specimen decides everything seen of it: pits, their size, degraded area,
and whatever else is generated for it later. Random numbers come from streams named by what they are
for, so a new kind of data changes no file of an older kind.
"""

from __future__ import annotations

import hashlib
from dataclasses import dataclass

import numpy as np

SEED = 20260207


@dataclass(frozen=True)
class Series:
    """Specimens of one surface state.

    Attributes
    ----------
    letter : str
        First letter of the specimen names.
    name : str
        Start of the group names.
    material : str
    rate_mm_per_y : float
        Mean penetration rate in the rig.
    pits_as_received_per_mm2 : float
        Pits, inclusions and coating holes there before exposure.
    """

    letter: str
    name: str
    material: str
    rate_mm_per_y: float
    pits_as_received_per_mm2: float


UNCOATED = Series("U", "uncoated", "Mg-2Zn", 0.90, 60.0)
COATED = Series("C", "phosphate-coated", "Mg-2Zn", 0.32, 90.0)
REFERENCE = Series("S", "316L", "316L", 0.0004, 40.0)

# (series, days in the rig, specimens)
DESIGN = (
    (UNCOATED, 0, 3),
    (UNCOATED, 7, 3),
    (UNCOATED, 14, 3),
    (UNCOATED, 28, 3),
    (COATED, 0, 3),
    (COATED, 7, 3),
    (COATED, 14, 3),
    (COATED, 28, 3),
    (REFERENCE, 0, 3),
    (REFERENCE, 28, 3),
)


@dataclass(frozen=True)
class Specimen:
    """One mesh plate.

    Attributes
    ----------
    id : str
    series : Series
    days : int
        Days in the rig; 0 as received.
    rate_mm_per_y : float
        Its own true penetration rate.
    """

    id: str
    series: Series
    days: int
    rate_mm_per_y: float

    @property
    def group(self) -> str:
        """Name of its group."""
        return f"{self.series.name} {self.days} d" if self.days else self.baseline

    @property
    def baseline(self) -> str:
        """Name of the control group of its series."""
        return f"{self.series.name} as received"

    @property
    def loss_um(self) -> float:
        """Mean penetration so far, µm."""
        return 1000 * self.rate_mm_per_y * self.days / 365.25

    @property
    def pit_density_per_mm2(self) -> float:
        """Expected pits per mm²: those there from the start, and those that grew."""
        return self.series.pits_as_received_per_mm2 + 600 * (self.loss_um / 17) ** 0.8

    @property
    def median_pit_radius_um(self) -> float:
        """Median radius of pit mouths, µm."""
        return 2.3 * (1 + 0.35 * (self.loss_um / 17) ** 0.5)

    @property
    def degraded_fraction(self) -> float:
        """Share of the surface under adherent product, 0 to 1."""
        return float(1 - np.exp(-0.006 * self.loss_um))


def stream(*key: str) -> np.random.Generator:
    """Independent random numbers for one purpose, named in words: specimen, kind, field ..."""
    digest = hashlib.sha256("/".join(key).encode()).digest()
    words = np.frombuffer(digest, dtype="<u4").tolist()
    return np.random.default_rng(np.random.SeedSequence([SEED, *words]))


def specimens() -> list[Specimen]:
    """All specimens of the study, in order."""
    return [
        Specimen(
            name := f"{series.letter}{days:02d}-{number}",
            series,
            days,
            series.rate_mm_per_y * float(np.exp(0.15 * stream(name, "rate").standard_normal())),
        )
        for series, days, count in DESIGN
        for number in range(1, count + 1)
    ]
