"""Pits and masks: run a procedure on the open image, correct its mask, and save that with name and reason."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QScrollArea,
    QStackedWidget,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.agreement_view import AgreementView
from napari_surfscan.class_tools import ClassTools
from napari_surfscan.messages import MessageLine
from napari_surfscan.pit_tools import PitTools
from napari_surfscan.preview import Preview
from napari_surfscan.review_desk import ReviewDesk
from napari_surfscan.save_panel import SaveBox
from napari_surfscan.session import session_of
from napari_surfscan.settings_form import SettingsForm
from napari_surfscan.tally_view import TallyView

if TYPE_CHECKING:
    import napari.viewer

IN_WORDS = {"pits": "Pits", "degraded": "Degraded area", "section": "Cross-section"}

_NO_IMAGE = (
    "No image is open.\n\nOpen one of a study in the panel Study, or drop a file onto the viewer; then its "
    "pits and masks can be measured and corrected here."
)
_NOT_HERE = "This image has no mask to correct here: see the panel Strut."
_NOT_MEASURED = "Not measured yet: press Run, or try settings with the live preview first."


class PitPanel(QWidget):
    """What is measured on the open image, and a person's corrections of it.

    Parameters
    ----------
    viewer : napari.Viewer
    """

    def __init__(self, viewer: napari.viewer.Viewer) -> None:
        super().__init__()
        self.session = session_of(viewer)
        self.desk = ReviewDesk(self.session)
        self.preview = Preview(self.session, self)
        self.empty = _wrapped(_NO_IMAGE, "no_image")
        self.procedure = QComboBox()
        self.procedure.setObjectName("procedure")
        self.procedure.setToolTip("What is measured on this image")
        self.run = _button("run", "Run", "Measure the whole image with these settings; nothing is saved yet")
        self.stop = _button("stop", "Stop", "Drop what is being measured")
        self.stop.setVisible(False)
        self.tally = TallyView()
        self.pits = PitTools()
        self.classes = ClassTools()
        self.nothing = _wrapped(_NOT_MEASURED, "not_measured")
        self.tools = QStackedWidget()
        for page in (self.nothing, self.pits, self.classes):
            self.tools.addWidget(page)
        self.form = SettingsForm()
        self.live = QCheckBox("Live preview on what is visible")
        self.live.setObjectName("live_preview")
        self.live.setToolTip(
            "Try the settings on the visible part as they move. There the judgement may differ a little from "
            "that on the whole image, which 'Run' measures."
        )
        self.tried = _wrapped("", "preview_says")
        self.agreement = AgreementView(self.desk)
        self.tabs = QTabWidget()
        self.tabs.setObjectName("pages")
        self.recovery = _Offer()
        self.saving = SaveBox()
        self.messages = MessageLine()
        self._lay_out()
        self._connect()
        self._show_image()

    # how it looks

    def _lay_out(self) -> None:
        head = QHBoxLayout()
        head.addWidget(self.procedure, 1)
        head.addWidget(self.run)
        head.addWidget(self.stop)
        settings = QWidget()
        column = QVBoxLayout(settings)
        column.addWidget(self.live)
        column.addWidget(self.tried)
        column.addWidget(self.form)
        column.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(settings)
        for page, title, says in (
            (self.tools, "Correct", "Reject, add, repaint, split and merge"),
            (scroll, "Settings", "What the procedure goes by"),
            (self.agreement, "Versions", "What has been saved, by whom, and how far two reviewers agree"),
        ):
            place = self.tabs.addTab(page, title)
            self.tabs.setTabToolTip(place, says)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(6, 6, 6, 6)
        layout.setSpacing(4)
        layout.addWidget(self.empty)
        layout.addLayout(head)
        layout.addWidget(self.recovery)
        layout.addWidget(self.tally)
        layout.addWidget(self.tabs, 1)
        layout.addWidget(self.saving)
        layout.addWidget(self.messages)
        layout.addStretch(0)
        self.setMinimumWidth(350)

    def _connect(self) -> None:
        desk = self.desk
        self.procedure.activated.connect(self._choose)
        self.run.clicked.connect(self._run)
        self.stop.clicked.connect(desk.stop)
        self.form.changed.connect(self._try)
        self.live.toggled.connect(self._live)
        self.tabs.currentChanged.connect(self._on_page)
        self.saving.wanted.connect(desk.save)
        self.saving.reviewer_named.connect(desk.name_reviewer)
        self.recovery.taken.clicked.connect(desk.recover)
        self.recovery.dropped.clicked.connect(desk.drop_recovery)
        self.session.image_opened.connect(self._show_image)
        self.session.image_closed.connect(self._show_image)
        self.session.study_opened.connect(self._show_reviewer)
        desk.changed.connect(self._show_review)
        desk.edited.connect(self._show_edit)
        desk.busy.connect(self._show_busy)
        desk.said.connect(self.messages.say)
        desk.failed.connect(self.messages.fail)
        desk.saved_state.connect(self._show_saved)
        desk.offered.connect(self.recovery.offer)
        desk.rows_changed.connect(self.pits.fill)
        self.preview.said.connect(self.tried.setText)
        self.preview.failed.connect(self.messages.fail)

    # what is shown

    def _show_image(self, *_: object) -> None:
        current = self.session.current
        names = self.desk.procedures
        self.procedure.clear()
        for name in names:
            self.procedure.addItem(IN_WORDS[name], name)
        self.empty.setText(_NO_IMAGE if current is None else _NOT_HERE)
        self.empty.setVisible(not names)
        for widget in (self.procedure, self.run, self.tally, self.tabs, self.saving):
            widget.setVisible(bool(names))
        self.messages.clear()
        self._show_reviewer()
        self._show_review()

    def _show_reviewer(self, *_: object) -> None:
        if not self.saving.reviewer.text():
            self.saving.reviewer.setText(self.desk.reviewer)

    def _show_review(self) -> None:
        """Another review stands on the screen, or none."""
        desk = self.desk
        if desk.procedure:
            self.procedure.setCurrentIndex(self.procedure.findData(desk.procedure))
            self.form.show_settings(desk.settings)
        is_pits = desk.procedure == "pits"
        self.pits.follow(desk.editing if is_pits else None)
        self.classes.follow(desk.editing if not is_pits else None)
        page = self.nothing if desk.editing is None else self.pits if is_pits else self.classes
        self.tools.setCurrentWidget(page)
        self.nothing.setText(desk.why_nothing or _NOT_MEASURED)
        self.run.setText("Run" if desk.editing is None else "Run again")
        self.saving.offer(desk.procedure, desk.save_hindrance)
        self.tally.show_lines(desk.tally_lines())
        self.saving.show_changes(desk.changes_in_words())
        self.agreement.show_versions()

    def _show_edit(self) -> None:
        self.messages.clear()
        self.tally.show_lines(self.desk.tally_lines())
        self.saving.show_changes(self.desk.changes_in_words())

    def _show_busy(self, words: str) -> None:
        self.stop.setVisible(bool(words))
        self.run.setVisible(not words and bool(self.desk.procedures))
        self.procedure.setEnabled(not words)
        if words:
            self.messages.say(f"{words} …")
        else:
            self.messages.clear()

    def _show_saved(self, words: str, is_saving: bool) -> None:
        self.saving.show_state(words, is_saving=is_saving)
        self.saving.offer(self.desk.procedure, self.desk.save_hindrance)
        self.agreement.show_versions()

    # what is done

    def _choose(self, *_: object) -> None:
        self.desk.open(self.procedure.currentData())

    def _run(self) -> None:
        self.live.setChecked(False)
        settings = self._settings()
        if settings is not None:
            self.desk.run(settings)

    def _settings(self) -> Any:
        try:
            return self.form.settings()
        except ValueError as error:
            self.messages.say(str(error))
            return None

    def _try(self) -> None:
        if self.live.isChecked():
            settings = self._settings()
            if settings is not None:
                self.preview.ask(self.desk.procedure, settings)

    def _live(self, is_on: bool) -> None:
        if is_on:
            self._try()
        else:
            self.preview.stop()

    def _on_page(self, place: int) -> None:
        if self.tabs.tabText(place) != "Settings":
            self.live.setChecked(False)


class _Offer(QFrame):
    """Unsaved work that was found: take it up, or let it go."""

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("recovery")
        self.setFrameShape(QFrame.Shape.StyledPanel)
        self.words = _wrapped("", "recovery_says")
        self.taken = _button("recover", "Take it up", "Bring the unsaved edits back, to go on with them")
        self.dropped = _button("drop_recovery", "Let it go", "Delete the unsaved edits for good")
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(self.dropped)
        buttons.addWidget(self.taken)
        layout = QVBoxLayout(self)
        layout.addWidget(self.words)
        layout.addLayout(buttons)
        self.setVisible(False)

    def offer(self, words: str) -> None:
        """Offer what was found; nothing where there is nothing to say."""
        self.words.setText(words)
        self.setVisible(bool(words))


def _button(name: str, text: str, says: str) -> QPushButton:
    button = QPushButton(text)
    button.setObjectName(name)
    button.setToolTip(says)
    return button


def _wrapped(text: str, name: str) -> QLabel:
    label = QLabel(text)
    label.setObjectName(name)
    label.setWordWrap(True)
    return label
