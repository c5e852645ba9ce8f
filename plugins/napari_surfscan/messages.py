"""What a panel has to say: one line in plain words, with details to copy."""

from __future__ import annotations

import traceback

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QApplication,
    QHBoxLayout,
    QLabel,
    QPlainTextEdit,
    QPushButton,
    QToolButton,
    QVBoxLayout,
    QWidget,
)

from surfscan.errors import InputError


def words_for(error: BaseException) -> tuple[str, str]:
    """Plain words for an exception, and details to copy.

    Parameters
    ----------
    error : exception
        An `InputError` says itself what is wrong and what to do; anything else is a fault of ours.

    Returns
    -------
    (str, str)
    """
    details = "".join(traceback.format_exception(error))
    if isinstance(error, InputError):
        return str(error), details
    if isinstance(error, MemoryError):
        return "There is not enough memory for this. Close other images, or cut this one.", details
    return (
        "Something went wrong in surfscan itself. Your saved work is safe; copy the details for a report of "
        "the fault.",
        details,
    )


class MessageLine(QWidget):
    """A line at the foot of a panel; hidden while there is nothing to say."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("message_line")
        self.words = QLabel()
        self.words.setObjectName("message")
        self.words.setWordWrap(True)
        self.words.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self._more = QToolButton()
        self._more.setObjectName("details")
        self._more.setText("Details")
        self._more.setToolTip("Show what the program knows about this")
        self._more.setCheckable(True)
        self._more.toggled.connect(self._show_details)
        self._copy = QPushButton("Copy details")
        self._copy.setObjectName("copy_details")
        self._copy.setToolTip("Copy message and details, to pass them on")
        self._copy.clicked.connect(self.copy)
        self._text = QPlainTextEdit()
        self._text.setReadOnly(True)
        self._text.setMaximumHeight(120)
        head = QHBoxLayout()
        head.addWidget(self.words, 1)
        head.addWidget(self._more, 0, Qt.AlignmentFlag.AlignTop)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(head)
        layout.addWidget(self._text)
        layout.addWidget(self._copy)
        self.clear()

    def say(self, words: str, details: str = "") -> None:
        """Show plain words; details, where there are any, on demand."""
        self.words.setText(words)
        self._text.setPlainText(details)
        self._more.setChecked(False)
        self._more.setVisible(bool(details))
        self._show_details(False)
        self.setVisible(bool(words))

    def fail(self, error: BaseException) -> None:
        """Say what an exception means."""
        self.say(*words_for(error))

    def clear(self) -> None:
        """Nothing to say any more."""
        self.say("")

    def copy(self) -> None:
        """Put message and details on the clipboard."""
        QApplication.clipboard().setText(f"{self.words.text()}\n\n{self._text.toPlainText()}")

    def _show_details(self, shown: bool) -> None:
        self._text.setVisible(shown)
        self._copy.setVisible(shown)
