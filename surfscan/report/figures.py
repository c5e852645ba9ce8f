"""Figures of the page as inline SVG: groups, pit sizes, measured against true."""

from __future__ import annotations

import html
import io
import math
import re
from collections.abc import Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LOSS, METAL, REFERENCE, NEAR_LIMIT, QUIET = "#D55E00", "#0072B2", "#000000", "#F0E442", "#555555"
"""Colours that mean one thing everywhere: loss, remaining metal, reference, near a limit, plain text."""

_WIDTH_IN = 12.2
_MOST_STEPS = 400
_PERIODS = (1.1, 2, 5, 20, 100, 500, 2000, 10_000, 100_000)
"""Return periods that are written on the axis."""
_STYLE: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 10.0,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.edgecolor": QUIET,
    "axes.titlesize": 10.5,
    "axes.titlelocation": "left",
    "axes.labelsize": 10.0,
    "xtick.labelsize": 9.5,
    "ytick.labelsize": 10.0,
    "svg.fonttype": "path",
    "axes.unicode_minus": True,
}


@dataclass(frozen=True)
class GroupBar:
    """One group in one panel: its specimens, mean and interval.

    Attributes
    ----------
    values : sequence of float
        One a specimen, in the unit of the panel.
    mean : float
        Not-a-number where not to be drawn.
    low, high : float
        95 % interval; not-a-number where refused.
    worst_seen : sequence of float
        Values of worst-seen fields: drawn apart, in no mean.
    lower_bounds : sequence of bool
        Which of `values` are lower bounds: drawn as triangles that point on. The mean is one if any is.
    """

    values: Sequence[float]
    mean: float
    low: float
    high: float
    worst_seen: Sequence[float] = ()
    lower_bounds: Sequence[bool] = ()


@dataclass(frozen=True)
class Panel:
    """One figure over all groups.

    Attributes
    ----------
    title : str
        Axis title with unit.
    bars : sequence of GroupBar
        In the order of the groups.
    """

    title: str
    bars: Sequence[GroupBar]


@dataclass(frozen=True)
class SizePanel:
    """Pit sizes of one group.

    Attributes
    ----------
    title : str
    diameters, weights : ndarray of shape (n,)
        Equivalent diameters and edge weights of the pits that count.
    n_specimens : int
    limits : sequence of float
        Smallest diameters counted, one for each that was in force.
    """

    title: str
    diameters: np.ndarray
    weights: np.ndarray
    n_specimens: int
    limits: Sequence[float]


@dataclass(frozen=True)
class DepthPanel:
    """Pit depths of one group.

    Attributes
    ----------
    title : str
    at_um, reached : ndarray of shape (k,)
        Product-limit distribution: where it steps, and the share of pits not deeper.
    bounds_um, bounds_at : ndarray of shape (m,)
        Depths that are lower bounds, and where they lie on that curve.
    n_pits, n_specimens : int
    median_um : float or None
    limits : sequence of float
        Smallest depth counted; two where it differs between maps, the least and the most.
    """

    title: str
    at_um: np.ndarray
    reached: np.ndarray
    bounds_um: np.ndarray
    bounds_at: np.ndarray
    n_pits: int
    n_specimens: int
    median_um: float | None
    limits: Sequence[float]


@dataclass(frozen=True)
class ExtremesPanel:
    """Block maxima on a probability plot.

    Attributes
    ----------
    title, subtitle : str
    points : sequence of (float, float)
        Reduced variate and depth of each measured maximum.
    at_least, at_most : sequence of float
        Maxima that are lower and upper bounds, which have no place of their own along the axis.
    line : sequence of (float, float, float, float)
        Reduced variate, fitted depth and its 95 % limits.
    level : (float, float, float, float)
        The same of the return level.
    level_words : str
        The return level in words.
    """

    title: str
    subtitle: str
    points: Sequence[tuple[float, float]]
    at_least: Sequence[float]
    at_most: Sequence[float]
    line: Sequence[tuple[float, float, float, float]]
    level: tuple[float, float, float, float]
    level_words: str


def group_figure(groups: Sequence[str], panels: Sequence[Panel], alt: str) -> str:
    """Points for specimens, mean and 95 % interval for groups, one panel a figure.

    Returns
    -------
    str
        An `<svg role="img">` element.
    """
    from matplotlib.figure import Figure

    with _style("groups"):
        height = 1.15 + 0.42 * len(groups)
        figure = Figure(figsize=(_WIDTH_IN, height), layout="constrained")
        axes = figure.subplots(1, len(panels), sharey=True, squeeze=False)[0]
        for ax, panel in zip(axes, panels, strict=True):
            _draw_groups(ax, panel)
        axes[0].set_yticks(range(len(groups)), [_shorten(g, 30) for g in groups])
        axes[0].set_ylim(len(groups) - 0.4, -0.6)
        return _svg(figure, alt)


def size_figure(panels: Sequence[SizePanel], unit: str, alt: str) -> str:
    """Cumulative pit-size distributions, one panel a group, all on the same axes."""
    from matplotlib.figure import Figure

    with _style(f"sizes {unit}"):
        across = max(2, min(4, len(panels)))
        down = math.ceil(len(panels) / across)
        figure = Figure(figsize=(_WIDTH_IN * min(across, 3) / 3, 2.7 * down), layout="constrained")
        axes = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
        everything = np.concatenate([np.r_[p.diameters, p.limits] for p in panels])
        low, high = everything.min() / 1.25, everything.max() * 1.25
        for ax, panel in zip(axes.flat, panels, strict=False):
            order = np.argsort(panel.diameters, kind="stable")
            share = np.cumsum(panel.weights[order]) / panel.weights.sum()
            sizes = panel.diameters[order]
            n = len(sizes)
            sizes, share = _thinned(sizes, share)
            ax.step(np.r_[low, sizes, high], np.r_[0, share, 1], where="post", color=LOSS, linewidth=1.6)
            for limit in panel.limits:
                ax.axvline(limit, color=REFERENCE, linestyle=(0, (4, 2)), linewidth=1.1)
            ax.set_title(
                f"{_shorten(panel.title, 30)}\nn = {_count(n, 'pit')} on "
                f"{_count(panel.n_specimens, 'specimen')}"
            )
            _share_over_log(ax, low, high)
        for ax in list(axes.flat)[len(panels) :]:
            ax.set_visible(False)
        figure.supxlabel(f"Equivalent diameter ({unit}); dashed: smallest size counted", fontsize=10)
        figure.supylabel("Fraction of pits not larger", fontsize=10)
        return _svg(figure, alt)


def depth_figure(panels: Sequence[DepthPanel], alt: str) -> str:
    """Cumulative pit-depth distributions, one panel a group, on the same axes; lower bounds as triangles."""
    from matplotlib.figure import Figure

    with _style("depths"):
        across = max(2, min(4, len(panels)))
        down = math.ceil(len(panels) / across)
        figure = Figure(figsize=(_WIDTH_IN * min(across, 3) / 3, 2.8 * down), layout="constrained")
        axes = figure.subplots(down, across, sharex=True, sharey=True, squeeze=False)
        everything = np.concatenate([np.r_[p.at_um, p.bounds_um, p.limits] for p in panels])
        low, high = everything.min() / 1.25, everything.max() * 1.25
        for ax, panel in zip(axes.flat, panels, strict=False):
            end = high if panel.reached.size and panel.reached[-1] == 1 else panel.bounds_um.max()
            at, reached = _thinned(panel.at_um, panel.reached)
            ax.step(
                np.r_[low, at, end],
                np.r_[0, reached, reached[-1:] if reached.size else 0],
                where="post",
                color=LOSS,
                linewidth=1.6,
            )
            ax.plot(
                *_thinned(panel.bounds_um, panel.bounds_at),
                ">",
                markersize=6,
                markerfacecolor="white",
                markeredgecolor=REFERENCE,
                zorder=3,
            )
            for limit in panel.limits:
                ax.axvline(limit, color=REFERENCE, linestyle=(0, (4, 2)), linewidth=1.1)
            bounds = f" (▷ {len(panel.bounds_um)})" if len(panel.bounds_um) else ""
            ax.set_title(
                f"{_shorten(panel.title, 30)}\nn = {_count(panel.n_pits, 'pit')}{bounds} on "
                f"{_count(panel.n_specimens, 'specimen')}"
            )
            _share_over_log(ax, low, high)
        for ax in list(axes.flat)[len(panels) :]:
            ax.set_visible(False)
        figure.supxlabel(
            "Pit depth (µm); dashed: smallest depth counted; triangles: lower bounds", fontsize=10
        )
        figure.supylabel("Fraction of pits not deeper", fontsize=10)
        return _svg(figure, alt)


def extremes_figure(panels: Sequence[ExtremesPanel], alt: str) -> str:
    """Probability plots of block maxima: depth against return period, fit, band and return level."""
    from matplotlib.figure import Figure

    with _style("extremes"):
        across = min(3, len(panels))
        down = math.ceil(len(panels) / across)
        share = {1: 0.55, 2: 0.8}.get(across, 1.0)
        figure = Figure(figsize=(_WIDTH_IN * share, 3.8 * down), layout="constrained")
        axes = figure.subplots(down, across, squeeze=False)
        for ax, panel in zip(axes.flat, panels, strict=False):
            _draw_extremes(ax, panel)
        for ax in list(axes.flat)[len(panels) :]:
            ax.set_visible(False)
        figure.supxlabel("Return period (blocks), on a Gumbel scale", fontsize=10)
        figure.supylabel("Deepest pit of a block (µm)", fontsize=10)
        return _svg(figure, alt)


def truth_figure(panels: Sequence[tuple[str, str, str, np.ndarray, np.ndarray]], alt: str) -> str:
    """Measured against true, one panel a figure: (title, unit, what is counted, true, measured)."""
    from matplotlib.figure import Figure

    with _style("truth"):
        across = max(2, min(4, len(panels)))
        down = math.ceil(len(panels) / across)
        size = (min(_WIDTH_IN, 3.6 * across), 3.6 * down)
        figure = Figure(figsize=size, layout="constrained")
        axes = figure.subplots(down, across, squeeze=False).ravel()
        for ax, (title, unit, counted, true, measured) in zip(axes, panels, strict=False):
            foot, top = _truth_limits(np.concatenate([true, measured]))
            ax.plot([foot, top], [foot, top], color=REFERENCE, linestyle=(0, (4, 2)), linewidth=1.1)
            ax.plot(true, measured, "o", color=LOSS, markersize=5, alpha=0.8, markeredgewidth=0)
            ax.set(xlim=(foot, top), ylim=(foot, top), xlabel=f"true ({unit})", ylabel=f"measured ({unit})")
            ax.set_title(f"{title}\nn = {len(true)} {counted}")
            ax.set_aspect("equal")
            ax.grid(color="#dddddd", linewidth=0.6)
        for ax in axes[len(panels) :]:
            ax.set_visible(False)
        return _svg(figure, alt)


def _truth_limits(values: np.ndarray) -> tuple[float, float]:
    """Ends of both axes: from 0 where nothing lies below, else with room on either side."""
    low, high = float(values.min()), float(values.max())
    if low >= 0:
        return 0.0, max(high, 1e-12) * 1.08
    room = 0.08 * (high - low) or 0.1 * abs(low)
    return low - room, high + room


def _draw_groups(ax: Axes, panel: Panel) -> None:
    for row, bar in enumerate(panel.bars):
        values = np.asarray(bar.values, dtype=float)
        places = row + _spread(len(values))
        below = np.asarray(bar.lower_bounds, bool) if len(bar.lower_bounds) else np.zeros_like(values, bool)
        for marker, which in (("o", ~below), (">", below)):
            ax.plot(
                values[which],
                places[which],
                marker,
                markersize=5,
                markerfacecolor="none",
                markeredgecolor=QUIET,
                zorder=2,
            )
        if len(bar.worst_seen):
            ax.plot(bar.worst_seen, [row] * len(bar.worst_seen), "x", color=QUIET, markersize=6, zorder=2)
        if not math.isnan(bar.low):
            ax.plot([bar.low, bar.high], [row, row], color=LOSS, linewidth=2.2, zorder=3)
        if not math.isnan(bar.mean):
            marker = ">" if below.any() else "D"
            ax.plot([bar.mean], [row], marker, color=LOSS, markersize=6, markeredgecolor="white", zorder=4)
        ax.annotate(
            f"n = {len(values)}",
            (1.0, row),
            xycoords=("axes fraction", "data"),
            xytext=(4, 0),
            textcoords="offset points",
            va="center",
            fontsize=9,
            color=QUIET,
        )
        ax.axhline(row + 0.5, color="#e4e4e4", linewidth=0.6, zorder=0)
    ax.set_xlabel(panel.title)
    low, high = ax.get_xlim()
    ax.set_xlim(min(0.0, low), high + 0.04 * (high - min(0.0, low)))  # room for a mark at the end
    ax.tick_params(axis="y", length=0)
    ax.grid(axis="x", color="#dddddd", linewidth=0.6)
    ax.set_axisbelow(True)


def _draw_extremes(ax: Axes, panel: ExtremesPanel) -> None:
    variate, fitted, low, high = np.array(panel.line).T
    ax.fill_between(variate, low, high, color=LOSS, alpha=0.16, linewidth=0)
    ax.plot(variate, fitted, color=LOSS, linewidth=1.8)
    ax.plot(*np.array(panel.points).T, "o", markersize=5, markerfacecolor="white", markeredgecolor=QUIET)
    margin = 0.12 if panel.at_least or panel.at_most else 0.04
    left = variate.min() - margin * np.ptp(variate)
    for marker, values in (("^", panel.at_least), ("v", panel.at_most)):
        places = left + margin * np.ptp(variate) * np.resize((0.2, 0.45, 0.7), len(values))
        ax.plot(
            places, values, marker, markersize=6, markerfacecolor="white", markeredgecolor=REFERENCE, zorder=4
        )
    if margin > 0.1:
        ax.axvspan(left, variate.min(), color=QUIET, alpha=0.08, linewidth=0)
    place, level, level_low, level_high = panel.level
    ax.axvline(place, color=REFERENCE, linestyle=(0, (4, 2)), linewidth=1.1)
    ax.plot([place, place], [level_low, level_high], color=LOSS, linewidth=3, zorder=4)
    ax.plot([place], [level], "D", color=LOSS, markersize=7, markeredgecolor="white", zorder=5)
    periods = [p for p in _PERIODS if variate.min() <= _variate(p) < place + 0.02 * np.ptp(variate)]
    ax.set_xticks([_variate(p) for p in periods], [f"{p:g}" for p in periods])
    ax.set_xlim(left, place + 0.06 * np.ptp(variate))
    bottom = min(0.0, float(low.min())) if low.min() < 0 else 0.0
    ax.set_ylim(bottom, max(float(level_high), float(high.max())) * 1.18)
    ax.set_title(f"{_shorten(panel.title, 40)}\n{panel.subtitle}\n{panel.level_words}")
    ax.grid(color="#dddddd", linewidth=0.6)
    ax.set_axisbelow(True)


def _variate(period: float) -> float:
    """Place of a return period on a Gumbel scale."""
    return -math.log(-math.log(1 - 1 / period))


def _share_over_log(ax: Axes, low: float, high: float) -> None:
    from matplotlib.ticker import FuncFormatter, LogLocator, NullFormatter

    ax.set_xscale("log")
    ax.set_xlim(low, high)
    ax.set_ylim(0, 1.02)
    ax.grid(color="#dddddd", linewidth=0.6)
    ax.xaxis.set_major_locator(LogLocator(base=10, subs=(1.0, 2.0, 5.0)))
    ax.xaxis.set_major_formatter(FuncFormatter(lambda v, _: f"{v:g}"))
    ax.xaxis.set_minor_formatter(NullFormatter())
    ax.xaxis.set_tick_params(labelbottom=True)


def _thinned(x: np.ndarray, y: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """At most `_MOST_STEPS` of the points, ends included: more cannot be told apart."""
    n = len(x)
    steps = np.unique(np.linspace(0, n - 1, min(n, _MOST_STEPS)).round().astype(int))
    return x[steps], y[steps]


def _count(n: int, noun: str) -> str:
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _spread(n: int) -> np.ndarray:
    """Small vertical offsets that keep equal values apart; the same for the same n."""
    return np.zeros(n) if n < 2 else np.linspace(-0.18, 0.18, n)


def _shorten(text: str, limit: int) -> str:
    """Long names cut with an ellipsis; `$` would start a formula in a figure."""
    text = " ".join(text.split())
    text = text if len(text) <= limit else text[: limit - 1] + "…"
    return text.replace("$", r"\$")


def _style(salt: str) -> AbstractContextManager[None]:
    import matplotlib

    return matplotlib.rc_context({**_STYLE, "svg.hashsalt": f"surfscan {salt}"})


def _svg(figure: Figure, alt: str) -> str:
    """The figure as an inline element, without date, prolog or metadata."""
    out = io.StringIO()
    figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None})
    text = out.getvalue()
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    width = figure.get_figwidth() * 96
    style = f"width:100%;max-width:{width:.0f}px;--full:{width:.0f}px"
    head = f'<svg role="img" aria-label="{html.escape(alt)}" style="{style}"'
    text = re.sub(r'\swidth="[\d.]+pt"|\sheight="[\d.]+pt"', "", text, count=2)
    return text.replace("<svg", head, 1)
