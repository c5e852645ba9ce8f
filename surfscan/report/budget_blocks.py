"""What dominates the uncertainty of a study, for its summary."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence

from surfscan.estimates.uncertainty import SOURCES
from surfscan.report.budgets import FigureBudget
from surfscan.report.cells import HEADS
from surfscan.report.pooling import count
from surfscan.report.summary_blocks import Block, Shown

HEADLINES = (
    "least_section_left_fraction",
    "remaining_section_fraction",
    "mass_loss_rate_mm_per_y",
    "degraded_area_fraction",
)
"""Figures whose advice a summary says, the first there is of each group first."""

_MOST_LINES = 3


def uncertainty_block(found: Sequence[FigureBudget], groups: Sequence[str]) -> list[Block]:
    """The source that dominates most figures of the groups named, else of specimens; none without budgets.

    Parameters
    ----------
    found : sequence of FigureBudget
    groups : sequence of str
        Groups whose means count.
    """
    told = [b for b in found if b.expanded < abs(b.budget.value) and b.budget.shares()]
    own = [b for b in told if b.level == "group" and b.name in groups] or told
    if not own:
        return []
    dominant = Counter(next(iter(b.budget.shares_by_source())) for b in own)
    source, n = dominant.most_common(1)[0]
    words = SOURCES[source]
    headline = Shown(words[0].upper() + words[1:], after=f"largest in {n} of {count(len(own), 'figure')}")
    return [Block("Dominant uncertainty", [headline], advice_lines(own), links=[("uncertainty", "Budgets")])]


def advice_lines(found: Sequence[FigureBudget]) -> list[str]:
    """What would make the headline figures surer, one a group or specimen, those known least well first."""
    own = []
    for name in dict.fromkeys(b.name for b in found):
        by_figure = {b.figure: b for b in found if b.name == name}
        own += [by_figure[figure] for figure in HEADLINES if figure in by_figure][:1]
    own.sort(key=lambda b: -b.expanded / abs(b.budget.value))
    return [
        f"{HEADS[b.figure][0] if b.figure in HEADS else 'Rate by mass loss'} of {b.name}: "
        f"{b.advice[0].lower()}{b.advice[1:]}"
        for b in own[:_MOST_LINES]
    ]
