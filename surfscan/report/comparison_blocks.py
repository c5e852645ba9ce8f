"""Blocks of the page on rates: those of one specimen on one axis, and those of the groups in the summary."""

from __future__ import annotations

from collections.abc import Sequence

from surfscan.report.comparison_grids import agreement_lines
from surfscan.report.comparison_page import agreement_sentences
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.summary_blocks import Block
from surfscan.report.summary_rates import group_rows, rates_drawing, specimen_rows

MOST_GROUPS = 4
_MARKS = (
    "Cross: mean over specimens, the small circles, with its 95\u00a0% interval from three on; dashed: "
    "measured on twins. Filled circle: one average; diamond: one moment. ↑ the method is known to read low, "
    "↓ high."
)
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
            f"Rates of {specimen} on one axis",
            (),
            lines,
            drawing=Markup(drawing) if drawing else None,
            links=[("side-by-side", "Legend and all agreements")],
            wide=True,
        )
    ]


def _left_out(shown: int, drawn: int, *, bounds: bool) -> list[str]:
    """That the drawing holds some of the groups only, or no bounds; nothing where it holds all."""
    if shown == drawn:
        return ["Rates known only as bounds stand under Rates side by side."] if bounds else []
    others = "the others, and rates known only as bounds," if bounds else "the others"
    return [
        f"{shown} of {drawn} groups, those with the most methods; {others} stand under Rates side by side."
    ]


def group_rates_block(found: StudyComparison, groups: Sequence[str]) -> list[Block]:
    """Rates of the groups on one axis, for the summary; none where there is no rate."""
    from markupsafe import Markup

    every = {name: group_rows(name, found.specimens, named=True) for name in groups}
    rows = {name: [row for row in own if not row.bound] for name, own in every.items()}
    bounds = any(row.bound for own in every.values() for row in own)
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
            [*_left_out(len(shown), len(drawn), bounds=bounds), agreement_sentences(found)[0], _MARKS],
            drawing=Markup(drawing),
            links=[("side-by-side", "Rates side by side")],
            wide=True,
        )
    ]
