"""What the page says of loss with rate and time, groups compared, criteria, and uncertainty."""

from __future__ import annotations

from typing import Any

from surfscan.comparison.acceptance import CAUTION as OF_CRITERIA
from surfscan.comparison.projection import CAUTION as OF_PROJECTION
from surfscan.comparison.projection import LARGEST_EXTRAPOLATION
from surfscan.comparison.york import MIN_POINTS, SATURATED_FRACTION
from surfscan.report import outcome_grids as grids
from surfscan.report.budget_charts import budget_chart
from surfscan.report.budgets import FigureBudget
from surfscan.report.criteria import criterion_grid, criterion_lines
from surfscan.report.group_comparisons import small_groups
from surfscan.report.loss_charts import scatter_chart, time_chart
from surfscan.report.loss_over_time import law_words
from surfscan.report.loss_with_rate import line_words
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.study_comparison import StudyComparison

METHOD_RATE = (
    "Loss with rate: York's line through specimens with errors in both directions; what they scatter beyond "
    f"their intervals is added. From {MIN_POINTS} specimens on; where the degraded fraction is above "
    f"{SATURATED_FRACTION:g} a specimen is drawn, and enters no line."
)
METHOD_TIME = (
    "Over time: loss through the origin, each specimen one point; linear, parabolic and, from three "
    "exposures on, free power law, compared by AICc. A time is projected to the least section that a "
    f"criterion states, no further than {LARGEST_EXTRAPOLATION:g} times the longest exposure, over all laws "
    "as good as the best."
)
METHOD_GROUPS = (
    "Groups compared: the specimen is the replicate. Two groups by Welch (counts and greatest values by "
    "permutation), more by one-way Welch with Games-Howell; below three specimens points only. Fields in "
    "specimens by a mixed model (REML)."
)
METHOD_BUDGET = (
    "Uncertainty: first-order budgets after JCGM 100, rates also by Monte Carlo (JCGM 101), which stands "
    "where the two differ; numbers of fields and specimens for 10 % relative accuracy after ASTM E562."
)
METHOD_CRITERIA = (
    "Criteria: guarded rule after JCGM 106, guard band = guard_factor times the expanded uncertainty (95 %); "
    "undecided where the interval reaches the limit, or where a bound allows either."
)


def outcome_page(content: PageContent) -> OnPage | None:
    """All that the page says across specimens; None where there is nothing to say."""
    found = content.comparison
    if found is None:
        return None
    parts = [
        *_criteria(found),
        *_with_rate(found),
        *_over_time(found),
        *_groups(content, found),
        *_uncertainty(content, found),
    ]
    if not parts:
        return None
    methods = {
        "criteria": METHOD_CRITERIA,
        "loss-with-rate": METHOD_RATE,
        "over-time": METHOD_TIME,
        "groups-compared": METHOD_GROUPS,
        "uncertainty": METHOD_BUDGET,
    }
    return OnPage(
        "Across specimens",
        "comparison of specimens and groups",
        outcome_sentences(found),
        parts,
        None,
        [],
        [methods[part.anchor] for part in parts],
        cautions=[*([OF_CRITERIA] if found.judged else []), *([OF_PROJECTION] if _projected(found) else [])],
    )


def outcome_sentences(found: StudyComparison) -> list[str]:
    """For the summary: the lines of loss with rate, and the laws of loss with time."""
    lines = [line_words(each) for each in found.with_rate if not each.loss.per_day]
    for series in found.over_time[:2]:
        said = law_words(series)[0]
        lines.append(f"{series.loss[0].upper()}{series.loss[1:]} over time in “{series.name}”. {said}")
    return lines


def budgets_shown(found: StudyComparison) -> list[FigureBudget]:
    """Budgets that the page lists: of groups, and of the specimens of groups that have none."""
    groups = [b for b in found.budgets if b.level == "group"]
    covered = {b.name for b in groups}
    alone = {s.specimen for s in found.specimens if s.summary.specimen.group not in covered}
    return [*groups, *(b for b in found.budgets if b.level == "specimen" and b.name in alone)]


def _projected(found: StudyComparison) -> bool:
    """Whether a time is projected anywhere."""
    return any(s.projection is not None and s.projection.hours is not None for s in found.over_time)


def _criteria(found: StudyComparison) -> list[Part]:
    if not found.judged:
        return []
    shown = {"lines": criterion_lines(found.judged), "grid": criterion_grid(found.judged)}
    shown |= {"long": len(found.judged) > 40}
    return [Part("criteria", "Criteria", "parts/criteria.html.j2", shown)]


def _with_rate(found: StudyComparison) -> list[Part]:
    if not found.with_rate:
        return []
    from markupsafe import Markup

    shown: dict[str, Any] = {
        "charts": [
            (each.loss.words, Markup(scatter_chart(each)), line_words(each)) for each in found.with_rate
        ],
        "grid": grids.line_grid(found.with_rate),
    }
    return [Part("loss-with-rate", "Loss with rate", "parts/loss_with_rate.html.j2", shown)]


def _over_time(found: StudyComparison) -> list[Part]:
    if not found.over_time:
        return []
    from markupsafe import Markup

    shown: dict[str, Any] = {
        "charts": [
            (f"{each.name}: {each.loss}", Markup(time_chart(each)), law_words(each))
            for each in found.over_time
        ],
        "grid": grids.law_grid(found.over_time),
        "caution": OF_PROJECTION if _projected(found) else "",
    }
    return [Part("over-time", "Loss over time", "parts/over_time.html.j2", shown)]


def _groups(content: PageContent, found: StudyComparison) -> list[Part]:
    if not found.compared and not found.nested:
        return []
    small = small_groups(content.groups)
    shown = {
        "grid": grids.comparison_grid(found.compared) if found.compared else None,
        "nested": grids.nested_grid(found.nested) if found.nested else None,
        "small": small,
        "long": len(found.compared) > 20,
    }
    return [Part("groups-compared", "Groups compared", "parts/groups_compared.html.j2", shown)]


def _uncertainty(content: PageContent, found: StudyComparison) -> list[Part]:
    from markupsafe import Markup

    listed = budgets_shown(found)
    if not listed:
        return []
    exposed = {g.name for g in content.groups if any((m.specimen.exposure_h or 0) > 0 for m in g.members)}
    exposed |= {s.specimen for s in found.specimens}
    drawn = [b for b in listed if b.name in exposed and b.expanded < abs(b.budget.value)]
    names = list(dict.fromkeys(b.name for b in drawn))
    shown = {
        "charts": [
            (name, Markup(chart))
            for name in names
            if (chart := budget_chart([b for b in drawn if b.name == name], name))
        ],
        "grid": grids.budget_grid(listed),
        "long": len(listed) > 30,
    }
    return [Part("uncertainty", "Uncertainty", "parts/uncertainty.html.j2", shown)]
