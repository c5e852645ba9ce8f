"""Blocks that a summary is made of: a title, figures said large, lines below them, a verdict, a drawing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from surfscan.report.cells import Cell

if TYPE_CHECKING:
    from markupsafe import Markup

State = Literal["", "good", "doubt", "bad"]
"""How a block stands; its badge says the same in words."""


@dataclass(frozen=True)
class Shown(Cell):
    """A figure that a block says large.

    Attributes
    ----------
    after : str
        What follows it in small: unit, interval.
    whose : str
        Specimen or image whose it is; empty where it is of all.
    """

    after: str = ""
    whose: str = ""


@dataclass(frozen=True)
class Block:
    """One thing that a summary says.

    Attributes
    ----------
    title : str
    headline : sequence of Shown
        What is read first.
    lines : sequence of str
        Short sentences below it.
    badge : str
        A verdict in a few words.
    state : str
        How it stands, for the colour of the badge.
    drawing : Markup or None
        An SVG with its own label.
    links : sequence of (str, str)
        Anchors of the page with their text.
    wide : bool
        Whether it takes the whole width, as a drawing does.
    """

    title: str
    headline: Sequence[Shown] = ()
    lines: Sequence[str] = ()
    badge: str = ""
    state: State = ""
    drawing: Markup | None = None
    links: Sequence[tuple[str, str]] = ()
    wide: bool = False
