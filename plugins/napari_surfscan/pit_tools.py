"""Buttons and table for pits: every button names its key, and works on what is selected."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from qtpy.QtCore import QItemSelection, QItemSelectionModel, Qt, QTimer
from qtpy.QtGui import QKeyEvent, QKeySequence
from qtpy.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.pit_editing import PitEditing
from napari_surfscan.pit_table import PitTableModel

_BUTTONS = (
    ("reject", "✕ Reject", "R", "Take the selected pits out of the count"),
    ("accept", "✓ Accept", "A", "Count the selected pits; brings rejected ones back"),
    ("unsure", "? Not sure", "U", "Mark for another look; the pit counts until rejected"),
    ("add", "Add", "I", "Paint a pit that was missed"),
    ("repaint", "Repaint", "T", "Paint more of the selected pit; erase with the eraser of the layer"),
    ("split", "Split", "S", "Part the selected pit at its neck"),
    ("cut", "Cut", "C", "Part a pit along a line: drag across it"),
    ("merge", "Merge", "J", "Make one pit of those selected (Shift and click selects more)"),
    ("undo", "Undo", "Ctrl+Z", "Take the last edit back, brush strokes too"),
    ("redo", "Redo", "Ctrl+Shift+Z", "Bring back what was taken back"),
    ("walk_back", "◀ Doubt", "Shift+N", "The doubtful pit before"),
    ("walk_next", "Doubt ▶", "N", "The pit nearest the limits that nobody has settled yet"),
)
_COLUMNS = 4
_REST_MS = 400
"""How long after an edit the whole table is filled again, since neighbours' distances may have changed."""

LEGEND = (
    "Outline: <span style='color:#D55E00'>plain</span> found, "
    "<span style='color:#CC79A7'>dashed</span> by hand, "
    "<span style='color:#F0E442'>+</span> near a limit, <span style='color:#F0E442'>?</span> not sure, "
    "<span style='color:#999999'>dotted ✕</span> rejected"
)


class PitTools(QWidget):
    """What a person does with pits, beside the picture."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.editing: PitEditing | None = None
        self.model = PitTableModel(self)
        self.buttons: dict[str, QPushButton] = {}
        grid = QGridLayout()
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setSpacing(3)
        for place, (name, text, key, says) in enumerate(_BUTTONS):
            button = QPushButton(text)
            button.setObjectName(name)
            button.setToolTip(
                f"{says} ({QKeySequence(key).toString(QKeySequence.SequenceFormat.NativeText)})"
            )
            button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
            button.clicked.connect(lambda _=False, act=name: self.act(act))
            self.buttons[name] = button
            grid.addWidget(button, place // _COLUMNS, place % _COLUMNS)
        self.hide_settled = QCheckBox("Hide settled")
        self.hide_settled.setObjectName("hide_settled")
        self.hide_settled.setToolTip("Leave pits out of the table that a person has decided on (H)")
        self.hide_settled.toggled.connect(self._hide)
        self.waiting = QLabel()
        self.waiting.setObjectName("waiting")
        self.table = _KeyTable({b[2]: b[0] for b in _BUTTONS} | {"H": ""}, self._on_key)
        self.table.setObjectName("pits_table")
        self.table.setModel(self.model)
        self.table.setSortingEnabled(True)
        self.table.sortByColumn(0, Qt.SortOrder.AscendingOrder)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setWordWrap(False)
        self.table.setMinimumHeight(140)
        self.table.verticalHeader().setVisible(False)
        self.table.verticalHeader().setDefaultSectionSize(20)
        self.table.horizontalHeader().setDefaultSectionSize(72)
        self.table.horizontalHeader().setHighlightSections(False)
        self.table.selectionModel().selectionChanged.connect(self._on_rows)
        legend = QLabel(LEGEND)
        legend.setObjectName("legend")
        legend.setWordWrap(True)
        foot = QHBoxLayout()
        foot.addWidget(self.hide_settled)
        foot.addWidget(self.waiting, 1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 3, 0, 0)
        layout.setSpacing(3)
        layout.addLayout(grid)
        layout.addLayout(foot)
        layout.addWidget(self.table, 1)
        layout.addWidget(legend)
        self._is_selecting = False
        self._row = 0
        self._later = QTimer(self)
        self._later.setSingleShot(True)
        self._later.setInterval(_REST_MS)
        self._later.timeout.connect(self.fill)
        self.setEnabled(False)

    def follow(self, editing: PitEditing | None) -> None:
        """Show another review; None where there is none."""
        self._later.stop()
        if self.editing is not None:
            self.editing.edited.disconnect(self._on_edit)
            self.editing.selected.disconnect(self._on_selected)
        self.editing = editing
        self.setEnabled(editing is not None)
        if editing is None:
            self.model.show_rows({})
            self.waiting.setText("")
            return
        editing.edited.connect(self._on_edit)
        editing.selected.connect(self._on_selected)
        editing.painted.bind_key("H", lambda _: self.hide_settled.toggle(), overwrite=True)
        self.fill(in_place=False)
        self.table.resizeColumnsToContents()

    def fill(self, *, in_place: bool = True) -> None:
        """Fill the whole table from the review; rows stay `in_place` though their values have changed."""
        if self.editing is None:
            return
        self.model.show_rows(self.editing.review.rows(), in_place=in_place)
        self.editing.sort_doubts()
        self._hide()

    def act(self, name: str) -> None:
        """Do what a button stands for."""
        editing = self.editing
        if editing is None:
            return
        {
            "reject": editing.reject,
            "accept": editing.accept,
            "unsure": editing.mark_unsure,
            "add": editing.start_adding,
            "repaint": editing.start_repainting,
            "split": editing.split,
            "cut": editing.start_cutting,
            "merge": editing.merge,
            "undo": editing.undo,
            "redo": editing.redo,
            "walk_next": editing.walk_next,
            "walk_back": editing.walk_back,
        }[name]()

    def _on_key(self, name: str) -> None:
        if name:
            self.act(name)
        else:
            self.hide_settled.toggle()

    def _on_edit(self, edit: Any) -> None:
        rows = self.editing.touched
        self.model.change_rows(rows, gone=[pit for pit in edit.ids_touched if pit not in rows])
        self._hide()
        self._later.start()

    def _hide(self, *_: object) -> None:
        if self.editing is None:
            return
        self._is_selecting = True
        self.model.hide(self.editing.settled if self.hide_settled.isChecked() else ())
        self._is_selecting = False
        self.waiting.setText(self.editing.waiting_in_words())
        self._show_selection()

    def _on_selected(self, _: Any) -> None:
        self._show_selection()

    def _show_selection(self) -> None:
        """Select in the table what is selected in the picture."""
        chosen = self.editing.selection if self.editing is not None else ()
        selection = QItemSelection()
        rows = [row for pit in chosen if (row := self.model.row_of(pit)) is not None]
        for row in rows:
            selection.select(self.model.index(row, 0), self.model.index(row, self.model.columnCount() - 1))
        self._is_selecting = True
        self.table.selectionModel().select(
            selection,
            QItemSelectionModel.SelectionFlag.ClearAndSelect | QItemSelectionModel.SelectionFlag.Rows,
        )
        if rows:
            self.table.scrollTo(self.model.index(rows[0], 0))
        self._stay(rows, is_hidden=bool(chosen) and not rows)
        self._is_selecting = False

    def _stay(self, rows: list[int], *, is_hidden: bool) -> None:
        """Let the arrow keys go on from the selected row; from where it was, when it has just been hidden."""
        marks = self.table.selectionModel()
        if rows:
            self._row = rows[0]
            wanted = self._row if marks.currentIndex().row() not in rows else None
        else:
            wanted = min(self._row, self.model.rowCount()) - 1 if is_hidden else None
        if wanted is not None:
            index = self.model.index(wanted, max(marks.currentIndex().column(), 0))
            marks.setCurrentIndex(index, QItemSelectionModel.SelectionFlag.NoUpdate)

    def _on_rows(self, *_: object) -> None:
        if self._is_selecting or self.editing is None:
            return
        pits = [self.model.id_at(index.row()) for index in self.table.selectionModel().selectedRows()]
        current = self.table.currentIndex()
        first = self.model.id_at(current.row()) if current.isValid() else None
        pits.sort(key=lambda pit: pit != first)
        self._is_selecting = True
        self.editing.select(pits, fly=True)
        self._is_selecting = False


class _KeyTable(QTableView):
    """A table over which keys do what they do over the picture."""

    def __init__(self, keys: Mapping[str, str], act: Callable[[str], object]) -> None:
        super().__init__()
        self._keys = keys
        self._act = act

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = QKeySequence(event.keyCombination()).toString(QKeySequence.SequenceFormat.PortableText)
        if key in self._keys:
            self._act(self._keys[key])
        else:
            super().keyPressEvent(event)
