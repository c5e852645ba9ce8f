"""The essentials of a study for a terminal: what the summary of its page says, in the same words."""

from __future__ import annotations

import textwrap
from collections.abc import Sequence

from surfscan.report.rounding import round_to_interval
from surfscan.report.study_comparison import StudyComparison
from surfscan.report.summary_blocks import Block
from surfscan.report.summary_rates import RateRow, group_rows, rate_words

_WIDTH = 100


def essentials_lines(
    blocks: Sequence[Block], found: StudyComparison | None, groups: Sequence[str]
) -> list[str]:
    """Lines of the essentials, without line breaks.

    Parameters
    ----------
    blocks : sequence of Block
        Of the study summary; drawings are left out.
    found : StudyComparison or None
        For the rates, which the page draws.
    groups : sequence of str
        Groups whose rates are said.
    """
    out = []
    for block in blocks:
        if block.drawing is not None:
            out += _rates(found, groups)
            continue
        head = "; ".join(f"{shown.text} {shown.after}".strip() for shown in block.headline)
        said = ". ".join(filter(None, [block.badge, head]))
        out += _wrapped(f"{block.title}: {said}" if said else block.title, "")
        for line in block.lines:
            out += _wrapped(line, "  ")
    return [line.replace("\u00a0", " ") for line in out]


def _rates(found: StudyComparison | None, groups: Sequence[str]) -> list[str]:
    """Rates of the groups with their intervals, averages before moments."""
    if found is None:
        return []
    out = ["Penetration rates (mm/y, 95 % interval), averages over the exposure before moments of sweeps"]
    for group in groups:
        rows = [row for row in group_rows(group, found.specimens) if not row.refused]
        if rows:
            out.append(f"  {group}")
            out += [f"    {row.block.split(' ')[0].lower().rstrip('s')}  {_row(row)}" for row in rows]
    return out if len(out) > 1 else []


def _row(row: RateRow) -> str:
    number = round_to_interval(row.value, row.low, row.high)
    interval = f" ({number.interval})" if number.has_interval else ""
    bias = f", {row.bias}" if row.bias else ""
    return f"{row.name}: {rate_words(row)}{interval}{bias}"


def _wrapped(text: str, indent: str) -> list[str]:
    return textwrap.wrap(
        text,
        _WIDTH,
        initial_indent=indent,
        subsequent_indent=f"{indent}  ",
        break_long_words=False,
        break_on_hyphens=False,
    )
