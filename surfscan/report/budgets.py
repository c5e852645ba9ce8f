"""Uncertainty budgets of the headline figures: of every specimen, of its rates, and of every group."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.columns import GROUP_FIGURES, LOWER_BOUND_FIGURES
from surfscan.comparison.rates import NORMAL_FACTOR
from surfscan.estimates import fields
from surfscan.estimates.groups import MIN_SPECIMENS, GroupEstimate, specimen_mean, t_factor
from surfscan.estimates.uncertainty import SOURCES, Budget, Contribution, advice
from surfscan.report.by_hand_tables import ByHand
from surfscan.report.common_scale import scale_part
from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import POOLS, SpecimenSummary
from surfscan.report.rate_budgets import RateBudget
from surfscan.report.records import FieldRecord

POOL_OF = {
    "pit_density_per_mm2": "pits",
    "pitted_area_fraction": "pits",
    "degraded_area_fraction": "degraded",
    "max_depth_um": "height_pits",
    "volume_per_area_um": "height_pits",
    "width_penetration_um": "struts",
    "least_section_left_fraction": "struts",
    "remaining_section_fraction": "section",
    "section_penetration_um": "section",
}
"""Headline figures with a budget -> fields that they rest on."""

FIRST_ORDER = "first order"
_WANTED_PERCENT = 10.0
_REST = {
    "pits": ("edge", "where outlines run"),
    "degraded": ("edge", "class boundary"),
    "height_pits": ("levelling", "reference level and roughness"),
    "struts": ("edge", "edges and drawn size"),
    "section": ("edge", "outline and original size"),
}
"""What is left of a field's own interval when scale and fields are taken out -> (source, name)."""

_AREA_OF_FIELD = {"pits": "field_area", "degraded": "region_area"}


@dataclass(frozen=True)
class FigureBudget:
    """Budget of one figure.

    Attributes
    ----------
    level : {"specimen", "group"}
    name : str
        Specimen id or group name.
    figure : str
    budget : Budget
    propagation : str
        "first order", or Monte Carlo with its seed.
    expanded : float
        Half of the 95 % interval.
    advice : str
        What dominates, and what would make it surer.
    """

    level: str
    name: str
    figure: str
    budget: Budget
    propagation: str
    expanded: float
    advice: str


def figure_budgets(
    specimens: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
    rates: Sequence[RateBudget],
    by_hand: ByHand | None,
) -> list[FigureBudget]:
    """Every budget of a study: groups first, then specimens with their rates.

    Parameters
    ----------
    specimens : sequence of SpecimenSummary
    groups : sequence of GroupSummary
    rates : sequence of RateBudget
        From `surfscan.report.rate_budgets.rate_budgets`.
    by_hand : ByHand or None
        For what two reviewers make of the same images.

    Notes
    -----
    A specimen: the scale; differences between its fields (or counting, where fields agree by chance); what
    two reviewers make of the same images; the rest of the fields' own interval, which they share. A group:
    what specimens share is averaged, not reduced; the scatter of their means is split into that of fields, by
    their own differences, and the rest between specimens. Figures without an interval, and lower bounds, have
    none.
    """
    own = {s.specimen.id: specimen_budgets(s, by_hand) for s in specimens}
    found = [b for group in groups for b in (*_of_group(group, own), *_rates_of_group(group, rates))]
    for summary in specimens:
        name = summary.specimen.id
        for figure, budget in own[name].items():
            m = len(summary.pooled[POOL_OF[figure]])
            expanded = _with_hand(budget, summary.half_width(figure))
            said = _advice(budget, fields_pooled=m, expanded=expanded)
            found.append(FigureBudget("specimen", name, figure, budget, FIRST_ORDER, expanded, said))
        found += [
            FigureBudget(
                "specimen",
                name,
                each.figure,
                each.budget,
                each.propagation,
                each.expanded,
                _advice(each.budget),
            )
            for each in rates
            if each.specimen == name
        ]
    return found


def _with_hand(budget: Budget, half: float) -> float:
    """Half of the interval that a specimen's figure is shown with, and what reviewers add to it."""
    hand = math.hypot(*(c.part for c in budget.contributions if c.source == "hand"))
    return math.hypot(half, NORMAL_FACTOR * hand)


def specimen_budgets(summary: SpecimenSummary, by_hand: ByHand | None = None) -> dict[str, Budget]:
    """Budgets of the figures of one specimen, by figure."""
    out = {}
    for figure in POOL_OF:
        parts = _contributions(summary, figure, by_hand)
        if parts:
            unit, words = GROUP_FIGURES[figure]
            out[figure] = Budget(words, unit, summary.figure(figure), tuple(parts))
    return out


def budget_rows(found: Sequence[FigureBudget]) -> list[dict[str, Any]]:
    """Rows of the table `study_budgets`: one a contribution."""
    rows = []
    for each in found:
        shares = each.budget.shares()
        for part in each.budget.contributions:
            rows.append(
                {
                    "level": each.level,
                    "name": each.name,
                    "figure": each.figure,
                    "unit": each.budget.unit,
                    "value": each.budget.value,
                    "contribution": part.name,
                    "source": part.source,
                    "evaluation": part.evaluation,
                    "sensitivity": part.sensitivity,
                    "standard_uncertainty": part.standard_uncertainty,
                    "degrees_of_freedom": part.degrees_of_freedom
                    if math.isfinite(part.degrees_of_freedom)
                    else math.nan,
                    "share": shares.get(part.name, math.nan),
                    "combined_uncertainty": each.budget.standard_uncertainty,
                    "expanded_uncertainty": each.expanded,
                    "propagation": each.propagation,
                    "note": part.note,
                    "advice": each.advice,
                }
            )
    return rows


def _contributions(summary: SpecimenSummary, figure: str, by_hand: ByHand | None) -> list[Contribution]:
    """Causes behind one figure of a specimen; none where it has no interval or is a lower bound."""
    value, half = summary.figure(figure), summary.half_width(figure)
    key = POOL_OF[figure]
    pooled = summary.pooled[key]
    if math.isnan(value) or math.isnan(half) or half <= 0 or not pooled:
        return []
    if figure in LOWER_BOUND_FIGURES and summary.deep.row.get("max_depth_is_lower_bound"):
        return []
    parts = []
    scale = min(abs(scale_part(summary, figure)), half / NORMAL_FACTOR)  # of pictures on two bases not all
    if scale > 0:
        origins = {s.calibration.origin for r in pooled if (s := r.any_done()) and s.calibration}
        parts.append(Contribution("scale", "scale", 1.0, scale, note=", ".join(sorted(origins))))
    parts += _of_fields(summary, figure, key, pooled, half, scale)
    hand = _by_hand(figure, value, key, pooled, by_hand)
    return [*parts, *([hand] if hand else [])]


def _of_fields(
    summary: SpecimenSummary,
    figure: str,
    key: str,
    pooled: Sequence[FieldRecord],
    half: float,
    scale: float,
) -> list[Contribution]:
    """Differences between fields, and the rest of the interval."""
    source, name = _REST[key]
    between, n = _between(figure, key, pooled)
    noun = {"struts": "pictures", "section": "sections", "height_pits": "maps"}.get(key, "fields")
    if between > 0 and n > 1:
        freedom = n - 1.0
        part = Contribution(
            f"differences between {noun}", "fields", 1.0, between, freedom, "A", f"{n} {noun} pooled"
        )
        total = half / NORMAL_FACTOR if key in ("degraded", "pits") else half / t_factor(freedom)
        if key in ("degraded", "pits"):
            left = half**2 - (t_factor(freedom) * between) ** 2 - (NORMAL_FACTOR * scale) ** 2
            rest = math.sqrt(max(left, 0.0)) / NORMAL_FACTOR
        else:
            rest = math.sqrt(max(total**2 - between**2 - scale**2, 0.0))
        return [part, *([Contribution(name, source, 1.0, rest)] if rest > 0 else [])]
    rest = math.sqrt(max((half / NORMAL_FACTOR) ** 2 - scale**2, 0.0))
    if figure in ("pit_density_per_mm2", "volume_per_area_um"):
        pits = sum(len(r.table("pits")["label"]) for r in pooled)
        return [Contribution("counting of few pits", "counting", 1.0, rest, note=f"{pits} pits")]
    return [Contribution(name, source, 1.0, rest)] if rest > 0 else []


def _between(figure: str, key: str, pooled: Sequence[FieldRecord]) -> tuple[float, int]:
    """Standard uncertainty of the mean from differences between fields, and their number; 0 where none."""
    procedure = POOLS[key].procedure
    if key not in _AREA_OF_FIELD and figure != "volume_per_area_um":
        return 0.0, len(pooled)
    name = f"{_AREA_OF_FIELD.get(key, 'field_area')}_mm2"
    if figure == "volume_per_area_um":
        known = [(r.figure(procedure, "total_volume_um3"), 1e6 * r.figure(procedure, name)) for r in pooled]
    elif figure == "pit_density_per_mm2":
        known = [
            (float(np.nansum(r.table("pits")["edge_weight"])), r.figure(procedure, name)) for r in pooled
        ]
    else:
        own = [(r.figure(procedure, figure), _area(r, procedure, name)) for r in pooled]
        known = [(value * area, area) for value, area in own]
    known = [(amount, area) for amount, area in known if not math.isnan(amount) and not math.isnan(area)]
    if len(known) < 2:
        return 0.0, len(known)
    found = fields.area_weighted_mean([a for a, _ in known], [b for _, b in known])
    return (found.half_width or 0.0) / t_factor(len(known) - 1.0), len(known)


def _area(record: FieldRecord, procedure: str, name: str) -> float:
    """Area of a field in mm², else in px."""
    area = record.figure(procedure, name)
    return record.figure(procedure, name.replace("_mm2", "_px")) if math.isnan(area) else area


def _by_hand(
    figure: str, value: float, key: str, pooled: Sequence[FieldRecord], by_hand: ByHand | None
) -> Contribution | None:
    """What two reviewers make of the same images of a specimen; None where no two saved one."""
    if by_hand is None or key not in ("pits", "degraded"):
        return None
    names = {r.image_id for r in pooled}
    shares, who = [], set()
    for pair in by_hand.pairs:
        if pair.procedure != POOLS[key].procedure:
            continue
        for each in pair.images:
            if each.record.image_id not in names:
                continue
            one, two = each.areas
            if figure == "pit_density_per_mm2":
                one, two = float(each.agreement.first_count), float(each.agreement.second_count)
            if math.isfinite(one + two) and one + two > 0:
                shares.append(2 * abs(one - two) / (one + two))
                who |= {pair.first, pair.second}
    if not shares:
        return None
    reach = value * math.fsum(shares) / len(shares) / 2
    note = f"{' and '.join(sorted(who))} on {len(shares)} images"
    return Contribution.from_range("reviewers", "hand", value - reach, value + reach, note=note)


def _of_group(group: GroupSummary, own: dict[str, dict[str, Budget]]) -> list[FigureBudget]:
    """Budgets of the means of one group."""
    out = []
    for figure in POOL_OF:
        mean = group.means[figure]
        if mean.ci95 is None or mean.n < MIN_SPECIMENS or not mean.standard_uncertainty > 0:
            continue
        known = [b for m in group.members if (b := own[m.specimen.id].get(figure)) is not None]
        unit, words = GROUP_FIGURES[figure]
        field_parts = [
            c for b in known for c in b.contributions if c.source in ("fields", "counting") and c.part
        ]
        sampled = math.hypot(*(c.part for c in field_parts)) / mean.n if field_parts else 0.0
        sampled = min(sampled, mean.standard_uncertainty)
        between = math.sqrt(mean.standard_uncertainty**2 - sampled**2)
        parts = [
            Contribution(
                "differences between specimens",
                "specimens",
                1.0,
                between,
                mean.degrees_of_freedom,
                "A",
                f"{mean.n} specimens",
            )
        ]
        if sampled > 0:
            parts.append(
                Contribution(
                    "fields within specimens",
                    "fields",
                    1.0,
                    sampled,
                    mean.degrees_of_freedom,
                    "A",
                    "of the scatter between specimen means, what their fields explain",
                )
            )
        for source in ("scale", "hand"):
            shared = [c for b in known for c in b.contributions if c.source == source]
            if shared:
                u = math.fsum(abs(c.part) for c in shared) / len(known)
                parts.append(
                    Contribution(shared[0].name, source, 1.0, u, note="common to all: not averaged out")
                )
        named = words if words.startswith("mean ") else f"mean {words}"
        budget = Budget(f"{named} of {group.name}", unit, mean.value, tuple(parts))
        most = max((len(m.pooled[POOL_OF[figure]]) for m in group.members), default=0)
        expanded = _of_mean(budget, mean)
        said = _advice(budget, fields_pooled=most or None, specimens=mean.n, expanded=expanded)
        out.append(FigureBudget("group", group.name, figure, budget, FIRST_ORDER, expanded, said))
    return out


def _of_mean(budget: Budget, mean: GroupEstimate) -> float:
    """Half of the interval of a mean over specimens with what they share, as the table of groups has it.

    Scatter between specimens is one estimate, whatever it is split into, and keeps its degrees of freedom:
    the formula for effective ones takes parts for independent estimates, and a narrower interval for known
    parts that are added.
    """
    shared = budget.without("specimens", "fields").standard_uncertainty
    return math.hypot(t_factor(mean.degrees_of_freedom) * mean.standard_uncertainty, NORMAL_FACTOR * shared)


def _rates_of_group(group: GroupSummary, rates: Sequence[RateBudget]) -> list[FigureBudget]:
    """Budgets of the mean rates of one group, method by method; one rate a specimen."""
    names = {m.specimen.id for m in group.members}
    own = [each for each in rates if each.specimen in names]
    out = []
    for figure in dict.fromkeys(each.figure for each in own):
        known = {each.specimen: each.budget for each in own if each.figure == figure}
        mean = specimen_mean([b.value for b in known.values()])
        if mean.ci95 is None:
            continue
        parts = [
            Contribution(
                "differences between specimens",
                "specimens",
                1.0,
                mean.standard_uncertainty,
                mean.degrees_of_freedom,
                "A",
                f"{mean.n} specimens, readings of each included",
            )
        ]
        for source in ("area", "material"):
            shared = [abs(c.part) for b in known.values() for c in b.contributions if c.source == source]
            if any(shared):
                u = math.fsum(shared) / len(known)
                note = "common to all: not averaged out"
                parts.append(Contribution(SOURCES[source], source, 1.0, u, note=note))
        words = next(iter(known.values())).figure
        budget = Budget(f"mean {words} of {group.name}", "mm/y", mean.value, tuple(parts))
        expanded = _of_mean(budget, mean)
        said = _advice(budget, specimens=mean.n, expanded=expanded)
        out.append(FigureBudget("group", group.name, figure, budget, FIRST_ORDER, expanded, said))
    return out


def _advice(
    budget: Budget,
    *,
    fields_pooled: int | None = None,
    specimens: int | None = None,
    expanded: float | None = None,
) -> str:
    """What dominates and what to do; of a figure that cannot be told from 0 only what dominates."""
    reached = budget.expanded() if expanded is None else expanded
    if reached >= abs(budget.value) and budget.value != 0:
        source = next(iter(budget.shares_by_source()), "other")
        return f"The {budget.figure} cannot be told from 0; its doubt is mostly {SOURCES[source]}."
    return advice(
        budget,
        relative_accuracy_percent=_WANTED_PERCENT,
        fields=fields_pooled,
        specimens=specimens,
        expanded=expanded,
    )
