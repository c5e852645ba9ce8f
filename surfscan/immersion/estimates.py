"""A rate from the bath with its interval, and how mass, area, time and density enter it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from surfscan.columns import Table, conform
from surfscan.estimates.groups import t_factor
from surfscan.materials.material import Value
from surfscan.materials.rates import mass_loss_rate, penetration_of_mass_rate

Method = Literal["mass loss", "gas", "acid"]
Bias = Literal["reads low", "reads high", ""]
Interval = tuple[float, float]

_NORMAL_FACTOR = 1.959963984540054
_MANY = 1000.0  # degrees of freedom from which Student's t is the normal within 0.2 %


@dataclass(frozen=True)
class RateEstimate:
    """A rate of corrosion over one stretch of time, averaged over the wetted surface.

    Attributes
    ----------
    method : str
        "mass loss", "gas" or "acid".
    rate_mm_per_y : float or None
        None where refused, or the density is not known.
    rate_mm_per_y_ci95 : (float, float) or None
    rate_g_per_m2_d : float or None
    rate_g_per_m2_d_ci95 : (float, float) or None
    starts_h, ends_h : float
        Stretch that the rate is the average of, h of immersion.
    bias : {"reads low", "reads high", ""}
        Which way the method is known to err; the interval does not hold it.
    reasons : tuple of str
        Why.
    refused : str
        Why there is no rate; empty where there is one.
    warnings : tuple of str
    contributions_percent : mapping of str to float
        Relative standard uncertainty by cause, % of the rate.
    """

    method: Method
    rate_mm_per_y: float | None
    rate_mm_per_y_ci95: Interval | None
    rate_g_per_m2_d: float | None
    rate_g_per_m2_d_ci95: Interval | None
    starts_h: float
    ends_h: float
    bias: Bias = ""
    reasons: tuple[str, ...] = ()
    refused: str = ""
    warnings: tuple[str, ...] = ()
    contributions_percent: Mapping[str, float] = field(default_factory=dict)

    def as_dict(self) -> dict[str, Any]:
        """Ready for JSON, in the order of the attributes."""
        return {name: getattr(self, name) for name in self.__dataclass_fields__}


def refused_rate(
    method: Method, why: str, starts_h: float, ends_h: float, warnings: tuple[str, ...] = ()
) -> RateEstimate:
    """No rate, and why."""
    return RateEstimate(method, None, None, None, None, starts_h, ends_h, refused=why, warnings=warnings)


def rates_table(estimates: Sequence[RateEstimate]) -> Table:
    """Rates as the table "immersion_rates", one row each.

    Parameters
    ----------
    estimates : sequence of RateEstimate

    Returns
    -------
    Table
    """
    nothing = (None, None)
    rows: dict[str, list[Any]] = {"method": [each.method for each in estimates]}
    for name in ("starts_h", "ends_h", "bias", "refused"):
        rows[name] = [getattr(each, name) for each in estimates]
    for name in ("rate_mm_per_y", "rate_g_per_m2_d"):
        rows[name] = [getattr(each, name) for each in estimates]
        limits = [getattr(each, f"{name}_ci95") or nothing for each in estimates]
        rows[f"{name}_ci95_low"] = [low for low, _ in limits]
        rows[f"{name}_ci95_high"] = [high for _, high in limits]
    typed = {name: np.array(values, dtype=object) for name, values in rows.items()}
    return conform("immersion_rates", typed)


def rate_of_mass(
    method: Method,
    mass_mg: float,
    mass_uncertainty_mg: float,
    *,
    area_cm2: float,
    area_relative_uncertainty: float | None,
    starts_h: float,
    ends_h: float,
    time_uncertainty_h: float,
    density: Value | None,
    degrees_of_freedom: float = math.inf,
    mass_relative: Mapping[str, float] | None = None,
    mass_cause: str = "mass",
    bias: Bias = "",
    reasons: tuple[str, ...] = (),
    warnings: tuple[str, ...] = (),
) -> RateEstimate:
    """Average rate of a mass of metal lost from an area over a time, with its interval.

    Parameters
    ----------
    method : str
    mass_mg : float
        Metal lost, mg.
    mass_uncertainty_mg : float
        Standard uncertainty that does not grow with the mass, mg.
    area_cm2 : float
        Wetted surface, cm².
    area_relative_uncertainty : float or None
        Relative standard uncertainty; None where not stated, which the rate then warns of.
    starts_h, ends_h : float
    time_uncertainty_h : float
        Standard uncertainty of the time between them.
    density : Value or None
        Its range enters the rate in mm/y. None gives no such rate.
    degrees_of_freedom : float, optional
        Behind `mass_uncertainty_mg`; the others count as known.
    mass_relative : mapping of str to float, optional
        Relative standard uncertainties of the mass by cause.
    mass_cause : str, optional
        What `mass_uncertainty_mg` is called.
    bias, reasons, warnings
        As in `RateEstimate`.

    Returns
    -------
    RateEstimate
        Uncertainties combined in quadrature; interval by Student's t with the degrees of freedom of Welch and
        Satterthwaite (GUM, 5.1.2 and annex G, from memory).

    Raises
    ------
    ValueError
        If the area is not above 0 or the time does not go forward.
    """
    hours = ends_h - starts_h
    if not hours > 0:
        raise ValueError(f"time must go forward, got {starts_h!r} to {ends_h!r} h")
    rate = mass_loss_rate(mass_mg / 1000, area_cm2, hours, 1.0, "mdd") / 10  # mg/(dm² d) -> g/(m² d)
    per_mg = mass_loss_rate(1e-3, area_cm2, hours, 1.0, "mdd") / 10
    absolute = per_mg * mass_uncertainty_mg
    relative = {
        "area": area_relative_uncertainty or 0.0,
        "time": time_uncertainty_h / hours,
        **(mass_relative or {}),
    }
    if area_relative_uncertainty is None:
        warnings = (*warnings, "The uncertainty of the area is not stated: the interval leaves it out.")
    interval = _interval(rate, absolute, relative.values(), degrees_of_freedom)
    if interval[0] <= 0:
        warnings = (
            *warnings,
            "The interval reaches 0: the loss cannot be told from none. Expose longer or more surface.",
        )
    depth, depth_interval = None, None
    if density is not None:
        over = density.relative_standard_uncertainty
        low, high = _interval(rate, absolute, (*relative.values(), over), degrees_of_freedom)
        depth = penetration_of_mass_rate(rate, density.value)
        depth_interval = (
            penetration_of_mass_rate(low, density.value),
            penetration_of_mass_rate(high, density.value),
        )
        relative["density (mm/y only)"] = over
    else:
        warnings = (*warnings, "The density is not known: the rate is given as mass only.")
    shares = {mass_cause: abs(absolute / rate) if rate else math.inf, **relative}
    return RateEstimate(
        method,
        depth,
        depth_interval,
        rate,
        interval,
        starts_h,
        ends_h,
        bias,
        reasons,
        "",
        warnings,
        {cause: 100 * share for cause, share in shares.items()},
    )


def _interval(rate: float, absolute: float, relative: Any, degrees_of_freedom: float) -> Interval:
    """95 % interval of a rate with an absolute and several relative standard uncertainties."""
    known = math.fsum((rate * share) ** 2 for share in relative)
    combined = math.sqrt(absolute**2 + known)
    effective = degrees_of_freedom * (combined / absolute) ** 4 if absolute else math.inf
    half = combined * (_NORMAL_FACTOR if effective > _MANY else t_factor(effective))
    return rate - half, rate + half
