"""One strut laid out along its length: width with interval, what was drawn, its least place, its section."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np

from surfscan.columns import Table
from surfscan.images import Calibration
from surfscan.measurement.section_shapes import eroded_polygon, section_polygon
from surfscan.measurement.strut_sections import DrawnSection, loss_per_side
from surfscan.measurement.strut_widths import Z95

_TOP_PERCENT = 98
_NARROWEST = 0.1  # least span of the colours over their upper end: noise of a sound strut is not spread out


class StrutFigures(Protocol):
    """What a profile is made from: a `Result` of struts, fresh or stored."""

    @property
    def calibration(self) -> Calibration | None:
        """Scale."""

    @property
    def settings(self) -> Mapping[str, Any]:
        """Settings as used."""

    @property
    def summary(self) -> Mapping[str, Any]:
        """Figures of the picture."""

    @property
    def tables(self) -> Mapping[str, Table]:
        """Tables "struts" and "stations"."""


@dataclass(frozen=True)
class StrutProfile:
    """One strut; arrays of shape (n,), along it. Lengths are in `unit`.

    Attributes
    ----------
    strut : int
    condition : str
        "whole", "broken" or "fragment".
    unit : str
        "µm" or, without a scale, "px".
    station : ndarray of int
        Place of each station in the table.
    s : ndarray
        Distance along the centreline.
    width, low, high : ndarray
        Width and the limits of its 95 % interval (noise, levels, hand, declared edges, and in µm the scale);
        not-a-number where no width counts.
    fault : ndarray of str
        Why a station does not count; "" where it does.
    by_hand : ndarray of bool
        An edge was moved there.
    reference : ndarray
        Width before or as drawn at every station; not-a-number where nothing is known.
    reference_kind : str
        "before", "drawn" or "".
    share : ndarray
        Width over the reference.
    drawn : float
        Width as drawn; not-a-number where none is stated.
    mean, mean_low, mean_high, least, least_low, least_high, least_s : float
    least_section : int
        Station (in the strut) of the least section, or of the least width where no section is known; -1.
    row, col : ndarray
        Middle between the edges, px.
    """

    strut: int
    condition: str
    unit: str
    station: np.ndarray
    s: np.ndarray
    width: np.ndarray
    low: np.ndarray
    high: np.ndarray
    fault: np.ndarray
    by_hand: np.ndarray
    reference: np.ndarray
    reference_kind: str
    share: np.ndarray
    drawn: float
    mean: float
    mean_low: float
    mean_high: float
    least: float
    least_low: float
    least_high: float
    least_s: float
    least_section: int
    row: np.ndarray
    col: np.ndarray

    def nearest(self, row: float, col: float) -> int:
        """Station (in the strut) nearest to a place on the picture, px."""
        return int(np.argmin(np.hypot(self.row - row, self.col - col)))

    def at(self, s: float) -> int:
        """Station (in the strut) nearest to a distance along it."""
        return int(np.argmin(np.abs(self.s - s)))


@dataclass(frozen=True)
class SectionAt:
    """The section of a strut at one station, to scale; µm.

    Attributes
    ----------
    drawn : ndarray of shape (k, 2)
        Outline as it was.
    left : ndarray of shape (k, 2)
        Outline from the width and the thickness measured, else drawn: flanks moved in alike.
    equal_loss : ndarray of shape (k, 2)
        Outline with equal loss all round; no points where nothing is left.
    area_um2, fraction, equal_loss_fraction : float
        Of the table "stations"; not-a-number where unknown.
    is_upper_bound : bool
        Whether `area_um2` and `fraction` are upper bounds: the thickness is the drawn one.
    """

    drawn: np.ndarray
    left: np.ndarray
    equal_loss: np.ndarray
    area_um2: float
    fraction: float
    equal_loss_fraction: float
    is_upper_bound: bool


def strut_profile(result: StrutFigures, strut: int, by_hand: np.ndarray | None = None) -> StrutProfile:
    """One strut of a result.

    Parameters
    ----------
    result : Result or StoredResult
    strut : int
        Its number.
    by_hand : ndarray of shape (stations,), bool, optional
        Stations of the table with an edge moved by hand.

    Returns
    -------
    StrutProfile

    Raises
    ------
    ValueError
        If there is no such strut, or it has no station (it is missing).
    """
    stations, struts = result.tables["stations"], result.tables["struts"]
    at = np.flatnonzero(stations["strut"] == strut)
    rows = np.flatnonzero(struts["strut"] == strut)
    if not at.size or not rows.size:
        raise ValueError(f"strut {strut} has no station")
    k = int(rows[0])
    unit = "px" if result.calibration is None else "um"
    counts = stations["fault"][at] == ""
    width = np.where(counts, stations[f"width_{unit}"][at], np.nan)
    half = width_half_interval(result, at)
    before = _before(stations, at, unit)
    drawn = float(result.settings.get("drawn_width_um") or math.nan) if unit == "um" else math.nan
    kind = "before" if np.isfinite(before).any() else "drawn" if math.isfinite(drawn) else ""
    reference = before if kind == "before" else np.full(len(at), drawn)
    section = stations["section_fraction"][at]
    worst = section if np.isfinite(section).any() else width

    def figure(name: str) -> float:
        return float(struts[name][k])

    return StrutProfile(
        strut=strut,
        condition=str(struts["condition"][k]),
        unit="µm" if unit == "um" else "px",
        station=at,
        s=stations[f"s_{unit}"][at],
        width=width,
        low=np.maximum(width - half, 0),
        high=width + half,
        fault=stations["fault"][at],
        by_hand=np.zeros(len(at), bool) if by_hand is None else by_hand[at],
        reference=reference,
        reference_kind=kind,
        share=width / reference,
        drawn=drawn,
        mean=figure(f"mean_width_{unit}"),
        mean_low=figure(f"mean_width_{unit}_ci95_low"),
        mean_high=figure(f"mean_width_{unit}_ci95_high"),
        least=figure(f"min_width_{unit}"),
        least_low=figure(f"min_width_{unit}_ci95_low"),
        least_high=figure(f"min_width_{unit}_ci95_high"),
        least_s=figure(f"min_s_{unit}"),
        least_section=int(np.nanargmin(worst)) if np.isfinite(worst).any() else -1,
        row=stations["row_px"][at],
        col=stations["col_px"][at],
    )


def width_half_interval(result: StrutFigures, at: np.ndarray | slice) -> np.ndarray:
    """Half of the 95 % interval of the width at some stations.

    Parameters
    ----------
    result : Result or StoredResult
    at : ndarray of int, or slice
        Rows of the table "stations".

    Returns
    -------
    ndarray
        µm where there is a scale, whose uncertainty is in it as are declared edges; else px.
    """
    stations = result.tables["stations"]
    if result.calibration is None:
        return np.asarray(Z95 * stations["width_uncertainty_px"][at])
    edges = 2 * float(result.settings.get("edge_uncertainty_um") or 0.0)
    scale = result.calibration.relative_uncertainty * stations["width_um"][at]
    return np.asarray(Z95 * np.sqrt(stations["width_uncertainty_um"][at] ** 2 + edges**2 + scale**2))


def section_at(result: StrutFigures, profile: StrutProfile, station: int) -> SectionAt | None:
    """The section of a strut at one of its stations.

    Parameters
    ----------
    result : Result or StoredResult
    profile : StrutProfile
        Of the same result.
    station : int
        Place in the profile.

    Returns
    -------
    SectionAt or None
        None where no width counts there, or neither a width before nor a thickness is known.
    """
    settings, stations = result.settings, result.tables["stations"]
    width, was = float(profile.width[station]), float(profile.reference[station])
    if profile.reference_kind == "before" and np.isfinite(profile.reference).any():
        was = float(np.nanmean(profile.reference))
    thick, measured = settings.get("drawn_thickness_um"), result.summary.get("thickness_um")
    now = measured or thick
    if not (math.isfinite(width) and math.isfinite(was) and now) or profile.unit != "µm":
        return None
    shape, top = settings["drawn_shape"], settings.get("drawn_top_width_um")
    taper = 0.0
    if shape == "trapezoid" and top and settings.get("drawn_width_um"):
        taper = math.degrees(math.atan2((settings["drawn_width_um"] - top) / 2, thick or now))
    drawn = DrawnSection(was, float(thick or now), shape, taper)
    row = profile.station[station]
    return SectionAt(
        drawn=section_polygon(was, drawn.thickness, shape, taper),
        left=section_polygon(width, float(now), shape, taper),
        equal_loss=eroded_polygon(float(loss_per_side(width, drawn)), drawn),
        area_um2=float(stations["section_area_um2"][row]),
        fraction=float(stations["section_fraction"][row]),
        equal_loss_fraction=float(stations["section_equal_loss_fraction"][row]),
        is_upper_bound=measured is None,
    )


def _before(stations: Table, at: np.ndarray, unit: str) -> np.ndarray:
    """Width before at stations; not-a-number without a picture before."""
    name = f"width_before_{unit}"
    if name in stations:
        return np.asarray(stations[name][at])
    return np.full(len(at), math.nan)


@dataclass(frozen=True)
class WidthColours:
    """What the stations of a picture are coloured by.

    Attributes
    ----------
    values : ndarray of shape (n,)
        Width of every station of the table "stations"; not-a-number where none counts.
    low, high : float
        Ends of the colours: the least width, and the width as drawn or the 98th percentile, whichever is
        more (what little lies above it is fillets and noise).
    unit : str
        "µm" or "px".
    of : float
        The width as drawn, which shares refer to; not-a-number where none is stated.
    """

    values: np.ndarray
    low: float
    high: float
    unit: str
    of: float

    @property
    def position(self) -> np.ndarray:
        """Place of every station between the ends, 0 to 1; not-a-number where none counts."""
        return np.asarray(np.clip((self.values - self.low) / (self.high - self.low), 0, 1))


def width_colours(result: StrutFigures) -> WidthColours | None:
    """How the stations of a picture are coloured by the width that is left; None where none counts.

    Parameters
    ----------
    result : Result or StoredResult
    """
    unit = "px" if result.calibration is None else "um"
    stations = result.tables["stations"]
    values = np.where(stations["fault"] == "", stations[f"width_{unit}"], np.nan)
    if not np.isfinite(values).any():
        return None
    drawn = float(result.settings.get("drawn_width_um") or math.nan) if unit == "um" else math.nan
    low, high = float(np.nanmin(values)), float(np.nanpercentile(values, _TOP_PERCENT))
    high = high if math.isnan(drawn) else max(high, drawn)
    least_span = _NARROWEST * high
    low = min(low, high - least_span)
    return WidthColours(values, max(low, 0.0), high, "px" if unit == "px" else "µm", drawn)


def worst_struts(result: StrutFigures) -> list[int]:
    """Struts with a width, by least section left, else by least width; the worst first.

    Parameters
    ----------
    result : Result or StoredResult
    """
    struts = result.tables["struts"]
    there = np.flatnonzero(np.isfinite(struts["mean_width_px"]) & (struts["station_count"] > 0))
    section = struts["least_section_fraction"][there]
    key = section if np.isfinite(section).any() else struts["min_width_px"][there]
    order = np.argsort(np.nan_to_num(key, nan=np.inf), kind="stable")
    return [int(k) for k in struts["strut"][there][order]]
