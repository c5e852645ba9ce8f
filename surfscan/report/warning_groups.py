"""Warnings grouped by what they say, so that one fault on 200 images is one line."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from surfscan.columns import GROUP_FIGURES

_FIGURES = "|".join(re.escape(words) for _, words in sorted(GROUP_FIGURES.values(), key=lambda f: -len(f[1])))


@dataclass
class WarningGroup:
    """Warnings that say the same, numbers apart.

    Attributes
    ----------
    text : str
        The first of them, word for word.
    where : list of str
        What they are about, each once.
    alike : bool
        Whether all texts are equal; else they differ in their numbers or names.
    """

    text: str
    where: list[str] = field(default_factory=list)
    alike: bool = True


def group_warnings(warnings: Iterable[tuple[str, str]]) -> list[WarningGroup]:
    """Group (where, text) pairs; the most frequent first, else in order of appearance."""
    groups: dict[str, WarningGroup] = {}
    for where, text in warnings:
        group = groups.setdefault(_pattern(text), WarningGroup(text))
        group.alike = group.alike and text == group.text
        if where not in group.where:
            group.where.append(where)
    return sorted(groups.values(), key=lambda g: -len(g.where))


def _pattern(text: str) -> str:
    """The text with numbers, quoted names, file names and leading figures blanked and plurals levelled."""
    text = re.sub(rf"^(?:{_FIGURES})(?:, (?:{_FIGURES}))*: ", "", text, flags=re.IGNORECASE)
    text = re.sub(r"'[^']*'|\"[^\"]*\"", "#", text)
    text = re.sub(
        r"\S+\.(?:tiff?|png|jpe?g|bmp|csv|sdf|x3p|npy|txt|asc|xyz|dat)(?:#\d+)?,?",
        "#",
        text,
        flags=re.IGNORECASE,
    )
    text = re.sub(r"\d+(?:[.,]\d+)*", "#", text)
    text = re.sub(r"\b(field|specimen|image|pit)s\b", r"\1", text)
    return re.sub(r"(?:# )+#|#", "#", text)
