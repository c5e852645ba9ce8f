"""Depth along a line: draw a line on a height map, see heights, the reference and the depth between."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from qtpy.QtCore import Signal
from qtpy.QtWidgets import QFileDialog, QVBoxLayout, QWidget

from napari_surfscan.messages import MessageLine
from napari_surfscan.parts import OnceRemoved, button, row, scrolled, words
from napari_surfscan.placing import PART, placement
from napari_surfscan.session import session_of
from napari_surfscan.width_plot import ORANGE, ColourBar, Plot
from surfscan.images import HeightMap
from surfscan.measurement.line_profile import LineProfile, ReferenceSurface, line_profile, reference_surface
from surfscan.report.depth_export import (
    colour_ends,
    depth_words,
    draw_depth,
    export_depth_figure,
    export_depth_table,
)
from surfscan.report.rounding import significant

if TYPE_CHECKING:
    import napari.viewer

LINE, PLACE = "depth line", "depth place"

_NO_IMAGE = (
    "No image is open.\n\nOpen a height map in the panel Study, or drop one onto the viewer; then draw a "
    "line across it here."
)
_PICTURE = "This is a picture, and grey is no depth: open a height map."
_HOW = "Press 'Draw a line', then drag across a pit. Drag the ends of the line to change it."


class DepthPanel(QWidget):
    """Heights along a line over the open height map.

    Parameters
    ----------
    viewer : napari.Viewer
    """

    def __init__(self, viewer: napari.viewer.Viewer) -> None:
        super().__init__()
        self.session = session_of(viewer)
        self.profile: LineProfile | None = None
        self.reference: ReferenceSurface | None = None
        self._line: Any = None
        self._spot: Any = None
        self._job: Any = None
        self._build(viewer)
        self.session.image_opened.connect(self._on_opened)
        self.session.image_closing.connect(self._on_closing)
        self.session.image_closed.connect(self._begin)
        layers = self.session.viewer.layers
        layers.selection.events.active.connect(self._on_active)
        self.session.viewer.mouse_move_callbacks.append(self._on_move)
        self._begin()
        OnceRemoved(self, self._leave)

    def _build(self, viewer: Any) -> None:
        self.empty = words("depth_empty")
        self.draw = button(
            "draw_line", "Draw a line", "Then drag on the height map from one side to the other"
        )
        self.draw.setCheckable(True)
        self.across = button(
            "line_across",
            "Across the deepest",
            "A line along the row of the deepest pit that lies whole on it",
        )
        self.legend = ColourBar("height_legend", "Heights that the colours of the map stand for")
        self.plot = DepthPlot(viewer)
        self.figures = words("depth_figures")
        self.place = words("depth_place")
        self.doubts = words("depth_doubts")
        self.figure_out = button("export_depth_figure", "Export figure", "Write the plot, PNG or SVG")
        self.table_out = button("export_depth_table", "Export table", "Write the points of the line, CSV")
        self.messages = MessageLine()
        self.body = QWidget()
        column = QVBoxLayout(self.body)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.legend)
        column.addLayout(row(self.draw, self.across))
        for widget in (self.plot, self.figures, self.place, self.doubts):
            column.addWidget(widget)
        column.addLayout(row(self.figure_out, self.table_out))
        scrolled(self, self.empty, self.body, self.messages)
        self.draw.toggled.connect(self._on_draw)
        self.across.clicked.connect(self.line_across_the_deepest)
        self.plot.pointed.connect(self.go_to)
        self.figure_out.clicked.connect(lambda: self._ask_file("figure"))
        self.table_out.clicked.connect(lambda: self._ask_file("table"))

    @property
    def heights(self) -> HeightMap | None:
        """The open height map."""
        current = self.session.current
        return current.image if current is not None and isinstance(current.image, HeightMap) else None

    # coming and going

    def _on_opened(self, _: object) -> None:
        self._begin()

    def _on_closing(self, _: object) -> None:
        self._end()

    def _leave(self) -> None:
        """Taken out of the dock: nothing of it stays on the map."""
        session = self.session
        session.image_opened.disconnect(self._on_opened)
        session.image_closing.disconnect(self._on_closing)
        session.image_closed.disconnect(self._begin)
        session.viewer.layers.selection.events.active.disconnect(self._on_active)
        session.viewer.mouse_move_callbacks.remove(self._on_move)
        self._give_up()
        self._take_away()

    def _begin(self) -> None:
        heights = self.heights
        self._end()
        self.body.setVisible(heights is not None)
        self.empty.setVisible(True)
        self.messages.clear()
        if heights is None:
            self.empty.setText(_NO_IMAGE if self.session.current is None else _PICTURE)
            return
        self._follow_colours()
        self.empty.setText("Finding the reference surface …")
        for each in (self.draw, self.across):
            each.setEnabled(False)

        def found(reference: ReferenceSurface) -> None:
            self._job = None
            if self.heights is heights:
                self.reference = reference
                self.empty.setText(_HOW)
                self.draw.setEnabled(True)
                self.across.setEnabled(True)

        def could_not(error: Exception) -> None:
            self._job = None
            if self.heights is heights:
                self.empty.setText("There is no reference surface on this map, so no depth can be given.")
                if isinstance(error, ValueError):
                    self.messages.say(f"{str(error).capitalize()}.")
                else:
                    self.messages.fail(error)

        size = _pixel_size(heights)
        job = self.session.run(
            lambda: reference_surface(heights.heights_um, pixel_size_um=size),
            returned=found,
            failed=could_not,
        )
        self._job = None if job.is_over else job

    def _follow_colours(self) -> None:
        """Let the bar of colours say what those of the map mean, now and whenever they are changed."""
        layer, heights = self.session.image_layer, self.heights
        if layer is None or heights is None:
            return

        def show() -> None:
            if self.session.image_layer is layer:
                low, high = layer.contrast_limits
                shades = layer.colormap.map(np.linspace(0, 1, 17))
                self.legend.show_bar(shades, colour_ends(heights.heights_um, low, high))

        for event in (layer.events.contrast_limits, layer.events.colormap):
            event.connect(show)
        show()

    def _end(self) -> None:
        self._give_up()
        self._take_away()
        self._line, self._spot, self.profile, self.reference = None, None, None, None
        self.draw.setChecked(False)
        self._show()

    def _take_away(self) -> None:
        for layer in (self._line, self._spot):
            if layer is not None and layer in self.session.viewer.layers:
                self.session.viewer.layers.remove(layer)

    def _give_up(self) -> None:
        if self._job is not None:
            self._job.cancel()
            self._job = None

    # the line

    def _layers(self) -> Any:
        heights = self.heights
        if self._line is not None and self._line in self.session.viewer.layers:
            return self._line
        viewer = self.session.viewer
        common = {"metadata": {PART: True}, **placement(heights.calibration if heights is not None else None)}
        wide = max(max(heights.shape) / 300, 1.0) if heights is not None else 1.0
        self._spot = viewer.add_points(
            np.zeros((0, 2)), name=PLACE, face_color=ORANGE, border_color="white", size=5 * wide, **common
        )
        self._line = viewer.add_shapes(
            None, ndim=2, name=LINE, edge_color=ORANGE, face_color="transparent", edge_width=wide, **common
        )
        self._line.events.data.connect(self._on_line)
        return self._line

    def _on_draw(self, wanted: bool) -> None:
        self.draw.setText("Drag on the map" if wanted else "Draw a line")
        if self.heights is None:
            return
        if not wanted:
            if self._line is not None and self._line in self.session.viewer.layers:
                self._line.mode = "direct"
            return
        line = self._layers()
        self.session.viewer.layers.selection.active = line
        line.mode = "add_line"

    def _on_active(self, event: Any) -> None:
        """Another layer has the mouse now: no line is drawn, and the button says so."""
        if event.value is not None and event.value is not self._line and self._line is not None:
            self.draw.setChecked(False)

    def _on_line(self, event: Any) -> None:
        if self._line is None or not len(self._line.data):
            return
        if str(getattr(event, "action", "")).endswith("ing"):
            return  # before the change is made
        self.take_line(self._line.data[-1])
        if len(self._line.data) > 1 and self._line.mode in ("direct", "select"):
            with self._line.events.data.blocker():
                self._line.data = self._line.data[-1:]

    def take_line(self, corners: np.ndarray) -> None:
        """Take the depth along a line; corners are rows and columns, px."""
        heights = self.heights
        if heights is None or self.reference is None:
            return
        try:
            self.profile = line_profile(
                heights.heights_um, corners, self.reference, pixel_size_um=_pixel_size(heights)
            )
        except ValueError as error:
            self.messages.say(f"No profile: {error}.")
            return
        self.messages.clear()
        self._show()

    def line_across_the_deepest(self) -> None:
        """Draw a line along the row of the deepest place."""
        heights = self.heights
        if heights is None or self.reference is None:
            return
        from surfscan.measurement.line_profile import deepest_place

        row, _ = deepest_place(heights.heights_um, self.reference)
        corners = np.array([[row, 0.0], [row, heights.shape[1] - 1.0]])
        line = self._layers()
        with line.events.data.blocker():
            line.data = []
            line.add_lines([corners])
        self.take_line(corners)

    def go_to(self, point: int) -> None:
        """Put the cursor at a point of the profile."""
        profile = self.profile
        if profile is None or not 0 <= point < len(profile.row):
            return
        self.plot.show_place(point)
        if self._spot is not None:
            self._spot.data = np.array([[profile.row[point], profile.col[point]]])
        at = f"At {significant(float(profile.distance[point]), 4)} {profile.unit}: "
        height, depth = float(profile.height_um[point]), float(profile.depth_um[point])
        self.place.setText(
            at + "not measured"
            if height != height
            else f"{at}height {significant(height)} µm, depth {significant(depth)} µm"
        )

    def _on_move(self, _: Any, event: Any) -> None:
        profile, layer = self.profile, self.session.image_layer
        if profile is None or layer is None:
            return
        row, col = layer.world_to_data(event.position)[-2:]
        away = np.hypot(profile.row - row, profile.col - col)
        k = int(np.argmin(away))
        if away[k] * self.session.viewer.scene.camera.zoom * min(layer.scale[-2:]) <= 20:
            self.go_to(k)

    def _show(self) -> None:
        profile = self.profile
        self.plot.show_profile(profile)
        self.figures.setText("" if profile is None else depth_words(profile))
        self.doubts.setText("" if profile is None else " ".join(profile.warnings))
        self.doubts.setVisible(bool(self.doubts.text()))
        self.place.setText("" if profile is None else "Move over the plot or the line to see a place.")
        for each in (self.figure_out, self.table_out):
            each.setEnabled(profile is not None)
        self.empty.setVisible(profile is None)

    def _ask_file(self, what: str) -> None:
        kinds = {"figure": "Picture (*.png);;Drawing (*.svg)", "table": "Table (*.csv)"}[what]
        start = f"{self._stem()}_depth{'.png' if what == 'figure' else '.csv'}"
        path, _ = QFileDialog.getSaveFileName(self, f"Export {what}", start, kinds)
        if path:
            self.export(path, what)

    def export(self, path: str | Path, what: str) -> None:
        """Write the figure or the table of the line to a file."""
        if self.profile is None:
            return
        try:
            if what == "figure":
                done = export_depth_figure(path, self.profile, title=self._stem())
            else:
                done = export_depth_table(path, self.profile)
        except Exception as error:
            self.messages.fail(error)
            return
        self.messages.say(f"Written: {done}")

    def _stem(self) -> str:
        return Path(self.session.current.entry.image_id).stem if self.session.current is not None else "map"


class DepthPlot(Plot):
    """Heights along the line with the reference; moving over it shows the place on the map.

    Signals
    -------
    pointed (int)
        Point of the profile that the mouse is at.
    """

    pointed = Signal(int)

    def __init__(self, viewer: Any) -> None:
        super().__init__(viewer, 240)
        self.setObjectName("depth_plot")
        self.profile: LineProfile | None = None
        self.mpl_connect("motion_notify_event", self._on_mouse)

    def show_profile(self, profile: LineProfile | None) -> None:
        """Show a profile, or nothing."""
        self.profile = profile
        self._lay_out()
        self.redraw()

    def show_place(self, point: int) -> None:
        """Put the cursor at a point of the profile."""
        if self.profile is not None:
            self.move_cursor(float(self.profile.distance[point]), float(self.profile.height_um[point]))

    def paint(self) -> None:
        """Draw the profile."""
        if self.profile is not None:
            draw_depth(self.axes, self.profile, self.ink)

    @property
    def has_content(self) -> bool:
        """Whether there is a profile."""
        return self.profile is not None

    def _on_mouse(self, event: Any) -> None:
        if self.profile is not None and event.inaxes is self.axes and event.xdata is not None:
            self.pointed.emit(int(np.argmin(np.abs(self.profile.distance - event.xdata))))


def _pixel_size(heights: HeightMap) -> tuple[float, float] | None:
    scale = heights.calibration
    return None if scale is None else (scale.pixel_size_x_um, scale.pixel_size_y_um)
