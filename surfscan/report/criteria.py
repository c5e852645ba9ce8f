"""Criteria of the study decided: each on every specimen or group mean that it holds for."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any, Literal

from surfscan.columns import LOWER_BOUND_FIGURES
from surfscan.comparison.acceptance import CAUTION, Limits, Verdict, judge
from surfscan.comparison.rates import Interval, Method, PenetrationRate
from surfscan.comparison.reasons import measured_on
from surfscan.estimates.groups import specimen_mean
from surfscan.report.cells import HEADS, Cell, Grid, Head
from surfscan.report.common_scale import with_scale
from surfscan.report.comparison_rows import estimate, number
from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rounding import at_least, at_most, round_to_interval, significant
from surfscan.report.specimen_agreement import SpecimenRates
from surfscan.report.strut_specimens import UPPER_BOUND_FIGURES, has_upper_bound
from surfscan.report.summary_blocks import Block, Shown, State
from surfscan.study.criterion_entries import CriterionEntry, judged_groups

if TYPE_CHECKING:
    from surfscan.study.manifest import Study

Bound = Literal["", "at least", "at most"]
_MOST_NAMED = 4
_OF_STANDING = (
    "least_section_left_fraction",
    "least_section_fraction",
    "least_section_equal_loss_fraction",
    "min_strut_width_um",
    "mean_strut_width_um",
)
"""Figures of the metal that still stands."""
_LOST_BY_STANDING = ("strut_loss_fraction", "width_penetration_um", "strut_width_rate_mm_per_y")
"""What the struts that still stand have lost."""
_SIGNS = {"pass": "✓ pass", "fail": "✗ fail", "undecided": "? undecided"}


@dataclass(frozen=True)
class Judged:
    """One figure judged by one criterion.

    Attributes
    ----------
    number : int
        Of the criterion in study.toml, from 1.
    criterion : CriterionEntry
    group : str
    specimen : str
        Empty where the mean of the group is judged.
    value : float or None
    ci95 : (float, float) or None
    bound : {"", "at least", "at most"}
    verdict : Verdict
    """

    number: int
    criterion: CriterionEntry
    group: str
    specimen: str
    value: float | None
    ci95: Interval | None
    bound: Bound
    verdict: Verdict


def judge_study(study: Study, groups: Sequence[GroupSummary], rates: Sequence[SpecimenRates]) -> list[Judged]:
    """Every criterion of a study on everything that it holds for, in the study's order.

    Notes
    -----
    A specimen without the figure is undecided, not left out. Where one side of an interval is not known, as
    of a depth whose floor was not seen, the other side is taken for both, and the bound keeps it from
    deciding what it cannot. Where struts are broken or missing, a least section is that of what still stands:
    an upper bound, by which nothing passes a lower limit; what they have lost is a lower bound. A known error
    of a method that its interval does not hold decides nothing, and is said.
    """
    by_name = {g.name: g for g in groups}
    found = []
    for k, criterion in enumerate(study.criteria, start=1):
        for name in judged_groups(criterion, study.groups):
            group = by_name[name]
            if criterion.of == "mean":
                found.append(_judged(k, criterion, name, "", *_of_mean(criterion, group, rates)))
                continue
            for member in group.members:
                own = _of_specimen(criterion, member, rates)
                found.append(_judged(k, criterion, name, member.specimen.id, *own))
    return found


def criterion_rows(found: Sequence[Judged]) -> list[dict[str, Any]]:
    """Rows of the table `study_criteria`."""
    return [
        {
            "criterion": each.number,
            "figure": each.criterion.figure,
            "unit": each.criterion.unit,
            "limits": each.criterion.limits.words(each.criterion.unit),
            "rule": each.criterion.rule,
            "guard_factor": each.criterion.guard_factor if each.criterion.rule == "guarded" else math.nan,
            "of": each.criterion.of,
            "group": each.group,
            "specimen": each.specimen,
            **estimate("value", each.value, each.ci95),
            "bound": each.bound,
            "outcome": each.verdict.outcome,
            "guard_band": number(each.verdict.guard_band),
            "probability": number(each.verdict.probability),
            "sentence": each.verdict.sentence,
            "note": each.criterion.note,
        }
        for each in found
    ]


def criterion_grid(found: Sequence[Judged]) -> Grid:
    """One row a figure judged."""
    heads = [
        Head("Criterion"),
        Head("Of"),
        Head("Figure", "as measured", number=True),
        Head("Unit"),
        Head("Outcome", "rule"),
        Head("Guard band", number=True),
        Head("Probability", "of conformity, %", number=True),
        Head("In words"),
    ]
    rows = []
    for each in found:
        unit, scale = _shown_in(each.criterion)
        guard, chance = each.verdict.guard_band, each.verdict.probability
        rows.append(
            [
                Cell(criterion_words(each.criterion), (each.criterion.note,) if each.criterion.note else ()),
                Cell(each.specimen or f"mean of {each.group}", (each.group,) if each.specimen else ()),
                _value_cell(each, scale),
                Cell(unit),
                Cell(_SIGNS[each.verdict.outcome], (each.criterion.rule,)),
                Cell("" if guard is None else significant(guard * scale, 2), value=number(guard)),
                Cell("" if chance is None or each.bound else _chance(chance), value=number(chance)),
                Cell(each.verdict.sentence),
            ]
        )
    return Grid(f"Criteria ({len(found)} decisions)", heads, rows).without_empty_columns()


def criterion_block(found: Sequence[Judged]) -> list[Block]:
    """How the criteria came out, for the summary; none where the study states none."""
    if not found:
        return []
    outcomes = Counter(each.verdict.outcome for each in found)
    state: State = "bad" if outcomes["fail"] else "doubt" if outcomes["undecided"] else "good"
    headline = [
        Shown(str(outcomes[name]), after=name, value=float(outcomes[name]), figure=f"criteria_{name}")
        for name in ("pass", "fail", "undecided")
    ]
    return [Block("Criteria", headline, criterion_lines(found), state=state, links=[("criteria", "Table")])]


def criterion_lines(found: Sequence[Judged]) -> list[str]:
    """One line a criterion: what it asks for, who passed and who did not; then the caution."""
    lines = []
    for number_of in dict.fromkeys(each.number for each in found):
        own = [each for each in found if each.number == number_of]
        said = []
        for outcome in ("fail", "undecided", "pass"):
            hit = [e.specimen or f"mean of {e.group}" for e in own if e.verdict.outcome == outcome]
            if hit:
                more = f" and {len(hit) - _MOST_NAMED} more" if len(hit) > _MOST_NAMED else ""
                said.append(f"{outcome} {len(hit)} ({', '.join(hit[:_MOST_NAMED])}{more})")
        lines.append(f"{criterion_words(own[0].criterion)}: {'; '.join(said)}.")
    return [*lines, CAUTION] if lines else []


def criterion_words(criterion: CriterionEntry) -> str:
    """ "Least section left at least 40 %"."""
    unit, scale = _shown_in(criterion)
    limits = criterion.limits
    after = f"\u00a0{unit}" if unit else ""
    name = HEADS[criterion.figure][0] if criterion.figure in HEADS else criterion.words
    name = name[0].upper() + name[1:]
    if limits.at_least is None:
        return f"{name} at most {number(limits.at_most) * scale:g}{after}"
    if limits.at_most is None:
        return f"{name} at least {limits.at_least * scale:g}{after}"
    return f"{name} between {limits.at_least * scale:g} and {limits.at_most * scale:g}{after}"


def _judged(
    k: int,
    criterion: CriterionEntry,
    group: str,
    specimen: str,
    value: float | None,
    limits: Interval | None,
    bound: Bound,
    remark: str,
) -> Judged:
    both = _both_sides(value, limits)

    def decided(unit: str, scale: float) -> Verdict:
        own = criterion.limits
        return judge(
            None if value is None else value * scale,
            Limits(*(None if x is None else x * scale for x in (own.at_least, own.at_most))),
            ci95=None if both is None else (both[0] * scale, both[1] * scale),
            rule=criterion.rule,
            guard_factor=criterion.guard_factor,
            bound=bound,
            name=f"{criterion.words[0].upper()}{criterion.words[1:]} of {specimen or f'group {group}'}",
            unit=unit,
        )

    verdict, shown = decided(criterion.unit, 1.0), decided(*_shown_in(criterion))
    sentence = shown.sentence if shown.outcome == verdict.outcome else verdict.sentence
    verdict = replace(verdict, sentence=f"{sentence} {remark}".strip())
    return Judged(k, criterion, group, specimen, value, limits, bound, verdict)


def _of_specimen(
    criterion: CriterionEntry, member: SpecimenSummary, rates: Sequence[SpecimenRates]
) -> tuple[float | None, Interval | None, Bound, str]:
    """The figure of one specimen, and what is known against it."""
    figure = criterion.figure
    if criterion.method is not None:
        rate = next(s for s in rates if s.specimen == member.specimen.id).by(criterion.method)
        if rate is None:
            return None, None, "", ""
        lost = figure in _LOST_BY_STANDING and _has_lost(member)
        remark = f"{_measured_elsewhere(rate)} {_known_error([rate])}".strip()
        return rate.mm_per_y, rate.mm_per_y_ci95, "at least" if lost else rate.bound, remark
    value = member.figure(figure)
    if math.isnan(value):
        return None, None, "", ""
    bound: Bound = ""
    if (figure in LOWER_BOUND_FIGURES and member.deep.row.get("max_depth_is_lower_bound")) or (
        figure in _LOST_BY_STANDING and _has_lost(member)
    ):
        bound = "at least"
    elif (figure in UPPER_BOUND_FIGURES and has_upper_bound(member)) or (
        figure in _OF_STANDING and _has_lost(member)
    ):
        bound = "at most"
    limits = member.limits(figure)
    return value, None if all(map(math.isnan, limits)) else limits, bound, ""


def _of_mean(
    criterion: CriterionEntry, group: GroupSummary, rates: Sequence[SpecimenRates]
) -> tuple[float | None, Interval | None, Bound, str]:
    """The mean of a group over its specimens, and what is known against it."""
    figure = criterion.figure
    lost = any(_has_lost(m) for m in group.members)
    if criterion.method is not None:
        known = _rates_once(criterion.method, group, rates)
        mean = specimen_mean([rate.mm_per_y or 0.0 for rate in known])
        mean = with_scale(mean, _common_part(known), lowest=-math.inf, highest=math.inf)
        bounds = {rate.bound for rate in known if rate.bound}
        if figure in _LOST_BY_STANDING and lost:
            bounds = {"at least"}
        value = mean.value if known else None
        return value, mean.ci95, bounds.pop() if len(bounds) == 1 else "", _known_error(known)
    found = group.means[figure]
    bound: Bound = "at least" if any(group.lower_bounds(figure)) else ""
    if figure in _LOST_BY_STANDING and lost:
        bound = "at least"
    if any(group.upper_bounds(figure)) or (figure in _OF_STANDING and lost):
        bound = "at most"
    return (None if math.isnan(found.value) else found.value), found.ci95, bound, ""


def _rates_once(method: Method, group: GroupSummary, rates: Sequence[SpecimenRates]) -> list[PenetrationRate]:
    """Rates of the members of a group, each measurement once: a twin may be a member of the group itself."""
    names = {m.specimen.id for m in group.members}
    own = [each.by(method) for each in rates if each.specimen in names]
    found: dict[frozenset[str], PenetrationRate] = {}
    for rate in own:
        if rate is not None and rate.joined != "group":
            found.setdefault(measured_on(rate), rate)
    return list(found.values())


def _common_part(rates: Sequence[PenetrationRate]) -> float:
    """Standard uncertainty that area and density give a mean of rates: common to all, not averaged out."""
    parts: dict[str, float] = {}
    for rate in rates:
        for cause, share in rate.shared_relative.items():
            kind = cause.split(":")[0]
            parts[kind] = parts.get(kind, 0.0) + share * abs(rate.mm_per_y or 0.0) / len(rates)
    return math.hypot(*parts.values())


def _measured_elsewhere(rate: PenetrationRate) -> str:
    """On which other specimens a rate was measured; empty for its own."""
    names = ", ".join(rate.from_specimens)
    if rate.joined == "twin":
        return f"Measured on its twin {names}."
    if rate.joined == "group":
        together = " together" if rate.specimen in rate.from_specimens else " of its group"
        return f"Measured on {names}{together}."
    return ""


def _known_error(rates: Sequence[PenetrationRate]) -> str:
    """Which way a method errs beyond its interval; empty where none is known."""
    biases = {rate.bias for rate in rates if rate.bias}
    if not biases:
        return ""
    return f"The method {' or '.join(sorted(biases))}, which the interval does not hold."


def _has_lost(member: SpecimenSummary) -> bool:
    """Whether struts of a specimen are broken or missing."""
    row = member.by_kind["strut"].row
    return any(row.get(name, 0) > 0 for name in ("broken_count", "missing_count"))


def _both_sides(value: float | None, limits: Interval | None) -> Interval | None:
    """Limits that hold the value, the side that is not known taken as wide as the other."""
    if value is None or limits is None:
        return None
    low, high = limits
    low = 2 * value - high if math.isnan(low) else low
    high = 2 * value - low if math.isnan(high) else high
    return min(low, value), max(high, value)


def _shown_in(criterion: CriterionEntry) -> tuple[str, float]:
    """Unit on the page, and the factor from the stored unit."""
    if criterion.figure in HEADS:
        return HEADS[criterion.figure][1], HEADS[criterion.figure][2]
    return criterion.unit, 1.0


def _value_cell(each: Judged, scale: float) -> Cell:
    low, high = each.ci95 or (math.nan, math.nan)
    value = number(each.value)
    found = round_to_interval(value, low, high, scale=scale)
    text = at_most(at_least(found.value, each.bound == "at least"), each.bound == "at most")
    lines = (found.interval,) if found.has_interval and not each.bound else ()
    return Cell(text, lines, value, low, high, figure=each.criterion.figure)


def _chance(probability: float) -> str:
    if probability > 0.999:
        return "above 99.9"
    return "below 0.1" if probability < 0.001 else f"{100 * probability:.3g}"
