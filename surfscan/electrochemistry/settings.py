"""Settings of the analysis of potential sweeps: which run, the rules of every method, and cyclic sweeps."""

from __future__ import annotations

from typing import Self

from pydantic import Field, model_validator

from surfscan.procedures.settings import ProcedureSettings


class SweepSettings(ProcedureSettings):
    """Potential sweeps."""

    scan: int | None = Field(
        None,
        ge=1,
        description="Number of the run that is analysed, the first 1. Unset: the first that rises in "
        "potential "
        "and passes zero current, else the first that passes it, else the first.",
    )
    largest_drift_V: float = Field(
        0.05,
        gt=0,
        description="Largest distance of the zero-current potential from the stated rest potential, V; "
        "beyond it "
        "no corrosion current is given. A fifth of it is warned about, as is that much drift between runs.",
    )
    resistance_window_V: float = Field(
        0.01,
        gt=0,
        le=0.05,
        description="The polarization resistance is taken within this distance of the zero-current "
        "potential, V.",
    )
    largest_slope_change: float = Field(
        0.05,
        gt=0,
        description="Change of the slope over that window, as a fraction, from which it is warned about.",
    )
    largest_resistance_interval: float = Field(
        0.5,
        gt=0,
        description="Half width of the 95 % interval of the polarization resistance, as a fraction of "
        "it, beyond "
        "which none is given.",
    )
    tafel_least_distance_V: float = Field(
        0.05,
        ge=0.02,
        le=0.2,
        description="A Tafel region starts at least this far from the zero-current potential, V.",
    )
    tafel_least_decades: float = Field(
        1.0, ge=0.3, description="Least span of a Tafel region, decades of current."
    )
    tafel_slope_constancy: float = Field(
        0.1,
        gt=0,
        lt=1,
        description="The slope of every quarter of a Tafel region lies within this fraction of that of "
        "the whole.",
    )
    tafel_slope_limits_mV_per_decade: tuple[float, float] = Field(
        (25.0, 500.0), description="Tafel slopes outside are no activation slopes, mV/decade."
    )
    largest_noise: float = Field(
        0.2,
        gt=0,
        description="Noise of the current from point to point, as a fraction, beyond which none is given.",
    )
    anodic_slope_mV_per_decade: float | None = Field(
        None,
        gt=0,
        description="Anodic Tafel slope to use in the Stern-Geary relation, mV/decade, from other work.",
    )
    cathodic_slope_mV_per_decade: float | None = Field(
        None,
        gt=0,
        description="Cathodic Tafel slope to use there, mV/decade. Unset beside a stated anodic one: the "
        "cathodic "
        "reaction is taken as limited by diffusion.",
    )
    slope_relative_uncertainty: float = Field(
        0.1, ge=0, lt=1, description="Relative standard uncertainty of stated Tafel slopes."
    )
    assumed_stern_geary_V: float = Field(
        0.026,
        gt=0,
        description="Stern-Geary constant B assumed where no slope is measured or stated, V: 26 mV for "
        "active, "
        "52 mV for passive metal (Stern and Weisert 1959, from memory).",
    )
    assumed_stern_geary_range_V: tuple[float, float] = Field(
        (0.013, 0.052), description="Range that an assumed B may lie in, V; it enters the interval."
    )
    fit_least_reach_V: float = Field(
        0.05, gt=0, description="The fit of both branches reaches at least this far to either side, V."
    )
    fit_least_decades: float = Field(
        0.3,
        gt=0,
        description="Least rise of the current above the corrosion current on either side of the fit, "
        "decades; a "
        "cathodic branch at its limiting current needs none.",
    )
    fit_largest_misfit: float = Field(
        0.05,
        gt=0,
        description="Largest part of the deviation between fit and points that noise does not explain, as a "
        "fraction of the current; windows are shortened until it is met.",
    )
    largest_interval_ratio: float = Field(
        2.0,
        gt=1,
        description="Upper over lower end of the 95 % interval of a corrosion current from the fit or "
        "from Tafel "
        "regions, beyond which none is given.",
    )
    passive_least_span_V: float = Field(
        0.1, gt=0, description="The passive current density is that of the flattest stretch this long, V."
    )
    passive_least_slope_V_per_decade: float = Field(
        0.5, gt=0, description="A stretch is passive where the potential rises by at least this a decade, V."
    )
    breakdown_factor: float = Field(
        10.0,
        gt=1,
        description="A rise of the current starts where it exceeds the passive one this many times for good.",
    )
    breakdown_density_uA_per_cm2: float = Field(
        100.0, gt=0, description="Fixed density at which the breakdown potential is given as well, µA/cm²."
    )
    hysteresis_least_decades: float = Field(
        0.15,
        gt=0,
        description="The reverse run shows hysteresis where the mean of its current over that of the "
        "forward run "
        "differs from 1 by more than this, decades.",
    )
    pH: float | None = Field(
        None, ge=-1, le=16, description="pH of the solution, to tell oxygen evolution from breakdown."
    )

    @model_validator(mode="after")
    def _ranges_rise(self) -> Self:
        for name in ("tafel_slope_limits_mV_per_decade", "assumed_stern_geary_range_V"):
            low, high = getattr(self, name)
            if not 0 < low < high:
                raise ValueError(f"{name}: the two limits must be above 0 and rise")
        low, high = self.assumed_stern_geary_range_V
        if not low <= self.assumed_stern_geary_V <= high:
            raise ValueError("assumed_stern_geary_V must lie in assumed_stern_geary_range_V")
        if self.cathodic_slope_mV_per_decade is not None and self.anodic_slope_mV_per_decade is None:
            raise ValueError("cathodic_slope_mV_per_decade is stated without anodic_slope_mV_per_decade")
        return self


SWEEP_SETTINGS = {"sweep": SweepSettings}
"""Table of settings, as files name it -> its class."""
