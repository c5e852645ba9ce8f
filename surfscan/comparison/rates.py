"""Penetration rates of one specimen by whatever method, in one form, so that they can stand side by side."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Literal, get_args

from surfscan.materials.rates import YEAR_D

Interval = tuple[float, float]
Method = Literal[
    "strut width", "section", "pit volume", "mass loss", "gas", "acid", "sweep", "polarization resistance"
]
Measurand = Literal["mean", "worst place", "local"]
Kind = Literal["average", "instant"]
Bound = Literal["", "at least", "at most"]
Joined = Literal["own", "twin", "group"]
Bias = Literal["", "reads low", "reads high"]

METHODS: tuple[Method, ...] = get_args(Method)
"""In the order of the page."""

INSTANTS: tuple[Method, ...] = ("sweep", "polarization resistance")
"""Methods that speak of a moment; all others of an average over the exposure."""

OVER_STARTING_AREA: tuple[Method, ...] = ("mass loss", "gas", "acid")
"""Methods that divide the metal lost by the surface at the start, which shrinks as a thin part corrodes."""

OF_EDGES: tuple[Method, ...] = ("strut width", "section")
"""Methods that see where the surface has gone, and so read penetration itself."""

NORMAL_FACTOR = 1.959963984540054
"""95 % of a normal distribution lie within so many standard deviations of its middle."""

_UM_PER_H = 1000 / (24 * YEAR_D)


@dataclass(frozen=True)
class PenetrationRate:
    """One penetration rate of one specimen by one method.

    Attributes
    ----------
    specimen : str
        Specimen that the rate is shown for.
    method : str
        One of `METHODS`.
    measurand : {"mean", "worst place", "local"}
        Mean over the surface or outline; its worst place; or places picked for their pits.
    mm_per_y : float or None
        None where refused.
    mm_per_y_ci95 : (float, float) or None
    kind : {"average", "instant"}
        Over starts_h to ends_h, or of a moment.
    bound : {"", "at least", "at most"}
        Which side of the true value it is known to lie on, apart from its interval.
    starts_h, ends_h : float or None
        Hours of immersion that it is the average of; of an instant, both the moment, where known.
    area_mm2 : float or None
        Surface that it was taken over.
    speaks_for : str
        That area and time in words.
    how : str
        How the method was applied.
    joined : {"own", "twin", "group"}
        Whether it was measured on this specimen, on a declared twin or on others of its group.
    from_specimens : tuple of str
        Specimens that it was measured on.
    bias : {"", "reads low", "reads high"}
        Known error of the method that the interval does not hold.
    reasons : tuple of str
        Why.
    refused : str
        Why there is no rate; empty where there is one.
    shared_relative : mapping of str to float
        Relative standard uncertainties by cause ("area", "time", "density", "scale") that enter the interval
        and that another rate may share: causes of the same name are taken as common to both.
    """

    specimen: str
    method: Method
    measurand: Measurand
    mm_per_y: float | None
    mm_per_y_ci95: Interval | None
    kind: Kind
    bound: Bound = ""
    starts_h: float | None = None
    ends_h: float | None = None
    area_mm2: float | None = None
    speaks_for: str = ""
    how: str = ""
    joined: Joined = "own"
    from_specimens: tuple[str, ...] = ()
    bias: Bias = ""
    reasons: tuple[str, ...] = ()
    refused: str = ""
    shared_relative: Mapping[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        if self.method not in METHODS:
            raise ValueError(f"method must be one of {METHODS}, got {self.method!r}")
        if (self.kind == "instant") != (self.method in INSTANTS):
            raise ValueError(f"{self.method} cannot be {self.kind!r}")
        if (self.mm_per_y is None) != bool(self.refused):
            raise ValueError(f"{self.method}: a rate or a reason why there is none, not both or neither")
        if self.mm_per_y is not None and not math.isfinite(self.mm_per_y):
            raise ValueError(f"{self.method}: the rate must be a finite number, got {self.mm_per_y!r}")
        limits = self.mm_per_y_ci95
        if limits is not None and not (
            self.mm_per_y is not None
            and math.isfinite(limits[0])
            and math.isfinite(limits[1])
            and limits[0] <= self.mm_per_y <= limits[1]
        ):
            raise ValueError(f"{self.method}: interval {limits!r} does not hold {self.mm_per_y!r}")
        if self.joined != "own" and not self.from_specimens:
            raise ValueError(f"{self.method}: joined through its {self.joined}, but from which specimens?")

    @property
    def expanded(self) -> float | None:
        """Half of the 95 % interval, mm/y; None where there is none."""
        if self.mm_per_y_ci95 is None:
            return None
        return (self.mm_per_y_ci95[1] - self.mm_per_y_ci95[0]) / 2

    @property
    def standard_uncertainty(self) -> float | None:
        """Half of the interval over 1.96, mm/y: as of a normal distribution; None where there is none."""
        half = self.expanded
        return None if half is None else half / NORMAL_FACTOR

    @property
    def hours(self) -> float | None:
        """Length of the stretch of an average; None for an instant or where not known."""
        if self.kind == "instant" or self.starts_h is None or self.ends_h is None:
            return None
        return self.ends_h - self.starts_h

    @property
    def penetration_um(self) -> float | None:
        """Depth that an average stands for over its stretch, µm; None where either is not known."""
        hours = self.hours
        return None if hours is None or self.mm_per_y is None else self.mm_per_y * hours * _UM_PER_H

    def scaled(self, factor: float) -> PenetrationRate:
        """The same with rate and interval times a factor above 0."""
        if not factor > 0:
            raise ValueError(f"factor must be above 0, got {factor!r}")
        limits = self.mm_per_y_ci95
        return replace(
            self,
            mm_per_y=None if self.mm_per_y is None else self.mm_per_y * factor,
            mm_per_y_ci95=None if limits is None else (limits[0] * factor, limits[1] * factor),
        )


def penetration_as_rate(depth_um: float, hours: float) -> float:
    """Rate of a depth lost evenly over a time.

    Parameters
    ----------
    depth_um : float
        Depth, µm.
    hours : float
        Above 0.

    Returns
    -------
    float
        mm/y, with a year of 365.25 d.

    Raises
    ------
    ValueError
        If the time is not above 0.
    """
    if not hours > 0:
        raise ValueError(f"hours must be above 0, got {hours!r}")
    return depth_um / hours / _UM_PER_H


def rate_of_depth(
    depth_um: float,
    depth_um_ci95: Interval | None,
    hours: float,
    hours_relative_uncertainty: float = 0.0,
) -> tuple[float, Interval | None]:
    """Average rate of a depth that was measured at the end of an exposure, with its interval.

    Parameters
    ----------
    depth_um : float
        Loss normal to the surface (penetration of widths or sections), or pit volume per area, µm.
    depth_um_ci95 : (float, float) or None
    hours : float
        Hours of immersion that it was lost in.
    hours_relative_uncertainty : float, optional
        Relative standard uncertainty of that time; widens the interval.

    Returns
    -------
    rate : float
        mm/y. The average, whatever the course was.
    limits : (float, float) or None
        The two parts combined in quadrature on either side.

    Raises
    ------
    ValueError
        If the time is not above 0.
    """
    rate = penetration_as_rate(depth_um, hours)
    if depth_um_ci95 is None:
        return rate, None
    time = rate * hours_relative_uncertainty * NORMAL_FACTOR
    low, high = (penetration_as_rate(limit, hours) for limit in depth_um_ci95)
    return rate, (rate - math.hypot(rate - low, time), rate + math.hypot(high - rate, time))


def shared_causes(contributions_percent: Mapping[str, float]) -> dict[str, float]:
    """Causes that a rate from the bath may share with another of the same part, for `shared_relative`.

    Parameters
    ----------
    contributions_percent : mapping of str to float
        Relative standard uncertainty by cause, % of the rate, as a `RateEstimate` has it.

    Returns
    -------
    dict of str to float
        "area", "time" and "density" as shares; 0 and what is not finite is left out. Rates over another
        surface or another time do not share these: leave them out there.
    """
    names = {"area": "area", "time": "time", "density (mm/y only)": "density"}
    return {
        name: contributions_percent[cause] / 100
        for cause, name in names.items()
        if math.isfinite(contributions_percent.get(cause, 0.0)) and contributions_percent.get(cause, 0.0) > 0
    }


def refused(specimen: str, method: Method, why: str, measurand: Measurand = "mean") -> PenetrationRate:
    """No rate by a method, and why."""
    kind: Kind = "instant" if method in INSTANTS else "average"
    return PenetrationRate(specimen, method, measurand, None, None, kind, refused=why)


def in_order(rates: Iterable[PenetrationRate]) -> list[PenetrationRate]:
    """Rates in the order of the page: by method, means first, the order given within."""
    measurands = get_args(Measurand)
    return sorted(rates, key=lambda r: (METHODS.index(r.method), measurands.index(r.measurand)))
