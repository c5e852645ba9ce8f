"""Outlines of a strut's section, drawn and remaining, to draw them to scale."""

from __future__ import annotations

import math

import numpy as np

from surfscan.measurement.strut_sections import DrawnSection, Shape

_ANGLES = 361


def section_polygon(width: float, thickness: float, shape: Shape, taper_deg: float = 0.0) -> np.ndarray:
    """Outline of a section.

    Parameters
    ----------
    width, thickness : float
        Greatest width and thickness, in one unit.
    shape : {"rectangle", "ellipse", "trapezoid"}
    taper_deg : float
        Trapezoid: lean of each flank, degrees.

    Returns
    -------
    ndarray of shape (k, 2)
        Closed (first and last point alike), x along the width, y up, about the middle of both; a trapezoid's
        wider face is below. Encloses the area of `surfscan.measurement.strut_sections.section_area`.
    """
    if shape == "ellipse":
        angle = np.linspace(0, 2 * math.pi, _ANGLES)
        return np.column_stack([width / 2 * np.cos(angle), thickness / 2 * np.sin(angle)])
    lean = math.tan(math.radians(taper_deg)) if shape == "trapezoid" else 0.0
    high = min(thickness, width / (2 * lean)) if lean else thickness
    top = width / 2 - high * lean
    low = -thickness / 2
    corners = [(-width / 2, low), (width / 2, low), (top, low + high), (-top, low + high)]
    return np.array([*corners, corners[0]])


def eroded_polygon(loss: float, drawn: DrawnSection) -> np.ndarray:
    """Outline of a section when every point has moved inwards by `loss`.

    Parameters
    ----------
    loss : float
        Normal to the surface; below 0 for growth.
    drawn : DrawnSection

    Returns
    -------
    ndarray of shape (k, 2)
        As `section_polygon`, in the place it has inside the drawn outline; no points where nothing is left.
        Encloses the area of `surfscan.measurement.strut_sections.eroded_area`.
    """
    if drawn.shape == "ellipse":
        return _eroded_ellipse(loss, drawn.width / 2, drawn.thickness / 2)
    taper = math.radians(drawn.taper_deg)
    width = drawn.width - 2 * loss * (1 + math.sin(taper)) / math.cos(taper)
    thickness = drawn.thickness - 2 * loss
    if width <= 0 or thickness <= 0:
        return np.zeros((0, 2))
    return section_polygon(width, thickness, drawn.shape, drawn.taper_deg)


def _eroded_ellipse(loss: float, half_width: float, half_thickness: float) -> np.ndarray:
    """The inner parallel curve of an ellipse, without what crosses its long axis."""
    long, short = max(half_width, half_thickness), min(half_width, half_thickness)
    if loss >= short:
        return np.zeros((0, 2))
    angle = np.linspace(0, math.pi / 2, _ANGLES)
    speed = np.hypot(long * np.sin(angle), short * np.cos(angle))
    x = long * np.cos(angle) - loss * short * np.cos(angle) / speed
    y = short * np.sin(angle) - loss * long * np.sin(angle) / speed
    keep = (y >= 0) & (x >= 0)
    x, y = x[keep], y[keep]
    outline = np.column_stack(
        [np.r_[x, -x[::-1], -x, x[::-1], x[:1]], np.r_[y, y[::-1], -y, -y[::-1], y[:1]]]
    )
    return outline if half_width >= half_thickness else outline[:, ::-1]
