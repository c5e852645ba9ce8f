"""One straight strut before and after: it fits anywhere along itself, so only mean widths can be compared."""

from __future__ import annotations

import math

import numpy as np

from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_matching import StrutMatch
from surfscan.preparation.registration import Registration

_LEAST = 12  # stations
_STRAIGHT_DEG = 10.0  # spread of directions (95 %) of a strut that passes for straight
_ALIKE_DEG = 10.0  # by which rivals may differ in turn
_ASIDE_WIDTHS, _ASIDE_PX = 0.5, 3.0  # by which rivals may differ across the strut
_BLOCKS = 4
_T_BLOCKS = 3.182 / 1.960
"""Two-sided 95 % quantile of Student's t with 3 degrees of freedom over the normal one (tables of both)."""


def common_direction(stations: Stations) -> float | None:
    """Direction that all struts run in, straight or nearly, and along which they can slide.

    Parameters
    ----------
    stations : Stations

    Returns
    -------
    float or None
        Degrees, -90 (excluded) to 90, counter-clockwise from the image row direction; None where struts bend
        or cross, or there is too little of them.
    """
    counts = _counting(stations)
    if np.count_nonzero(counts) < _LEAST:
        return None
    doubled = np.exp(2j * np.radians(stations.normal_deg[counts] + 90))
    mean = math.degrees(np.angle(doubled.mean())) / 2
    off = np.degrees(np.abs(np.angle(doubled * np.exp(-2j * math.radians(mean))))) / 2
    if np.quantile(off, 0.95) > _STRAIGHT_DEG:
        return None
    return mean if mean > -90 else mean + 180


def free_direction(place: Registration, before: Stations, after: Stations) -> float | None:
    """Direction in which one straight strut slides along itself, where that alone leaves a position open.

    Parameters
    ----------
    place : Registration
    before, after : Stations

    Returns
    -------
    float or None
        Degrees, -90 (excluded) to 90, counter-clockwise from the image row direction of the picture after.
        None where the position is accepted, has no rival or too little correlation, where there is more than
        one strut or a bent one, or where a rival lies elsewhere across the strut or is turned by other than
        nothing or half a turn. Common practice, no source.
    """
    if place.accepted or not place.rivals or before.n_struts != 1 or after.n_struts != 1:
        return None
    was, now = common_direction(before), common_direction(after)
    if was is None or now is None:
        return None
    angle = math.radians(now + 90)
    across = np.array([math.cos(angle), -math.sin(angle)])
    if _between(was + place.rotation_deg, now) > _ALIKE_DEG:
        return None
    own = np.array([np.mean(before.col[_counting(before)]), np.mean(before.row[_counting(before)])])
    aside = max(_ASIDE_WIDTHS * float(np.median(after.width[_counting(after)])), _ASIDE_PX)
    here = place.matrix[:, :2] @ own + place.matrix[:, 2]
    for rival in place.rivals:
        turned = math.degrees(math.atan2(-rival[1, 0], rival[0, 0]))
        there = rival[:, :2] @ own + rival[:, 2]
        if _between(was + turned, now) > _ALIKE_DEG or abs(across @ (there - here)) > aside:
            return None
    return now


def match_sliding(
    before: Stations, after: Stations, *, units: tuple[float, float] = (1.0, 1.0)
) -> StrutMatch:
    """Every station that counts after, against the mean width of all that count before.

    Parameters
    ----------
    before, after : Stations
        Of one strut each.
    units : (float, float)
        Length of one px before and after.

    Returns
    -------
    StrutMatch
        Its widths before are one and the same, those of no place.
    """
    at = np.flatnonzero(_counting(after))
    n = len(at)
    return StrutMatch(
        strut_before=np.ones(n, int),
        strut_after=np.ones(n, int),
        station_after=at,
        row=after.row[at],
        col=after.col[at],
        length=np.full(n, float(after.length[0]) / len(after.s) * units[1]),
        width_before=np.full(n, float(before.width[_counting(before)].mean()) * units[0]),
        width_after=after.width[at] * units[1],
        missing=np.zeros(0, int),
        outside=np.zeros(0, int),
    )


def stretch_uncertainty(stations: Stations) -> float:
    """Standard uncertainty of the mean width as that of a longer strut, of which a stretch is seen.

    Parameters
    ----------
    stations : Stations
        Of one strut, at least 4 that count.

    Returns
    -------
    float
        px, from the scatter of the means of four parts one after the other, which waves as long as a quarter
        of the stretch do not deceive; widened for the few (Student's t), so that 1.96 of it hold 95 %.
    """
    parts = np.array_split(stations.width[_counting(stations)], _BLOCKS)
    means = np.array([part.mean() for part in parts])
    return _T_BLOCKS * float(means.std(ddof=1)) / math.sqrt(_BLOCKS)


def _counting(stations: Stations) -> np.ndarray:
    return np.asarray((stations.fault == "") & np.isfinite(stations.width))


def _between(one: float, other: float) -> float:
    """Angle between two directions, 0 to 90 degrees."""
    return abs((one - other + 90) % 180 - 90)
