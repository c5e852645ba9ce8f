"""Saving a correction: who, why, what changed, and whether it is on the disk."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from qtpy.QtCore import Signal
from qtpy.QtWidgets import (
    QComboBox,
    QFormLayout,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QSizePolicy,
    QVBoxLayout,
    QWidget,
)

from surfscan.report.rounding import significant

REASONS = {
    "pits": (
        "Stains or dirt were counted as pits",
        "Scratches were counted as pits",
        "Pits were missed",
        "Touching pits were counted as one",
        "One pit was counted as several",
        "Outlines did not follow the pits",
        "Looked through, nothing to change",
    ),
    "degraded": (
        "Shade or glare was taken for degraded surface",
        "Degraded surface was missed",
        "The class boundary lay wrong",
        "Looked through, nothing to change",
    ),
    "section": (
        "Product was taken for metal",
        "Metal was taken for product",
        "A polishing mark was taken for loss",
        "Looked through, nothing to change",
    ),
}
"""Common reasons by what is corrected (common practice, no source); any other may be written."""

_COUNTS = (
    ("rejected_count", "rejected", "rejected_area_px"),
    ("added_count", "added", "added_area_px"),
    ("split_count", "split", ""),
    ("merged_count", "merged", ""),
    ("outline_moved_count", "outline moved", "moved_area_px"),
    ("unsure_count", "not sure", ""),
)

_AREAS = (
    ("added_area_px", "added by hand"),
    ("rejected_area_px", "taken away by hand"),
    ("moved_area_px", "moved between the other classes"),
)


def changes_in_words(changes: Mapping[str, Any], pixel_area_um2: float | None) -> str:
    """What changed, in words and numbers: "2 rejected (310 µm²), 1 added (42 µm²).".

    Parameters
    ----------
    changes : mapping
        `surfscan.corrections.changes.Changes.as_dict`.
    pixel_area_um2 : float or None
        Area of a pixel; None where the scale is unknown: areas are then in px.
    """
    if not any(changes.get(count) for count, *_ in _COUNTS):
        return _classes_in_words(changes, pixel_area_um2)
    parts = []
    for count, word, area in _COUNTS:
        number = changes.get(count) or 0
        if not number:
            continue
        pixels = changes.get(area) if area else None
        parts.append(f"{number} {word}" + (f" ({area_in_words(pixels, pixel_area_um2)})" if pixels else ""))
    share = changes.get("area_by_hand_fraction")
    tail = f". {significant(100 * share, 2)} % of the area is by hand" if share else ""
    return f"{', '.join(parts)}{tail}."


def _classes_in_words(changes: Mapping[str, Any], pixel_area_um2: float | None) -> str:
    """The same of a mask of classes, which has areas alone."""
    parts = [
        f"{area_in_words(changes[name], pixel_area_um2)} {words}"
        for name, words in _AREAS
        if changes.get(name)
    ]
    return f"{', '.join(parts)}." if parts else "Nothing has changed against the automatic result."


def area_in_words(pixels: float, pixel_area_um2: float | None) -> str:
    """An area with its unit."""
    if pixel_area_um2 is None:
        return f"{pixels:.0f} px"
    return f"{significant(pixels * pixel_area_um2)} µm²"


class SaveBox(QWidget):
    """Reviewer, reason, what changed, and the button that saves.

    Signals
    -------
    wanted (reviewer, reason)
        The person wants what is on the screen saved.
    reviewer_named (str)
    """

    wanted = Signal(str, str)
    reviewer_named = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("save_box")
        self.reviewer = QLineEdit()
        self.reviewer.setObjectName("reviewer")
        self.reviewer.setPlaceholderText("your name")
        self.reviewer.setToolTip("Stands in the correction and in the report")
        self.reviewer.editingFinished.connect(lambda: self.reviewer_named.emit(self.reviewer.text().strip()))
        self.reviewer.textChanged.connect(self._update)
        self.reason = QComboBox()
        self.reason.setObjectName("reason")
        self.reason.setEditable(True)
        self.reason.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.reason.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.reason.setMinimumContentsLength(12)
        self.reason.setToolTip("Why the automatic result was corrected: choose one, or write your own")
        self.reason.editTextChanged.connect(self._update)
        self.reason.activated.connect(lambda _: self.reason.lineEdit().setCursorPosition(0))
        self.changes = QLabel()
        self.changes.setObjectName("changes")
        self.changes.setWordWrap(True)
        self.state = QLabel()
        self.state.setObjectName("saved_state")
        self.state.setWordWrap(True)
        self.save = QPushButton("Save correction")
        self.save.setObjectName("save")
        self.save.clicked.connect(
            lambda: self.wanted.emit(self.reviewer.text().strip(), self.reason.currentText().strip())
        )
        form = QFormLayout()
        form.setContentsMargins(0, 0, 0, 0)
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.ExpandingFieldsGrow)
        form.addRow("Reviewer", self.reviewer)
        form.addRow("Reason", self.reason)
        foot = QHBoxLayout()
        foot.addWidget(self.state, 1)
        foot.addWidget(self.save)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        layout.addLayout(form)
        layout.addWidget(self.changes)
        layout.addLayout(foot)
        self._hindrance = "Nothing is open."
        self._procedure = ""
        self._is_saving = False
        self._update()

    def offer(self, procedure: str, hindrance: str = "") -> None:
        """Offer the reasons of a procedure; `hindrance` says why nothing can be saved, where that is so."""
        self._hindrance = hindrance
        if procedure != self._procedure:
            self._procedure = procedure
            self.reason.blockSignals(True)
            self.reason.clear()
            self.reason.addItems(REASONS.get(procedure, ()))
            self.reason.setCurrentIndex(-1)
            self.reason.setEditText("")
            self.reason.lineEdit().setPlaceholderText("why; choose or write")
            self.reason.blockSignals(False)
        self._update()

    def show_changes(self, words: str) -> None:
        """What would be saved."""
        self.changes.setText(words)

    def show_state(self, words: str, *, is_saving: bool = False) -> None:
        """Whether it is on the disk."""
        self._is_saving = is_saving
        self.state.setText(words)
        self._update()

    def _update(self, *_: object) -> None:
        missing = self._hindrance
        if not missing and self._is_saving:
            missing = "Saving"
        if not missing and not self.reviewer.text().strip():
            missing = "Write your name first"
        if not missing and not self.reason.currentText().strip():
            missing = "Give a reason first"
        self.save.setEnabled(not missing)
        self.save.setToolTip(missing or "Save beside the automatic result, which stays as it is")
