"""One interval from what scatters between a few replicates and what they all have in common."""

from __future__ import annotations

import math

from surfscan.estimates.groups import t_factor, welch_satterthwaite

_Z = 1.959963984540054


def combined_half_width(between: float, degrees_of_freedom: float, common: float) -> float:
    """Half of the 95 % interval of a mean over replicates that share an uncertainty.

    Parameters
    ----------
    between : float
        Half width of the t-interval between replicates, 0 or above.
    degrees_of_freedom : float
        Of that, above 0.
    common : float
        Half width, 1.96 times the standard uncertainty, of what all share (scale, edges, class boundary):
        taken as known, and not averaged out.

    Returns
    -------
    float
        Student's t for the effective degrees of freedom times the combined standard uncertainty, but no less
        than either part: by itself the formula lets a known uncertainty narrow an interval that rests on
        two or three replicates. The root sum of squares of half widths would carry the large t of few
        replicates over to all the rest, and hold the truth in nearly every case.

    Raises
    ------
    ValueError
        If a half width is below 0 or not finite.

    References
    ----------
    JCGM 100:2008, G.4.1 (Welch-Satterthwaite).
    """
    if not (math.isfinite(between) and math.isfinite(common) and between >= 0 and common >= 0):
        raise ValueError(f"half widths must be finite and not below 0, got {between!r} and {common!r}")
    if between == 0 or common == 0:
        return max(between, common)
    parts = (between / t_factor(degrees_of_freedom), common / _Z)
    freedom = welch_satterthwaite(parts, (degrees_of_freedom, math.inf))
    return max(between, common, t_factor(freedom) * math.hypot(*parts))
