"""Tables of all that is set side by side: rates, agreement, how local, criteria, groups, time, budgets."""

from __future__ import annotations

import math
from typing import Any

from surfscan.columns import Table
from surfscan.comparison.agreement import Agreement
from surfscan.comparison.rates import PenetrationRate
from surfscan.report.budgets import budget_rows
from surfscan.report.comparison_rows import estimate, number
from surfscan.report.criteria import criterion_rows
from surfscan.report.group_comparisons import comparison_rows, nested_rows
from surfscan.report.loss_over_time import over_time_rows
from surfscan.report.loss_with_rate import line_rows, point_rows
from surfscan.report.specimen_agreement import SpecimenRates
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.tables import table_of


def comparison_tables(found: StudyComparison) -> dict[str, Table]:
    """The tables by name; those without a row are left out."""
    rows = {
        "study_rates_side_by_side": [rate_row(s, rate) for s in found.specimens for rate in s.rates],
        "study_agreement": [agreement_row(s, pair) for s in found.specimens for pair in s.agreements],
        "study_locality": [locality_row(s) for s in found.specimens if s.rates],
        "study_loss_with_rate": point_rows(found.with_rate),
        "study_loss_lines": line_rows(found.with_rate),
        "study_over_time": over_time_rows(found.over_time),
        "study_budgets": budget_rows(found.budgets),
        "study_criteria": criterion_rows(found.judged),
        "study_comparisons": comparison_rows(found.compared),
        "study_nested": nested_rows(found.nested),
    }
    return {name: table_of(name, own) for name, own in rows.items() if own}


def agreement_word(pair: Agreement) -> str:
    """ "agree", "do not agree" or "not judged"."""
    return {True: "agree", False: "do not agree", None: "not judged"}[pair.agree]


def rate_row(own: SpecimenRates, rate: PenetrationRate) -> dict[str, Any]:
    """Row of `study_rates_side_by_side`."""
    return _whose(own) | {
        "method": rate.method,
        "measurand": rate.measurand,
        "kind": rate.kind,
        **estimate("rate_mm_per_y", rate.mm_per_y, rate.mm_per_y_ci95),
        "bound": rate.bound,
        "starts_h": number(rate.starts_h),
        "ends_h": number(rate.ends_h),
        "area_mm2": number(rate.area_mm2),
        "speaks_for": rate.speaks_for,
        "how": rate.how,
        "joined": rate.joined,
        "from_specimens": " + ".join(rate.from_specimens or (rate.specimen,)),
        "bias": rate.bias,
        "reasons": " | ".join(rate.reasons),
        "refused": rate.refused,
    }


def agreement_row(own: SpecimenRates, pair: Agreement) -> dict[str, Any]:
    """Row of `study_agreement`."""
    return _whose(own) | {
        "first_method": pair.first.method,
        "second_method": pair.second.method,
        "first_mm_per_y": number(pair.first.mm_per_y),
        "second_mm_per_y": number(pair.second.mm_per_y),
        **estimate("ratio", pair.ratio, pair.ratio_ci95),
        "e_n": number(pair.e_n),
        "agreement": agreement_word(pair),
        "corrected_by": pair.corrected_by,
        "sentence": pair.sentence,
        "reasons": " | ".join(f"{reason.text} [{reason.source}]" for reason in pair.reasons),
    }


def locality_row(own: SpecimenRates) -> dict[str, Any]:
    """Row of `study_locality`."""
    factor, share, against = own.pitting_factor, own.share_in_pits, own.pit_against_section
    said = [
        factor.sentence or f"No pitting factor: {factor.refused}.",
        share.sentence or f"No share in pits: {share.refused}.",
        *([against.sentence] if against else []),
    ]
    return _whose(own) | {
        **estimate("pitting_factor", factor.value, factor.ci95),
        "pitting_factor_bound": factor.bound,
        **estimate("share_in_pits_fraction", share.value, share.ci95),
        "share_in_pits_bound": share.bound,
        "deepest_pit_share": against.depth_share if against else math.nan,
        "section_lost_fraction": against.section_lost_fraction if against else math.nan,
        "sentence": " ".join(said),
        **estimate("blended_rate_mm_per_y", own.blend.mm_per_y, own.blend.mm_per_y_ci95),
        "blended_methods": ", ".join(own.blend.methods),
        "blended_refused": own.blend.refused,
    }


def _whose(own: SpecimenRates) -> dict[str, Any]:
    return {"specimen": own.specimen, "group": own.summary.specimen.group}
