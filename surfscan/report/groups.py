"""One row a group: mean over specimens, baseline subtracted; the specimen is the replicate."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.columns import (
    BESIDE_FIGURES,
    FIGURES_OF,
    GROUP_FIGURES,
    LOWER_BOUND_FIGURES,
    SUBTRACTED_FIGURES,
    Table,
    columns,
    conform,
)
from surfscan.estimates.groups import GroupEstimate, specimen_mean, subtract_baseline
from surfscan.report.common_scale import scale_part, with_scale
from surfscan.report.pooling import POOLS, SpecimenSummary, count
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, about, words
from surfscan.report.rounding import significant
from surfscan.report.section_specimens import rests_on_product
from surfscan.report.strut_records import MEASURED_THICKNESS
from surfscan.report.strut_specimens import UPPER_BOUND_FIGURES, has_upper_bound
from surfscan.study.entries import PROCEDURES_BY_KIND, Shows

if TYPE_CHECKING:
    from surfscan.study.manifest import Group

_AREAS_ALIKE = 1.2
"""Areas that differ by less hardly change the greatest depth (common practice, no source)."""


_MAY_BE_BELOW_NONE = ("strut_loss_fraction", "width_penetration_um")
_MAY_BE_ABOVE_ALL = (
    "least_section_left_fraction",
    "least_section_fraction",
    "least_section_equal_loss_fraction",
    "remaining_section_fraction",
)


@dataclass
class GroupSummary:
    """Everything the report says about one group.

    Attributes
    ----------
    name, baseline : str
        `baseline` is empty where there is none.
    members : list of SpecimenSummary
    means, differences : dict of str to GroupEstimate
        By figure of `GROUP_FIGURES`; differences by `SUBTRACTED_FIGURES`, only where there is a baseline.
    row : dict
        Its row of the group table.
    kind_warnings : dict of str to list of str
        By what images show; those about the group itself stand with "surface".
    """

    name: str
    baseline: str
    members: list[SpecimenSummary]
    means: dict[str, GroupEstimate] = field(default_factory=dict)
    differences: dict[str, GroupEstimate] = field(default_factory=dict)
    row: dict[str, Any] = field(default_factory=dict)
    kind_warnings: dict[Shows, list[str]] = field(
        default_factory=lambda: {kind: [] for kind in PROCEDURES_BY_KIND}
    )

    @property
    def warnings(self) -> list[str]:
        """All of them, each once."""
        return list(dict.fromkeys(text for texts in self.kind_warnings.values() for text in texts))

    def values(self, figure: str) -> list[float]:
        """One value a specimen that has the figure."""
        return [v for m in self.members if not math.isnan(v := m.figure(figure))]

    def doubt(self, figure: str) -> float:
        """Half width of what the specimens' own intervals give the mean, at least: no digit below it counts.

        Not-a-number where none of them has an interval.
        """
        halves = [h for m in self.members if not math.isnan(h := m.half_width(figure))]
        return math.hypot(*halves) / len(halves) if halves else math.nan

    def greatest_limits(self, figure: str) -> tuple[float, float]:
        """Limits of the mean of a greatest value, or those of specimens none of which can be told from 0.

        A mean lies below the highest of the upper limits.
        """
        limits = self.means[figure].ci95
        if limits:
            return limits
        own = [m.limits(figure) for m in self.members if not math.isnan(m.figure(figure))]
        if own and all(low <= 0 for low, _ in own):
            return 0.0, max(high for _, high in own)
        return math.nan, math.nan

    def lower_bounds(self, figure: str) -> list[bool]:
        """Whether each of those values is a lower bound."""
        return [
            figure in LOWER_BOUND_FIGURES and bool(m.deep.row["max_depth_is_lower_bound"])
            for m in self.members
            if not math.isnan(m.figure(figure))
        ]

    def upper_bounds(self, figure: str) -> list[bool]:
        """Likewise upper bounds: sections of struts whose thickness was not measured."""
        return [
            figure in UPPER_BOUND_FIGURES and has_upper_bound(m)
            for m in self.members
            if not math.isnan(m.figure(figure))
        ]


def summarise_groups(groups: Sequence[Group], specimens: Sequence[SpecimenSummary]) -> list[GroupSummary]:
    """Means over specimens and differences from the baseline group, in the study's order.

    Specimens without a group enter none.

    Notes
    -----
    The interval holds the scatter between specimens and, as root sum of squares, the uncertainty of the
    scale: one microscope takes them all, so that its share is the mean of theirs, not less. A difference
    holds that of both groups as if they were independent; where they share it this is a little too wide.
    """
    out = [
        GroupSummary(g.name, g.baseline or "", [s for s in specimens if s.specimen.group == g.name])
        for g in groups
    ]
    scatter: dict[str, dict[str, GroupEstimate]] = {group.name: {} for group in out}
    shares: dict[str, dict[str, float]] = {group.name: {} for group in out}
    for group in out:
        for name in GROUP_FIGURES:
            lowest, highest = _limits(name)
            mean = specimen_mean(group.values(name), lowest=lowest, highest=highest)
            scatter[group.name][name] = mean
            share = shares[group.name][name] = _scale_share(group.members, name)
            mean = with_scale(mean, share, lowest=lowest, highest=highest)
            for side, bounds in (("lower", group.lower_bounds(name)), ("upper", group.upper_bounds(name))):
                if any(bounds):
                    reason = f"{sum(bounds)} of {mean.n} values are {side} bounds, and so is the mean"
                    mean = replace(mean, ci95=None, refused=reason)
            group.means[name] = mean
    by_name = {g.name: g for g in out}
    for group in out:
        control = by_name.get(group.baseline)
        if control:
            for name in SUBTRACTED_FIGURES:
                own, other = (scatter[g.name][name] for g in (group, control))
                share = math.hypot(*(shares[g.name][name] for g in (group, control)))
                difference = subtract_baseline(own, other)
                group.differences[name] = with_scale(difference, share, lowest=-math.inf, highest=math.inf)
        _fill(group, control)
    return out


def _limits(name: str) -> tuple[float, float]:
    """What a mean can be at least and at most; what compares two sizes may scatter beyond none and all."""
    lowest = -math.inf if name in _MAY_BE_BELOW_NONE else 0.0
    highest = 1.0 if GROUP_FIGURES[name][0] == "1" and name not in _MAY_BE_ABOVE_ALL else math.inf
    return lowest, highest


def _scale_share(members: Sequence[SpecimenSummary], name: str) -> float:
    """Mean over specimens of what the scale gives their figure; 0 where there is none."""
    found = [scale_part(m, name) for m in members if not math.isnan(m.figure(name))]
    return math.fsum(found) / len(found) if found else 0.0


def group_table(groups: Sequence[GroupSummary]) -> Table:
    """The group table of the report, `study_groups` in the column registry."""
    return conform(
        "study_groups", {c.name: np.array([g.row[c.name] for g in groups]) for c in columns("study_groups")}
    )


def _fill(group: GroupSummary, control: GroupSummary | None) -> None:
    exposures = {m.specimen.exposure_h for m in group.members}
    if len(exposures) > 1:
        group.kind_warnings["surface"].append("Specimens of this group differ in exposure.")
    group.row |= {
        "group": group.name,
        "exposure_h": group.members[0].row["exposure_h"] if len(exposures) == 1 else math.nan,
        "material": ", ".join(dict.fromkeys(m.row["material"] for m in group.members if m.row["material"])),
        "baseline": group.baseline,
        "n_specimens": len(group.members),
    }
    missing = GroupEstimate(math.nan, math.nan, 0, math.nan, math.nan, None, "")
    for name in GROUP_FIGURES:
        mean, difference = group.means[name], group.differences.get(name, missing)
        group.row[f"n_specimens_{name}"] = mean.n
        group.row[f"sd_{name}"] = mean.sd
        if name in LOWER_BOUND_FIGURES:
            group.row[f"n_lower_bound_{name}"] = sum(group.lower_bounds(name))
        _put(group.row, f"mean_{name}", mean)
        if name in SUBTRACTED_FIGURES:
            _put(group.row, f"baseline_subtracted_{name}", difference)
    _warn(group, control)
    group.row["warnings"] = " | ".join(group.warnings)


def _warn(group: GroupSummary, control: GroupSummary | None) -> None:
    for kind, warnings in group.kind_warnings.items():
        warnings += _refusals(group, control, FIGURES_OF[kind])
        for key, pool in POOLS.items():
            if pool.kind == kind:
                warnings += _conditions(group, key)
    areas = [a for m in group.members if not math.isnan(a := m.deep.row.get("field_area_mm2", math.nan))]
    if areas and max(areas) > _AREAS_ALIKE * min(areas):
        group.kind_warnings["heights"].append(
            f"Greatest pit depth: the area seen differs between specimens ({significant(min(areas))} to "
            f"{significant(max(areas))} mm²), and the greatest depth grows with it."
        )
    group.kind_warnings["section"] += _rough_originals(group)
    group.kind_warnings["strut"] += _different_bases(group)
    for kind in ("strut", "section"):
        group.kind_warnings[kind] += _left_out(group, kind)


def _left_out(group: GroupSummary, kind: Shows) -> list[str]:
    """Names the specimens on which more metal was measured than there was."""
    beyond = [m.specimen.id for m in group.members if m.by_kind[kind].beyond]
    if not beyond:
        return []
    return [
        f"{', '.join(beyond)}: more metal than before or as drawn, beyond the interval, on pictures that are "
        "left out of means of loss, penetration and section."
    ]


def _different_bases(group: GroupSummary) -> list[str]:
    """How many specimens have their least section with measured thickness, where not all have."""
    bases = [b for m in group.members if (b := m.by_kind["strut"].row.get("least_section_left_basis"))]
    n = bases.count(MEASURED_THICKNESS)
    if n in (0, len(bases)):
        return []
    return [
        f"Least section left: with measured thickness on {n} of {count(len(bases), 'specimen')}, with equal "
        "loss all round on the others; the two may differ more than specimens do."
    ]


def _rough_originals(group: GroupSummary) -> list[str]:
    """How many specimens count the loss of their sections from the outer edge of product."""
    own = [m for m in group.members if not math.isnan(m.figure("remaining_section_fraction"))]
    rough = sum(rests_on_product(m) for m in own)
    if not rough:
        return []
    others = "" if rough == len(own) else " The others have better sources."
    return [
        f"Original outline of the sections of {rough} of {count(len(own), 'specimen')} is the outer edge of "
        f"product (§), which swells and spalls: means are rough.{others}"
    ]


def _refusals(group: GroupSummary, control: GroupSummary | None, names: Sequence[str]) -> list[str]:
    """Intervals that are not given, or that say less than they seem to, of these figures."""
    refusals: dict[str, list[str]] = {}
    for name in names:
        if name in BESIDE_FIGURES:
            continue
        mean, figure = group.means[name], GROUP_FIGURES[name][1]
        if mean.n and mean.refused:
            refusals.setdefault(f"no interval of the mean ({mean.refused}).", []).append(figure)
        difference = group.differences.get(name)
        told = difference is not None and not math.isnan(difference.value)
        if difference and told and not mean.refused and difference.refused:
            refusals.setdefault(f"no interval of the difference ({difference.refused}).", []).append(figure)
    warnings = [about(figures, reason) for reason, figures in refusals.items()]
    if control and any(
        difference.ci95 and control.means[name].standard_uncertainty == 0
        for name, difference in group.differences.items()
        if name in names
    ):
        warnings.append(
            "Where all baseline specimens gave the same value, the interval of the difference holds the "
            "group's own scatter only."
        )
    return warnings


def _conditions(group: GroupSummary, key: str) -> list[str]:
    """Surface conditions of a pool that differ between specimens, or that may hide pits."""
    pool, warnings = POOLS[key], []
    pooled = [m.condition(key) for m in group.members if m.pooled[key]]
    conditions = dict.fromkeys(words(c) for c in pooled)
    if len(conditions) > 1:
        warnings.append(
            f"{pool.name}: specimens differ in surface condition ({', '.join(conditions)}), which may "
            "account for part of their scatter."
        )
    if pool.procedure != "pits":
        return warnings
    for condition, how in (
        (WITH_PRODUCT, "with corrosion product on the surface: product may hide some"),
        (NOT_STATED, "in a condition not stated: corrosion product, if any, may hide some"),
    ):
        on = pooled.count(condition)
        if on:
            who = f"{on} of {count(len(group.members), 'specimen')}"
            where = f"height maps of {who}" if pool.kind == "heights" else who
            warnings.append(f"Pits on {where} counted {how}.")
    return warnings


def _put(row: dict[str, Any], name: str, estimate: GroupEstimate) -> None:
    low, high = estimate.ci95 or (math.nan, math.nan)
    row[name], row[f"{name}_ci95_low"], row[f"{name}_ci95_high"] = estimate.value, low, high
