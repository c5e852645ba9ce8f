"""One strut to a figure and its stations to a table: what a reviewer takes along."""

from __future__ import annotations

import io
import math
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import Table, conform
from surfscan.errors import InputError
from surfscan.procedures.strut_profile import SectionAt, StrutFigures, StrutProfile
from surfscan.report.figures import LOSS, METAL, QUIET, REFERENCE
from surfscan.report.plotting import runs
from surfscan.report.rounding import round_to_interval, significant
from surfscan.report.workbook import workbook_bytes
from surfscan.report.writing import csv_bytes, data_dictionary, write_bytes

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

BY_HAND = "#CC79A7"
"""Colour of what a person corrected; always dashed too."""

FIGURES, TABLES = (".png", ".svg"), (".csv", ".xlsx")
"""Endings a figure and a table may have."""

_DPI = 200
_SIZE_IN = (9.0, 3.6)


@dataclass(frozen=True)
class Ink:
    """Colours of a figure: those of the page by default, others on a dark screen.

    Attributes
    ----------
    text, reference, metal, loss, by_hand, quiet : str
        `quiet` hatches what does not count.
    """

    text: str = REFERENCE
    reference: str = REFERENCE
    metal: str = METAL
    loss: str = LOSS
    by_hand: str = BY_HAND
    quiet: str = QUIET


def draw_width(axes: Axes, profile: StrutProfile, ink: Ink = Ink()) -> None:
    """Width against position with its interval, what was drawn or before, the least section, what is by hand.

    Parameters
    ----------
    axes : matplotlib Axes
        Cleared first.
    profile : StrutProfile
    ink : Ink
    """
    emptied(axes)
    s, unit = profile.s, profile.unit
    axes.fill_between(s, profile.low, profile.high, color=ink.metal, alpha=0.3, lw=0, label="95 % interval")
    axes.plot(s, profile.width, color=ink.metal, lw=1.6, label="width")
    if profile.by_hand.any():
        hand = np.where(profile.by_hand, profile.width, np.nan)
        axes.plot(s, hand, color=ink.by_hand, lw=2.4, ls=(0, (3, 1.5)), label="edge by hand")
    if math.isfinite(profile.drawn):
        axes.axhline(profile.drawn, color=ink.reference, lw=1.4, ls="--")
        axes.annotate(
            f"drawn {significant(profile.drawn)} {unit}", (1, profile.drawn), (-2, 2), color=ink.text,
            xycoords=("axes fraction", "data"), textcoords="offset points", ha="right", va="bottom",
        )  # fmt: skip
    if profile.reference_kind == "before":
        axes.plot(s, profile.reference, color=ink.reference, lw=1.2, ls=":", label="before")
    for start, end in runs(~np.isfinite(profile.width)):
        axes.axvspan(s[start], s[end - 1], fc="none", ec=ink.quiet, hatch="///", lw=0, alpha=0.5)
    if profile.least_section >= 0:
        x, y = s[profile.least_section], profile.width[profile.least_section]
        axes.plot([x], [y], marker="v", ms=9, color=ink.loss, mec=ink.text, mew=0.6, ls="", zorder=5)
        least = round_to_interval(float(profile.least), profile.least_low, profile.least_high).value
        text = (
            f"least {least} {unit}"
            if profile.least == y
            else f"least section, {significant(float(y))} {unit}"
        )
        beyond = x > s[0] + 0.65 * (s[-1] - s[0])
        axes.annotate(
            text, (x, y), (-8 if beyond else 8, -12), textcoords="offset points", color=ink.text,
            ha="right" if beyond else "left",
        )  # fmt: skip
    axes.set_xlabel(f"Position along the centreline ({unit})")
    axes.set_ylabel(f"Width ({unit})")
    axes.set_xlim(float(s[0]), float(s[-1]) if len(s) > 1 else float(s[0]) + 1)
    low, high = _range(profile)
    axes.set_ylim(low, high)


def draw_section(axes: Axes, section: SectionAt | None, ink: Ink = Ink()) -> None:
    """The section at a place to scale: as drawn, by width and thickness, with equal loss all round.

    Parameters
    ----------
    axes : matplotlib Axes
        Cleared first.
    section : SectionAt or None
    ink : Ink
    """
    emptied(axes)
    axes.set_axis_off()
    axes.set_aspect("equal")
    if section is None:
        return
    axes.fill(*section.left.T, color=ink.metal, alpha=0.35, lw=0)
    axes.plot(*section.left.T, color=ink.metal, lw=1.4)
    if len(section.equal_loss):
        axes.plot(*section.equal_loss.T, color=ink.loss, lw=1.2, ls=":")
    axes.plot(*section.drawn.T, color=ink.reference, lw=1.4, ls="--")
    reach = 1.08 * np.abs(np.vstack([section.drawn, section.left])).max(axis=0)
    axes.set_xlim(-reach[0], reach[0])
    axes.set_ylim(-reach[1], reach[1])


def emptied(axes: Axes) -> None:
    """Take off what is drawn on axes and leave the axes: many times faster than clearing them."""
    for artist in (*axes.lines, *axes.patches, *axes.collections, *axes.texts):
        artist.remove()


def section_words(section: SectionAt | None) -> str:
    """What is left of a section, in words: "at most 82 % (24500 µm²); with equal loss all round 71 %"."""
    if section is None:
        return ""
    bound = "at most " if section.is_upper_bound else ""
    parts = []
    if math.isfinite(section.fraction):
        parts.append(f"{bound}{_percent(section.fraction)}")
    if math.isfinite(section.area_um2):
        area = f"{significant(section.area_um2)} µm²"
        parts.append(f"({area})" if parts else area)
    text = " ".join(parts)
    if math.isfinite(section.equal_loss_fraction):
        text += f"; with equal loss all round {_percent(section.equal_loss_fraction)}"
    return text


def export_strut_figure(
    path: str | Path,
    profile: StrutProfile,
    section: SectionAt | None = None,
    *,
    title: str = "",
    note: str = "",
) -> Path:
    """Write the figure of a strut: width along it, and the section at one place.

    Parameters
    ----------
    path : path
        Ends in .png or .svg.
    profile : StrutProfile
    section : SectionAt, optional
    title, note : str
        Above and below the figure.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the name has another ending or the file cannot be written.
    """

    def draw(figure: Figure) -> None:
        ratios = [3, 1] if section is not None else [1]
        plots = figure.subplots(1, len(ratios), width_ratios=ratios, squeeze=False)[0]
        draw_width(plots[0], profile)
        plots[0].spines[["top", "right"]].set_visible(False)
        plots[0].legend(loc="upper left", ncols=4, frameon=False, bbox_to_anchor=(0, 1.13), fontsize=8)
        if section is not None:
            draw_section(plots[1], section)
            plots[1].set_title(f"Section left\n{section_words(section).replace('; ', chr(10))}", fontsize=8)
        figure.suptitle(title or f"Strut {profile.strut}", x=0.01, ha="left", fontsize=10)
        if note:
            figure.supxlabel(note, x=0.01, ha="left", fontsize=8)

    return written_figure(path, _SIZE_IN, draw)


def written_figure(path: str | Path, size_in: tuple[float, float], draw: Callable[[Figure], None]) -> Path:
    """Draw a figure and write it: without dates and versions, so that the same figure gives the same bytes.

    Parameters
    ----------
    path : path
        Ends in .png or .svg.
    size_in : (float, float)
        Width and height, inches.
    draw : callable
        Called with the empty figure.

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the name has another ending or the file cannot be written.
    """
    import matplotlib
    from matplotlib.figure import Figure

    kind = ending_of(path, FIGURES)
    style: dict[Any, Any] = {"font.family": "DejaVu Sans", "font.size": 9.0, "svg.hashsalt": "surfscan"}
    metadata: dict[str, Any] = {"Software": None} if kind == ".png" else {"Date": None, "Creator": None}
    out = io.BytesIO()
    with matplotlib.rc_context(style):
        figure = Figure(figsize=size_in, layout="constrained")
        draw(figure)
        figure.savefig(out, format=kind[1:], dpi=_DPI, metadata=metadata)
    return written(Path(path), out.getvalue())


def export_strut_table(path: str | Path, result: StrutFigures, profile: StrutProfile) -> Path:
    """Write the stations of a strut, and in a workbook its row and the data dictionary too.

    Parameters
    ----------
    path : path
        Ends in .csv or .xlsx.
    result : Result or StoredResult
    profile : StrutProfile

    Returns
    -------
    Path

    Raises
    ------
    InputError
        If the name has another ending or the file cannot be written.
    """
    kind = ending_of(path, TABLES)
    tables = {
        name: _only(name, result.tables[name], profile.strut)
        for name in ("stations", "struts", "strut_faults")
    }
    if kind == ".csv":
        return written(Path(path), csv_bytes(tables["stations"]))
    content, _ = workbook_bytes(tables | {"data_dictionary": data_dictionary(tables)})
    return written(Path(path), content)


def _only(name: str, table: Table, strut: int) -> Table:
    """The rows of one strut."""
    own = table["strut"] == strut
    return conform(name, {column: values[own] for column, values in table.items()})


def ending_of(path: str | Path, allowed: tuple[str, ...]) -> str:
    """The ending of a file's name, in small letters.

    Raises
    ------
    InputError
        If it is none of those allowed.
    """
    kind = Path(path).suffix.lower()
    if kind not in allowed:
        raise InputError(
            path, f"ends in {kind or 'nothing'}", f"Give a name that ends in {' or '.join(allowed)}"
        )
    return kind


def written(path: Path, content: bytes) -> Path:
    """Write a file whole or not at all, where a person chose to put it.

    Raises
    ------
    InputError
        If it cannot be written.
    """
    try:
        write_bytes(path, content)
    except InputError as error:
        raise InputError(
            path,
            error.fault,
            "Close it in other programs, or choose a folder that may be written to and has room",
        ) from error
    return path


def _range(profile: StrutProfile) -> tuple[float, float]:
    values = np.concatenate([profile.low, profile.high, profile.reference, [profile.drawn]])
    values = values[np.isfinite(values)]
    if not values.size:
        return (0.0, 1.0)
    low, high = float(values.min()), float(values.max())
    span = max(high - low, 0.1 * high, 1e-6)
    return max(0.0, low - 0.3 * span), high + 0.15 * span


def _percent(share: float) -> str:
    return f"{significant(100 * share, 2 if share < 0.995 else 3)} %"
