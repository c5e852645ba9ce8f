"""Several fields of one specimen: mean, between-field interval, relative accuracy, fields needed.

Fields are subsamples of the specimen they lie on. Their interval says how well that specimen is known, not
how specimens of a group scatter.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from surfscan.estimates.groups import t_factor


@dataclass(frozen=True)
class FieldEstimate:
    """A figure from several fields.

    Attributes
    ----------
    mean : float
        Estimate over all fields.
    standard_deviation : float or None
        Between-field standard deviation, n - 1 in the denominator; None from one field.
    fields : int
        Number of fields n.
    half_width : float or None
        t s / sqrt(n), half of the 95 % interval.
    ci95 : (float, float) or None
        Mean plus and minus half width, within the limits of the figure.
    relative_accuracy_percent : float or None
        100 half width / mean; None where the mean is 0.
    warnings : tuple of str
        Why an interval is missing, or too wide to use.
    """

    mean: float
    standard_deviation: float | None
    fields: int
    half_width: float | None
    ci95: tuple[float, float] | None
    relative_accuracy_percent: float | None
    warnings: tuple[str, ...] = ()


def field_mean(values: Sequence[float] | np.ndarray, *, upper: float = math.inf) -> FieldEstimate:
    """Mean over fields of equal weight, with the 95 % interval of ASTM E562 and E1245.

    Parameters
    ----------
    values : sequence of float, length n
        One figure per field, 0 or above (an area fraction, a density).
    upper : float
        Greatest value the figure can take (1 for a fraction); the interval is cut at 0 and there.

    Returns
    -------
    FieldEstimate

    Raises
    ------
    ValueError
        If there is no field or a value is not finite.

    References
    ----------
    ASTM E562-19, Practice for Determining Volume Fraction by Systematic Manual Point Count. ASTM E1245-03,
    Practice for Determining the Inclusion or Second-Phase Constituent Content by Automatic Image Analysis.
    """
    figures = _fields(values)
    n = len(figures)
    mean = float(figures.mean())
    deviation = float(figures.std(ddof=1)) if n > 1 else None
    return _estimate(mean, deviation, n, upper)


def area_weighted_mean(
    amounts: Sequence[float] | np.ndarray, areas: Sequence[float] | np.ndarray, *, upper: float = math.inf
) -> FieldEstimate:
    """Amount per area over fields that differ in area: the ratio estimator.

    Parameters
    ----------
    amounts : sequence of float, length n
        What each field holds: its corroded area, or its weighted number of pits.
    areas : sequence of float, length n
        Specimen area of each field, all above 0.
    upper : float
        Greatest value the ratio can take (1 for an area fraction).

    Returns
    -------
    FieldEstimate
        `mean` is sum of amounts over sum of areas, so that a large field counts for more; the standard
        deviation is that of the residuals amount - mean x area, per mean area. With equal areas all equals
        `field_mean` of the ratios.

    Raises
    ------
    ValueError
        If there is no field, lengths differ, a value is not finite or an area not above 0.

    References
    ----------
    Cochran, W. G. (1977) Sampling Techniques, 3rd ed., Wiley, ch. 6 (ratio estimator and its variance).
    """
    amount, area = _fields(amounts), _fields(areas)
    if len(amount) != len(area):
        raise ValueError(f"{len(amount)} amounts but {len(area)} areas; give one area per field")
    if float(area.min()) <= 0:
        raise ValueError(f"field areas must be above 0, got {float(area.min())!r}; leave empty fields out")
    n = len(amount)
    mean = float(amount.sum() / area.sum())
    deviation = None
    if n > 1:
        residual = amount - mean * area
        deviation = float(np.sqrt(np.sum(residual**2) / (n - 1)) / area.mean())
    return _estimate(mean, deviation, n, upper)


def fields_needed(
    mean: float, standard_deviation: float, relative_accuracy_percent: float, *, t: float = 2.0
) -> int:
    """Fields needed for a wanted relative accuracy at 95 % confidence.

    Parameters
    ----------
    mean, standard_deviation : float
        From the fields measured so far, same unit; the mean above 0.
    relative_accuracy_percent : float
        Wanted %RA, above 0.
    t : float
        Student's t; the standard rounds it to 2.

    Returns
    -------
    int
        (100 t s / (%RA mean))², rounded up, at least 2.

    Raises
    ------
    ValueError
        If `mean` or `relative_accuracy_percent` is not above 0 or the standard deviation is below 0.

    References
    ----------
    ASTM E562-19, Eq. 7.
    """
    if not (mean > 0 and relative_accuracy_percent > 0 and standard_deviation >= 0):
        raise ValueError(
            "mean and relative_accuracy_percent must be above 0 and standard_deviation 0 or above, got "
            f"{mean!r}, {relative_accuracy_percent!r}, {standard_deviation!r}"
        )
    wanted = (100 * t * standard_deviation / (relative_accuracy_percent * mean)) ** 2
    return max(2, math.ceil(wanted * (1 - 1e-12)))


def planned_fields(expected_fraction: float, grid_points: int, relative_accuracy_percent: float) -> float:
    """Fields to plan for a point count before anything is measured.

    Parameters
    ----------
    expected_fraction : float
        Area fraction expected, above 0 and up to 1.
    grid_points : int
        Points of the grid laid on each field, 1 or more.
    relative_accuracy_percent : float
        Wanted %RA, above 0.

    Returns
    -------
    float
        4 / (E² Vv P), E = %RA / 100: points taken as independent and the phase as sparse.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    ASTM E562-19, Table 3.
    """
    if not (0 < expected_fraction <= 1 and grid_points >= 1 and relative_accuracy_percent > 0):
        raise ValueError(
            "expected_fraction must lie in (0, 1], grid_points be 1 or more and relative_accuracy_percent "
            f"above 0, got {expected_fraction!r}, {grid_points!r}, {relative_accuracy_percent!r}"
        )
    return 4 / ((relative_accuracy_percent / 100) ** 2 * expected_fraction * grid_points)


def _fields(values: Sequence[float] | np.ndarray) -> np.ndarray:
    figures = np.asarray(values, dtype=np.float64)
    if figures.ndim != 1 or figures.size == 0:
        raise ValueError(f"one value per field is wanted, got an array of shape {figures.shape}")
    if not np.isfinite(figures).all():
        raise ValueError("every field needs a finite value; leave out fields that could not be measured")
    return figures


def _estimate(mean: float, deviation: float | None, n: int, upper: float) -> FieldEstimate:
    if deviation is None:
        only = "One field only: its scatter from field to field is unknown. Measure more fields."
        return FieldEstimate(mean, None, n, None, None, None, (only,))
    half = t_factor(n - 1) * deviation / math.sqrt(n)
    warnings = []
    if n == 2:
        warnings.append(
            "Two fields only: Student's t is 12.7, so the interval says little. Measure more fields."
        )
    if deviation == 0:
        warnings.append(
            f"All {n} fields gave the same value, so the interval between fields has no width; "
            "use the interval of one field."
        )
    return FieldEstimate(
        mean,
        deviation,
        n,
        half,
        (max(mean - half, 0.0), min(mean + half, upper)),
        100 * half / mean if mean > 0 else None,
        tuple(warnings),
    )
