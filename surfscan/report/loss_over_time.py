"""Loss against exposure over the specimens of groups that differ in exposure alone."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.comparison.agreement import as_penetration
from surfscan.comparison.over_time import EXPONENTS, OverTime, fit_over_time
from surfscan.comparison.projection import CAUTION, Projection, time_to
from surfscan.comparison.rates import OVER_STARTING_AREA, Method
from surfscan.comparison.shrinkage import penetration_of_section
from surfscan.measurement.strut_sections import DrawnSection
from surfscan.report.comparison_rows import estimate, number
from surfscan.report.groups import GroupSummary
from surfscan.report.specimen_agreement import SpecimenRates
from surfscan.study.criterion_entries import judged_groups

if TYPE_CHECKING:
    from surfscan.study.manifest import Study

FOLLOWED: tuple[Method, ...] = ("mass loss", "section", "strut width", "gas")
"""Methods whose averages over the exposure are followed."""

SECTION_FIGURES = (
    "least_section_left_fraction",
    "remaining_section_fraction",
    "least_section_equal_loss_fraction",
)
"""Figures whose lower limit in a criterion is the least section that a time is projected to."""

NO_LIMIT = "no least section is stated: add a [[criterion]] on least_section_left_fraction with at_least"


@dataclass(frozen=True)
class Series:
    """Loss of one kind over the exposures of groups that belong together.

    Attributes
    ----------
    name : str
        What the groups have in common.
    groups : tuple of str
    method : str
        By which the loss was measured.
    loss : str
        In words.
    specimens : tuple of str
    hours, losses_um, halves_um : ndarray of shape (n,)
        Exposure, penetration and half of its 95 % interval (not-a-number where there is none), a specimen
        each.
    fitted : OverTime
    limit_um : float or None
        Even penetration at the least section stated.
    limit_from : str
    projection : Projection or None
        None where no least section is stated, or no section drawn.
    """

    name: str
    groups: tuple[str, ...]
    method: Method
    loss: str
    specimens: tuple[str, ...]
    hours: np.ndarray
    losses_um: np.ndarray
    halves_um: np.ndarray
    fitted: OverTime
    limit_um: float | None
    limit_from: str
    projection: Projection | None


def loss_over_time(
    study: Study, groups: Sequence[GroupSummary], rates: Sequence[SpecimenRates]
) -> list[Series]:
    """Every series of a study with two exposures or more, in the study's order.

    Notes
    -----
    Groups that share a baseline belong together; so do specimens of one group that differ in exposure.
    Penetration is the average rate times the exposure; mass and gas are turned into penetration of the drawn
    section, where it is known, for the surface shrinks. What the losses of a method share (wetted area,
    scale) widens the intervals of the fit.
    """
    found = []
    for name, members in families(groups).items():
        own = [s for s in rates if s.summary.specimen.group in members]
        for method in FOLLOWED:
            series = _series(study, name, members, method, own)
            if series is not None:
                found.append(series)
    return found


def families(groups: Sequence[GroupSummary]) -> dict[str, tuple[str, ...]]:
    """Groups that share a baseline, by what their names have in common; a group without one stands alone."""
    baselines = {g.baseline for g in groups if g.baseline}
    out: dict[str, tuple[str, ...]] = {}
    for key in dict.fromkeys(g.baseline or g.name for g in groups if g.name not in baselines):
        members = tuple(g.name for g in groups if g.name not in baselines and (g.baseline or g.name) == key)
        name = _common_start([*members, key] if key in baselines else members)
        name = name if len(members) > 1 else members[0]
        out[name if name and name not in out else key] = members
    return out


def over_time_rows(found: Sequence[Series]) -> list[dict[str, Any]]:
    """Rows of the table `study_over_time`: one a law, or one that says why there is none."""
    rows = []
    for series in found:
        fitted, projected = series.fitted, series.projection
        common = {
            "series": series.name,
            "loss": series.loss,
            "unit": "µm",
            "n_specimens": fitted.n_specimens,
            "exposures_h": ", ".join(f"{h:g}" for h in fitted.hours),
            "lack_of_fit_p": number(fitted.lack_of_fit),
            "limit": number(series.limit_um),
            "limit_from": series.limit_from,
        }
        why_no_time = projected.refused if projected else series.limit_from or NO_LIMIT
        for k, fit in enumerate(fitted.fits):
            best = k == 0 and projected is not None and projected.hours is not None
            limits = None
            if best and projected is not None and projected.hours_ci95 is not None:
                limits = (projected.hours_ci95[0], number(projected.hours_ci95[1]))
            rows.append(
                common
                | {
                    "law": fit.law,
                    "factor": fit.factor,
                    **estimate("exponent", fit.exponent, fit.exponent_ci95),
                    "aicc_difference": fit.difference,
                    "weight": fit.weight,
                    **estimate("projected_h", projected.hours if best and projected else None, limits),
                    "note": " ".join([*fitted.notes, *([f"No time: {why_no_time}."] if why_no_time else [])]),
                }
            )
        if not fitted.fits:
            rows.append(
                common
                | {
                    "law": "",
                    "factor": math.nan,
                    **estimate("exponent", None, None),
                    "aicc_difference": math.nan,
                    "weight": math.nan,
                    **estimate("projected_h", None, None),
                    "note": fitted.refused,
                }
            )
    return rows


def law_words(series: Series) -> list[str]:
    """What the fits say, in sentences; the caution of projections is not among them."""
    fitted = series.fitted
    if not fitted.fits:
        return [f"No law is fitted: {fitted.refused}."]
    best = fitted.best
    free = next((fit for fit in fitted.fits if EXPONENTS[fit.law] is None), None)
    said = [f"Best by AICc: {best.law}."]
    others = [fit.law for fit in fitted.as_good if fit.law != best.law]
    if others:
        said[0] = f"Best by AICc: {best.law}; {' and '.join(others)} cannot be told from it."
    if free is not None and free.exponent_ci95 is not None:
        low, high = free.exponent_ci95
        said.append(f"Exponent {free.exponent:.2f} (95 % {low:.2f} to {high:.2f}; 1 linear, 0.5 parabolic).")
    said += fitted.notes
    said.append(
        series.projection.sentence.removesuffix(CAUTION).strip()
        if series.projection is not None
        else f"No time is projected: {series.limit_from or NO_LIMIT}."
    )
    return said


def _common_start(names: Sequence[str]) -> str:
    """What all names begin with."""
    alike = 0
    for letters in zip(*names, strict=False):
        if len(set(letters)) > 1:
            break
        alike += 1
    return names[0][:alike].strip(" -_,;")


def _series(
    study: Study, name: str, members: tuple[str, ...], method: Method, own: Sequence[SpecimenRates]
) -> Series | None:
    specimens, hours, losses, halves, common = [], [], [], [], []
    corrected = False
    for each in own:
        rate = next((r for r in each.known if r.method == method and r.joined == "own" and not r.bound), None)
        if rate is None or not rate.hours:
            continue
        used, factor, _ = as_penetration(rate, each.context)
        corrected |= factor > 1
        assert used.penetration_um is not None and used.mm_per_y is not None
        per = used.penetration_um / used.mm_per_y if used.mm_per_y else 0.0
        specimens.append(each.specimen)
        hours.append(rate.hours)
        losses.append(used.penetration_um)
        halves.append(math.nan if used.expanded is None else used.expanded * per)
        common.append(max((v for k, v in rate.shared_relative.items() if k.startswith("area")), default=0.0))
    if len(set(hours)) < 2:
        return None
    fitted = fit_over_time(hours, losses, common_relative=float(np.median(common)))
    drawn = _common_drawn(own)
    limit, source = _limit(study, members, drawn)
    of = "penetration by " if method not in OVER_STARTING_AREA or corrected else "loss over the start by "
    loss = f"{of}{method}"
    projected = None
    if limit is not None:
        projected = time_to(fitted, limit, name="the mean penetration", unit="µm")
    return Series(
        name,
        members,
        method,
        loss,
        tuple(specimens),
        np.array(hours),
        np.array(losses),
        np.array(halves),
        fitted,
        limit,
        source,
        projected,
    )


def _common_drawn(own: Sequence[SpecimenRates]) -> DrawnSection | None:
    """Drawn section that all have alike; None where they differ or have none."""
    found = {each.context.drawn for each in own}
    return found.pop() if len(found) == 1 else None


def _limit(study: Study, members: tuple[str, ...], drawn: DrawnSection | None) -> tuple[float | None, str]:
    """Even penetration at the least section that a criterion states for any of the groups, and where from."""
    stated = [
        (c.limits.at_least, c.figure)
        for c in study.criteria
        if c.figure in SECTION_FIGURES
        and c.limits.at_least
        and set(members).intersection(judged_groups(c, study.groups))
    ]
    if not stated:
        return None, ""
    share, figure = max(stated)
    assert share is not None
    if drawn is None:
        return None, "the drawn section is not stated, or differs between specimens"
    if not 0 < share < 1:
        return None, f"a section of {share:g} is no limit to go to"
    depth = penetration_of_section(share, drawn)
    return depth, f"{100 * share:g} % of the drawn section left, the limit stated for {figure}"
