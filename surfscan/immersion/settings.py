"""Settings of the immersion rates: standard uncertainties (k = 1) of what was read, and the rules."""

from __future__ import annotations

from pydantic import Field

from surfscan.procedures.settings import ProcedureSettings


class ImmersionSettings(ProcedureSettings):
    """Mass loss, gas and acid."""

    balance_uncertainty_mg: float = Field(
        0.1,
        gt=0,
        description="Standard uncertainty of one weighing, mg, from repeated weighings of one part.",
    )
    time_uncertainty_h: float = Field(
        0.1, ge=0, description="Standard uncertainty of an immersed time or of the time between readings, h."
    )
    largest_line_departure: float = Field(
        0.05,
        gt=0,
        lt=1,
        description="Where the last cleaning cycles scatter about their line by more than the balance "
        "explains, or seem to have removed product to the end, the loss is refused if that could move it by "
        "more than this share.",
    )
    gas_is_wet: bool = Field(
        True, description="Whether the gas stood over water or solution, so that it holds water vapour."
    )
    gas_volume_uncertainty_mL: float = Field(
        0.1, gt=0, description="Standard uncertainty of one reading of the gas volume, mL."
    )
    gas_temperature_uncertainty_degC: float = Field(
        0.5,
        ge=0,
        description="Standard uncertainty of the temperature of the gas, °C; common to all readings.",
    )
    gas_pressure_uncertainty_kPa: float = Field(
        0.2, ge=0, description="Standard uncertainty of the pressure of the gas, kPa; common to all readings."
    )
    acid_volume_uncertainty_mL: float = Field(
        0.02, gt=0, description="Standard uncertainty of one reading of the dosed volume, mL."
    )
    acid_relative_uncertainty: float = Field(
        0.01,
        ge=0,
        lt=1,
        description="Relative standard uncertainty of concentration times delivered volume, common to all "
        "readings: titre of the acid and calibration of the pump.",
    )


IMMERSION_SETTINGS = {"immersion": ImmersionSettings}
"""Table of settings, as files name it -> its class."""
