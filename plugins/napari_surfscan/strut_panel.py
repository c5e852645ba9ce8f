"""One strut: its width along it, its section at any place, edges to correct, a note, files to take along."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

from qtpy.QtWidgets import (
    QComboBox,
    QDoubleSpinBox,
    QFileDialog,
    QFormLayout,
    QFrame,
    QGroupBox,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from napari_surfscan.messages import MessageLine
from napari_surfscan.parts import OnceRemoved, button, fit, row, scrolled, words
from napari_surfscan.save_panel import SaveBox
from napari_surfscan.session import session_of
from napari_surfscan.strut_desk import PROCEDURE, StrutDesk
from napari_surfscan.strut_layers import StrutLayers
from napari_surfscan.strut_words import changes_words, mean_words, place_words, section_line, strut_words
from napari_surfscan.width_plot import SectionPlot, WidthLegend, WidthPlot
from surfscan.procedures.strut_profile import width_colours
from surfscan.report.strut_export import export_strut_figure, export_strut_table, section_words
from surfscan.study.remembered import read_remembered

if TYPE_CHECKING:
    import napari.viewer

    from surfscan.corrections.strut_edits import StrutReview

REASONS = (
    "An edge followed product instead of metal",
    "An edge followed a shadow or glare",
    "An edge cut into the metal",
    "Looked through, nothing to change",
)
"""Common reasons (common practice, no source); any other may be written."""

_NUDGE_PX = 0.5
_NO_IMAGE = (
    "No image is open.\n\nOpen a picture of struts in the panel Study, or drop one onto the viewer; then "
    "look at one strut here, and correct its edges."
)
_HEIGHTS = "This is a height map. For depths on it see the panel Depth along a line."
_LOOKING = "Looking for struts …"
_NOT_STRUTS = "This image is not said to show struts. If it does, look for them here."


class StrutPanel(QWidget):
    """One strut of the open image.

    Parameters
    ----------
    viewer : napari.Viewer
    """

    def __init__(self, viewer: napari.viewer.Viewer) -> None:
        super().__init__()
        self.session = session_of(viewer)
        self.desk = StrutDesk(self.session)
        self.layers = StrutLayers(self.desk)
        self._filling = False
        self._build(viewer)
        self._connect()
        if self.session.study is not None:
            self._on_study(self.session.study)
        self._show_offer("")
        self._show_review()
        if self.session.current is not None and self.desk.shows_struts:
            self.desk.begin()
        OnceRemoved(self, self.layers.leave)

    def _build(self, viewer: Any) -> None:
        self.empty = words("strut_empty")
        self.look = button("look_for_struts", "Look for struts", "Measure the struts of this image now")
        self.offer = words("recovery_says")
        self.recover = button("recover", "Take it up", "Bring the unsaved edits back, to go on with them")
        self.drop = button("drop_recovery", "Let it go", "Delete the unsaved edits for good")
        self.recovery = QFrame()
        self.chosen = QComboBox()
        self.chosen.setObjectName("strut")
        self.chosen.setToolTip("The strut in view, the worst first; a click on the image chooses one too")
        self.chosen.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.before = button("previous_strut", "◀", "The strut before in this order")
        self.after = button("next_strut", "▶", "The next strut in this order")
        self.fly = button("fly_to_place", "Show", "Bring the place of the cursor to the middle of the view")
        for each in (self.before, self.after):
            each.setFixedWidth(30)
        self.mean = words("strut_mean")
        self.legend = WidthLegend()
        self.plot = WidthPlot(viewer)
        self.section_plot = SectionPlot(viewer)
        self.place = words("place_says")
        self.section = words("section_says")
        self.moving = button(
            "move_edges", "Move edges", "Then drag an edge on the image to where the metal ends"
        )
        self.moving.setCheckable(True)
        self.taper = QDoubleSpinBox()
        self.taper.setObjectName("taper")
        self.taper.setRange(0, 5000)
        self.taper.setSpecialValueText("1 width")
        self.taper.setSuffix(" px")
        self.taper.setToolTip("How far along the strut, to either side, neighbours follow a drag")
        self.side = QComboBox()
        self.side.setObjectName("side")
        self.side.addItem("left edge", "left")
        self.side.addItem("right edge", "right")
        self.side.setToolTip("Which edge the arrows move at the cursor; left and right of the way along")
        self.inwards = button(
            "nudge_in", "in", f"Move this edge at the cursor {_NUDGE_PX:g} px into the metal"
        )
        self.outwards = button("nudge_out", "out", f"Move this edge at the cursor {_NUDGE_PX:g} px outwards")
        self.undo = button("undo", "Undo", "Take the last step back")
        self.redo = button("redo", "Redo", "Take again what was taken back")
        self.note = QLineEdit()
        self.note.setObjectName("note")
        self.note.setToolTip("Stands in the correction and below an exported figure")
        self.note.setPlaceholderText("what struck you; saved with the correction")
        self.figure_out = button(
            "export_figure", "Export figure", "Write the plot and the section, PNG or SVG"
        )
        self.table_out = button(
            "export_table", "Export table", "Write the stations of this strut, CSV or XLSX"
        )
        self.save = SaveBox()
        self.messages = MessageLine()
        self._lay_out()

    def _lay_out(self) -> None:
        choice = row(self.chosen, self.before, self.after, self.fly, stretch=self.chosen)
        offered = QVBoxLayout(self.recovery)
        offered.addWidget(self.offer)
        offered.addLayout(row(self.recover, self.drop))
        edges = QGroupBox("Correct an edge")
        inside = QVBoxLayout(edges)
        inside.addLayout(row(self.moving, self.undo, self.redo))
        form = QFormLayout()
        form.addRow("Neighbours follow over", self.taper)
        inside.addLayout(form)
        inside.addLayout(row(self.side, self.inwards, self.outwards, stretch=self.side))
        saving = QGroupBox("Save")
        signing = QVBoxLayout(saving)
        noting = QFormLayout()
        noting.addRow("Note", self.note)
        signing.addLayout(noting)
        signing.addWidget(self.save)
        self.body = QWidget()
        column = QVBoxLayout(self.body)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(4)
        column.addLayout(choice)
        for widget in (self.mean, self.plot, self.legend, self.place, self.section_plot, self.section, edges):
            column.addWidget(widget)
        column.addWidget(saving)
        column.addLayout(row(self.figure_out, self.table_out))
        scrolled(self, self.empty, self.look, self.messages, self.recovery, self.body)

    def _connect(self) -> None:
        desk = self.desk
        self.session.study_opened.connect(self._on_study)
        self.session.image_closed.connect(self._show_review)
        desk.changed.connect(self._show_review)
        desk.strut_chosen.connect(self._show_strut)
        desk.figures_changed.connect(self._show_figures)
        desk.previewed.connect(self._show_preview)
        desk.place_changed.connect(self._show_place)
        desk.busy.connect(self._show_busy)
        desk.said.connect(self.messages.say)
        desk.failed.connect(self.messages.fail)
        desk.saved.connect(lambda words, saving: self.save.show_state(words, is_saving=saving))
        desk.offered.connect(self._show_offer)
        self.look.clicked.connect(lambda: desk.begin())
        self.recover.clicked.connect(lambda: desk.recover())
        self.drop.clicked.connect(lambda: desk.drop_recovery())
        self.chosen.currentIndexChanged.connect(self._on_chosen)
        self.before.clicked.connect(lambda: desk.step(-1))
        self.after.clicked.connect(lambda: desk.step(1))
        self.fly.clicked.connect(lambda: self.layers.fly_to())
        self.plot.pointed.connect(desk.go_to)
        self.moving.toggled.connect(self._on_move_mode)
        self.taper.valueChanged.connect(self._on_taper)
        self.inwards.clicked.connect(lambda: self._nudge(-_NUDGE_PX))
        self.outwards.clicked.connect(lambda: self._nudge(_NUDGE_PX))
        self.undo.clicked.connect(lambda: desk.undo())
        self.redo.clicked.connect(lambda: desk.redo())
        self.note.editingFinished.connect(lambda: desk.write_note(self.note.text().strip()))
        self.figure_out.clicked.connect(lambda: self._ask_file("figure"))
        self.table_out.clicked.connect(lambda: self._ask_file("table"))
        self.save.wanted.connect(desk.save)
        self.save.reviewer_named.connect(desk.name_reviewer)

    # what is shown

    def _show_review(self) -> None:
        desk = self.desk
        has_some = bool(desk.struts)
        self.body.setVisible(has_some)
        self.empty.setVisible(not has_some)
        self.look.setVisible(not has_some and desk.image is not None and not desk.shows_struts)
        self.messages.clear()
        review = desk.review
        if review is None or not has_some:
            self.empty.setText(self._why_nothing())
            self.plot.show_profile(None)
            self.section_plot.show_section(None)
            return
        self._filling = True
        self.chosen.clear()
        for strut in desk.struts:
            self.chosen.addItem(strut_words(review.automatic, strut), strut)
        self._filling = False
        self.note.setText(review.note)
        self.save.offer(PROCEDURE, desk.hindrance)
        self.save.reason.addItems(REASONS)
        self.save.reason.setCurrentIndex(-1)
        self._show_changes(review)
        self.legend.show_colours(width_colours(review.result))

    def _why_nothing(self) -> str:
        desk = self.desk
        if self.session.current is None:
            return _NO_IMAGE
        if desk.image is None:
            return _HEIGHTS
        if desk.review is not None:
            return " ".join(desk.review.automatic.warnings) or "No strut was found on this image."
        return _LOOKING if desk.shows_struts else _NOT_STRUTS

    def _show_strut(self) -> None:
        self._filling = True
        self.chosen.setCurrentIndex(self.chosen.findData(self.desk.strut))
        self._filling = False
        self._show_figures()

    def _show_figures(self) -> None:
        desk = self.desk
        if desk.review is None or desk.profile is None or desk.shown is None:
            return
        self.mean.setText(mean_words(desk.profile))
        self.plot.show_profile(desk.profile)
        self.legend.show_colours(width_colours(desk.shown))
        self.undo.setEnabled(desk.review.can_undo)
        self.redo.setEnabled(desk.review.can_redo)
        if self.note.text().strip() != desk.review.note:
            self.note.setText(desk.review.note)
        self._show_changes(desk.review)
        self._show_place(desk.place)

    def _show_changes(self, review: StrutReview) -> None:
        self.save.show_changes(changes_words(review.changes()))
        fit(self.save.changes)

    def _show_preview(self) -> None:
        """What a drag under way gives: figures, and the width over the one that stands."""
        profile = self.desk.profile
        if profile is not None:
            self.mean.setText(mean_words(profile))
            self.plot.show_preview(profile)
            self._show_place(self.desk.place)

    def _show_place(self, place: int) -> None:
        profile = self.desk.profile
        if profile is None:
            return
        self.plot.show_place(place)
        self.place.setText(place_words(profile, place))
        section = self.desk.section
        self.section_plot.show_section(section)
        self.section.setText(section_line(profile, place, section_words(section)))

    def _show_busy(self, words: str) -> None:
        if words:
            self.empty.setVisible(True)
            self.empty.setText(f"{words} …")
            self.look.setEnabled(False)
        else:
            self.look.setEnabled(True)

    def _show_offer(self, words: str) -> None:
        self.recovery.setVisible(bool(words))
        self.offer.setText(words)

    # what is done

    def _on_study(self, study: Any) -> None:
        name = read_remembered(study.folder).reviewer
        self.desk.reviewer = name
        if not self.save.reviewer.text():
            self.save.reviewer.setText(name)

    def _on_chosen(self, index: int) -> None:
        if not self._filling and index >= 0:
            self.desk.choose(self.chosen.itemData(index))

    def _on_move_mode(self, wanted: bool) -> None:
        self.layers.is_moving = wanted
        self.moving.setText("Moving edges" if wanted else "Move edges")

    def _on_taper(self, value: float) -> None:
        self.layers.taper_px = value or None

    def _nudge(self, by_px: float) -> None:
        self.desk.nudge(self.side.currentData(), by_px, self.layers.taper_px)

    def _ask_file(self, what: str) -> None:
        if self.desk.profile is None:
            return
        kinds = {"figure": "Picture (*.png);;Drawing (*.svg)", "table": "Table (*.csv);;Workbook (*.xlsx)"}[
            what
        ]
        ending = {"figure": ".png", "table": ".csv"}[what]
        start = f"{self._stem()}_strut_{self.desk.strut}{ending}"
        path, _ = QFileDialog.getSaveFileName(self, f"Export {what}", start, kinds)
        if path:
            self.export(path, what)

    def export(self, path: str | Path, what: str) -> None:
        """Write the figure or the table of the strut in view to a file."""
        desk = self.desk
        if desk.profile is None or desk.shown is None or desk.review is None:
            return
        try:
            if what == "figure":
                title = f"{self._stem()}, strut {desk.strut}"
                written = export_strut_figure(
                    path, desk.profile, desk.section, title=title, note=desk.review.note
                )
            else:
                written = export_strut_table(path, desk.shown, desk.profile)
        except Exception as error:
            self.messages.fail(error)
            return
        self.messages.say(f"Written: {written}")

    def _stem(self) -> str:
        return Path(self.session.current.entry.image_id).stem if self.session.current is not None else "image"
