"""The study: its specimens and images with their state, and the way from one to the next."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from qtpy.QtCore import Qt
from qtpy.QtGui import QKeySequence
from qtpy.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QShortcut,
    QTreeWidget,
    QTreeWidgetItem,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.messages import MessageLine
from napari_surfscan.session import session_of
from surfscan.study.remembered import remember

if TYPE_CHECKING:
    import napari.viewer

    from surfscan.study.entries import Study
    from surfscan.study.reviews import OpenedImage

MARKS = {
    "not measured": "○",
    "measured": "◐",
    "reviewed": "●",
    "stale": "↻",
    "failed": "✕",
}
"""State -> the mark before its name."""

_LOOKING = "…"
_EXPLAINED = {
    "not measured": "Nothing has been measured on it yet: run 'surfscan measure', or measure it here.",
    "measured": "Measured; nobody has reviewed it yet.",
    "reviewed": "A reviewed result is in force.",
    "stale": "Its file, settings or scale changed since it was measured: run 'surfscan measure' again.",
    "failed": "It could not be measured.",
}
_NO_STUDY = (
    "No study is open.\n\nOpen one here, or drop its folder or study.toml onto the viewer. To begin one, put "
    "images in a folder and run 'surfscan start FOLDER'; 'surfscan demo' makes one to try.\n\nSingle images "
    "dropped onto the viewer can be measured too (choose surfscan where napari asks for a reader), but a "
    "correction is saved only within a study."
)
_IMAGE = Qt.ItemDataRole.UserRole


class StudyPanel(QWidget):
    """Specimens and images of the open study.

    Parameters
    ----------
    viewer : napari.Viewer
    """

    def __init__(self, viewer: napari.viewer.Viewer) -> None:
        super().__init__()
        self.session = session_of(viewer)
        self._rows: dict[str, QTreeWidgetItem] = {}
        self.title = QLabel()
        self.title.setObjectName("study_title")
        self.title.setWordWrap(True)
        self.open = QPushButton("Open…")
        self.open.setObjectName("open_study")
        self.open.setToolTip("Open a study.toml")
        self.open.clicked.connect(self._choose)
        self.empty = QLabel(_NO_STUDY)
        self.empty.setObjectName("no_study")
        self.empty.setWordWrap(True)
        self.filter = QLineEdit()
        self.filter.setObjectName("filter")
        self.filter.setPlaceholderText("Filter")
        self.filter.setToolTip("Show only images whose specimen, group or file name holds this")
        self.filter.setClearButtonEnabled(True)
        self.filter.textChanged.connect(self._apply_filter)
        self.states = QComboBox()
        self.states.setObjectName("state_filter")
        self.states.setToolTip("Show only images in this state")
        self.states.addItem("any state", "")
        for state, mark in MARKS.items():
            self.states.addItem(f"{mark} {state}", state)
        self.states.currentIndexChanged.connect(self._apply_filter)
        self.list = QTreeWidget()
        self.list.setObjectName("images")
        self.list.setHeaderLabels(["Image", "State"])
        self.list.setUniformRowHeights(True)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.list.itemActivated.connect(self._open_item)
        self.list.itemClicked.connect(self._open_item)
        self.counts = QLabel()
        self.counts.setObjectName("counts")
        self.counts.setWordWrap(True)
        self.progress = QProgressBar()
        self.progress.setObjectName("progress")
        self.progress.setTextVisible(True)
        self.previous = self._step_button("previous", "◀ Previous", "Ctrl+PgUp", self.session.previous)
        self.next = self._step_button("next", "Next ▶", "Ctrl+PgDown", self.session.next)
        self.messages = MessageLine()
        self._lay_out()
        self._connect()
        self._show_study()
        session = self.session
        self.destroyed.connect(lambda: session.give_up())

    def _step_button(self, name: str, text: str, keys: str, act: Any) -> QPushButton:
        button = QPushButton(text)
        button.setObjectName(name)
        shown = QKeySequence(keys).toString(QKeySequence.SequenceFormat.NativeText)
        button.setToolTip(f"{name.capitalize()} image of those listed ({shown})")
        step = 1 if name == "next" else -1
        button.clicked.connect(lambda: self._step(step))
        shortcut = QShortcut(QKeySequence(keys), self)
        shortcut.setContext(Qt.ShortcutContext.WindowShortcut)
        shortcut.activated.connect(button.click)
        return button

    def _lay_out(self) -> None:
        filters = QHBoxLayout()
        filters.addWidget(self.filter, 1)
        filters.addWidget(self.states)
        steps = QHBoxLayout()
        steps.addWidget(self.previous)
        steps.addWidget(self.next)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 6, 6, 6)
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.open, 0, Qt.AlignmentFlag.AlignTop)
        layout.addWidget(self.empty)
        layout.addLayout(head)
        layout.addLayout(filters)
        layout.addWidget(self.list, 1)
        layout.addWidget(self.progress)
        layout.addWidget(self.counts)
        layout.addLayout(steps)
        layout.addWidget(self.messages)
        layout.addStretch(0)

    def _connect(self) -> None:
        session = self.session
        session.study_opened.connect(self._show_study)
        session.items_changed.connect(self._show_states)
        session.image_opened.connect(self._show_open)
        session.busy.connect(self._show_busy)
        session.looking.connect(self._show_looking)
        session.message.connect(self.messages.say)

    def _choose(self) -> None:
        start = str(self.session.study.folder) if self.session.study else str(Path.home())
        name, _ = QFileDialog.getOpenFileName(self, "Open study", start, "Study (study.toml)")
        if name:
            self.session.open_study(name)

    def _show_study(self, _: Study | None = None) -> None:
        study = self.session.study
        self.empty.setVisible(study is None)
        for widget in (
            self.title,
            self.filter,
            self.states,
            self.list,
            self.counts,
            self.previous,
            self.next,
        ):
            widget.setVisible(study is not None)
        self.progress.setVisible(False)
        self.messages.clear()
        self._rows = {}
        self.list.clear()
        if study is None:
            return
        self.title.setText(f"<b>{_plain(study.title)}</b><br>{_plain(study.folder.resolve().name)}")
        self.title.setToolTip(str(study.folder.resolve()))
        groups = {specimen.id: specimen.group for specimen in study.specimens}
        parents: dict[str, QTreeWidgetItem] = {}
        for entry in study.images:
            if entry.specimen not in parents:
                parent = QTreeWidgetItem([f"{entry.specimen}  ·  {groups.get(entry.specimen, '')}", ""])
                parents[entry.specimen] = parent
                self.list.addTopLevelItem(parent)
            row = QTreeWidgetItem([Path(entry.file).name, _LOOKING])
            row.setToolTip(0, entry.image_id)
            row.setData(0, _IMAGE, entry.image_id)
            parents[entry.specimen].addChild(row)
            self._rows[entry.image_id] = row
        self.list.expandAll()
        self.list.header().setStretchLastSection(False)
        self.list.header().setSectionResizeMode(0, self.list.header().ResizeMode.Stretch)
        self.list.header().setSectionResizeMode(1, self.list.header().ResizeMode.ResizeToContents)
        self._show_states()
        if self.session.current is not None:
            self._show_open(self.session.current)

    def _show_states(self) -> None:
        self.progress.setVisible(False)
        for item in self.session.items:
            self._write(item)
        self._count()
        self._apply_filter()
        if self.list.currentItem() is not None:
            self.list.scrollToItem(self.list.currentItem())

    def _write(self, item: Any) -> None:
        row = self._rows.get(item.image_id)
        if row is None:
            return
        row.setText(1, f"{MARKS[item.state]} {item.state}")
        parts = [f"{procedure}: {state}" for procedure, state in item.states.items()]
        row.setToolTip(1, "\n".join([_EXPLAINED[item.state], *parts, *([item.said] if item.said else [])]))
        row.setData(1, _IMAGE, item.state)

    def _count(self) -> None:
        states = [item.state for item in self.session.items]
        if not states:
            self.counts.setText("")
            return
        told = [f"{states.count(s)} {s}" for s in MARKS if s in states]
        self.counts.setText(f"{len(states)} image{'s' if len(states) != 1 else ''}: {', '.join(told)}")

    def _show_looking(self, done: int, total: int) -> None:
        self.progress.setVisible(done < total)
        self.progress.setMaximum(total)
        self.progress.setValue(done)
        self.progress.setFormat(f"Looking at the states: {done} of {total}")

    def _show_busy(self, what: str) -> None:
        if what:
            self.messages.say(f"{what} …")
        elif self.messages.words.text().endswith(" …"):
            self.messages.clear()

    def _show_open(self, current: OpenedImage) -> None:
        self.messages.clear()  # said of what was open before
        row = self._rows.get(current.entry.image_id) if self.session.in_study else None
        self.list.setCurrentItem(row)
        if row is not None and self.session.study is not None:
            self.list.scrollToItem(row)
            remember(self.session.study.folder, last_image=current.entry.image_id)

    def _open_item(self, row: QTreeWidgetItem, _: int = 0) -> None:
        image_id = row.data(0, _IMAGE)
        current = self.session.current
        if image_id and not (self.session.in_study and current and current.entry.image_id == image_id):
            self.session.open_image(image_id)

    def _step(self, by: int) -> None:
        listed = [image_id for image_id, row in self._rows.items() if not row.isHidden()]
        self.session.step(by, listed)

    def _apply_filter(self) -> None:
        text, state = self.filter.text().casefold().strip(), self.states.currentData()
        for k in range(self.list.topLevelItemCount()):
            parent = self.list.topLevelItem(k)
            named = text in parent.text(0).casefold()
            shown = 0
            for i in range(parent.childCount()):
                row = parent.child(i)
                fits = (named or text in row.toolTip(0).casefold()) and state in ("", row.data(1, _IMAGE))
                row.setHidden(not fits)
                shown += fits
            parent.setHidden(not shown)


def _plain(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;")
