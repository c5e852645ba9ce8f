"""The scale bar drawn on the image: its line with the label, and its ends to drag. No Qt."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np

from napari_surfscan.placing import PART, placement

if TYPE_CHECKING:
    from napari_surfscan.session import ReviewSession
    from surfscan.images import Micrograph
    from surfscan.procedures.scale_by_hand import BarEnds

LINE, ENDS = "scale bar", "scale bar ends"
_COLOUR = "#56B4E9"
"""Sky blue: no meaning of its own elsewhere, and told from grey by all."""

_TEXT_BELOW_PX = 4  # the label read stands below the bar, clear of the label in the picture


class ScaleLayers:
    """Two layers on the open image: the bar, and its two ends.

    Parameters
    ----------
    session : ReviewSession
    moved : callable
        Takes the columns of left and right end after a drag, or None for one that stayed, and which end
        was touched.

    Attributes
    ----------
    clicked : callable
        Takes row and column, px, of a click that was waited for.
    """

    def __init__(self, session: ReviewSession, moved: Callable[..., object]) -> None:
        self._session, self._moved = session, moved
        self.clicked: Callable[[float, float], object] = lambda row, col: None
        self._drawing = False
        self._ends: BarEnds | None = None
        session.viewer.mouse_drag_callbacks.append(self._on_press)
        self._waiting = False

    def draw(self, ends: BarEnds | None, label: str, image: Micrograph) -> None:
        """Show a bar with its label, or nothing."""
        if ends is None:
            self.clear()
            return
        self._ends = ends
        line = _both(ends)
        viewer = self._session.viewer
        size_y = placement(image.calibration)["scale"][0]
        text = {
            "string": "{label}",
            "color": _COLOUR,
            "size": 12,
            "anchor": "lower_left",
            "translation": (_TEXT_BELOW_PX * size_y, 0),
        }
        with self._own():
            if LINE in viewer.layers:
                shapes = viewer.layers[LINE]
                shapes.data = [line]
                shapes.features = {"label": [label or "?"]}
                viewer.layers[ENDS].data = line
                return
            common = {"metadata": {PART: True}, **placement(image.calibration)}
            shown = viewer.layers.selection.active
            viewer.add_shapes(
                [line],
                shape_type="line",
                name=LINE,
                edge_color=_COLOUR,
                edge_width=max(1.0, ends.length_px / 200),
                features={"label": [label or "?"]},
                text=text,
                **common,
            )
            points = viewer.add_points(
                line,
                name=ENDS,
                symbol="cross",
                size=max(8.0, ends.length_px / 12),
                face_color="white",
                border_color=_COLOUR,
                **common,
            )
            points.mode = "select"
            points.events.data.connect(self._on_data)
            points.bind_key("Left", lambda _: self._nudge(-0.25), overwrite=True)
            points.bind_key("Right", lambda _: self._nudge(0.25), overwrite=True)
            viewer.layers.selection.active = shown

    def clear(self) -> None:
        """Take both layers away."""
        self._ends = None
        viewer = self._session.viewer
        with self._own():
            for name in (LINE, ENDS):
                if name in viewer.layers:
                    viewer.layers.remove(name)

    def await_click(self, wanted: bool) -> None:
        """Wait for a click on the image, or no longer."""
        self._waiting = wanted

    def _on_press(self, viewer: Any, event: Any) -> None:
        layer = self._session.image_layer
        if not self._waiting or layer is None:
            return
        event.handled = True
        row, col = layer.world_to_data(event.position)[-2:]
        self.clicked(float(row), float(col))

    def _on_data(self, event: Any) -> None:
        if self._drawing or self._ends is None:
            return
        points = self._session.viewer.layers[ENDS].data
        if len(points) != 2:  # an end was deleted, or one added: bring both back
            with self._own():
                self._session.viewer.layers[ENDS].data = _both(self._ends)
            return
        starts, stops = float(points[0][1]), float(points[1][1])
        start = starts if starts != self._ends.col_start_px else None
        end = stops if stops != self._ends.col_end_px else None
        self._moved(start, end, "left" if start is not None else "right")

    def _nudge(self, by_px: float) -> None:
        if self._ends is None:
            return
        chosen = self._session.viewer.layers[ENDS].selected_data
        start = self._ends.col_start_px + by_px if 0 in chosen or not chosen else None
        end = self._ends.col_end_px + by_px if 1 in chosen else None
        self._moved(start, end, "left" if start is not None else "right")

    @contextmanager
    def _own(self) -> Iterator[None]:
        """While the layers are changed by us, not by the user."""
        self._drawing = True
        try:
            yield
        finally:
            self._drawing = False


def _both(ends: BarEnds) -> np.ndarray:
    return np.array([[ends.row_px, ends.col_start_px], [ends.row_px, ends.col_end_px]])
