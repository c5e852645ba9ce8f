"""A review and the layers that show it: one stack of undo for buttons, keys and the viewer's own brush."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any

import numpy as np
from app_model.types import KeyCode, KeyMod
from psygnal import Signal

from napari_surfscan.mask_tools import Box, around, is_written, painted_box, slices

if TYPE_CHECKING:
    from collections.abc import Iterator

    import napari
    from napari.layers import Labels


def take_away(viewer: napari.Viewer, layers: Iterable[Any]) -> None:
    """Remove those of some layers that are still in the viewer."""
    for layer in layers:
        if layer in viewer.layers:
            viewer.layers.remove(layer)


class MaskEditing:
    """What every review of a mask has in common.

    Parameters
    ----------
    viewer : napari.Viewer or ViewerModel
    review : PitReview or ClassReview
        Holds the mask, its tally and its history; this class only shows it.
    placing : dict
        Scale and units of the image's layers.
    keep : callable, optional
        Takes every edit at once, so that nothing is lost when the viewer dies.

    Signals
    -------
    edited (Edit)
        The mask has changed.
    said (str)
        What the person should know, or why something could not be done.
    """

    edited = Signal(object)
    said = Signal(str)

    def __init__(
        self,
        viewer: napari.Viewer,
        review: Any,
        placing: dict[str, Any],
        keep: Callable[[Any], object] | None = None,
    ) -> None:
        self.viewer = viewer
        self.review = review
        self.keep = keep
        self.placing = placing
        self.layers: list[Any] = []
        self.painted: Labels | None = None
        self._is_showing = False
        self._stroked: Box | None = None

    def attach(self) -> None:
        """Add the layers and listen to the brush."""
        self._add_layers()
        layer = self.painted
        layer.events.paint.connect(self._on_paint)
        layer.events.labels_update.connect(self._take_strokes)
        layer.bind_key(KeyMod.CtrlCmd | KeyCode.KeyZ, lambda _: self.undo(), overwrite=True)
        layer.bind_key(KeyMod.CtrlCmd | KeyMod.Shift | KeyCode.KeyZ, lambda _: self.redo(), overwrite=True)
        self.viewer.layers.selection.active = layer

    def detach(self) -> None:
        """Take the layers away; the review stays as it is."""
        if self.painted is not None:
            self.painted.events.paint.disconnect(self._on_paint)
            self.painted.events.labels_update.disconnect(self._take_strokes)
        take_away(self.viewer, self.layers)
        self.layers = []
        self.painted = None

    def undo(self) -> None:
        """Take the last edit back, whether it came from a button, a key or the brush."""
        self.do(self.review.undo)

    def redo(self) -> None:
        """Bring back what was taken back last."""
        self.do(self.review.redo)

    def do(self, operation: Callable[[], Any]) -> Any:
        """Run one operation of the review, show it and hand it on to be kept.

        Returns
        -------
        Edit or None
            None where nothing changed, or it could not be done; `said` then says why.
        """
        try:
            edit = operation()
        except ValueError as error:
            words = str(error)
            self.said.emit(f"{words[0].upper()}{words[1:]}.")
            return None
        if not edit.ids_touched:
            return None
        if self.keep is not None:
            self.keep(edit)
        self.show_part(edit)
        self.edited.emit(edit)
        if edit.said:
            self.said.emit(" ".join(edit.said))
        return edit

    def _on_paint(self, event: Any) -> None:
        if self._is_showing or self.painted is None:
            return
        boxes = [painted_box(event.value), self._stroked]
        self._stroked = around(box for box in boxes if box is not None)
        if is_written(self.painted.data, event.value):
            self._take_strokes()

    def _take_strokes(self, _: Any = None) -> None:
        """Take in what was painted since the last time."""
        if self._is_showing or self._stroked is None:
            return
        box, self._stroked = self._stroked, None
        before, after = self._strokes(box)
        if (
            np.array_equal(before, after)
            or self.do(lambda: self.review.paint_over(before, after, box)) is None
        ):
            self._restore(box)

    @contextmanager
    def _showing(self) -> Iterator[None]:
        """While layers are brought up to the review, what they report is no stroke."""
        before = self._is_showing
        self._is_showing = True
        try:
            yield
        finally:
            self._is_showing = before

    def _put(self, layer: Labels, box: Box, values: np.ndarray) -> None:
        """Bring part of a labels layer to these values, redrawing that part alone."""
        part = slices(box)
        rows, cols = np.nonzero(layer.data[part] != values)
        if len(rows):
            with self._showing():
                layer.data_setitem((rows + box[0], cols + box[2]), values[rows, cols])

    def _add_layers(self) -> None:
        raise NotImplementedError

    def _strokes(self, box: Box) -> tuple[np.ndarray, np.ndarray]:
        """Mask of the review before the brush, and after it, inside a box."""
        raise NotImplementedError

    def _restore(self, box: Box) -> None:
        """Show the review again where a stroke was refused."""
        raise NotImplementedError

    def show_part(self, edit: Any) -> None:
        """Bring the layers up to the review where an edit has been."""
        raise NotImplementedError
