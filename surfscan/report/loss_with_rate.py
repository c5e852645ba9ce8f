"""Area and section lost against electrochemical rate over specimens, with intervals in both directions."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.comparison.rates import NORMAL_FACTOR, Method, PenetrationRate
from surfscan.comparison.york import SATURATED_FRACTION, YorkLine, is_saturated, york_line
from surfscan.report.comparison_rows import estimate, number
from surfscan.report.pooling import SpecimenSummary, count
from surfscan.report.specimen_agreement import SpecimenRates

ELECTROCHEMICAL: tuple[Method, ...] = ("sweep", "polarization resistance")
_PER_DAY = 24.0
_SATURATED = f"degraded fraction above {SATURATED_FRACTION:g}: it saturates"
_NO_INTERVALS = "without an interval in both directions"


@dataclass(frozen=True)
class Loss:
    """A figure of loss.

    Attributes
    ----------
    name : str
        As tables call it.
    words : str
    unit : str
        On the page.
    scale : float
        From the stored unit to that.
    figure : str
        Figure of a specimen that it comes from.
    is_left : bool
        Whether the figure is what is left, and the loss 1 less it.
    per_day : bool
        Whether it is divided by the days of exposure.
    """

    name: str
    words: str
    unit: str
    scale: float
    figure: str
    is_left: bool = False
    per_day: bool = False


_DEGRADED, _LEFT, _STRUT = (
    "degraded_area_fraction",
    "remaining_section_fraction",
    "least_section_left_fraction",
)
LOSSES = (
    Loss("degraded_area_fraction", "Degraded area", "%", 100.0, _DEGRADED),
    Loss("degraded_area_per_day", "Degraded area a day", "%/d", 100.0, _DEGRADED, per_day=True),
    Loss("section_lost_fraction", "Section lost, cross-sections", "%", 100.0, _LEFT, True),
    Loss("section_lost_per_day", "Section lost a day, cross-sections", "%/d", 100.0, _LEFT, True, True),
    Loss("least_section_lost_fraction", "Least section lost, struts", "%", 100.0, _STRUT, True),
    Loss("least_section_lost_per_day", "Least section lost a day, struts", "%/d", 100.0, _STRUT, True, True),
)


@dataclass(frozen=True)
class Point:
    """One specimen.

    Attributes
    ----------
    specimen, group : str
    rate : PenetrationRate
        Of the specimen or its twin.
    value, low, high : float
        Loss in the stored unit with its 95 % interval; limits not-a-number where there is none.
    why_not : str
        Why it does not enter the line; empty where it does.
    """

    specimen: str
    group: str
    rate: PenetrationRate
    value: float
    low: float
    high: float
    why_not: str


@dataclass(frozen=True)
class LossWithRate:
    """One scatter.

    Attributes
    ----------
    loss : Loss
    method : str
        Of the rate.
    points : tuple of Point
    line : YorkLine
        In stored units, over mm/y.
    """

    loss: Loss
    method: Method
    points: tuple[Point, ...]
    line: YorkLine

    @property
    def saturated(self) -> int:
        """Points left out for saturation."""
        return sum(p.why_not == _SATURATED for p in self.points)


def loss_with_rate(specimens: Sequence[SpecimenRates]) -> list[LossWithRate]:
    """Every figure of loss that two specimens or more have beside an electrochemical rate.

    Notes
    -----
    One point a specimen: its loss, and the rate of its own sweep or its twin's (a rate of the whole group is
    no point of its own). Sweeps where two specimens have one, else polarization resistance. Where the
    degraded fraction is above 0.9 the point is drawn, and enters no line. Specimens scatter by themselves:
    what they scatter beyond their intervals is added to the uncertainty in y.
    """
    found = []
    for loss in LOSSES:
        for method in ELECTROCHEMICAL:
            points = [p for own in specimens if (p := _point(own, loss, method)) is not None]
            if len(points) < 2:
                continue
            used = [p for p in points if not p.why_not]
            line = york_line(
                np.array([p.rate.mm_per_y for p in used], float),
                np.array([p.value for p in used], float),
                np.array([p.rate.standard_uncertainty for p in used], float),
                np.array([(p.high - p.low) / 2 / NORMAL_FACTOR for p in used], float),
                own_scatter=True,
            )
            found.append(LossWithRate(loss, method, tuple(points), line))
            break
    return found


def point_rows(found: Sequence[LossWithRate]) -> list[dict[str, Any]]:
    """Rows of the table `study_loss_with_rate`."""
    return [
        {
            "loss": each.loss.name,
            "rate_method": each.method,
            "specimen": p.specimen,
            "group": p.group,
            **estimate("rate_mm_per_y", p.rate.mm_per_y, p.rate.mm_per_y_ci95),
            **estimate("value", p.value, (p.low, p.high)),
            "in_line": not p.why_not,
            "why_not": p.why_not,
        }
        for each in found
        for p in each.points
    ]


def line_rows(found: Sequence[LossWithRate]) -> list[dict[str, Any]]:
    """Rows of the table `study_loss_lines`."""
    return [
        {
            "loss": each.loss.name,
            "rate_method": each.method,
            "n_specimens": each.line.n,
            "n_saturated": each.saturated,
            **estimate("slope", each.line.slope, each.line.slope_ci95),
            **estimate("intercept", each.line.intercept, each.line.intercept_ci95),
            "mswd": number(each.line.mswd),
            "scatter": each.line.scatter,
            "refused": each.line.refused,
        }
        for each in found
    ]


def line_words(found: LossWithRate) -> str:
    """The line in a sentence, with the specimens behind it, or why there is none."""
    left = [p for p in found.points if p.why_not]
    saturated, others = found.saturated, len(left) - found.saturated
    out = [
        *([f"{saturated} left out: {_SATURATED}"] if saturated else []),
        *([f"{others} {_NO_INTERVALS}"] if others else []),
    ]
    tail = f" ({'; '.join(out)})" if out else ""
    line = found.line
    if line.slope is None or line.slope_ci95 is None:
        return f"{found.loss.words} against {found.method}: no line, {line.refused}{tail}."
    low, high = (v * found.loss.scale for v in line.slope_ci95)
    sign = ", which cannot be told from none" if low <= 0 <= high else ""
    twins = sum(p.rate.joined == "twin" for p in found.points)
    by = f", {twins} by the rate of a twin" if twins else ""
    return (
        f"{found.loss.words} against {found.method}: {line.slope * found.loss.scale:.3g} "
        f"{found.loss.unit} per mm/y (95 % {low:.3g} to {high:.3g}){sign}, "
        f"{count(line.n, 'specimen')}{by}{tail}."
    )


def _point(own: SpecimenRates, loss: Loss, method: Method) -> Point | None:
    summary = own.summary
    hours = summary.specimen.exposure_h
    rate = own.by(method)
    value = summary.figure(loss.figure)
    if not hours or rate is None or rate.joined == "group" or math.isnan(value):
        return None
    low, high = _loss_limits(summary, loss)
    value = 1 - value if loss.is_left else value
    if loss.per_day:
        value, low, high = (v * _PER_DAY / hours for v in (value, low, high))
    why = ""
    if loss.figure == _DEGRADED and bool(is_saturated(summary.figure(loss.figure))):
        why = _SATURATED
    elif rate.mm_per_y_ci95 is None or math.isnan(low) or math.isnan(high) or low == high:
        why = _NO_INTERVALS
    return Point(own.specimen, summary.specimen.group, rate, value, low, high, why)


def _loss_limits(summary: SpecimenSummary, loss: Loss) -> tuple[float, float]:
    low, high = summary.limits(loss.figure)
    return (1 - high, 1 - low) if loss.is_left else (low, high)
