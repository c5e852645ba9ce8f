"""What the study summary needs, for a terminal, without the pictures, files and true values of the page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.report.by_hand_tables import gather_by_hand
from surfscan.report.extreme_values import summarise_extremes
from surfscan.report.groups import GroupSummary
from surfscan.report.page_parts import PageContent
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import rates_of
from surfscan.report.records import FieldRecord
from surfscan.report.study_comparison import compare_study

if TYPE_CHECKING:
    from surfscan.study.manifest import Study


def summary_content(
    study: Study,
    records: Sequence[FieldRecord],
    entries: Sequence[RateRecord],
    specimens: Sequence[SpecimenSummary],
    groups: Sequence[GroupSummary],
) -> PageContent:
    """What the summary needs of a study, without pictures, truth and files."""
    by_hand = gather_by_hand(study, records, specimens, groups)
    found = compare_study(study, specimens, groups, entries, rates_of(entries), by_hand)
    extremes = summarise_extremes(groups)
    return PageContent(
        study,
        records,
        specimens,
        groups,
        (),
        {},
        (),
        (),
        extremes=extremes,
        rates=entries,
        by_hand=by_hand,
        comparison=found,
    )
