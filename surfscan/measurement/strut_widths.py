"""Widths of each strut from its stations: mean, spread, least, edges, and how sure they are."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.stations import Stations

Z95 = 1.959964
"""Half width of a 95 % interval of a normal distribution in standard deviations."""

LEAST_STATIONS = 3
"""Fewer counted stations make no mean width."""

_TREND_WIDTHS = 4.0  # mean widths of strut for each further degree of the edge's trend
_MOST_DEGREES = 15
_LEAST_FOR_ROUGHNESS = 12
_LEVEL_SHARE = 0.2  # per cent of the contrast by which each level may be off
_STATION_SHARE = 0.08
_DIRECTION_PX = 0.12
_MASK_OFF_PX = 1.0  # how far the silhouette's width may lie above the metal's
_DRAWS = 64
_WINDOW = 21  # stations


@dataclass(frozen=True)
class StrutWidths:
    """Widths of struts 1 to S in the px of the stations; arrays of shape (S,), not-a-number where unknown.

    Attributes
    ----------
    length : ndarray
        Of the centreline.
    counted_length : ndarray
        Part of it whose stations count.
    stations : ndarray, int
        Stations that count.
    mean, sd, p05 : ndarray
        Mean over the counted length, standard deviation and 5th percentile of the widths.
    mean_low, mean_high : ndarray
        95 % limits of the mean, scale included where its uncertainty was given.
    least, least_low, least_high : ndarray
        Least width seen and its 95 % limits; the lower one counts what may lie where no edge was found.
    least_s, least_row, least_col : ndarray
        Where it is.
    least_station : ndarray, int
        Its place among all stations; -1 where there is none.
    roughness_left, roughness_right, roughness : ndarray
        Root mean square deviation of each edge from its trend, and of both.
    mean_random, mean_common : ndarray
        Standard uncertainties of the mean without scale: what differs from station to station, and what the
        stations of a strut share.
    unseen : ndarray, int
        Stations between others at which no edge was found.
    through_pitted : ndarray, bool
    """

    length: np.ndarray
    counted_length: np.ndarray
    stations: np.ndarray
    mean: np.ndarray
    mean_low: np.ndarray
    mean_high: np.ndarray
    sd: np.ndarray
    p05: np.ndarray
    least: np.ndarray
    least_low: np.ndarray
    least_high: np.ndarray
    least_s: np.ndarray
    least_row: np.ndarray
    least_col: np.ndarray
    least_station: np.ndarray
    roughness_left: np.ndarray
    roughness_right: np.ndarray
    roughness: np.ndarray
    mean_random: np.ndarray
    mean_common: np.ndarray
    unseen: np.ndarray
    through_pitted: np.ndarray


def measure_widths(
    stations: Stations,
    *,
    axes: tuple[float, float] = (1.0, 1.0),
    edge_uncertainty: float = 0.0,
    relative_scale_uncertainty: float = 0.0,
    known: StrutWidths | None = None,
    changed: np.ndarray | None = None,
) -> StrutWidths:
    """Widths of every strut.

    Parameters
    ----------
    stations : Stations
        Those without a fault count.
    axes : (float, float)
        Lengths of one column and one row in the px of the stations.
    edge_uncertainty : float
        Standard uncertainty of an edge that all edges share and the picture does not show (blooming, lamp,
        focus), px; both edges move apart or together, so a width has twice that.
    relative_scale_uncertainty : float
        Of the pixel size (k = 1); 0 for widths in px.
    known : StrutWidths, optional
        Of the same struts, measured before with the same uncertainties ...
    changed : ndarray of int, optional
        ... and the struts, from 1, whose stations have changed since: only these are measured anew.

    Returns
    -------
    StrutWidths

    Raises
    ------
    ValueError
        If an uncertainty is below 0.

    Notes
    -----
    The 95 % interval of the mean adds, as squares: what is independent from station to station beyond the
    correlation length, over the number of such lengths; 8 % of the standard deviation of the widths over the
    root of the number of stations, for how stations stand for the strut between them; the levels of metal and
    background, to 0.2 % of the contrast on either side; twice the edge uncertainty; and the scale. Stations
    between others at which no edge was found get the width between their neighbours in the mean, and their
    share times the standard deviation goes into its uncertainty. The two shares were fitted to drawn struts
    and hold on others (`benchmarks/strut_coverage.py`).

    The least width is the smallest of many readings, so noise draws it down, and blur fills narrow notches.
    Its interval stands around the reading plus what noise took (mean over 64 seeded draws of noise on
    smoothed widths) less half of what blur filled (sigma²/2 times the curvature of the width there, the first
    order of a Gaussian blur); their spread, and 0.12 px for the direction of the line across, belong to it.

    Where no edge was located between two stations, the lower limit allows for a pit there with flanks of 45
    degrees: half the length between the stations deep for each edge that is missing, below the narrower of
    the two; and it is at most the silhouette's own width there less 1 px, 0 where the line across meets no
    metal (common practice, no source). A crack may be deeper; it has its row among the faults.

    Where edges are softer than the sharper ones of the picture, lower limits are lower by what a thin layer
    there may hide (`edge_softness`): of the mean by the average over the stations, of the least width by
    what makes another place the narrowest.

    What a person's hand adds where edges were moved (`strut_edges`) is taken to err the same way along a
    strut: its mean over the stations counts in full in the mean width, and the least width may be at any
    station that was moved.

    The trend of an edge is a polynomial along the strut of degree 2 and one more for every four mean widths
    of length; what deviates is roughness, with the variance of noise taken off.
    """
    if min(edge_uncertainty, relative_scale_uncertainty) < 0:
        raise ValueError("uncertainties must be 0 or above")
    n = stations.n_struts
    figures: dict[str, np.ndarray] = {
        name: np.full(n, np.nan) for name in StrutWidths.__dataclass_fields__ if name not in _NOT_FLOAT
    }
    figures |= {
        "length": stations.length.copy(),
        "stations": np.zeros(n, int),
        "least_station": np.full(n, -1),
        "unseen": np.zeros(n, int),
        "through_pitted": np.zeros(n, bool),
    }
    anew = range(n)
    if known is not None and changed is not None:
        anew = (np.asarray(changed, int) - 1).tolist()
        for name, values in figures.items():
            kept = np.ones(n, bool)
            kept[anew] = name == "length"
            values[kept] = getattr(known, name)[kept]
    for k in anew:
        part = stations.of(k + 1)
        figures["through_pitted"][k] = bool((stations.open_width[part] > 0).any())
        at = np.flatnonzero((stations.fault[part] == "") & np.isfinite(stations.width[part])) + part.start
        figures["stations"][k] = at.size
        count = part.stop - part.start
        step = float(stations.length[k]) / max(count, 1)
        figures["counted_length"][k] = at.size * step
        if at.size < LEAST_STATIONS:
            continue
        between = slice(at[0], at[-1])
        figures["unseen"][k] = np.count_nonzero(stations.fault[between] == "no edge")
        for name, value in (
            _mean(stations, at, step, edge_uncertainty, relative_scale_uncertainty)
            | _least(stations, at, step, edge_uncertainty, relative_scale_uncertainty)
            | _roughness(stations, at, step, axes)
        ).items():
            figures[name][k] = value
    return StrutWidths(**figures)


_NOT_FLOAT = ("stations", "unseen", "least_station", "through_pitted")


def _common(stations: Stations, at: np.ndarray, edge_uncertainty: float) -> float:
    """Standard uncertainty that the widths of a strut share, scale not included."""
    levels = _LEVEL_SHARE * float(np.mean(stations.common_uncertainty[at]))
    if len(stations.hand_uncertainty):
        return math.hypot(levels, 2 * edge_uncertainty, float(np.mean(stations.hand_uncertainty[at])))
    return math.hypot(levels, 2 * edge_uncertainty)


def _mean(
    stations: Stations, at: np.ndarray, step: float, edge_uncertainty: float, scale: float
) -> dict[str, float]:
    own = np.arange(at[0], at[-1] + 1)
    own = own[(stations.fault[own] == "") | (stations.fault[own] == "no edge")]
    width = np.interp(stations.s[own], stations.s[at], stations.width[at])
    mean, sd = float(width.mean()), float(width.std(ddof=1))
    unseen = (own.size - at.size) / own.size * sd
    together = max(1.0, stations.correlation_length / step)
    random = math.sqrt(
        (float(np.mean(stations.uncertainty[at] ** 2)) * together + (_STATION_SHARE * sd) ** 2) / at.size
    )
    common = _common(stations, at, edge_uncertainty)
    random = math.hypot(random, unseen)
    half = Z95 * math.hypot(random, common, scale * mean)
    hidden = float(stations.hidden[at].mean()) if len(stations.hidden) else 0.0
    return {
        "mean": mean,
        "sd": sd,
        "p05": float(np.percentile(width, 5)),
        "mean_low": mean - half - hidden,
        "mean_high": mean + half,
        "mean_random": random,
        "mean_common": common,
    }


def _least(
    stations: Stations, at: np.ndarray, step: float, edge_uncertainty: float, scale: float
) -> dict[str, float]:
    width, noise = stations.width[at], stations.uncertainty[at]
    k = int(np.argmin(width))
    least = float(width[k])
    taken = _taken_by_noise(width, noise)
    near = slice(max(0, k - 4), k + 5)
    x = stations.s[at][near] - stations.s[at][k]
    bend = 2 * float(np.polyfit(x, width[near], 2)[0]) if x.size >= 5 else 0.0
    # An edge of slope b (share of contrast per px) after a Gaussian blur: sigma = 1 / (b sqrt(2 pi)); the two
    # edges' one-hundredths of 1/b are in the common uncertainty.
    blur = float(stations.common_uncertainty[at][k]) / 0.02 / math.sqrt(2 * math.pi)
    filled = min(blur**2 / 2 * max(0.0, bend), least)
    middle = least + taken - filled / 2
    spread = math.hypot(
        float(noise[k]),
        _common(stations, at[k : k + 1], edge_uncertainty),
        filled,
        _DIRECTION_PX,
        scale * least,
    )
    low = middle - Z95 * spread
    if len(stations.hidden):
        low = min(low, low - least + float((width - stations.hidden[at]).min()))
    if len(stations.hand_uncertainty):
        hand = stations.hand_uncertainty[at]
        placed = width - Z95 * np.sqrt(hand**2 + noise**2 + (scale * width) ** 2)
        low = min(low, float(np.where(hand > 0, placed, np.inf).min()))
    return {
        "least": least,
        "least_low": max(0.0, min(low, _least_unseen(stations, at) - Z95 * spread, least)),
        "least_high": max(middle + Z95 * spread, least),
        "least_s": float(stations.s[at][k]),
        "least_row": float(stations.row[at][k]),
        "least_col": float(stations.col[at][k]),
        "least_station": int(at[k]),
    }


def _least_unseen(stations: Stations, at: np.ndarray) -> float:
    """Least width that may lie where no edge was found between stations; infinite where all were found."""
    least = math.inf
    for k in np.flatnonzero(np.diff(at) > 1):
        between = slice(at[k] + 1, at[k + 1])
        if not (stations.fault[between] == "no edge").any():
            continue
        sides = sum(bool(np.isnan(row[between]).any()) for row in (stations.left_row, stations.right_row))
        deep = sides * float(stations.s[at[k + 1]] - stations.s[at[k]]) / 2
        least = min(least, float(stations.width[at[k : k + 2]].min()) - deep)
        across = stations.mask_width[between] if len(stations.mask_width) else np.zeros(0)
        across = across[np.isfinite(across)]
        if across.size:
            least = min(least, max(0.0, float(across.min()) - _MASK_OFF_PX))
    return least


def _taken_by_noise(width: np.ndarray, noise: np.ndarray) -> float:
    """How far noise draws the least of these readings down, on average.

    What the widths would be without it: their local mean, and of what they deviate from it the share that
    noise does not explain (as a Wiener filter has it).
    """
    window = np.ones(min(_WINDOW, width.size))
    count = np.convolve(np.ones(width.size), window, "same")
    mean = np.convolve(width, window, "same") / count
    variance = np.convolve((width - mean) ** 2, window, "same") / np.maximum(count - 1, 1)
    share = np.clip(1 - noise**2 / np.maximum(variance, 1e-12), 0, 1)
    quiet = mean + share * (width - mean)
    fresh = quiet + noise * np.random.default_rng(0).standard_normal((_DRAWS, width.size))
    return max(0.0, float(quiet.min() - fresh.min(axis=1).mean()))


def _roughness(
    stations: Stations, at: np.ndarray, step: float, axes: tuple[float, float]
) -> dict[str, float]:
    if at.size < _LEAST_FOR_ROUGHNESS:
        return {}
    s = stations.s[at]
    t = 2 * (s - s[0]) / max(float(s[-1] - s[0]), 1e-9) - 1
    degree = 2 + int(at.size * step / (_TREND_WIDTHS * max(float(stations.width[at].mean()), 1.0)))
    degree = min(degree, _MOST_DEGREES, at.size // 4)
    basis, _ = np.linalg.qr(np.polynomial.legendre.legvander(t, degree))
    noise = float(np.mean(stations.uncertainty[at] ** 2)) / 2
    variance = []
    for row, col in ((stations.left_row, stations.left_col), (stations.right_row, stations.right_col)):
        x, y = col[at] * axes[0], row[at] * axes[1]
        trend_x, trend_y = basis @ (basis.T @ x), basis @ (basis.T @ y)
        along_x, along_y = np.gradient(trend_x), np.gradient(trend_y)
        away = ((y - trend_y) * along_x - (x - trend_x) * along_y) / np.maximum(
            np.hypot(along_x, along_y), 1e-9
        )
        variance.append(max(0.0, float(np.sum(away**2)) / (at.size - degree - 1) - noise))
    return {
        "roughness_left": math.sqrt(variance[0]),
        "roughness_right": math.sqrt(variance[1]),
        "roughness": math.sqrt(sum(variance) / 2),
    }
