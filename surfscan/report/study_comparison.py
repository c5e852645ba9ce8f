"""All that the report says across methods, specimens and groups: rates side by side and what follows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from surfscan.report.pooling import SpecimenSummary
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
    """

    specimens: list[SpecimenRates]

    def of(self, specimen: str) -> SpecimenRates:
        """Rates of one specimen."""
        return next(s for s in self.specimens if s.specimen == specimen)


def compare_study(
    study: Study,
    summaries: Sequence[SpecimenSummary],
    records: Sequence[RateRecord],
    rates: Sequence[Rate],
) -> StudyComparison:
    """Set everything of a study side by side.

    Parameters
    ----------
    study : Study
    summaries : sequence of SpecimenSummary
    records : sequence of RateRecord
        Sweeps, weighings, gas and logs.
    rates : sequence of Rate
        The rates in them.
    """
    found = specimen_rates(summaries, rates)
    return StudyComparison(compare_specimens(study, summaries, records, found))
