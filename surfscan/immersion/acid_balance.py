"""Acid of a rig log as metal dissolved, over the whole exposure and stretch by stretch."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.immersion.acid import acid_rates, metal_of_acid_mg, why_no_acid_rate
from surfscan.immersion.acid_log import AcidTotals
from surfscan.immersion.estimates import RateEstimate
from surfscan.immersion.exposure_run import ExposureRun
from surfscan.immersion.exposure_settings import ExposureSettings
from surfscan.immersion.log_channels import acid_by_heading
from surfscan.immersion.log_times import HOUR_US
from surfscan.immersion.settings import ImmersionSettings
from surfscan.materials.material import Material

_LEAST_STRETCHES = 4
_LARGE_SHARE = 0.05  # of all acid, from which a lone rise is said


@dataclass(frozen=True)
class AcidBalance:
    """Acid dosed and what it stands for.

    Attributes
    ----------
    kind : {"cumulative", "events", "counter", ""}
        What the column was taken to hold.
    told_by : str
    hours : ndarray of shape (n,)
        First reading of the volume and ends of the stretches, since immersion.
    acid_mL, blank_mL, acid_mmol, metal_mg : ndarray of shape (n,)
        Up to these times; the last two not-a-number where not known.
    estimate : RateEstimate or None
        Over the whole of it.
    intervals : tuple of RateEstimate
        Stretch by stretch.
    trace : int
        Row of the trace with the volume, relative to the first of acid; -1 where there is none.
    scale : float
        mL for one unit of that row.
    refused : str
        Why there is no rate; empty where there is one.
    warnings : tuple of str
    reservations : tuple of str
        What speaks against the total.
    """

    kind: str
    told_by: str
    hours: np.ndarray
    acid_mL: np.ndarray
    blank_mL: np.ndarray
    acid_mmol: np.ndarray
    metal_mg: np.ndarray
    estimate: RateEstimate | None
    intervals: tuple[RateEstimate, ...]
    trace: int
    scale: float
    refused: str
    warnings: tuple[str, ...]
    reservations: tuple[str, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON: figures of the whole exposure."""
        has_acid = len(self.hours) > 0

        def last(values: np.ndarray) -> float | None:
            return float(values[-1]) if has_acid and np.isfinite(values[-1]) else None

        return {
            "kind": self.kind or None,
            "told_by": self.told_by,
            "acid_mL": last(self.acid_mL),
            "blank_mL": last(self.blank_mL),
            "acid_mmol": last(self.acid_mmol),
            "metal_mg": last(self.metal_mg),
            "rate": None if self.estimate is None else self.estimate.as_dict(),
            "refused": self.refused,
        }


def balance_acid(
    run: ExposureRun,
    start_us: int,
    settings: ExposureSettings,
    *,
    material: Material | None,
    area_cm2: float | None,
    area_relative_uncertainty: float | None,
    immersion_settings: ImmersionSettings | None,
    words: Sequence[str],
) -> AcidBalance:
    """Acid dosed between the first and the last reading of its volume, and the metal that it stands for.

    Parameters
    ----------
    run : ExposureRun
        At its end.
    start_us : int
        Immersion.
    settings : ExposureSettings
    material, area_cm2, area_relative_uncertainty, immersion_settings
        As in `measure_exposure`.
    words : sequence of str
        Of the heading of the column.

    Returns
    -------
    AcidBalance
    """
    channel = next((one for one in run.channels if one.name == "acid"), None)
    if channel is None:
        return _none("The log has no column of acid.")
    told = settings.acid_is if settings.acid_is != "auto" else acid_by_heading(channel, words)
    why = "stated" if settings.acid_is != "auto" else "its heading or unit"
    if not told:
        told, why = run.acid.kind()
        if not told:
            return _none(f"The acid column is not used: {why}. State what it holds in `acid_is`.")
    scale = 1.0
    if told == "counter":
        if settings.acid_mL_per_pulse is None:
            return _none(
                "The acid column counts pulses, and the volume of one is not stated (`acid_mL_per_pulse`).",
                told,
                why,
            )
        scale = settings.acid_mL_per_pulse
    which = 1 if told == "events" else 0
    hours, volumes = _series(run, which, start_us, settings)
    if len(hours) < 2:
        return _none("The acid column has fewer than two readings.", told, why)
    volumes = scale * (volumes - (0.0 if told == "events" else volumes[0]))
    reservations = _reservations(run.acid, scale, float(volumes[-1])) if which == 0 else ()
    warnings = [*(_misread(run.acid) if which == 0 else ()), *reservations]
    per_day = settings.acid_blank_mL_per_day
    blank = np.zeros(len(hours)) if per_day is None else per_day * (hours - hours[0]) / 24
    concentration = settings.acid_mol_per_L
    amount = np.full(len(hours), np.nan)
    metal = amount.copy()
    estimate: RateEstimate | None = None
    intervals: tuple[RateEstimate, ...] = ()
    if concentration is not None:
        amount = concentration * settings.acid_protons * (volumes - blank)
    refused = _why_no_rate(concentration, material, area_cm2)
    if not refused:
        assert concentration is not None and material is not None and area_cm2 is not None
        found = acid_rates(
            hours,
            volumes,
            concentration_mol_per_L=concentration,
            material=material,
            area_cm2=area_cm2,
            protons=settings.acid_protons,
            blank_mL=blank,
            area_relative_uncertainty=area_relative_uncertainty,
            has_precipitate=settings.acid_has_precipitate,
            takes_up_carbon_dioxide=settings.acid_takes_up_carbon_dioxide,
            has_bicarbonate=settings.acid_has_bicarbonate,
            settings=immersion_settings,
        )
        estimate, intervals, metal = found.estimate, found.intervals or (found.estimate,), found.metal_mg
        refused = estimate.refused
        warnings += [f"Acid: {note[0].lower()}{note[1:]}" for note in estimate.warnings]
    elif concentration is not None and material is not None and not why_no_acid_rate(material):
        metal = metal_of_acid_mg(amount, material)
    return AcidBalance(
        told,
        why,
        hours,
        volumes,
        blank,
        amount,
        metal,
        estimate,
        intervals,
        which,
        scale,
        refused,
        tuple(warnings),
        reservations,
    )


def _misread(acid: AcidTotals) -> tuple[str, ...]:
    """Readings of a total that were left out."""
    if not acid.glitches:
        return ()
    what = "one reading" if acid.misread == 1 else f"{acid.misread} readings"
    return (
        f"The total of the acid left its level {_times(acid.glitches)} and did not stay away: {what} "
        "left out as misread.",
    )


def _reservations(acid: AcidTotals, scale: float, volume_mL: float) -> tuple[str, ...]:
    """What makes a total less than sure: set back, or risen faster than it can have."""
    said = []
    if acid.resets:
        said.append(
            f"The total of the acid was set back {_times(acid.resets)}: it is taken to have gone on from 0, "
            "and what was dosed between the two readings is lost."
        )
    if acid.jumps:
        said.append(
            f"The total of the acid rose {_times(acid.jumps)} faster than the pump gives "
            f"(`acid_pump_mL_per_min`), by {scale * acid.jumped:.3g} mL in all: this is not counted."
        )
    if scale * acid.lone_rise > _LARGE_SHARE * volume_mL:
        said.append(
            f"The total of the acid rose by {scale * acid.lone_rise:.3g} mL between two readings, more than "
            "ten times as fast as ever else: it is counted as dosed. State `acid_pump_mL_per_min` where it "
            "was not."
        )
    return tuple(said)


def _times(count: int) -> str:
    return "once" if count == 1 else f"{count} times"


def _why_no_rate(concentration: float | None, material: Material | None, area_cm2: float | None) -> str:
    if material is not None and why_no_acid_rate(material):
        return why_no_acid_rate(material)
    missing = [
        name
        for name, value in (
            ("the concentration of the acid (`acid_mol_per_L`)", concentration),
            ("the material", material),
            ("the wetted area", area_cm2),
        )
        if value is None
    ]
    return f"No rate from acid without {', '.join(missing)}." if missing else ""


def _series(
    run: ExposureRun, which: int, start_us: int, settings: ExposureSettings
) -> tuple[np.ndarray, np.ndarray]:
    """Times and volumes at the first reading and at the ends of the stretches: readings, not between them."""
    assert run.trace is not None
    row = len(run.channels) + 2 + which
    volumes = run.trace.lasts(row)
    known = np.flatnonzero(np.isfinite(volumes))
    if len(known) == 0:
        return np.zeros(0), np.zeros(0)
    hours = (run.trace.ends_us()[known] - start_us) / HOUR_US
    volumes = volumes[known]
    first = int(known[0])
    opening_h = (int(run.first_us or 0) - start_us) / HOUR_US if first == 0 else float(hours[0])
    opening = 0.0 if which == 1 else float(run.trace.lows(row)[first])
    span = float(hours[-1]) - opening_h
    if span <= 0:
        return np.zeros(0), np.zeros(0)
    stretch = min(settings.acid_window_h, span / _LEAST_STRETCHES)
    wanted = opening_h + stretch * np.arange(1, max(int(np.floor(span / stretch + 1e-9)), 1) + 1)
    wanted[-1] = float(hours[-1])
    at = np.unique(np.maximum(np.searchsorted(hours, wanted * (1 + 1e-12), side="right") - 1, 0))
    at = at[hours[at] > opening_h]
    return np.concatenate([[opening_h], hours[at]]), np.concatenate([[opening], volumes[at]])


def _none(why: str, kind: str = "", told_by: str = "") -> AcidBalance:
    empty = np.zeros(0)
    warnings = () if why.startswith("The log has no") else (why,)
    return AcidBalance(kind, told_by, empty, empty, empty, empty, empty, None, (), -1, 1.0, why, warnings)
