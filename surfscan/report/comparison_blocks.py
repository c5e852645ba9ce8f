"""Blocks of the page on rates: those of one specimen on one axis, and those of the groups in the summary."""

from __future__ import annotations

from collections.abc import Sequence

from surfscan.report.comparison_grids import agreement_lines
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.summary_blocks import Block
from surfscan.report.summary_rates import group_rows, rates_drawing, specimen_rows

MOST_GROUPS = 4
_MOST_LINES = 4


def rates_blocks(found: StudyComparison, specimen: str) -> list[Block]:
    """The rates of a specimen on one axis, whether they agree, and how local its loss is."""
    from markupsafe import Markup

    own = found.of(specimen)
    if not own.rates:
        return []
    drawing = rates_drawing(specimen_rows(own.rates), specimen)
    lines = agreement_lines(own)
    more = len(lines) - _MOST_LINES
    lines = [*lines[:_MOST_LINES], *([f"And {more} more in the table of agreement."] if more > 0 else [])]
    lines += [
        f"{rate.method[0].upper()}{rate.method[1:]}: none, {rate.refused}."
        for rate in own.rates
        if rate.refused
    ]
    if own.pit_against_section is not None:
        lines.append(own.pit_against_section.sentence)
    return [
        Block(
            "Rates on one axis",
            (),
            lines,
            drawing=Markup(drawing) if drawing else None,
            links=[("side-by-side", "Legend and all agreements")],
            wide=True,
        )
    ]


def group_rates_block(found: StudyComparison, groups: Sequence[str]) -> list[Block]:
    """Rates of the groups on one axis, for the summary; none where there is no rate."""
    from markupsafe import Markup

    rows = {
        name: [row for row in group_rows(name, found.specimens, named=True) if not row.bound]
        for name in groups
    }
    drawn = [name for name in groups if rows[name]]
    most = sorted(drawn, key=lambda name: -len(rows[name]))[:MOST_GROUPS]
    shown = [name for name in drawn if name in most]
    drawing = rates_drawing([row for name in shown for row in rows[name]], "groups")
    if not drawing:
        return []
    return [
        Block(
            "Rates on one axis",
            (),
            [
                f"Means over specimens; {len(shown)} of {len(drawn)} groups, those with the most methods, "
                "without bounds: all of them under Rates side by side."
            ],
            drawing=Markup(drawing),
            links=[("side-by-side", "Rates side by side")],
            wide=True,
        )
    ]
