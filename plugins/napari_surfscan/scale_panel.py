"""The scale of the open image: what was read from its bar, corrected where need be, confirmed with a name."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from qtpy.QtCore import Qt
from qtpy.QtWidgets import (
    QButtonGroup,
    QFormLayout,
    QGroupBox,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QRadioButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.messages import MessageLine
from napari_surfscan.scale_layers import ScaleLayers
from napari_surfscan.scale_words import from_file, from_here, measured_words
from napari_surfscan.session import session_of
from surfscan.errors import InputError
from surfscan.images import Micrograph
from surfscan.procedures.result import Result
from surfscan.procedures.scale import measure_scale
from surfscan.procedures.scale_by_hand import BarEnds, bar_near, bars_of, scale_from_ends
from surfscan.study.remembered import read_remembered, remember

if TYPE_CHECKING:
    import napari.viewer
    from qtpy.QtGui import QHideEvent, QShowEvent

    from surfscan.study.reviews import OpenedImage

_STEP_PX = 0.25
_NO_IMAGE = "No image is open. Choose one in Study, or drop one onto the viewer."
_HEIGHTS = (
    "This is a height map, which has no scale bar to read. Its scale comes from its file, or from "
    "pixel_size_um in study.toml."
)
_CONFIRM = "Use this pixel size for the image from now on, under your name"
_FOR_NOW = (
    "Use this pixel size as long as the image is open; only images of a study have a record of it: see Study"
)
_NO_BAR = (
    "No scale bar was found. If there is one, press 'Choose a bar' and click it; else state the pixel size "
    "in study.toml (pixel_size_um)."
)


@dataclass(frozen=True)
class _Read:
    """What was read of an image without anybody's help."""

    result: Result
    bars: list[tuple[BarEnds, str]]


class ScalePanel(QWidget):
    """The scale of the open image.

    Parameters
    ----------
    viewer : napari.Viewer
    """

    def __init__(self, viewer: napari.viewer.Viewer) -> None:
        super().__init__()
        self.session = session_of(viewer)
        self.drawn = ScaleLayers(self.session, self._ends_moved)
        self.ends: BarEnds | None = None
        self.result: Result | None = None
        self._read: _Read | None = None
        self._job: Any = None
        self._is_put_off = False
        self._build()
        self.session.image_opened.connect(self._show_image)
        self.session.image_closed.connect(self._show_nothing)
        if self.session.current is not None:
            self._show_image(self.session.current)
        else:
            self._show_nothing()
        self.destroyed.connect(lambda: self._give_up())

    def _build(self) -> None:
        self.empty = QLabel()
        self.empty.setObjectName("scale_empty")
        self.empty.setWordWrap(True)
        self.file = _words("file_scale")
        self.read = _words("bar_reading")
        self.label = QLineEdit()
        self.label.setObjectName("label")
        self.label.setPlaceholderText("such as 50 µm")
        self.label.setToolTip("What the bar is long, with its unit: nm, µm or mm")
        self.label.editingFinished.connect(self._recompute)
        self.choose = QPushButton("Choose a bar")
        self.choose.setObjectName("choose_bar")
        self.choose.setToolTip("Then click the bar on the image; click again to give it up")
        self.choose.setCheckable(True)
        self.choose.toggled.connect(self.drawn.await_click)
        self.drawn.clicked = self._clicked
        self.again = QPushButton("As read")
        self.again.setObjectName("as_read")
        self.again.setToolTip("Go back to the bar and the label as they were read")
        self.again.clicked.connect(self._as_read)
        self.left = QRadioButton("left")
        self.left.setObjectName("left_end")
        self.right = QRadioButton("right")
        self.right.setObjectName("right_end")
        self.left.setChecked(True)
        for end in (self.left, self.right):
            end.setToolTip("The end of the bar that the arrows move")
        both = QButtonGroup(self)
        both.addButton(self.left)
        both.addButton(self.right)
        self.back = self._nudge_button("nudge_left", "◀", -_STEP_PX)
        self.forth = self._nudge_button("nudge_right", "▶", _STEP_PX)
        self.now = _words("scale_now")
        self.uncertainty = _words("scale_uncertainty")
        self.against = _words("scale_against")
        self.reviewer = QLineEdit()
        self.reviewer.setObjectName("reviewer")
        self.reviewer.setPlaceholderText("your name")
        self.reviewer.setToolTip("Stands in the record of this scale and in the report")
        self.reason = QLineEdit()
        self.reason.setObjectName("reason")
        self.reason.setPlaceholderText("why, if changed")
        self.reason.setToolTip("Stands in the record of this scale")
        self.confirm = QPushButton("Confirm")
        self.confirm.setObjectName("confirm_scale")
        self.confirm.clicked.connect(lambda: self._save("confirmed"))
        self.reject = QPushButton("Reject")
        self.reject.setObjectName("reject_scale")
        self.reject.setToolTip("Note that the bar gives no scale; the one of file or study stays")
        self.reject.clicked.connect(lambda: self._save("rejected"))
        self.messages = MessageLine()
        self._lay_out()

    def _nudge_button(self, name: str, text: str, by: float) -> QPushButton:
        button = QPushButton(text)
        button.setObjectName(name)
        button.setFixedWidth(44)
        button.setAutoRepeat(True)
        way = "left" if by < 0 else "right"
        button.setToolTip(
            f"Move the chosen end {abs(by):g} px to the {way} (arrow keys while its layer is selected)"
        )
        button.clicked.connect(lambda: self.nudge(by))
        return button

    def _lay_out(self) -> None:
        stated = QGroupBox("Scale in force")
        QVBoxLayout(stated).addWidget(self.file)
        bar = QGroupBox("Scale bar")
        bar_layout = QVBoxLayout(bar)
        bar_layout.addWidget(self.read)
        form = QFormLayout()
        form.addRow("Label", self.label)
        bar_layout.addLayout(form)
        ends = QHBoxLayout()
        for widget in (self.left, self.right):
            ends.addWidget(widget)
        ends.addStretch(1)
        for widget in (self.back, self.forth):
            ends.addWidget(widget)
        bar_layout.addLayout(ends)
        buttons = QHBoxLayout()
        buttons.addWidget(self.choose)
        buttons.addWidget(self.again)
        bar_layout.addLayout(buttons)
        follows = QGroupBox("What follows")
        follows_layout = QVBoxLayout(follows)
        for widget in (self.now, self.uncertainty, self.against):
            follows_layout.addWidget(widget)
        sign = QGroupBox("Sign")
        sign_layout = QVBoxLayout(sign)
        signing = QFormLayout()
        signing.addRow("Name", self.reviewer)
        signing.addRow("Reason", self.reason)
        sign_layout.addLayout(signing)
        decide = QHBoxLayout()
        decide.addWidget(self.confirm)
        decide.addWidget(self.reject)
        sign_layout.addLayout(decide)
        inside = QWidget()
        column = QVBoxLayout(inside)
        column.setContentsMargins(6, 6, 6, 6)
        self._boxes = (stated, bar, follows, sign)
        for widget in (self.empty, *self._boxes, self.messages):
            column.addWidget(widget)
        column.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(inside)
        scroll.setMinimumWidth(
            inside.minimumSizeHint().width() + scroll.verticalScrollBar().sizeHint().width()
        )
        outer = QVBoxLayout(self)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(scroll)

    def _show_nothing(self, words: str = _NO_IMAGE) -> None:
        self._give_up()
        self.ends, self.result, self._read = None, None, None
        self.drawn.clear()
        self.empty.setText(words)
        self.empty.setVisible(True)
        for box in self._boxes:
            box.setVisible(False)
        self.messages.clear()

    def showEvent(self, event: QShowEvent) -> None:
        """Read the bar now where that was put off, and draw it."""
        super().showEvent(event)
        if self._is_put_off and self.session.current is not None:
            self._show_image(self.session.current)
        else:
            self._follow()

    def hideEvent(self, event: QHideEvent) -> None:
        """Behind another panel: nothing of it on the image."""
        super().hideEvent(event)
        self.choose.setChecked(False)
        self.drawn.clear()

    def _show_image(self, current: OpenedImage) -> None:
        self._show_nothing()
        self._is_put_off = not self.isVisible()  # reading takes its time: only where somebody looks
        if self._is_put_off:
            return
        image = current.image
        if not isinstance(image, Micrograph):
            self._show_nothing(_HEIGHTS)
            return
        self.empty.setVisible(False)
        for box in self._boxes:
            box.setVisible(True)
        self.file.setText(from_file(image))
        study = self.session.study
        if study is not None and not self.reviewer.text():
            self.reviewer.setText(read_remembered(study.folder).reviewer)
        self.read.setText("Looking for a scale bar …")
        self._follow()

        def look() -> _Read:
            result = measure_scale(image)
            return _Read(result, bars_of(result))

        self._job = self.session.run(look, returned=self._was_read, failed=self._could_not)

    def _was_read(self, read: _Read) -> None:
        self._job, self._read = None, read
        self._as_read()

    def _could_not(self, error: Exception) -> None:
        self._job = None
        self.read.setText("The scale bar could not be read.")
        self.messages.fail(error)

    def _as_read(self) -> None:
        """Take up the bar and the label as they were read."""
        if self._read is None:
            return
        self.messages.clear()
        if not self._read.bars:
            self.ends = None
            self.label.clear()
            self.read.setText(_NO_BAR)
        else:
            self.ends, label = self._read.bars[0]
            self.label.setText(label)
            self.read.setText(from_here(self._read.result))
        self._recompute()

    def _clicked(self, row_px: float, col_px: float) -> None:
        """Take up the bar at a place that was clicked."""
        self.choose.setChecked(False)
        image = self._image()
        if image is None:
            return

        def found(ends: BarEnds | None) -> None:
            self._job = None
            if ends is None:
                self.messages.say("There is no bar at that place: click on the bar itself, or drag the ends.")
                return
            self.messages.clear()
            self.ends = ends
            self.read.setText(f"Bar of {ends.length_px:.1f} px, chosen by you.")
            self._recompute()

        self._give_up()
        self._job = self.session.run(
            lambda: bar_near(image, row_px, col_px), returned=found, failed=self._could_not
        )

    def nudge(self, by_px: float) -> None:
        """Move the chosen end by so many pixels along the row."""
        if self.ends is None:
            return
        if self.left.isChecked():
            self.ends = self.ends.moved(start_px=self.ends.col_start_px + by_px)
        else:
            self.ends = self.ends.moved(end_px=self.ends.col_end_px + by_px)
        self._recompute()

    def _ends_moved(self, start_px: float | None, end_px: float | None, which: str = "") -> None:
        """Take up ends that were dragged on the image."""
        if self.ends is None:
            return
        if which:
            (self.left if which == "left" else self.right).setChecked(True)
        if start_px is not None or end_px is not None:
            self.ends = self.ends.moved(start_px=start_px, end_px=end_px)
            self._recompute()

    def _recompute(self) -> None:
        """The pixel size that follows from ends and label as they stand."""
        image = self._image()
        self.result = None
        fault = ""
        if image is not None and self.ends is not None and self.label.text().strip():
            try:
                self.result = scale_from_ends(image, self.ends, self.label.text())
            except InputError as error:
                fault = f"{error.fault}. {error.remedy}."
        elif self.ends is not None:
            fault = "Write what the bar is long, with its unit."
        self._follow(fault)

    def _follow(self, fault: str = "") -> None:
        image = self._image()
        has_bar = self.ends is not None
        for widget in (self.left, self.right, self.back, self.forth, self.label):
            widget.setEnabled(has_bar)
        self.again.setEnabled(self._read is not None)
        in_study = self.session.in_study
        self.confirm.setEnabled(self.result is not None)
        self.confirm.setText("Confirm" if in_study else "Use for now")
        self.confirm.setToolTip(_CONFIRM if in_study else _FOR_NOW)
        self.reject.setEnabled(has_bar and in_study)
        self.reject.setVisible(in_study)
        self.reviewer.setEnabled(in_study)
        self.reason.setEnabled(in_study)
        size, parts, against = measured_words(self.result)
        self.now.setText(fault or size)
        self.uncertainty.setText(parts)
        self.against.setText(against)
        self.uncertainty.setVisible(bool(parts))
        self.against.setVisible(bool(against))
        if image is not None and self.isVisible():
            self.drawn.draw(self.ends, self.label.text(), image)

    def _save(self, decision: str) -> None:
        session = self.session
        if not session.in_study and self.result is not None and self.result.calibration is not None:
            session.take_scale(self.result.calibration)
            self.messages.say("In force as long as this image is open.")
            return
        if session.study is None or session.current is None or self.ends is None:
            return
        name = self.reviewer.text().strip()
        if not name:
            self.messages.say("Write your name first: it stands in the record.")
            self.reviewer.setFocus()
            return
        from surfscan.study.reviews import save_review

        confirmed = decision == "confirmed" and self.result is not None
        summary = {k: v for k, v in self.result.summary.items() if v is not None} if confirmed else {}
        edits = {"decision": decision, "label": self.label.text().strip(), **summary}
        study, current = session.study, session.current
        reason = self.reason.text().strip()
        remember(study.folder, reviewer=name)

        said: list[str] = []

        def save() -> str:
            save_review(study, current, "scale", reviewer=name, reason=reason, edits=edits, tell=said.append)
            return " ".join(said)

        def saved(told: str) -> None:
            self.reason.clear()
            session.item_changed.emit(current.entry.image_id)
            self.messages.say(f"Scale {decision} by {name}. {told}")

        self.messages.say("Saving …")
        session.run(save, returned=saved, failed=self.messages.fail)

    def _image(self) -> Micrograph | None:
        current = self.session.current
        return current.image if current is not None and isinstance(current.image, Micrograph) else None

    def _give_up(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self._job = None


def _words(name: str) -> QLabel:
    label = QLabel()
    label.setObjectName(name)
    label.setWordWrap(True)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
    return label
