"""Rates of each specimen beside each other: agreement by pair, one mean where the rule allows, how local."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, get_args

from surfscan.comparison.agreement import Agreement, Context, as_penetration, pairs
from surfscan.comparison.blending import Blend, blend
from surfscan.comparison.locality import (
    PitAgainstSection,
    Quotient,
    pit_against_section,
    pitting_factor,
    share_in_pits,
)
from surfscan.comparison.rates import METHODS, NORMAL_FACTOR, Interval, Joined, Method, PenetrationRate
from surfscan.estimates.groups import MIN_SPECIMENS, specimen_mean, t_factor
from surfscan.measurement.strut_sections import DrawnSection
from surfscan.procedures.settings import StrutSettings
from surfscan.report.height_specimens import PRESENT_SURFACE
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_records import RateRecord

if TYPE_CHECKING:
    from surfscan.study.manifest import Specimen, Study

_WHOLE_LOSS = ("mass loss", "gas")
"""Methods whose loss is that of the whole surface, the better one first."""


@dataclass(frozen=True)
class SpecimenRates:
    """Rates of one specimen, and what they say of each other.

    Attributes
    ----------
    summary : SpecimenSummary
    rates : tuple of PenetrationRate
        Refused ones too.
    context : Context
    agreements : tuple of Agreement
        Every two of different methods.
    blend : Blend
        One mean where the rule allows it, else why not.
    pitting_factor, share_in_pits : Quotient
    pit_against_section : PitAgainstSection or None
        None where the deepest pit or the drawn size is not known, or no loss of section can be told.
    """

    summary: SpecimenSummary
    rates: tuple[PenetrationRate, ...]
    context: Context
    agreements: tuple[Agreement, ...]
    blend: Blend
    pitting_factor: Quotient
    share_in_pits: Quotient
    pit_against_section: PitAgainstSection | None

    @property
    def specimen(self) -> str:
        """Its id."""
        return self.summary.specimen.id

    @property
    def known(self) -> tuple[PenetrationRate, ...]:
        """Rates that there are."""
        return tuple(rate for rate in self.rates if rate.mm_per_y is not None)

    def by(self, method: Method) -> PenetrationRate | None:
        """Its rate by a method: its own before that of a twin, that before its group's; None without one."""
        found = [rate for rate in self.known if rate.method == method]
        return min(found, key=lambda rate: get_args(Joined).index(rate.joined), default=None)


def compare_specimens(
    study: Study,
    summaries: Sequence[SpecimenSummary],
    records: Sequence[RateRecord],
    found: Mapping[str, Sequence[PenetrationRate]],
) -> list[SpecimenRates]:
    """Agreement of the rates of every specimen, in the study's order.

    Parameters
    ----------
    study : Study
    summaries : sequence of SpecimenSummary
    records : sequence of RateRecord
        Sweeps, weighings, gas and logs: materials come from them.
    found : mapping of str to sequence of PenetrationRate
        Specimen id -> its rates, from `surfscan.report.specimen_rates.specimen_rates`.
    """
    scatters = between_specimens(summaries, found)
    out = []
    for summary in summaries:
        name = summary.specimen.id
        rates = tuple(found[name])
        context = Context(
            base_metal(summary.specimen, records),
            drawn_section(study, summary.specimen),
            scatters.get(summary.specimen.group),
        )
        out.append(
            SpecimenRates(
                summary,
                rates,
                context,
                tuple(pairs(rates, context)),
                blend(rates, context),
                *_local(summary, rates, context),
            )
        )
    return out


def between_specimens(
    summaries: Sequence[SpecimenSummary], found: Mapping[str, Sequence[PenetrationRate]]
) -> dict[str, float]:
    """Relative standard deviation between specimens of each group that has three with one method.

    Returns
    -------
    dict of str to float
        Group -> scatter by the method that most specimens have, the better known first at a tie (the scatter
        of what was measured, not freed of the method's own). Widened by Student's t over 1.96, so that 1.96
        times it holds for few specimens too. Groups without one are left out, and those whose mean cannot be
        told from 0.
    """
    out = {}
    for group in dict.fromkeys(s.specimen.group for s in summaries):
        best: list[float] = []
        for method in ("mass loss", *METHODS):
            own = [
                [
                    rate.mm_per_y
                    for rate in found[s.specimen.id]
                    if rate.method == method
                    and rate.joined == "own"
                    and rate.kind == "average"
                    and not rate.bound
                    and rate.mm_per_y is not None
                ]
                for s in summaries
                if s.specimen.group == group
            ]
            values = [math.fsum(each) / len(each) for each in own if each]
            if len(values) > len(best):
                best = values
        if len(best) < MIN_SPECIMENS:
            continue
        mean = specimen_mean(best)
        if mean.ci95 is not None and mean.ci95[0] > 0:
            out[group] = mean.sd / mean.value * t_factor(len(best) - 1) / NORMAL_FACTOR
    return out


def drawn_section(study: Study, specimen: Specimen) -> DrawnSection | None:
    """Section of its struts as drawn, µm, by specimen and settings; None where a size is not stated."""
    settings = study.settings.of("struts", "strut")
    assert isinstance(settings, StrutSettings)
    wide = specimen.drawn_strut_width_um or settings.drawn_width_um
    thick = specimen.drawn_thickness_um or settings.drawn_thickness_um
    if wide is None or thick is None:
        return None
    shape = specimen.drawn_shape or settings.drawn_shape
    top = specimen.drawn_top_width_um or settings.drawn_top_width_um
    taper = 0.0
    if shape == "trapezoid" and top is not None:
        taper = math.degrees(math.atan2((wide - top) / 2, thick))
    relative = settings.drawn_relative_uncertainty
    return DrawnSection(wide, thick, shape, taper, relative * wide, relative * thick)


def base_metal(specimen: Specimen, records: Sequence[RateRecord]) -> str:
    """Symbol of the element that there is most of; empty where no result tells the composition."""
    for record in records:
        stored = record.value("material")
        if not isinstance(stored, Mapping) or not stored.get("composition"):
            continue
        if specimen.material not in (stored["name"], *stored.get("aliases", ())):
            continue
        parts = stored["composition"]
        return str(max(parts, key=lambda symbol: parts[symbol]["value"]))
    return ""


def _local(
    summary: SpecimenSummary, rates: Sequence[PenetrationRate], context: Context
) -> tuple[Quotient, Quotient, PitAgainstSection | None]:
    """Pitting factor, share of the loss in pits, deepest pit against least section."""
    row = summary.deep.row
    if not summary.specimen.exposure_h:
        nothing = Quotient(None, None, "", "", "it was not exposed, or for a time not stated")
        return nothing, nothing, None
    depth, limits = summary.figure("max_depth_um"), _known(summary.limits("max_depth_um"))
    hidden = bool(row.get("max_depth_is_lower_bound"))
    from_original = row.get("original_level", PRESENT_SURFACE) != PRESENT_SURFACE
    deepest = float(row.get("max_penetration_um", math.nan)) if from_original else depth
    mean, mean_limits = _whole_loss(rates, context, depth=True)
    factor = pitting_factor(
        deepest,
        mean,
        deepest_um_ci95=None if from_original or hidden else limits,
        mean_penetration_um_ci95=mean_limits,
        deepest_is_lower_bound=hidden,
        from_original_level=from_original,
    )
    over_start, start_limits = _whole_loss(rates, context, depth=False)
    share = share_in_pits(
        summary.figure("volume_per_area_um"),
        over_start,
        volume_per_area_um_ci95=_known(summary.limits("volume_per_area_um")),
        mean_penetration_um_ci95=start_limits,
        volume_is_lower_bound=bool(row.get("lower_bound_depth_count")),
    )
    left = summary.figure("least_section_left_fraction")
    against = None
    is_lost = summary.limits("least_section_left_fraction")[1] < 1
    if not math.isnan(depth) and is_lost and context.drawn is not None:
        against = pit_against_section(depth, context.drawn.thickness, left, deepest_is_lower_bound=hidden)
    return factor, share, against


def _whole_loss(
    rates: Sequence[PenetrationRate], context: Context, *, depth: bool
) -> tuple[float | None, Interval | None]:
    """Loss of the whole surface by its own weighing, else its own gas, µm: as depth, or over the start."""
    for method in _WHOLE_LOSS:
        for rate in rates:
            if rate.method != method or rate.joined != "own" or rate.penetration_um is None:
                continue
            used = as_penetration(rate, context)[0] if depth else rate
            assert used.penetration_um is not None and used.mm_per_y is not None
            if used.mm_per_y_ci95 is None or used.mm_per_y == 0:
                return used.penetration_um, None
            per = used.penetration_um / used.mm_per_y
            return used.penetration_um, (used.mm_per_y_ci95[0] * per, used.mm_per_y_ci95[1] * per)
    return None, None


def _known(limits: tuple[float, float]) -> Interval | None:
    return None if any(math.isnan(limit) for limit in limits) else limits
