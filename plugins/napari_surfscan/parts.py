"""Small parts that panels are built of."""

from __future__ import annotations

from qtpy.QtCore import Qt
from qtpy.QtWidgets import QHBoxLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget


def words(name: str) -> QLabel:
    """A label that wraps and may be copied from."""
    label = QLabel()
    label.setObjectName(name)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label


def button(name: str, text: str, tip: str) -> QPushButton:
    """A button that says what it does."""
    out = QPushButton(text)
    out.setObjectName(name)
    out.setToolTip(tip)
    return out


def row(*widgets: QWidget, stretch: QWidget | None = None) -> QHBoxLayout:
    """Widgets side by side; one of them takes what room is left."""
    out = QHBoxLayout()
    out.setSpacing(4)
    for widget in widgets:
        out.addWidget(widget, int(widget is stretch))
    return out


def scrolled(owner: QWidget, *widgets: QWidget) -> None:
    """Put widgets one below the other into a panel that scrolls up and down only."""
    whole = QWidget()
    column = QVBoxLayout(whole)
    column.setContentsMargins(6, 6, 6, 6)
    for widget in widgets:
        column.addWidget(widget)
    column.addStretch(1)
    scroll = QScrollArea()
    scroll.setWidgetResizable(True)
    scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    scroll.setWidget(whole)
    layout = QVBoxLayout(owner)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.addWidget(scroll)
