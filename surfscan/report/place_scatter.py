"""How far the loss differs from place to place along struts: what one cut or one strut cannot tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surfscan.estimates import fields
from surfscan.estimates.groups import t_factor
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import FieldRecord
from surfscan.report.strut_records import carrying, exceeds_reference

_LEAST_STATIONS = 8


@dataclass(frozen=True)
class PlaceScatter:
    """Scatter of penetration between places of one specimen, from the widths along its struts.

    Attributes
    ----------
    mean_um : float
        Mean penetration over the stations.
    deviation_um : float
        Standard deviation between stations.
    mean_uncertainty_um : float
        Standard uncertainty of that mean as one of the whole part, from the scatter alone.
    degrees_of_freedom : float
        Of the latter.
    struts : int
        Struts that it rests on.
    """

    mean_um: float
    deviation_um: float
    mean_uncertainty_um: float
    degrees_of_freedom: float
    struts: int

    @property
    def half_width_um(self) -> float:
        """Half of the 95 % interval that the scatter gives the mean."""
        return t_factor(self.degrees_of_freedom) * self.mean_uncertainty_um


def place_scatter(summary: SpecimenSummary) -> PlaceScatter | None:
    """Scatter between places of a specimen; None where its pictures of struts show no loss against anything.

    Notes
    -----
    Penetration at a station is half of the width lost there. Several struts: t-interval between them (ratio
    estimator). One strut: variance of the mean of a correlated series, s² τ / n with τ one plus twice the sum
    of the autocorrelations up to the first below 0 (elementary; a short series makes it too small).
    """
    series = [d for r in summary.pooled["struts"] if not exceeds_reference(r) for d in _losses(r)]
    if not series:
        return None
    every = np.concatenate(series)
    mean, deviation = float(every.mean()), float(every.std())
    if len(series) > 1:
        lengths = np.array([float(len(d)) for d in series])
        between = fields.area_weighted_mean(np.array([d.mean() for d in series]) * lengths, lengths)
        freedom = len(series) - 1.0
        u = (between.half_width or 0.0) / t_factor(freedom)
        return PlaceScatter(mean, deviation, u, freedom, len(series))
    times = correlation_length(every)
    free = max(len(every) / times - 1, 1.0)
    return PlaceScatter(mean, deviation, deviation * math.sqrt(times / len(every)), free, 1)


def correlation_length(values: np.ndarray) -> float:
    """Stations that count as one: 1 plus twice the autocorrelations up to the first below 0.

    Parameters
    ----------
    values : ndarray of shape (n,)
        Along one strut, evenly spaced.

    Returns
    -------
    float
        1 to n.
    """
    off = np.asarray(values, float) - np.mean(values)
    power = float(off @ off)
    if power == 0:
        return 1.0
    total = 1.0
    for k in range(1, len(off)):
        share = float(off[:-k] @ off[k:]) / power
        if share < 0:
            break
        total += 2 * share
    return min(total, float(len(off)))


def _losses(record: FieldRecord) -> Sequence[np.ndarray]:
    """Penetration along each strut that carries and has something to compare with, µm."""
    struts, stations = record.table("struts"), record.table("stations")
    found = []
    for place in carrying(struts):
        reference = float(struts["reference_width_um"][place])
        own = (stations["strut"] == struts["strut"][place]) & (stations["fault"] == "")
        before = stations["width_before_um"][own]
        was = np.where(np.isfinite(before), before, reference)
        lost = (was - stations["width_um"][own]) / 2
        lost = lost[np.isfinite(lost)]
        if len(lost) >= _LEAST_STATIONS:
            found.append(lost)
    return found
