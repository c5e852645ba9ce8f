"""How local the loss is: pitting factor, share of the loss in pits, deepest pit against least section."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

from surfscan.comparison.agreement import ratio_interval
from surfscan.comparison.rates import NORMAL_FACTOR, Interval

Bound = Literal["", "at least", "at most"]


@dataclass(frozen=True)
class Quotient:
    """One figure over another.

    Attributes
    ----------
    value : float or None
    ci95 : (float, float) or None
        None where an interval is missing on either side.
    bound : {"", "at least", "at most"}
        Side of the true value that it is known to lie on, apart from its interval.
    sentence : str
    refused : str
        Why there is none; empty where there is one.
    """

    value: float | None
    ci95: Interval | None
    bound: Bound
    sentence: str
    refused: str = ""


@dataclass(frozen=True)
class PitAgainstSection:
    """The deepest pit beside the least section, both as shares of what was there.

    Attributes
    ----------
    depth_share : float
        Depth of the deepest pit over the drawn size across which it runs.
    section_lost_fraction : float
        1 less the least section left.
    bound : {"", "at least"}
        Of `depth_share`.
    sentence : str
    """

    depth_share: float
    section_lost_fraction: float
    bound: Bound
    sentence: str


def pitting_factor(
    deepest_um: float | None,
    mean_penetration_um: float | None,
    *,
    deepest_um_ci95: Interval | None = None,
    mean_penetration_um_ci95: Interval | None = None,
    deepest_is_lower_bound: bool = False,
    from_original_level: bool = True,
) -> Quotient:
    """Deepest penetration over average penetration.

    Parameters
    ----------
    deepest_um : float or None
        Depth of the deepest place.
    mean_penetration_um : float or None
        Average penetration, from mass loss; on thin parts corrected for the surface that shrank.
    deepest_um_ci95, mean_penetration_um_ci95 : (float, float), optional
    deepest_is_lower_bound : bool, optional
        Part of the pit's floor was not measured.
    from_original_level : bool, optional
        Whether the depth is from the level before exposure. From the surface of today it leaves out the even
        loss, and the factor is a lower bound.

    Returns
    -------
    Quotient
        Refused where the average cannot be told from 0: the factor then tends to any number (ASTM G46, metal
        penetration; from memory). Refused where it comes out below 1 from today's surface: as a lower bound
        that says nothing.
    """
    if deepest_um is None or math.isnan(deepest_um):
        return _refused("no pit depth was measured")
    bound: Bound = "at least" if deepest_is_lower_bound or not from_original_level else ""
    found = _quotient(
        deepest_um,
        mean_penetration_um,
        deepest_um_ci95,
        mean_penetration_um_ci95,
        bound,
        "the average penetration",
    )
    if found.value is None:
        return found
    if found.value < 1 and not from_original_level:
        return _refused(
            "the deepest pit, measured from today's surface, is shallower than the average penetration: a "
            "masked datum or an unexposed surface would give its depth from the original level"
        )
    text = f"The deepest pit goes {_said(found)} times as deep as the average penetration"
    if not from_original_level:
        text += "; its depth is from today's surface and leaves out the even loss"
    elif found.value < 1:
        text += "; below 1 the deepest place was not among those seen, or one of the two is at fault"
    return Quotient(found.value, found.ci95, bound, f"{text}.")


def share_in_pits(
    volume_per_area_um: float | None,
    mean_penetration_um: float | None,
    *,
    volume_per_area_um_ci95: Interval | None = None,
    mean_penetration_um_ci95: Interval | None = None,
    volume_is_lower_bound: bool = False,
) -> Quotient:
    """Share of the whole loss that lies in pits.

    Parameters
    ----------
    volume_per_area_um : float or None
        Pit volume over the area measured, below the surface of today.
    mean_penetration_um : float or None
        Whole loss over the surface, from mass loss or gas.
    volume_per_area_um_ci95, mean_penetration_um_ci95 : (float, float), optional
    volume_is_lower_bound : bool, optional
        Floors of pits were not measured, or undercuts hide some.

    Returns
    -------
    Quotient
        1 where all loss is in pits. Above 1, the fields measured are not the surface that was weighed.
    """
    if volume_per_area_um is None or math.isnan(volume_per_area_um):
        return _refused("no pit volume was measured")
    bound: Bound = "at least" if volume_is_lower_bound else ""
    found = _quotient(
        volume_per_area_um,
        mean_penetration_um,
        volume_per_area_um_ci95,
        mean_penetration_um_ci95,
        bound,
        "the whole loss",
    )
    if found.value is None:
        return found
    percent = f"{bound + ' ' if bound else ''}{100 * found.value:.3g} %"
    if found.ci95 is not None:
        percent += f" ({100 * found.ci95[0]:.3g} to {100 * found.ci95[1]:.3g} %)"
    text = f"Pits hold {percent} of the loss"
    least = found.value if found.ci95 is None else found.ci95[0]
    if least > 1:
        text += ", more than all of it: the fields measured do not stand for the surface that was weighed"
    return Quotient(found.value, found.ci95, bound, f"{text}.")


def pit_against_section(
    deepest_um: float,
    drawn_um: float,
    least_section_left_fraction: float,
    *,
    deepest_is_lower_bound: bool = False,
) -> PitAgainstSection:
    """Deepest pit against least section.

    Parameters
    ----------
    deepest_um : float
    drawn_um : float
        Drawn size of the part that the pit runs across (its thickness, seen from above).
    least_section_left_fraction : float
        Least section left over the drawn one.
    deepest_is_lower_bound : bool, optional

    Returns
    -------
    PitAgainstSection

    Raises
    ------
    ValueError
        If a figure cannot be.

    Notes
    -----
    Loads follow the least section, not the deepest pit: measures of section loss went with strength, pit
    figures did not (Bioactive Materials 8 (2022) 545, abstract read).
    """
    if not (drawn_um > 0 and deepest_um >= 0 and least_section_left_fraction >= 0):
        given = f"{deepest_um!r} of {drawn_um!r} µm, section {least_section_left_fraction!r}"
        raise ValueError(f"depth, drawn size or section cannot be: {given}")
    share, lost = deepest_um / drawn_um, 1 - least_section_left_fraction
    bound: Bound = "at least" if deepest_is_lower_bound else ""
    text = f"The deepest pit takes {bound + ' ' if bound else ''}{100 * share:.3g} % of the drawn size; " + (
        f"the least section has lost {100 * lost:.3g} %"
        if lost >= 0
        else "the least section has lost nothing"
    )
    if share >= 1:
        text += ": it goes through"
    elif share > max(lost, 0.0):
        text += ": attack is deeper than the section shows, and narrow"
    else:
        text += ": the section tells more than the pit"
    return PitAgainstSection(share, lost, bound, f"{text}.")


def _quotient(
    top: float,
    bottom: float | None,
    top_ci95: Interval | None,
    bottom_ci95: Interval | None,
    bound: Bound,
    named: str,
) -> Quotient:
    if bottom is None or math.isnan(bottom):
        return _refused(f"{named} is not known")
    if bottom <= 0 or (bottom_ci95 is not None and bottom_ci95[0] <= 0):
        return _refused(f"{named} cannot be told from none")
    limits = None
    if top_ci95 is not None and bottom_ci95 is not None:
        u = [(high - low) / 2 / NORMAL_FACTOR for low, high in (top_ci95, bottom_ci95)]
        limits = ratio_interval(top, bottom, *u)
        limits = None if limits is None else (max(limits[0], 0.0), limits[1])
    return Quotient(top / bottom, limits, bound, "")


def _said(found: Quotient) -> str:
    limits = "" if found.ci95 is None else f" ({found.ci95[0]:.3g} to {found.ci95[1]:.3g})"
    return f"{found.bound + ' ' if found.bound else ''}{found.value:.3g}{limits}"


def _refused(why: str) -> Quotient:
    return Quotient(None, None, "", "", why)
