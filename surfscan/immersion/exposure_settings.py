"""Settings of a rig log: how it is read, set points with tolerances, and the rules of the verdict."""

from __future__ import annotations

from typing import Literal, Self

from pydantic import Field, model_validator

from surfscan.immersion.log_units import QUANTITIES, parse_channel_unit
from surfscan.procedures.settings import ProcedureSettings

BANDS = {
    "temperature": ("temperature_degC", "temperature_tolerance_degC"),
    "pH": ("pH", "pH_tolerance"),
    "flow": ("flow_mL_per_min", "flow_tolerance_mL_per_min"),
    "pressure before": ("pressure_before_kPa", "pressure_before_tolerance_kPa"),
    "pressure after": ("pressure_after_kPa", "pressure_after_tolerance_kPa"),
}
"""Channel -> settings of its set point and of its tolerance."""


class ExposureSettings(ProcedureSettings):
    """Rig logs. Limits of the verdict are common practice, no source: a test plan states its own."""

    temperature_degC: float | None = Field(
        None, ge=-10, le=110, description="Set point, °C. Unset: not judged."
    )
    temperature_tolerance_degC: float | None = Field(
        None, gt=0, description="Largest distance from the set point that is in range, K."
    )
    pH: float | None = Field(None, ge=0, le=14, description="Set point of the pH. Unset: not judged.")
    pH_tolerance: float | None = Field(
        None, gt=0, description="Largest distance from the set point that is in range."
    )
    flow_mL_per_min: float | None = Field(None, gt=0, description="Set point, mL/min. Unset: not judged.")
    flow_tolerance_mL_per_min: float | None = Field(
        None, gt=0, description="Largest distance from the set point that is in range, mL/min."
    )
    pressure_before_kPa: float | None = Field(
        None, description="Set point of the pressure before the specimen, kPa. Unset: not judged."
    )
    pressure_before_tolerance_kPa: float | None = Field(
        None, gt=0, description="Largest distance from the set point that is in range, kPa."
    )
    pressure_after_kPa: float | None = Field(
        None, description="Set point of the pressure after the specimen, kPa. Unset: not judged."
    )
    pressure_after_tolerance_kPa: float | None = Field(
        None, gt=0, description="Largest distance from the set point that is in range, kPa."
    )

    columns: dict[str, str | int] = Field(
        default_factory=dict,
        description="Columns to take in place of those found: channel ('temperature', 'pH', 'flow', "
        "'pressure before', 'pressure after', 'pressure drop', 'acid') -> heading, or number of the column, "
        "the first 1.",
    )
    units: dict[str, str] = Field(
        default_factory=dict,
        description="Units in place of those in the file: channel -> unit, such as 'psi' or 'L/h'; for "
        "'time' one of 's', 'ms', 'min', 'h', 'd' (elapsed), 'epoch s', 'epoch ms'.",
    )
    decimal: Literal["auto", ".", ","] = Field("auto", description="Decimal mark of the file.")
    date_order: Literal["auto", "day_first", "month_first"] = Field(
        "auto",
        description="Order of dates such as 03/04/2024. 'auto': told by the dates in the file, and refused "
        "where they do not tell.",
    )
    clock_backwards: Literal["refuse", "resync"] = Field(
        "refuse",
        description="What to do where the clock goes back other than by a change of daylight-saving time: "
        "'refuse', or 'resync', which lets the reading follow the one before it by one usual interval.",
    )
    clock_changes: Literal["auto", "any", "none"] = Field(
        "auto",
        description="Where a step of one hour beside steady sampling is a change of daylight-saving time, in "
        "times without zone: 'auto', between 00:00 and 04:00 in March, April and September to November; "
        "'any', at any time; 'none', nowhere: the logger paused.",
    )
    sampling_interval_s: float | None = Field(
        None, gt=0, description="Usual time between readings, s. Unset: their median."
    )
    gap_intervals: float = Field(
        10.0,
        gt=1,
        description="Times longer than this many usual intervals are gaps: immersed, but not known to be in "
        "range.",
    )
    excursion_merge_s: float = Field(
        60.0,
        ge=0,
        description="Excursions apart by no more than this are one, s, where it is outside for half of its "
        "length.",
    )
    frozen_h: float = Field(
        1.0,
        gt=0,
        description="A sensor may be frozen where its reading stays the same to the digit for longer than "
        "this, h, and longer than its own noise explains.",
    )
    least_flow_fraction: float = Field(
        0.1,
        ge=0,
        lt=1,
        description="Hydraulic resistance is taken where the flow exceeds this share of its set point, or, "
        "without one, of 1 mL/min.",
    )
    clogging_rise: float = Field(
        0.1,
        gt=0,
        description="Rise of the hydraulic resistance over the log, as a share of its start, that the lower "
        "95 % limit must pass to be taken as clogging.",
    )

    acid_is: Literal["auto", "cumulative", "events", "counter"] = Field(
        "auto",
        description="What the acid column holds: volume dosed so far, volume of each dose, or pulses counted "
        "so far. 'auto': told by heading, unit and content.",
    )
    acid_mL_per_pulse: float | None = Field(None, gt=0, description="Volume of one pulse of a counter, mL.")
    acid_pump_mL_per_min: float | None = Field(
        None,
        gt=0,
        description="The most that the pump of the acid gives, mL/min. A total that rises by more than in a "
        "minute, or in the time between two readings, was misread and goes on from where it was.",
    )
    acid_mol_per_L: float | None = Field(
        None, gt=0, lt=20, description="Concentration of the acid, mol/L. Unset: no metal from acid."
    )
    acid_protons: Literal[1, 2, 3] = Field(1, description="H+ that one molecule of the acid gives up.")
    acid_has_precipitate: bool = Field(
        True, description="Whether hydroxide, phosphate or carbonate may precipitate: acid then reads low."
    )
    acid_takes_up_carbon_dioxide: bool = Field(
        False, description="Whether carbon dioxide is taken up or used to hold the pH: acid then reads low."
    )
    acid_has_bicarbonate: bool = Field(
        False,
        description="Whether the medium holds bicarbonate and is open to the air: acid then reads high.",
    )
    acid_blank_mL_per_day: float | None = Field(
        None, ge=0, description="Acid that the same bath takes without specimen, mL/d. Unset: none taken off."
    )
    acid_window_h: float = Field(
        24.0, gt=0, description="Stretches over which rates from acid are given, h; at least four of the log."
    )

    valid_in_range_fraction: float = Field(
        0.95,
        gt=0,
        le=1,
        description="Share of the immersed time that each judged channel must be known to be in range for "
        "an unreserved verdict.",
    )
    least_in_range_fraction: float = Field(
        0.8, ge=0, le=1, description="Share below which the exposure is not valid."
    )
    longest_excursion_h: float = Field(
        4.0, gt=0, description="An excursion longer than this is a reservation, h."
    )
    fatal_excursion_h: float = Field(
        24.0, gt=0, description="An excursion longer than this makes the exposure not valid, h."
    )
    largest_gap_fraction: float = Field(
        0.05, gt=0, le=1, description="Share of the immersed time without readings that is a reservation."
    )
    fatal_gap_fraction: float = Field(
        0.5, gt=0, le=1, description="Share without readings that makes the exposure not valid."
    )
    reference_drift_mV: float = Field(
        5.0, gt=0, description="Change of a reference electrode between its checks that is a reservation, mV."
    )
    pH_probe_drift: float = Field(
        0.1, gt=0, description="Change of a pH probe between its checks that is a reservation."
    )
    balance_drift_mg: float = Field(
        0.3, gt=0, description="Change of a balance between its checks that is a reservation, mg."
    )
    fatal_drift_factor: float = Field(
        5.0,
        gt=1,
        description="Times the drift of a reservation that makes the exposure not valid; a balance never "
        "does, since its drift enters the mass loss.",
    )

    @model_validator(mode="after")
    def _belong_together(self) -> Self:
        for point, tolerance in BANDS.values():
            if (getattr(self, point) is None) != (getattr(self, tolerance) is None):
                raise ValueError(f"{point} and {tolerance} are stated both or not at all")
        for low, high in (
            ("least_in_range_fraction", "valid_in_range_fraction"),
            ("longest_excursion_h", "fatal_excursion_h"),
            ("largest_gap_fraction", "fatal_gap_fraction"),
        ):
            if getattr(self, low) > getattr(self, high):
                raise ValueError(f"{low} must not exceed {high}")
        for channel in (*self.columns, *self.units):
            if channel not in QUANTITIES and channel != "time":
                raise ValueError(f"there is no channel {channel!r}: {', '.join(QUANTITIES)}")
        for channel, unit in self.units.items():
            found = parse_channel_unit(unit)
            if channel != "time" and (found is None or found.quantity not in QUANTITIES[channel]):
                raise ValueError(f"{unit!r} is no unit of {channel}")
        return self

    def band(self, channel: str) -> tuple[float, float] | None:
        """Set point and tolerance of a channel; None where it is not judged."""
        if channel not in BANDS:
            return None
        point, tolerance = (getattr(self, name) for name in BANDS[channel])
        return None if point is None or tolerance is None else (point, tolerance)
