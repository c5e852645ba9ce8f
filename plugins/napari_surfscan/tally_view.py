"""The tally of a review: what it comes to now, and how far that is from the automatic result."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from qtpy.QtWidgets import QGridLayout, QLabel, QVBoxLayout, QWidget

from surfscan.report.rounding import NO_VALUE, at_least, round_to_interval, significant

if TYPE_CHECKING:
    from surfscan.corrections.class_review import ClassTally
    from surfscan.corrections.tally import Tally

_CHANGE = "Change against the automatic result; % pts are percentage points, a difference of two shares"
_POINTS = "% pts"
_NOISE = 1e-9
"""Figures that differ by less than this share are the same: sums in another order differ as much."""


def pit_lines(tally: Tally) -> list[tuple[str, str, str]]:
    """Rows of the tally of pits: name, value with unit and interval, change against the automatic result.

    Parameters
    ----------
    tally : surfscan.corrections.tally.Tally
    """
    was = tally.automatic or tally
    count = tally.pit_count - was.pit_count
    lines = [("Pits", str(tally.pit_count), f"{count:+d}".replace("-", "−") if count else "±0")]
    if tally.density_per_mpx is None:
        figure = figure_in_words(tally.density_per_mm2, tally.density_per_mm2_ci95, "/mm²")
        lines.append(("Density", figure, change_in_words(tally.density_per_mm2, was.density_per_mm2, "/mm²")))
    else:
        figure = figure_in_words(tally.density_per_mpx, tally.density_per_mpx_ci95, "/Mpx")
        lines.append(("Density", figure, change_in_words(tally.density_per_mpx, was.density_per_mpx, "/Mpx")))
    figure = figure_in_words(tally.area_fraction, tally.area_fraction_ci95, "%", scale=100)
    change = change_in_words(tally.area_fraction, was.area_fraction, _POINTS, scale=100)
    lines.append(("Pit area", figure, change))
    if tally.deepest_um is not None or was.deepest_um is not None:
        depth = figure_in_words(tally.deepest_um, None, "µm")
        change = change_in_words(tally.deepest_um, was.deepest_um, "µm")
        lines.append(("Deepest", at_least(depth, tally.deepest_is_lower_bound), change))
    return lines


def change_in_words(now: float | None, before: float | None, unit: str, *, scale: float = 1.0) -> str:
    """The change against the automatic result with its unit: "+19 /mm²", "−0.13 % pts", "±0"."""
    if now is None or before is None:
        return NO_VALUE
    change = (now - before) * scale
    if abs(change) <= _NOISE * abs(before * scale):
        return "±0"
    sign = "+" if change > 0 else "−"
    return f"{sign}{significant(abs(change), 2)} {unit}"


def figure_in_words(
    value: float | None, ci95: Sequence[float] | None, unit: str, *, scale: float = 1.0
) -> str:
    """A figure with its 95 % interval and its unit, rounded to the interval: "12.1 (8.4 to 16.9) /mm²"."""
    if value is None or math.isnan(value):
        return NO_VALUE
    low, high = (None, None) if ci95 is None else ci95
    number = round_to_interval(value, low, high, scale=scale)
    interval = f" ({number.interval})" if number.has_interval else ""
    return f"{number.value}{interval} {unit}"


def class_lines(tally: ClassTally) -> list[tuple[str, str, str]]:
    """The same of a mask of classes: areas by class in px, and the share that is reported.

    Parameters
    ----------
    tally : surfscan.corrections.class_review.ClassTally
    """
    was = tally.automatic or tally
    lines = []
    for name, value, ci95, before in (
        ("Degraded", tally.degraded_fraction, tally.degraded_fraction_ci95, was.degraded_fraction),
        ("Tarnished", tally.tarnished_fraction, tally.tarnished_fraction_ci95, was.tarnished_fraction),
        ("Metal left", tally.remaining_fraction, None, was.remaining_fraction),
    ):
        if value is not None:
            figure = figure_in_words(value, ci95, "%", scale=100)
            lines.append((name, figure, change_in_words(value, before, _POINTS, scale=100)))
    if tally.metal_area_um2 is not None:
        figure = figure_in_words(tally.metal_area_um2, None, "µm²")
        lines.append(("Metal", figure, change_in_words(tally.metal_area_um2, was.metal_area_um2, "µm²")))
    if not lines:
        for name, pixels in tally.areas_px.items():
            change = change_in_words(pixels, was.areas_px[name], "px")
            lines.append((name[0].upper() + name[1:], f"{pixels} px", change))
    return lines


class TallyView(QWidget):
    """Four figures with intervals and units; each with its change against the automatic result."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("tally")
        self._grid = QGridLayout()
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setHorizontalSpacing(6)
        self._grid.setVerticalSpacing(1)
        self._grid.setColumnStretch(1, 1)
        self._cells: dict[str, tuple[QLabel, QLabel, QLabel]] = {}
        self._head = tuple(QLabel(f"<small>{text}</small>") for text in ("", "now (95 % interval)", "change"))
        for column, cell in enumerate(self._head):
            self._grid.addWidget(cell, 0, column)
        self._head[2].setToolTip(_CHANGE)
        self._empty = QLabel("No figures yet: run a procedure.")
        self._empty.setWordWrap(True)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._empty)
        layout.addLayout(self._grid)

    def show_lines(self, lines: list[tuple[str, str, str]]) -> None:
        """Show rows of (name, value with unit and interval, change against the automatic result)."""
        self._empty.setVisible(not lines)
        for cell in self._head:
            cell.setVisible(bool(lines))
        for place, (name, value, change) in enumerate(lines):
            key = str(place)
            if key not in self._cells:
                cells = (QLabel(), QLabel(), QLabel())
                for column, cell in enumerate(cells):
                    self._grid.addWidget(cell, place + 1, column)
                cells[0].setObjectName(f"tally_name_{place}")
                cells[1].setObjectName(f"tally_value_{place}")
                cells[2].setObjectName(f"tally_change_{place}")
                cells[2].setToolTip(_CHANGE)
                self._cells[key] = cells
            for cell, text in zip(self._cells[key], (name, value, change), strict=True):
                if cell.text() != text:
                    cell.setText(text)
                cell.setVisible(True)
        for key, cells in self._cells.items():
            if int(key) >= len(lines):
                for cell in cells:
                    cell.setVisible(False)

    def text(self) -> str:
        """All of it in one text, row by row."""
        return "\n".join(
            "  ".join(cell.text() for cell in cells)
            for cells in self._cells.values()
            if not cells[0].isHidden()
        )
