"""What the bath tells of the demo's plates: weighings, gas, acid and the log of a rig.

All of it follows from the metal that a plate has lost. A plate is taken as struts of the drawn section, as
many as its surface needs, which lose the same depth from all four sides at the plate's true rate. So the
surface shrinks as the plate corrodes, and a rate over the surface at the start comes out below the true one.
"""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

import numpy as np
from specimens import REFERENCE, Specimen, specimens, stream
from struts import THICKNESS_UM, WIDTH_UM
from sweeps import METALS

SURFACE_MM2, SURFACE_UNCERTAINTY = 412.0, 0.02
GAS_SHARE = 0.9  # the rest stays in bubbles on the plate
ACID_SHARE = 0.85  # the rest of the hydroxide precipitates
GAS_HOURS = (0, 24, 48, 96, 144, 192, 240, 288, 336)
GAS_DEGC, GAS_KPA, VAPOUR_KPA = 37.0, 101.3, 6.28
ACID_MOL_PER_L = 0.1
ACID_BLANK_ML_PER_DAY = 0.1
BLANK_MG_PER_CYCLE = 0.15
BALANCE_MG = 0.03
LOG_FILE = "logs/rig_1.csv"
LOG_HOURS = 672
LOG_STEP_H = 2
LOG_STARTS = dt.datetime(2025, 10, 6, 8)
CLOCK_BACK = dt.datetime(2025, 10, 26, 3)
COLD_H, FLOWLESS_H = (200, 209), (402, 411)
RESISTANCE_RISE = 0.25
BANDS = {
    "temperature_degC": (37.0, "temperature_tolerance_degC", 0.5),
    "pH": (7.4, "pH_tolerance", 0.1),
    "flow_mL_per_min": (12.0, "flow_tolerance_mL_per_min", 1.0),
}


def metal_mg(specimen: Specimen, days: float) -> float:
    """Metal that a plate of the alloy has lost, mg."""
    loss = 1e3 * specimen.rate_mm_per_y * days / 365.25
    around = 2 * (WIDTH_UM + THICKNESS_UM)
    gone_um2 = WIDTH_UM * THICKNESS_UM - (WIDTH_UM - 2 * loss) * (THICKNESS_UM - 2 * loss)
    return METALS[specimen.series][0] * SURFACE_MM2 * gone_um2 / around * 1e-3


def start_mg(specimen: Specimen) -> float:
    """Mass of a plate before exposure, mg: of the struts, each plate a little different."""
    around = 2 * (WIDTH_UM + THICKNESS_UM)
    drawn = METALS[specimen.series][0] * SURFACE_MM2 * WIDTH_UM * THICKNESS_UM / around * 1e-3
    return drawn * (1 + 0.01 * float(stream(specimen.id, "mass").standard_normal()))


def apparent_rate_mm_per_y(specimen: Specimen, mg: float, days: float) -> float:
    """Rate of a loss over the surface at the start."""
    return mg / METALS[specimen.series][0] / SURFACE_MM2 * 365.25 / days


@dataclass(frozen=True)
class Weighing:
    """Masses of one plate, in equal cleaning cycles; a plate as received goes through them alongside."""

    specimen: Specimen

    @property
    def entry_id(self) -> str:
        """Its name in the study."""
        return f"weighing of {self.specimen.id}"

    def masses_g(self) -> tuple[float, list[float]]:
        """Before exposure, and after each of five cycles.

        Product comes off in the first two, and each takes a little metal with it.
        """
        noise = BALANCE_MG * stream(self.specimen.id, "weighing").standard_normal(6)
        before, lost = start_mg(self.specimen), metal_mg(self.specimen, self.specimen.days)
        product = lost * np.array([0.12, 0.005, 0, 0, 0])
        after = before - lost - BLANK_MG_PER_CYCLE * np.arange(1, 6) + product + noise[1:]
        return round((before + noise[0]) / 1e3, 5), [round(mg / 1e3, 5) for mg in after.tolist()]

    def blank_mg(self) -> list[float]:
        """What the blank of its group lost in each cycle."""
        masses = BALANCE_MG * stream(self.specimen.group, "blank").standard_normal(6)
        return [round(x, 2) for x in (BLANK_MG_PER_CYCLE - np.diff(masses)).tolist()]

    def entry(self) -> str:
        """Its table in study.toml."""
        before, after = self.masses_g()
        lines = [
            "[[weighing]]",
            f'specimen = "{self.specimen.id}"',
            f"before_g = {before:.5f}",
            f"cleaned_g = [{', '.join(f'{mass:.5f}' for mass in after)}]",
            f"blank_loss_mg = {self.blank_mg()}",
            'cleaning = "chromic acid, 1 min"',
        ]
        return "\n".join(lines) + "\n"

    def truth(self) -> dict[str, float]:
        """The loss, and the rate as mass loss sees it."""
        lost = metal_mg(self.specimen, self.specimen.days)
        rate = apparent_rate_mm_per_y(self.specimen, lost, self.specimen.days)
        return {"loss_mg": lost, "rate_mm_per_y": rate}


@dataclass(frozen=True)
class GasSeries:
    """Hydrogen of one plate, read on a burette over the solution at bath temperature."""

    specimen: Specimen

    @property
    def entry_id(self) -> str:
        """Its name in the study."""
        return f"gas of {self.specimen.id}"

    def volumes_mL(self) -> list[float]:
        """Readings: as many moles as of metal, less what bubbles hold back."""
        electrons = np.array([metal_mg(self.specimen, h / 24) for h in GAS_HOURS]) / _weight(self.specimen)
        volume = GAS_SHARE * electrons / 2 * 8.314463 * (GAS_DEGC + 273.15) / (GAS_KPA - VAPOUR_KPA)
        noise = 0.05 * stream(self.specimen.id, "gas").standard_normal(len(volume))
        return [round(v, 1) for v in np.where(volume > 0, volume + noise, 0).tolist()]

    def entry(self) -> str:
        """Its table in study.toml."""
        lines = [
            "[[gas]]",
            f'specimen = "{self.specimen.id}"',
            f"hours = {list(GAS_HOURS)}",
            f"volume_mL = {self.volumes_mL()}",
            f"temperature_degC = {GAS_DEGC}",
            f"pressure_kPa = {GAS_KPA}",
            "dry = false",
        ]
        return "\n".join(lines) + "\n"

    def truth(self) -> dict[str, float]:
        """The rate as gas sees it, with what the bubbles hold back."""
        days = GAS_HOURS[-1] / 24
        seen = GAS_SHARE * metal_mg(self.specimen, days)
        return {"rate_mm_per_y": apparent_rate_mm_per_y(self.specimen, seen, days)}


@dataclass(frozen=True)
class RigLog:
    """Four weeks of the rig that held all uncoated plates of 28 days: means over two hours, local time.

    The heater fails once, the flow meter is off for some hours, the filter slowly clogs, and the clock goes
    back to winter time.
    """

    specimens: tuple[Specimen, ...]

    entry_id = LOG_FILE

    def acid_mL(self, hours: np.ndarray) -> np.ndarray:
        """Acid dosed up to then: two H+ an atom, less what precipitates, and what the bath itself takes."""
        electrons = sum(
            np.array([metal_mg(s, h / 24) for h in hours.tolist()]) / _weight(s) for s in self.specimens
        )
        return ACID_SHARE * np.asarray(electrons) / ACID_MOL_PER_L + ACID_BLANK_ML_PER_DAY * hours / 24

    def channels(self) -> dict[str, np.ndarray]:
        """Readings in h, °C, mL/min, mbar and mL; the flow is not a number while its meter is off."""
        hours = np.arange(0, LOG_HOURS + 1, LOG_STEP_H)
        white = stream("rig_1", "log").standard_normal((5, len(hours)))
        temperature = 37.02 + 0.08 * np.sin(2 * np.pi * hours / 24) + 0.04 * white[0]
        cold = _within(hours, COLD_H)
        temperature[cold] -= 2.9 * np.sin(np.pi * (hours[cold] - COLD_H[0] + 1) / (COLD_H[1] - COLD_H[0] + 1))
        flow = 12 + 0.15 * white[2]
        after = 10 + 0.7 * white[3]
        per_flow = 7.5 * (1 + RESISTANCE_RISE * hours / LOG_HOURS) * (1 + 0.004 * white[4])
        return {
            "hours": hours,
            "temperature": temperature,
            "pH": 7.41 + 0.015 * white[1],
            "flow": np.where(_within(hours, FLOWLESS_H), np.nan, flow),
            "pressure before": after + per_flow * flow,
            "pressure after": after,
            "acid": self.acid_mL(hours),
        }

    def text(self) -> str:
        """The file."""
        lines = ["time;bath °C;pH;flow mL/min;p before mbar;p after mbar;acid total mL"]
        for h, temperature, pH, flow, before, after, acid in zip(*self.channels().values(), strict=True):
            clock = LOG_STARTS + dt.timedelta(hours=int(h))
            clock -= dt.timedelta(hours=clock >= CLOCK_BACK)
            flowing = "" if np.isnan(flow) else f"{flow:.1f}"
            lines.append(
                f"{clock:%d.%m.%y %H:%M};{temperature:.2f};{pH:.2f};{flowing};{before:.0f};{after:.0f};"
                f"{acid:.1f}"
            )
        return "\n".join(lines) + "\n"

    def entry(self) -> str:
        """Its table in study.toml."""
        lines = [
            "[[log]]",
            f'file = "{LOG_FILE}"',
            f'group = "{self.specimens[0].group}"',
            f"acid_mol_per_L = {ACID_MOL_PER_L}",
            f"acid_blank_mL_per_day = {ACID_BLANK_ML_PER_DAY}",
        ]
        for name, (point, tolerance_name, tolerance) in BANDS.items():
            lines += [f"{name} = {point}", f"{tolerance_name} = {tolerance}"]
        lines += [
            'checks = [{ instrument = "pH probe", known_before = 7.0, read_before = 7.01, known_after = 7.0, '
            "read_after = 7.03, temperature_before_degC = 37.0, temperature_after_degC = 37.0 }]",
        ]
        return "\n".join(lines) + "\n"

    def truth(self) -> dict[str, float]:
        """Hours, the rate as acid sees it, and by how much the hydraulic resistance grew.

        Each reading stands for the two hours up to the next; without flow they are not known to be in range.
        """
        days = LOG_HOURS / 24
        seen = ACID_SHARE * float(np.mean([metal_mg(s, days) for s in self.specimens]))
        read = self.channels()
        known = (read["temperature"], read["pH"], read["flow"])
        in_range = np.all(
            [
                np.abs(r - point) <= tolerance
                for r, (point, _, tolerance) in zip(known, BANDS.values(), strict=True)
            ],
            axis=0,
        )
        return {
            "immersed_h": float(LOG_HOURS),
            "in_range_h": float(LOG_STEP_H * in_range[:-1].sum()),
            "acid_rate_mm_per_y": apparent_rate_mm_per_y(self.specimens[0], seen, days),
            "resistance_rise_fraction": RESISTANCE_RISE,
        }


def _weight(specimen: Specimen) -> float:
    return METALS[specimen.series][1]


def _within(hours: np.ndarray, stretch: tuple[int, int]) -> np.ndarray:
    return (hours >= stretch[0]) & (hours < stretch[1])


def is_weighed(specimen: Specimen) -> bool:
    """Whether a plate is: those of the alloy after 14 and 28 days."""
    return specimen.days >= 14 and specimen.series is not REFERENCE


def weighings() -> list[Weighing]:
    """All weighings."""
    return [Weighing(s) for s in specimens() if is_weighed(s)]


def gas_series() -> list[GasSeries]:
    """Two uncoated plates of 14 days, each in a cell of its own."""
    return [GasSeries(s) for s in specimens() if s.id in ("U14-1", "U14-2")]


def rig_log() -> RigLog:
    """The log of the rig."""
    return RigLog(tuple(s for s in specimens() if s.id.startswith("U28")))
