"""Small parts that panels are built of."""

from __future__ import annotations

from collections.abc import Callable

from qtpy.QtCore import QEvent, QObject, Qt
from qtpy.QtGui import QResizeEvent
from qtpy.QtWidgets import QHBoxLayout, QLabel, QPushButton, QScrollArea, QVBoxLayout, QWidget


class Words(QLabel):
    """A label that wraps, may be copied from, and keeps the height that its text needs."""

    def __init__(self) -> None:
        super().__init__()
        self.setWordWrap(True)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)

    def setText(self, text: str) -> None:
        """Show a text."""
        super().setText(text)
        fit(self)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrap anew."""
        super().resizeEvent(event)
        fit(self)


def words(name: str) -> Words:
    """A label of that kind."""
    label = Words()
    label.setObjectName(name)
    return label


def fit(label: QLabel) -> None:
    """Let a wrapped label have the height of its text: in a scroll area layouts squeeze it otherwise."""
    label.setMinimumHeight(max(label.heightForWidth(label.width()), 0))


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


class OnceRemoved(QObject):
    """Tells once when a panel is taken out of its dock, or destroyed with its window.

    Parameters
    ----------
    panel : QWidget
    act : callable
        Must not touch widgets.
    """

    def __init__(self, panel: QWidget, act: Callable[[], object]) -> None:
        super().__init__(panel)
        self._act: Callable[[], object] | None = act
        panel.installEventFilter(self)
        panel.destroyed.connect(lambda: self._tell())

    def eventFilter(self, panel: QObject, event: QEvent) -> bool:
        """Look out for the removal; the event goes on as ever."""
        if event.type() == QEvent.Type.ParentChange and panel.parent() is None:
            self._tell()
        return False

    def _tell(self) -> None:
        act, self._act = self._act, None
        if act is not None:
            act()
