"""Remaining cross-section of a strut, from its width and thickness.

A picture shows the width alone. With a thickness that was measured the section follows; with a drawn one it
is an upper bound, for the unseen faces lose metal too. The estimate with equal loss all round stands beside
it: every point of the outline moved inwards by the loss that the width shows on either side.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

Shape = Literal["rectangle", "ellipse", "trapezoid"]

_LOSS_STEPS = 400  # losses at which the section of an eroded ellipse is worked out; between them linear
_ANGLES = 2001
_SMALL = 1e-3  # share of an uncertainty by which a drawn size is moved to see its effect


@dataclass(frozen=True)
class DrawnSection:
    """The section a strut had, all lengths in one unit.

    Attributes
    ----------
    width : float
        Greatest width: what a silhouette shows.
    thickness : float
        Extent across the picture's plane.
    shape : {"rectangle", "ellipse", "trapezoid"}
    taper_deg : float
        Trapezoid only: lean of each flank from the perpendicular, degrees; the narrower face is
        `width` - 2 `thickness` tan(taper).
    width_uncertainty, thickness_uncertainty : float
        Standard uncertainty (k = 1) of the drawn sizes; 0 where the drawing is taken as exact.

    Raises
    ------
    ValueError
        On sizes that are not above 0, a taper outside 0 to 60 degrees or one that closes the section.
    """

    width: float
    thickness: float
    shape: Shape = "rectangle"
    taper_deg: float = 0.0
    width_uncertainty: float = 0.0
    thickness_uncertainty: float = 0.0

    def __post_init__(self) -> None:
        for name in ("width", "thickness"):
            if not (math.isfinite(getattr(self, name)) and getattr(self, name) > 0):
                raise ValueError(f"{name} must be a finite number above 0, got {getattr(self, name)!r}")
        if self.shape not in ("rectangle", "ellipse", "trapezoid"):
            raise ValueError(f"shape must be rectangle, ellipse or trapezoid, got {self.shape!r}")
        if not 0 <= self.taper_deg <= 60:
            raise ValueError(f"taper_deg must lie between 0 and 60, got {self.taper_deg!r}")
        if self.taper_deg and self.shape != "trapezoid":
            raise ValueError("taper_deg belongs to a trapezoid")
        if self.width - 2 * self.thickness * self.lean <= 0:
            raise ValueError(
                f"a taper of {self.taper_deg} degrees over the thickness leaves no narrower face"
            )

    @property
    def lean(self) -> float:
        """Tangent of the taper."""
        return math.tan(math.radians(self.taper_deg))

    @property
    def area(self) -> float:
        """Area of the section."""
        return float(section_area(self.width, self.thickness, self.shape, self.taper_deg))


def section_area(
    width: np.ndarray | float, thickness: np.ndarray | float, shape: Shape, taper_deg: float = 0.0
) -> np.ndarray:
    """Area of a section.

    Parameters
    ----------
    width, thickness : ndarray or float
        Greatest width and thickness, in one unit; they broadcast.
    shape : {"rectangle", "ellipse", "trapezoid"}
    taper_deg : float
        Trapezoid: lean of each flank, degrees.

    Returns
    -------
    ndarray
        Unit squared. Elementary geometry. A trapezoid too narrow for its taper ends in an edge: a triangle.
    """
    w, t = np.broadcast_arrays(np.asarray(width, float), np.asarray(thickness, float))
    if shape == "ellipse":
        return np.asarray(math.pi / 4 * w * t)
    lean = math.tan(math.radians(taper_deg)) if shape == "trapezoid" else 0.0
    if lean == 0:
        return np.asarray(w * t)
    height = np.minimum(t, w / (2 * lean))
    return np.asarray(height * (w - height * lean))


def loss_per_side(width: np.ndarray | float, drawn: DrawnSection) -> np.ndarray:
    """Loss, normal to the surface, that the width shows if it is equal all round.

    Parameters
    ----------
    width : ndarray or float
        Measured greatest width.
    drawn : DrawnSection

    Returns
    -------
    ndarray
        (drawn width - width) / 2; on a trapezoid, whose sharp corner moves in by more than the loss,
        that times cos(taper) / (1 + sin(taper)). Below 0 where the width is larger than drawn.
    """
    taper = math.radians(drawn.taper_deg)
    corner = math.cos(taper) / (1 + math.sin(taper))
    return np.asarray((drawn.width - np.asarray(width, float)) / 2 * corner)


def eroded_area(loss: np.ndarray | float, drawn: DrawnSection) -> np.ndarray:
    """Area left when every point of the outline has moved inwards by `loss`.

    Parameters
    ----------
    loss : ndarray or float
        Loss normal to the surface; below 0 for growth.
    drawn : DrawnSection

    Returns
    -------
    ndarray
        0 where nothing is left, not-a-number where the loss is.

    Notes
    -----
    Rectangle: (w - 2d)(t - 2d). Trapezoid: the same flanks around what is left. Ellipse: the inner parallel
    curve, A - P d + pi d² until it meets itself (d = b²/a, with a >= b the half axes; Steiner's formula),
    beyond that integrated over the part that does not cross the long axis; a circle is the exact case.
    """
    d = np.asarray(loss, float)
    if drawn.shape == "ellipse":
        return _eroded_ellipse(d, drawn.width / 2, drawn.thickness / 2)
    taper = math.radians(drawn.taper_deg)
    width = drawn.width - 2 * d * (1 + math.sin(taper)) / math.cos(taper)
    thickness = drawn.thickness - 2 * d
    left = section_area(np.maximum(width, 0), np.maximum(thickness, 0), drawn.shape, drawn.taper_deg)
    return np.where(np.isnan(d), np.nan, left)


def _eroded_ellipse(d: np.ndarray, half_width: float, half_thickness: float) -> np.ndarray:
    a, b = max(half_width, half_thickness), min(half_width, half_thickness)
    angle = np.linspace(0, math.pi / 2, _ANGLES)
    speed = np.sqrt((a * np.sin(angle)) ** 2 + (b * np.cos(angle)) ** 2)
    perimeter = 4 * float(np.sum(speed[:-1] + speed[1:]) / 2 * (angle[1] - angle[0]))
    free = b * b / a
    smooth = math.pi * a * b - perimeter * d + math.pi * d * d
    if a == b:
        return np.where(d < b, math.pi * (b - d) ** 2, np.where(np.isnan(d), np.nan, 0.0))
    losses = np.linspace(free, b, _LOSS_STEPS)
    areas = np.array([_parallel_area(loss, a, b, angle, speed) for loss in losses])
    return np.where(d <= free, smooth, np.interp(d, losses, areas, right=0.0))


def _parallel_area(loss: float, a: float, b: float, angle: np.ndarray, speed: np.ndarray) -> float:
    """Four times the area under the inner parallel curve in the first quadrant, where above the axis."""
    x = a * np.cos(angle) - loss * b * np.cos(angle) / speed
    y = b * np.sin(angle) - loss * a * np.sin(angle) / speed
    keep = y >= 0
    x, y = x[keep], y[keep]
    return 4 * float(np.sum((x[:-1] - x[1:]) * (y[:-1] + y[1:])) / 2)


@dataclass(frozen=True)
class Sections:
    """Sections along a strut, arrays of shape (n,) in station order.

    Attributes
    ----------
    area : ndarray
        From the width and the thickness measured, or drawn where none was measured.
    fraction : ndarray
        `area` over the drawn area; with a drawn thickness an upper bound where metal was lost.
    equal_loss_fraction : ndarray
        With equal loss all round; where the thickness was measured it is the same estimate from the width
        alone, as a check.
    upper_bound : bool
        Whether `area` and `fraction` are upper bounds: the thickness is the drawn one.
    """

    area: np.ndarray
    fraction: np.ndarray
    equal_loss_fraction: np.ndarray
    upper_bound: bool


def sections(width: np.ndarray, drawn: DrawnSection, thickness: np.ndarray | float | None = None) -> Sections:
    """Remaining cross-section from widths.

    Parameters
    ----------
    width : ndarray of shape (n,)
        Greatest width at each station, in the unit of `drawn`; 0 where the metal is gone.
    drawn : DrawnSection
    thickness : ndarray of shape (n,) or float, optional
        Measured thickness; the drawn one where None.

    Returns
    -------
    Sections

    Raises
    ------
    ValueError
        If a width or thickness is below 0.
    """
    w = np.asarray(width, float)
    t = np.broadcast_to(np.asarray(drawn.thickness if thickness is None else thickness, float), w.shape)
    if (w < 0).any() or (t < 0).any():
        raise ValueError("widths and thicknesses must be 0 or above")
    area = section_area(w, t, drawn.shape, drawn.taper_deg)
    left = eroded_area(loss_per_side(w, drawn), drawn) / drawn.area
    return Sections(area, area / drawn.area, np.where(w > 0, left, w), thickness is None)


def fraction_uncertainty(
    width: np.ndarray,
    width_uncertainty: np.ndarray | float,
    drawn: DrawnSection,
    *,
    equal_loss: bool,
    thickness: np.ndarray | float | None = None,
    thickness_uncertainty: float = 0.0,
) -> np.ndarray:
    """Standard uncertainty of the remaining fraction at each station (k = 1).

    Parameters
    ----------
    width, width_uncertainty : ndarray of shape (n,)
    drawn : DrawnSection
        With the standard uncertainties of its sizes.
    equal_loss : bool
        Of the estimate with equal loss all round; otherwise of width times thickness.
    thickness, thickness_uncertainty : optional
        The measured thickness, where there is one.

    Returns
    -------
    ndarray of shape (n,)
        Root of the sum of squares of the effects that each size has alone (JCGM 100:2008, 5.1.2, from
        memory).
    """
    w = np.asarray(width, float)
    u = np.broadcast_to(np.asarray(width_uncertainty, float), w.shape)

    def fraction(width: np.ndarray, drawn: DrawnSection, shift: float = 0.0) -> np.ndarray:
        at = None if thickness is None else np.maximum(np.asarray(thickness, float) + shift, 0)
        found = sections(np.maximum(width, 0), drawn, at)
        return found.equal_loss_fraction if equal_loss else found.fraction

    effects = [(fraction(w + u, drawn) - fraction(w - u, drawn)) / 2]
    now = fraction(w, drawn)
    if drawn.width_uncertainty:
        wider = drawn.width + _SMALL * drawn.width_uncertainty
        effects.append((fraction(w, replace(drawn, width=wider)) - now) / _SMALL)
    if drawn.thickness_uncertainty:
        # Thinner, not thicker: a steep trapezoid would close.
        thinner = drawn.thickness - _SMALL * min(drawn.thickness_uncertainty, drawn.thickness)
        effects.append((fraction(w, replace(drawn, thickness=thinner)) - now) / _SMALL)
    if thickness is not None and thickness_uncertainty and not equal_loss:
        shift = thickness_uncertainty
        effects.append((fraction(w, drawn, shift) - fraction(w, drawn, -shift)) / 2)
    return np.sqrt(np.sum(np.square(effects), axis=0))
