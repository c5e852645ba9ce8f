"""How many fields or specimens, or how sure a scale, for a wanted relative accuracy.

The counts rest on the planning formula of ASTM E562; Student's t of the count itself takes the place of the
rounded t = 2 wherever that would promise too much.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from surfscan.estimates.fields import fields_needed
from surfscan.estimates.groups import MIN_SPECIMENS, t_factor

MOST = 10_000
"""Counts above this are called impracticable (common practice, no source)."""

_Z = 1.959963984540054


@dataclass(frozen=True)
class NestedPlan:
    """Specimens and fields for a wanted accuracy of a group mean.

    Attributes
    ----------
    fields_per_specimen : int
    specimens : int or None
        None where no practicable number brings the wanted accuracy.
    relative_accuracy_percent : float
        Reached with them; not-a-number where there is none.
    """

    fields_per_specimen: int
    specimens: int | None
    relative_accuracy_percent: float


def needed_to_average(
    mean: float,
    standard_deviation: float,
    relative_accuracy_percent: float,
    *,
    common_uncertainty: float = 0.0,
    least: int = 2,
) -> int | None:
    """Replicates (fields or specimens) whose mean has a wanted relative accuracy at 95 % confidence.

    Parameters
    ----------
    mean : float
        From the replicates measured so far, above 0.
    standard_deviation : float
        Between replicates, same unit.
    relative_accuracy_percent : float
        Wanted half width of the 95 % interval in percent of the mean, above 0.
    common_uncertainty : float
        Standard uncertainty that all replicates share (scale, edges), same unit: averaging leaves it.
    least : int
        Fewest to answer with, 2 or more.

    Returns
    -------
    int or None
        The count of ASTM E562 for what the common part leaves of the wanted accuracy, raised until
        t(n - 1) s / √n meets it. None where the common part leaves nothing, or more than `MOST` are needed.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    ASTM E562-19, Eq. 7.
    """
    if common_uncertainty < 0 or least < 2:
        raise ValueError(
            "common_uncertainty must not be below 0 and least be 2 or more, got "
            f"{common_uncertainty!r}, {least!r}"
        )
    left = _left_over(mean, common_uncertainty, relative_accuracy_percent)
    if left is None:
        return None
    n = max(least, fields_needed(mean, standard_deviation, left))
    while n <= MOST and fields_needed(mean, standard_deviation, left, t=t_factor(n - 1)) > n:
        n += 1
    return n if n <= MOST else None


def needed_specimens(
    mean: float,
    standard_deviation: float,
    relative_accuracy_percent: float,
    *,
    common_uncertainty: float = 0.0,
) -> int | None:
    """Specimens whose mean has a wanted relative accuracy: `needed_to_average`, three or more."""
    return needed_to_average(
        mean,
        standard_deviation,
        relative_accuracy_percent,
        common_uncertainty=common_uncertainty,
        least=MIN_SPECIMENS,
    )


def needed_scale(
    value: float, scale_uncertainty: float, other_uncertainty: float, relative_accuracy_percent: float
) -> float | None:
    """How many times as sure the scale must be for a wanted relative accuracy at 95 % confidence.

    Parameters
    ----------
    value : float
        The figure, above 0.
    scale_uncertainty : float
        Standard uncertainty that the scale gives it now, same unit.
    other_uncertainty : float
        Standard uncertainty from all else, taken as known, same unit.
    relative_accuracy_percent : float
        Above 0.

    Returns
    -------
    float or None
        Now over wanted; 1 or below where the scale is good enough; None where all else is too much already.

    Raises
    ------
    ValueError
        If an argument is out of range.
    """
    if scale_uncertainty < 0 or other_uncertainty < 0:
        raise ValueError(
            f"uncertainties must not be below 0, got {scale_uncertainty!r} and {other_uncertainty!r}"
        )
    left = _left_over(value, other_uncertainty, relative_accuracy_percent)
    return None if left is None else scale_uncertainty * _Z / (left / 100 * value)


def nested_plan(
    mean: float,
    between_specimens: float,
    between_fields: float,
    relative_accuracy_percent: float,
    *,
    fields_per_specimen: int,
) -> NestedPlan:
    """Specimens for a wanted accuracy of a group mean, with a given number of fields on each.

    Parameters
    ----------
    mean : float
        Above 0.
    between_specimens, between_fields : float
        Standard deviations of true specimens and of fields of one specimen, same unit.
    relative_accuracy_percent : float
        Above 0.
    fields_per_specimen : int
        1 or more.

    Returns
    -------
    NestedPlan
        More fields make σ_f² / (k m) smaller and never σ_s² / k.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Variance of a two-stage mean, σ_s² / k + σ_f² / (k m): Cochran (1977) Sampling Techniques, 3rd ed.,
    ch. 10.
    """
    if fields_per_specimen < 1 or between_specimens < 0 or between_fields < 0:
        raise ValueError(
            "fields_per_specimen must be 1 or more and standard deviations not below 0, got "
            f"{fields_per_specimen!r}, {between_specimens!r}, {between_fields!r}"
        )
    deviation = math.sqrt(between_specimens**2 + between_fields**2 / fields_per_specimen)
    k = needed_specimens(mean, deviation, relative_accuracy_percent)
    reached = math.nan if k is None else 100 * t_factor(k - 1) * deviation / math.sqrt(k) / mean
    return NestedPlan(fields_per_specimen, k, reached)


def best_fields_per_specimen(
    between_specimens: float, between_fields: float, *, specimen_cost: float, field_cost: float
) -> int:
    """Fields on each specimen that make a group mean surest for a given effort.

    Parameters
    ----------
    between_specimens, between_fields : float
        Standard deviations; those between specimens above 0.
    specimen_cost, field_cost : float
        Effort of one more specimen and of one more field on it, above 0, any unit.

    Returns
    -------
    int
        √(c_s / c_f) σ_f / σ_s, rounded, at least 1.

    Raises
    ------
    ValueError
        If an argument is out of range.

    References
    ----------
    Cochran (1977) Sampling Techniques, 3rd ed., 10.6.
    """
    if not (between_specimens > 0 and between_fields >= 0 and specimen_cost > 0 and field_cost > 0):
        raise ValueError(
            "standard deviations and costs must be above 0, got "
            f"{between_specimens!r}, {between_fields!r}, {specimen_cost!r}, {field_cost!r}"
        )
    return max(1, round(math.sqrt(specimen_cost / field_cost) * between_fields / between_specimens))


def _left_over(value: float, uncertainty: float, relative_accuracy_percent: float) -> float | None:
    """Percent of the wanted accuracy that a known uncertainty leaves, root of the difference of squares."""
    if not (value > 0 and relative_accuracy_percent > 0):
        raise ValueError(
            "the figure and the wanted relative accuracy must be above 0, got "
            f"{value!r} and {relative_accuracy_percent!r}"
        )
    left = relative_accuracy_percent**2 - (100 * _Z * uncertainty / value) ** 2
    return math.sqrt(left) if left > 0 else None
