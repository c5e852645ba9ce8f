"""The depth along a line to a figure and a table."""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from surfscan.measurement.line_profile import LineProfile
from surfscan.report.rounding import significant
from surfscan.report.strut_export import Ink, emptied, ending_of, written, written_figure

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_SIZE_IN = (7.5, 3.4)


def draw_depth(axes: Axes, profile: LineProfile, ink: Ink | None = None) -> None:
    """Heights along a line with the reference beside them, the deepest point and the width at the reference.

    Parameters
    ----------
    axes : matplotlib Axes
        Cleared first.
    profile : LineProfile
    ink : Ink, optional
    """
    ink = ink or Ink()
    emptied(axes)
    d = profile.distance
    axes.fill_between(
        d,
        profile.height_um,
        profile.reference_um,
        where=profile.depth_um > 0,
        color=ink.loss,
        alpha=0.25,
        lw=0,
    )
    axes.plot(d, profile.height_um, color=ink.metal, lw=1.5, label="height")
    axes.plot(d, profile.reference_um, color=ink.reference, lw=1.3, ls="--", label="reference")
    if profile.deepest >= 0:
        x, y = float(d[profile.deepest]), float(profile.height_um[profile.deepest])
        axes.plot([x, x], [y, float(profile.reference_um[profile.deepest])], color=ink.loss, lw=1.2)
        axes.plot([x], [y], "v", ms=8, color=ink.loss, mec=ink.text, mew=0.6, clip_on=False)
        beyond = x > d[-1] / 2
        axes.annotate(
            f"{significant(profile.deepest_um)} µm deep", (x, y), (-9 if beyond else 9, 2), color=ink.text,
            textcoords="offset points", ha="right" if beyond else "left",
        )  # fmt: skip
    if math.isfinite(profile.width):
        level = np.interp([profile.start, profile.end], d, profile.reference_um)
        axes.plot([profile.start, profile.end], level, "|-", color=ink.text, ms=9, lw=1.0)
    axes.set_xlabel(f"Distance along the line ({profile.unit})")
    axes.set_ylabel("Height (µm)")
    axes.set_xlim(0, float(d[-1]))


def depth_words(profile: LineProfile) -> str:
    """Length, greatest depth and width of the pit, each with its unit."""
    parts = [f"Line of {significant(float(profile.distance[-1]))} {profile.unit}."]
    if profile.deepest >= 0:
        at = f"{significant(float(profile.distance[profile.deepest]))} {profile.unit}"
        parts.append(f"Deepest {significant(profile.deepest_um)} µm below the reference, at {at}.")
    if math.isfinite(profile.width):
        parts.append(f"Width at the reference {significant(profile.width)} {profile.unit}.")
    if math.isfinite(profile.half_width):
        parts.append(f"Width at half the depth {significant(profile.half_width)} {profile.unit}.")
    return " ".join(parts)


def colour_ends(heights_um: np.ndarray, low_um: float, high_um: float) -> tuple[str, str, str]:
    """What the colours of a height map mean at their lower end, middle and upper end.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N)
    low_um, high_um : float
        Heights at the ends of the colours.

    Returns
    -------
    (str, str, str)
        Each with its unit; marked where heights lie beyond an end.
    """
    beyond = (
        "≤ " if bool((heights_um < low_um).any()) else "",
        "",
        "≥ " if bool((heights_um > high_um).any()) else "",
    )
    unit_um = 10.0 ** (math.floor(math.log10(high_um - low_um)) - 2) if high_um > low_um else 1.0
    digits = max(0, -round(math.log10(unit_um)))
    ends = (low_um, (low_um + high_um) / 2, high_um)
    low, middle, high = (
        f"{mark}{round(value, digits) + 0.0:.{digits}f} µm".replace("-", "−")
        for mark, value in zip(beyond, ends, strict=True)
    )
    return low, middle, high


def export_depth_figure(path: str | Path, profile: LineProfile, *, title: str = "") -> Path:
    """Write the figure of a depth profile.

    Parameters
    ----------
    path : path
        Ends in .png or .svg.
    profile : LineProfile
    title : str

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the name has another ending or the file cannot be written.
    """

    def draw(figure: Figure) -> None:
        axes = figure.subplots()
        draw_depth(axes, profile)
        axes.spines[["top", "right"]].set_visible(False)
        axes.legend(loc="lower right", ncols=2, frameon=False, fontsize=8)
        axes.set_title(
            f"{title}\n{depth_words(profile)}" if title else depth_words(profile), loc="left", fontsize=8
        )

    return written_figure(path, _SIZE_IN, draw)


def export_depth_table(path: str | Path, profile: LineProfile) -> Path:
    """Write the points of a depth profile: place, distance, height, reference and depth.

    Parameters
    ----------
    path : path
        Ends in .csv.
    profile : LineProfile

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the name has another ending or the file cannot be written.
    """
    ending_of(path, (".csv",))
    unit = "um" if profile.unit == "µm" else "px"
    out = io.StringIO(newline="")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow(["row_px", "col_px", f"distance_{unit}", "height_um", "reference_um", "depth_um"])
    values = (
        profile.row, profile.col, profile.distance, profile.height_um, profile.reference_um, profile.depth_um
    )  # fmt: skip
    for row in zip(*(v.tolist() for v in values), strict=True):
        writer.writerow(["" if math.isnan(v) else repr(v) for v in row])
    return written(Path(path), out.getvalue().encode("utf-8"))
