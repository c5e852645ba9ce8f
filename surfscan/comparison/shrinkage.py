"""How far a rate over the starting area reads below penetration, because a thin part shrinks as it corrodes.

Mass loss, gas and acid divide the metal lost by the surface at the start. Penetration is how far the surface
has moved. On a flat, thick part the two are one; on a strut the surface that corrodes becomes smaller, less
metal is lost by the same penetration, and the rate over the starting area reads low.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from surfscan.measurement.section_loss import rectangle_penetration, round_penetration
from surfscan.measurement.strut_sections import DrawnSection, eroded_area

_ANGLES = 4097
_ROUNDS, _STEPS = 5, 256


@dataclass(frozen=True)
class Shrinkage:
    """A rate over the starting area turned into penetration.

    Attributes
    ----------
    factor : float
        Penetration over apparent penetration; 1 or above.
    apparent_um : float
        Volume lost over the surface at the start.
    penetration_um : float
        How far the outline has moved inwards, evenly.
    section_left_fraction : float
        Section left at that penetration over the drawn one.
    """

    factor: float
    apparent_um: float
    penetration_um: float
    section_left_fraction: float


def drawn_perimeter(drawn: DrawnSection) -> float:
    """Length of the outline of a drawn section, in its unit.

    Parameters
    ----------
    drawn : DrawnSection

    Returns
    -------
    float
        Of an ellipse by the trapezoidal rule over its parameter, which is exact to rounding for aspects up to
        about 100.
    """
    if drawn.shape == "ellipse":
        angle = np.linspace(0, 2 * math.pi, _ANGLES)[:-1]
        speed = np.hypot(drawn.width / 2 * np.sin(angle), drawn.thickness / 2 * np.cos(angle))
        return float(speed.mean() * 2 * math.pi)
    narrow = drawn.width - 2 * drawn.thickness * drawn.lean
    return drawn.width + narrow + 2 * drawn.thickness * math.hypot(1.0, drawn.lean)


def most_apparent_um(drawn: DrawnSection) -> float:
    """Apparent penetration at which nothing is left: section over outline, µm."""
    return drawn.area / drawn_perimeter(drawn)


def shrinkage(apparent_um: float, drawn: DrawnSection) -> Shrinkage:
    """Penetration of a long strut from the metal it lost over its starting surface.

    Parameters
    ----------
    apparent_um : float
        Volume lost over the surface at the start: a rate over the starting area times its time.
    drawn : DrawnSection
        In µm.

    Returns
    -------
    Shrinkage
        Round wire of radius R: volume lost per length is pi (2 R d - d²), so that with a section fraction f
        lost d = R (1 - sqrt(1 - f)), apparent R f / 2, factor 2 (1 - sqrt(1 - f)) / f. Rectangle w x t:
        apparent is d - 2 d² / (w + t). Ellipse and trapezoid by search on the eroded section.

    Raises
    ------
    ValueError
        If the loss is below 0, or as large as the strut or larger.

    Notes
    -----
    Equal loss all round, ends and joints of struts left out (elementary geometry). It is an error of the
    conversion, not of the weighing.
    """
    most = most_apparent_um(drawn)
    if not 0 <= apparent_um < most:
        raise ValueError(
            f"an apparent penetration of {apparent_um:.4g} µm does not lie within 0 and {most:.4g} µm, at "
            "which the strut is gone"
        )
    lost = apparent_um / most
    if lost == 0:
        return Shrinkage(1.0, 0.0, 0.0, 1.0)
    if drawn.shape == "rectangle":
        depth = rectangle_penetration(drawn.width, drawn.thickness, 1 - lost)
    elif drawn.shape == "ellipse" and drawn.width == drawn.thickness:
        depth = round_penetration(drawn.width / 2, 1 - lost)
    else:
        depth = _by_search(lost, drawn)
    return Shrinkage(depth / apparent_um, apparent_um, depth, 1 - lost)


def shrinkage_factor(apparent_um: float, drawn: DrawnSection) -> float:
    """Penetration over apparent penetration: what to multiply a rate over the starting area by.

    As `shrinkage`, which see for parameters and errors.
    """
    return shrinkage(apparent_um, drawn).factor


def factor_uncertainty(apparent_um: float, drawn: DrawnSection) -> float:
    """Standard uncertainty of the factor from those of the drawn sizes.

    Parameters
    ----------
    apparent_um : float
    drawn : DrawnSection
        With the standard uncertainties of its sizes.

    Returns
    -------
    float
        Root of the sum of squares of what each size does alone (JCGM 100:2008, 5.1.2, from memory), each
        moved to where the strut is thicker: the other way it may be gone.

    Raises
    ------
    ValueError
        As `shrinkage`.
    """
    now = shrinkage_factor(apparent_um, drawn)
    effects = []
    if drawn.width_uncertainty:
        effects.append(replace(drawn, width=drawn.width + drawn.width_uncertainty))
    if drawn.thickness_uncertainty and drawn.shape != "trapezoid":
        effects.append(replace(drawn, thickness=drawn.thickness + drawn.thickness_uncertainty))
    elif drawn.thickness_uncertainty:  # with the same faces: a thicker one of the same lean may close
        lean = drawn.lean * drawn.thickness / (drawn.thickness + drawn.thickness_uncertainty)
        effects.append(
            replace(
                drawn,
                thickness=drawn.thickness + drawn.thickness_uncertainty,
                taper_deg=math.degrees(math.atan(lean)),
            )
        )
    return math.sqrt(math.fsum((shrinkage_factor(apparent_um, other) - now) ** 2 for other in effects))


def penetration_of_section(section_left_fraction: float, drawn: DrawnSection) -> float:
    """Even penetration at which a share of the drawn section is left, µm.

    Raises
    ------
    ValueError
        If the share is not above 0 and at most 1.
    """
    if not 0 < section_left_fraction <= 1:
        raise ValueError(f"a share above 0 and at most 1 is needed, got {section_left_fraction!r}")
    return shrinkage((1 - section_left_fraction) * most_apparent_um(drawn), drawn).penetration_um


def _by_search(lost: float, drawn: DrawnSection) -> float:
    """Even loss at which a share `lost` of the section is gone: a bracket cut to 1/256, five times over."""
    low, high = 0.0, min(drawn.width, drawn.thickness) / 2
    for _ in range(_ROUNDS):
        depths = np.linspace(low, high, _STEPS + 1)
        gone = 1 - eroded_area(depths, drawn) / drawn.area
        k = min(max(int(np.searchsorted(gone, lost)), 1), _STEPS)
        low, high = float(depths[k - 1]), float(depths[k])
    return (low + high) / 2
