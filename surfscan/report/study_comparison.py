"""All that the report says across methods, specimens and groups: rates side by side and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from surfscan.report.budgets import FigureBudget, figure_budgets
from surfscan.report.by_hand_tables import ByHand
from surfscan.report.criteria import Judged, judge_study
from surfscan.report.group_comparisons import Comparison, Nested, compare_groups, nested_groups
from surfscan.report.groups import GroupSummary
from surfscan.report.loss_over_time import Series, loss_over_time
from surfscan.report.loss_with_rate import LossWithRate, loss_with_rate
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_budgets import rate_budgets
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import Rate
from surfscan.report.specimen_agreement import SpecimenRates, compare_specimens
from surfscan.report.specimen_rates import specimen_rates

if TYPE_CHECKING:
    from surfscan.study.manifest import Study


@dataclass(frozen=True)
class StudyComparison:
    """What a study says across methods, specimens and groups.

    Attributes
    ----------
    specimens : list of SpecimenRates
        In the study's order.
    with_rate : list of LossWithRate
    over_time : list of Series
    judged : list of Judged
    compared : list of Comparison
    nested : list of Nested
    budgets : list of FigureBudget
    """

    specimens: list[SpecimenRates]
    with_rate: list[LossWithRate] = field(default_factory=list)
    over_time: list[Series] = field(default_factory=list)
    judged: list[Judged] = field(default_factory=list)
    compared: list[Comparison] = field(default_factory=list)
    nested: list[Nested] = field(default_factory=list)
    budgets: list[FigureBudget] = field(default_factory=list)

    def of(self, specimen: str) -> SpecimenRates:
        """Rates of one specimen."""
        return next(s for s in self.specimens if s.specimen == specimen)


def compare_study(
    study: Study,
    summaries: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
    records: Sequence[RateRecord],
    rates: Sequence[Rate],
    by_hand: ByHand | None = None,
) -> StudyComparison:
    """Set everything of a study side by side.

    Parameters
    ----------
    study : Study
    summaries : sequence of SpecimenSummary
    groups : sequence of GroupSummary
    records : sequence of RateRecord
        Sweeps, weighings, gas and logs.
    rates : sequence of Rate
        The rates in them.
    by_hand : ByHand, optional
        For the contribution of reviewers to budgets.
    """
    found = compare_specimens(study, summaries, records, specimen_rates(summaries, rates))
    return StudyComparison(
        found,
        loss_with_rate(found),
        loss_over_time(study, groups, found),
        judge_study(study, groups, found),
        compare_groups(groups, found),
        nested_groups(groups),
        figure_budgets(summaries, groups, rate_budgets(rates), by_hand),
    )
