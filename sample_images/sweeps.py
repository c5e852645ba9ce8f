"""Potential sweeps of the demo: fresh plates of the magnesium alloy, and passive 316L there and back.

Every sweep follows from the true rate of a plate. Those of magnesium stand for a plate of 28 days and show
`SWEEP_SHARE` of its rate, because sweeps of magnesium usually read lower than mass loss; how much lower is
invented. Two instruments wrote the files, each in its own way.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from specimens import COATED, REFERENCE, UNCOATED, Series, Specimen, specimens, stream

SWEEP_SHARE = 0.6
AREA_CM2 = 1.0
AREA_RELATIVE_UNCERTAINTY = 0.02
TEMPERATURE_DEGC = 37.0
SOLUTION_RESISTANCE_OHM = 6.0
SCAN_RATE_MV_PER_S = 1.0
SILVER_CHLORIDE_OVER_SCE_MV = -34.0
FINE_STEP_MV, FINE_REACH_MV = 2, 16
PIT_MV_PER_DECADE = 40.0

MM_PER_Y_PER_UA_PER_CM2 = 3.2707e-3
"""Times grams per mole of electrons over g/cm³: Faraday's law with years of 365.25 d."""
METALS: dict[Series, tuple[float, float]] = {
    UNCOATED: (1.78, 12.307),
    COATED: (1.78, 12.307),
    REFERENCE: (7.98, 25.5),
}
"""Density in g/cm³ and grams per mole of electrons: Mg with 2 % Zn, both of valence 2, and 316L."""


@dataclass(frozen=True)
class CellSweep:
    """One sweep to be recorded.

    Attributes
    ----------
    specimen : Specimen
        The plate in the cell.
    stands_for : Specimen
        The plate whose rate it shows.
    zero_mV : float
        Zero-current potential, mV against the file's electrode.
    anodic_mV, cathodic_mV : float
        Tafel slopes, mV/decade.
    below_mV, above_mV, step_mV : int
        The sweep runs this far either side of the zero-current potential, to whole steps.
    breakdown_mV, protection_mV : float or None
        Of a passive plate that is swept there and back; None where its passive film holds.
    """

    specimen: Specimen
    stands_for: Specimen
    zero_mV: float
    anodic_mV: float
    cathodic_mV: float
    below_mV: int
    above_mV: int
    step_mV: int
    breakdown_mV: float | None = None
    protection_mV: float | None = None

    @property
    def is_passive(self) -> bool:
        """Whether it is a plate of 316L, swept there and back."""
        return self.specimen.series is REFERENCE

    @property
    def _is_second_instrument(self) -> bool:
        return self.specimen.series is COATED or self.breakdown_mV is not None

    @property
    def file(self) -> str:
        """Name of the file in the study."""
        return f"sweeps/{self.specimen.id}_{'cyclic' if self.is_passive else 'sweep'}.csv"

    @property
    def entry_id(self) -> str:
        """Its name in the study."""
        return self.file

    @property
    def rate_mm_per_y(self) -> float:
        """Rate that the sweep shows."""
        return self.stands_for.rate_mm_per_y * (1.0 if self.is_passive else SWEEP_SHARE)

    @property
    def icorr_uA_per_cm2(self) -> float:
        """Corrosion current density of that rate, by Faraday's law."""
        density, weight = METALS[self.specimen.series]
        return self.rate_mm_per_y * density / (MM_PER_Y_PER_UA_PER_CM2 * weight)

    @property
    def vertex_mV(self) -> int:
        """Highest potential."""
        return self._grid()[-1]

    def _grid(self) -> list[int]:
        """Potentials of the way up in even steps, on a passive plate finer ones about zero current."""
        start = self.step_mV * round((self.zero_mV - self.below_mV) / self.step_mV)
        even = list(range(start, start + self.below_mV + self.above_mV + 1, self.step_mV))
        if not self.is_passive:
            return even
        middle = FINE_STEP_MV * round(self.zero_mV / FINE_STEP_MV)
        fine = range(middle - FINE_REACH_MV, middle + FINE_REACH_MV + 1, FINE_STEP_MV)
        return sorted({*even, *fine})

    def record(self) -> tuple[np.ndarray, np.ndarray]:
        """Potential in mV, int of shape (n,), and current in µA, float of shape (n,), noise included."""
        up = np.array(self._grid())
        if self.is_passive:
            back = up[up % self.step_mV == 0][-2::-1]
            potential = np.concatenate([up, back])
            current = np.concatenate([self._passive(up, returns=False), self._passive(back, returns=True)])
        else:
            potential = up
            current = self._active(up)
        rng = stream(self.specimen.id, "sweep", "noise")
        white = rng.standard_normal((2, len(potential)))
        floor = 0.01 * self.icorr_uA_per_cm2 * AREA_CM2
        return potential, current * (1 + 0.01 * white[0]) + floor * white[1]

    def _active(self, applied_mV: np.ndarray) -> np.ndarray:
        """Both reactions activated, behind the solution resistance."""
        low, high = applied_mV - 500.0, applied_mV + 500.0
        for _ in range(60):
            middle = (low + high) / 2
            drop = 1e-3 * SOLUTION_RESISTANCE_OHM * self._activated(middle)
            too_high = middle + drop > applied_mV
            low, high = np.where(too_high, low, middle), np.where(too_high, middle, high)
        return self._activated((low + high) / 2)

    def _activated(self, potential_mV: np.ndarray) -> np.ndarray:
        over = potential_mV - self.zero_mV
        net = 10 ** (over / self.anodic_mV) - 10 ** (-over / self.cathodic_mV)
        return self.icorr_uA_per_cm2 * AREA_CM2 * net

    def _passive(self, potential_mV: np.ndarray, *, returns: bool) -> np.ndarray:
        """Passive current, and that of pits: it starts at breakdown and falls to nothing at protection.

        On the way back the film is thicker and passes less, and the zero-current potential is higher. Pits
        pass as much as the film at breakdown, and on the way back bring the current to that of the way there
        at protection.
        """
        film = self._film(potential_mV, returns=returns)
        if self.breakdown_mV is None or self.protection_mV is None:
            return film
        first = float(self._film(np.array(self.breakdown_mV), returns=False))
        top = first * 10 ** ((self.vertex_mV - self.breakdown_mV) / PIT_MV_PER_DECADE)
        if not returns:
            return film + first * 10 ** ((potential_mV - self.breakdown_mV) / PIT_MV_PER_DECADE)
        end = np.array(self.protection_mV)
        last = float(self._film(end, returns=False) - self._film(end, returns=True))
        share = (potential_mV - self.protection_mV) / (self.vertex_mV - self.protection_mV)
        return film + last * (top / last) ** share

    def _film(self, potential_mV: np.ndarray, *, returns: bool) -> np.ndarray:
        zero, passes = (self.zero_mV + 90, 0.7) if returns else (self.zero_mV, 1.0)
        over = potential_mV - zero
        net = 10 ** (over / self.anodic_mV) - 10 ** (-over / self.cathodic_mV)
        return passes * self.icorr_uA_per_cm2 * AREA_CM2 * net

    def text(self) -> str:
        """The file, as one of two instruments writes it."""
        potential, current = self.record()
        if self._is_second_instrument:
            head = ["Invented data;surfscan demo", f"Sample;{self.specimen.id}", "Reference;SCE"]
            if self.is_passive:
                moved = np.abs(np.diff(potential, prepend=potential[0]))
                times = np.cumsum(moved) / SCAN_RATE_MV_PER_S
                columns = "t/s;E/mV;I/µA"
                rows = [f"{t:.0f};{e};{i:.4g}" for t, e, i in zip(times, potential, current, strict=True)]
            else:
                columns = "I/µA;E/mV"
                rows = [f"{i:.4g};{e}" for e, i in zip(potential, current, strict=True)]
            return "\n".join([*head, columns, *(row.replace(".", ",") for row in rows)]) + "\n"
        unit, factor = ("A", 1e-6) if self.is_passive else ("mA", 1e-3)
        head = [
            "# invented data, surfscan demo",
            f"# sample: {self.specimen.id}, scan rate: {SCAN_RATE_MV_PER_S} mV/s",
            f"E (V vs Ag/AgCl 3 M KCl),I ({unit})",
        ]
        rows = [f"{e / 1000},{_short(factor * i)}" for e, i in zip(potential, current, strict=True)]
        return "\n".join([*head, *rows]) + "\n"

    def entry(self) -> str:
        """Its table in study.toml."""
        lines = [
            "[[sweep]]",
            f'file = "{self.file}"',
            f'specimen = "{self.specimen.id}"',
            f"area_cm2 = {AREA_CM2}",
            f"area_relative_uncertainty = {AREA_RELATIVE_UNCERTAINTY}",
            f"temperature_degC = {TEMPERATURE_DEGC}",
        ]
        if not self._is_second_instrument:
            lines.append('to_reference = "SCE"')
        if self.stands_for != self.specimen:
            lines.append(f'twin_of = "{self.stands_for.id}"')
        if not self.is_passive:
            lines.append(f"solution_resistance_ohm = {SOLUTION_RESISTANCE_OHM}")
        return "\n".join(lines) + "\n"

    def truth(self) -> dict[str, float]:
        """True figures; potentials against SCE."""
        shift = 0.0 if self._is_second_instrument else SILVER_CHLORIDE_OVER_SCE_MV
        out = {
            "Ecorr_V": (self.zero_mV + shift) / 1000,
            "icorr_uA_per_cm2": self.icorr_uA_per_cm2,
            "rate_mm_per_y": self.rate_mm_per_y,
        }
        if not self.is_passive:
            return out | {
                "anodic_slope_mV_per_decade": self.anodic_mV,
                "cathodic_slope_mV_per_decade": self.cathodic_mV,
            }
        if self.breakdown_mV is None or self.protection_mV is None:
            return out | {"breakdown_at_least_V": (self.vertex_mV + shift) / 1000}
        return out | {
            "breakdown_V": (self.breakdown_mV + shift) / 1000,
            "protection_V": (self.protection_mV + shift) / 1000,
        }


def _short(number: float) -> str:
    """Four digits in the fewest characters."""
    mantissa, exponent = f"{number:.3e}".split("e")
    return min(f"{mantissa}e{int(exponent)}", f"{number:.4g}", key=len)


def cell_sweeps() -> list[CellSweep]:
    """Every sweep: as-received plates of the alloy for those of 28 days, and 316L before and after."""
    by_id = {s.id: s for s in specimens()}
    out = []
    for letter, zero_mV, slopes in (("U", -1560.0, (105.0, 170.0)), ("C", -1490.0, (120.0, 150.0))):
        for number in (1, 2, 3):
            fresh = by_id[f"{letter}00-{number}"]
            moved = stream(fresh.id, "sweep", "cell").standard_normal(3)
            zero = round(zero_mV + 12 * float(moved[0]), 1)
            anodic, cathodic = (
                round(s * (1 + 0.05 * float(m))) for s, m in zip(slopes, moved[1:], strict=True)
            )
            exposed = by_id[f"{letter}28-{number}"]
            out.append(CellSweep(fresh, exposed, zero, anodic, cathodic, 171, 132, 3))
    received, exposed = by_id["S00-1"], by_id["S28-1"]
    return [
        *out,
        CellSweep(received, received, -190.0, 1600.0, 120.0, 120, 600, 12),
        CellSweep(exposed, exposed, -150.0, 1600.0, 110.0, 120, 600, 12, 296.0, 65.0),
    ]
