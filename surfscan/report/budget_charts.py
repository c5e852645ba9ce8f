"""Bars of what dominates the uncertainty of each figure."""

from __future__ import annotations

from collections.abc import Sequence

from surfscan.report.budgets import FigureBudget
from surfscan.report.cells import HEADS
from surfscan.report.plotting import label, svg

_WIDTH, _LEFT, _RIGHT = 660.0, 250.0, 10.0
_ROW, _TOP = 22.0, 4.0
_LETTER = 7.4
SHORT = {
    "scale": "scale",
    "edge": "edges",
    "levelling": "levelling",
    "fields": "fields",
    "specimens": "specimens",
    "counting": "counting",
    "hand": "reviewers",
    "fit window": "fit window",
    "reading": "readings",
    "area": "area",
    "time": "time",
    "material": "material",
    "cleaning": "cleaning",
    "other": "other",
}
"""Source -> what stands in its bar."""

_OPACITY = (0.75, 0.45, 0.25, 0.12)


def budget_chart(found: Sequence[FigureBudget], about: str) -> str:
    """One bar a figure, cut into the shares of its variance, the largest first; empty without any.

    Parameters
    ----------
    found : sequence of FigureBudget
        Of one group or specimen.
    about : str
        Its name, for the words that stand for the drawing.
    """
    known = [(each, each.budget.shares_by_source()) for each in found if each.budget.shares()]
    if not known:
        return ""
    wide = _WIDTH - _LEFT - _RIGHT
    parts, said, y = [], [], _TOP
    for each, shares in known:
        parts.append(label(_LEFT - 8, y + 14, _short(each), "end"))
        x = _LEFT
        for k, (source, share) in enumerate(shares.items()):
            w = max(share, 0.0) * wide
            opacity = _OPACITY[min(k, len(_OPACITY) - 1)]
            parts.append(
                f'<rect x="{x:.1f}" y="{y + 2:.1f}" width="{w:.1f}" height="{_ROW - 5:g}" fill="#0072B2" '
                f'fill-opacity="{opacity:g}" stroke="#000" stroke-width="0.8"/>'
            )
            text = f"{SHORT[source]} {100 * share:.0f} %"
            if len(text) * _LETTER < w:
                parts.append(label(x + w / 2, y + 14, text, "middle"))
            x += w
        first, most = next(iter(shares.items()))
        said.append(f"{each.name} {each.budget.figure} {SHORT[first]} {100 * most:.0f} %")
        y += _ROW
    return svg(parts, _WIDTH, y + 6, f"Shares of the variance of figures of {about}: {'; '.join(said)}")


def _short(each: FigureBudget) -> str:
    text = each.budget.figure.removeprefix("mean ").removesuffix(f" of {each.name}")
    text = HEADS[each.figure][0] if each.figure in HEADS else text[0].upper() + text[1:]
    text = text.replace("polarization resistance", "polarization res.")
    return text if len(text) <= 33 else f"{text[:32]}…"
