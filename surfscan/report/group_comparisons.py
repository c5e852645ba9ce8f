"""Groups of specimens compared figure by figure, and fields within specimens by a mixed model."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.columns import GROUP_FIGURES
from surfscan.estimates.comparing import SeveralGroups, TwoGroups, compare_several, compare_two
from surfscan.estimates.groups import MIN_SPECIMENS
from surfscan.estimates.nested import NestedMean, nested_mean
from surfscan.report.comparison_rows import estimate, number
from surfscan.report.groups import GroupSummary
from surfscan.report.specimen_agreement import SpecimenRates

COMPARED = (
    "pit_density_per_mm2",
    "degraded_area_fraction",
    "max_depth_um",
    "width_penetration_um",
    "least_section_left_fraction",
    "remaining_section_fraction",
    "section_penetration_um",
)
"""Figures that are compared."""

FAR_FROM_NORMAL = ("pit_density_per_mm2", "max_depth_um")
"""Counts and greatest values: two groups of them are compared by permutation."""

_RATE = "mass_loss_rate_mm_per_y"
_RATE_WORDS = ("mm/y", "penetration rate by mass loss")
_NESTED = {
    "degraded_area_fraction": ("degraded", "degraded"),
    "pitted_area_fraction": ("pits", "pits"),
}
"""Figure of a field -> (pool, procedure)."""


@dataclass(frozen=True)
class Comparison:
    """One figure compared between groups of one exposure.

    Attributes
    ----------
    figure, unit, words : str
    exposure_h : float
        That they have in common; not-a-number where they differ.
    result : TwoGroups or SeveralGroups
    remark : str
        What limits it; empty where nothing does.
    """

    figure: str
    unit: str
    words: str
    exposure_h: float
    result: TwoGroups | SeveralGroups
    remark: str = ""

    @property
    def sentence(self) -> str:
        """The comparison in words, with what limits it."""
        return f"{self.result.sentence} {self.remark}".strip()

    @property
    def points(self) -> dict[str, tuple[float, ...]]:
        """One value a specimen, by group."""
        if isinstance(self.result, TwoGroups):
            return dict(zip(self.result.names, self.result.points, strict=True))
        return self.result.points


@dataclass(frozen=True)
class Nested:
    """Fields in specimens of one group.

    Attributes
    ----------
    figure, unit, group : str
    result : NestedMean
    """

    figure: str
    unit: str
    group: str
    result: NestedMean


def compare_groups(groups: Sequence[GroupSummary], rates: Sequence[SpecimenRates]) -> list[Comparison]:
    """Every figure compared between the groups of each exposure.

    Notes
    -----
    Controls as received are left to the differences from the baseline. Groups with the same exposure are
    compared with one another; where no two have the same, all of them are, and that is said. Two groups by
    Welch, counts and greatest values by permutation; more by one-way Welch with Games-Howell.
    """
    sets = _sets(groups)
    found = []
    for figure in (*COMPARED, _RATE):
        unit, words = _RATE_WORDS if figure == _RATE else GROUP_FIGURES[figure]
        for hours, members in sets:
            values = {g.name: _values(g, figure, rates) for g in members}
            values = {name: own for name, own in values.items() if own}
            if len(values) < 2:
                continue
            shown = "" if unit == "1" else unit
            result: TwoGroups | SeveralGroups
            if len(values) == 2:
                (one, first), (two, second) = values.items()
                test: Any = "permutation" if figure in FAR_FROM_NORMAL else "Welch"
                result = compare_two(first, second, names=(one, two), unit=shown, test=test)
            else:
                result = compare_several(values, unit=shown)
            bounds = 0 if figure == _RATE else sum(sum(g.lower_bounds(figure)) for g in members)
            remarks = [
                *([f"Lower bounds among the values: {bounds}."] if bounds else []),
                *(["The groups differ in exposure."] if math.isnan(hours) else []),
            ]
            found.append(Comparison(figure, unit, words, hours, result, " ".join(remarks)))
    return found


def nested_groups(groups: Sequence[GroupSummary]) -> list[Nested]:
    """Mixed model of fields in specimens, for every group with more fields than specimens."""
    found = []
    for figure, (pool, procedure) in _NESTED.items():
        for group in groups:
            values, owners = [], []
            for member in group.members:
                for record in member.pooled[pool]:
                    if not math.isnan(record.figure(procedure, figure)):
                        values.append(record.figure(procedure, figure))
                        owners.append(member.specimen.id)
            if len(values) > len(set(owners)):
                result = nested_mean(values, owners, lowest=0.0, highest=1.0)
                found.append(Nested(figure, GROUP_FIGURES[figure][0], group.name, result))
    return found


def comparison_rows(found: Sequence[Comparison]) -> list[dict[str, Any]]:
    """Rows of the table `study_comparisons`: one a pair of groups, or one that says why there is none."""
    rows = []
    for each in found:
        common = {"figure": each.figure, "unit": each.unit, "sentence": each.sentence}
        points = each.points
        result = each.result
        if isinstance(result, TwoGroups):
            one, two = result.names
            effect = result.effect
            rows.append(
                common
                | _pair_row(one, two, points)
                | estimate("difference", result.difference, result.ci95)
                | estimate("hedges_g", effect.hedges_g if effect else None, effect.ci95 if effect else None)
                | {"p": number(result.p), "test": result.test, "omega_squared": math.nan}
                | {"one_way_p": math.nan, "refused": result.refused}
            )
            continue
        whole = {
            "test": f"{result.correction} after one-way Welch",
            "omega_squared": number(result.omega_squared),
            "one_way_p": number(result.p),
            "refused": result.refused,
        }
        for pair in result.pairs:
            rows.append(
                common
                | whole
                | _pair_row(*pair.names, points)
                | estimate("difference", pair.difference, pair.ci95)
                | estimate("hedges_g", pair.effect.hedges_g, pair.effect.ci95)
                | {"p": pair.p}
            )
        if not result.pairs:
            nothing = estimate("difference", None, None) | estimate("hedges_g", None, None)
            rows.append(
                common
                | whole
                | nothing
                | {"first_group": ", ".join(points), "second_group": "", "p": math.nan}
                | {"n_first": sum(map(len, points.values())), "n_second": 0}
            )
    return rows


def nested_rows(found: Sequence[Nested]) -> list[dict[str, Any]]:
    """Rows of the table `study_nested`."""
    return [
        {
            "figure": each.figure,
            "unit": each.unit,
            "group": each.group,
            "n_specimens": each.result.specimens,
            "n_fields": each.result.fields,
            **estimate("mean", each.result.mean, each.result.ci95),
            "between_specimens_sd": number(each.result.between_specimens),
            "between_fields_sd": number(each.result.between_fields),
            "specimen_share": number(each.result.correlation),
            "refused": each.result.refused,
        }
        for each in found
    ]


def small_groups(groups: Sequence[GroupSummary]) -> list[str]:
    """Groups below three specimens."""
    return [g.name for g in groups if len(g.members) < MIN_SPECIMENS]


def _sets(groups: Sequence[GroupSummary]) -> list[tuple[float, list[GroupSummary]]]:
    """Groups to compare with one another: those of one exposure; all where no two share one."""
    baselines = {g.baseline for g in groups if g.baseline}
    own = [g for g in groups if g.name not in baselines]
    by_hours: dict[float, list[GroupSummary]] = {}
    for group in own:
        hours = group.row["exposure_h"]
        if not math.isnan(hours):
            by_hours.setdefault(hours, []).append(group)
    alike = [(hours, members) for hours, members in by_hours.items() if len(members) > 1]
    return alike or ([(math.nan, own)] if len(own) > 1 else [])


def _values(group: GroupSummary, figure: str, rates: Sequence[SpecimenRates]) -> list[float]:
    if figure != _RATE:
        return group.values(figure)
    names = {m.specimen.id for m in group.members}
    out: Mapping[str, list[float]] = {name: [] for name in names}
    for own in rates:
        for rate in own.known:
            if own.specimen in names and rate.method == "mass loss" and rate.joined == "own":
                out[own.specimen].append(rate.mm_per_y or 0.0)
    return [float(np.mean(out[m.specimen.id])) for m in group.members if out[m.specimen.id]]


def _pair_row(one: str, two: str, points: Mapping[str, Sequence[float]]) -> dict[str, Any]:
    return {
        "first_group": one,
        "second_group": two,
        "n_first": len(points[one]),
        "n_second": len(points[two]),
    }
