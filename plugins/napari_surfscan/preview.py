"""A procedure tried on the visible part while a setting moves: in a worker, the newest settings winning."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
from napari.utils.colormaps import DirectLabelColormap
from qtpy.QtCore import QObject, QTimer, Signal

from napari_surfscan.mask_editing import take_away
from napari_surfscan.mask_tools import Box, grown, slices
from napari_surfscan.placing import PART, placement
from napari_surfscan.tally_view import figure_in_words
from surfscan.images import HeightMap, Micrograph

if TYPE_CHECKING:
    from napari.layers import Layer

    from napari_surfscan.session import ReviewSession
    from napari_surfscan.workers import Job
    from surfscan.procedures.result import Result

LARGEST_PX = 2048
"""Longest side of what is tried: the middle of a larger view, so that a try ends in about a second."""

SMALLEST_PX = 64
"""Shortest side; a view closer than that is widened, since a procedure needs surroundings to judge by."""

DELAY_MS = 200

PREVIEW = "preview"
"""Name of the layer that shows what was tried."""

SKY = "#56B4E9"


def cropped(image: Micrograph | HeightMap, box: Box) -> Micrograph | HeightMap:
    """Part of an image, as an image: same scale, same source.

    Parameters
    ----------
    image : Micrograph or HeightMap
    box : (row0, row1, col0, col1)

    Returns
    -------
    Micrograph or HeightMap
        A view of the same pixels. What was drawn over the picture moves along.
    """
    part = slices(box)
    if isinstance(image, HeightMap):
        return replace(image, heights_um=image.heights_um[part])
    row0, row1, col0, col1 = box
    overlays = tuple(
        (max(r0 - row0, 0), min(r1, row1) - row0, max(c0 - col0, 0), min(c1, col1) - col0)
        for r0, r1, c0, c1 in image.overlays
        if r0 < row1 and r1 > row0 and c0 < col1 and c1 > col0
    )
    return replace(image, pixels=image.pixels[part], overlays=overlays)


def visible_box(layer: Layer, shape: tuple[int, int]) -> Box:
    """What a layer shows of a picture, px: cut to its middle where large, widened where tiny.

    Parameters
    ----------
    layer : napari layer
        Laid over the whole picture; several levels of a pyramid are allowed.
    shape : (rows, columns)
        Of the whole picture.
    """
    corners = np.asarray(layer.corner_pixels, float)[:, :2]
    if getattr(layer, "multiscale", False):
        corners = corners * np.asarray(layer.downsample_factors[layer.data_level])[:2]
    low = np.clip(np.floor(corners[0]).astype(int), 0, np.array(shape) - 1)
    high = np.clip(np.ceil(corners[1]).astype(int) + 1, low + 1, shape)
    spans = []
    for start, stop in zip(low.tolist(), high.tolist(), strict=True):
        spare = stop - start - LARGEST_PX
        if spare > 0:
            start, stop = start + spare // 2, start + spare // 2 + LARGEST_PX
        spans += [start, stop]
    box = (spans[0], spans[1], spans[2], spans[3])
    shortest = min(box[1] - box[0], box[3] - box[2])
    return box if shortest >= SMALLEST_PX else grown(box, SMALLEST_PX - shortest, shape)


class LatestWins(QObject):
    """Runs what was asked for last; what was asked for before is dropped, and never more than one runs.

    Work that is under way cannot be stopped within a procedure: its outcome is dropped, and the newest
    starts as soon as it ends.

    Parameters
    ----------
    run : callable
        As `workers.run`.

    Signals
    -------
    done (result), failed (exception), busy (bool)
    """

    done = Signal(object)
    failed = Signal(object)
    busy = Signal(bool)

    def __init__(
        self, run: Callable[..., Job], parent: QObject | None = None, delay_ms: int = DELAY_MS
    ) -> None:
        super().__init__(parent)
        self._run = run
        self._wanted: Callable[[], Any] | None = None
        self._job: Job | None = None
        self._is_running = False
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(delay_ms)
        self._timer.timeout.connect(self._start)

    @property
    def is_busy(self) -> bool:
        """Whether anything runs or waits."""
        return self._is_running or self._wanted is not None

    def ask(self, function: Callable[[], Any]) -> None:
        """Run this once nothing newer has come for a moment."""
        self._wanted = function
        if self._job is not None:
            self._job.cancel()
        self.busy.emit(True)
        self._timer.start()

    def stop(self) -> None:
        """Drop all that runs or waits."""
        self._wanted = None
        self._timer.stop()
        if self._job is not None:
            self._job.cancel()
        self.busy.emit(False)

    def _start(self) -> None:
        if self._is_running or self._wanted is None:
            return
        function, self._wanted = self._wanted, None
        self._is_running = True
        job = self._run(function, returned=self._returned, failed=self._failed, cancelled=self._cancelled)
        self._job = job if self._is_running else None

    def _returned(self, result: Any) -> None:
        self._over()
        if self._wanted is None:
            self.done.emit(result)
        self._next()

    def _failed(self, error: Exception) -> None:
        self._over()
        if self._wanted is None:
            self.failed.emit(error)
        self._next()

    def _cancelled(self) -> None:
        self._over()
        self._next()

    def _over(self) -> None:
        self._is_running = False
        self._job = None

    def _next(self) -> None:
        if self._wanted is not None:
            if not self._timer.isActive():
                self._start()
        else:
            self.busy.emit(False)


def measure_part(procedure: str, image: Micrograph | HeightMap, settings: Any, **given: Any) -> Result:
    """Run a procedure on an image, or part of one, that no study measures.

    Raises
    ------
    InputError
        If it cannot be measured.
    """
    from surfscan import procedures

    measure = {
        "pits": procedures.measure_pits,
        "degraded": procedures.measure_degraded,
        "section": procedures.measure_section,
    }[procedure]
    return measure(image, settings, **given)


def result_in_words(procedure: str, result: Result) -> str:
    """What a try came to, in one line."""
    summary = result.summary
    if procedure == "pits":
        count = summary["pit_count"]
        return f"Tried on the visible part: {count} pit{'s' if count != 1 else ''} there."
    name = {"degraded": "degraded_area_fraction", "section": "remaining_fraction"}[procedure]
    words = {"degraded": "of it degraded", "section": "of the metal left"}[procedure]
    value = summary.get(name)
    if value is None:
        return f"Tried on the visible part: no figure there. {' '.join(result.warnings)}"
    said = figure_in_words(value, summary.get(f"{name}_ci95"), "%", scale=100)
    return f"Tried on the visible part: {said} {words}."


class Preview(QObject):
    """Tries settings on the visible part, and shows the outlines that they give.

    Signals
    -------
    said (str), failed (exception)
    """

    said = Signal(str)
    failed = Signal(object)

    def __init__(self, session: ReviewSession, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._session = session
        self._latest = LatestWins(session.run, self)
        self._latest.done.connect(self._show)
        self._latest.failed.connect(self._fail)
        session.image_closing.connect(self.stop)

    def ask(self, procedure: str, settings: Any) -> None:
        """Try these settings, in place of any that are being tried."""
        opened, layer = self._session.current, self._session.image_layer
        if opened is None or layer is None:
            return
        image = opened.image
        box = visible_box(layer, image.shape)
        roles = ("region", "datum") if isinstance(image, HeightMap) else ("region",)
        masks = {role: opened.companions[role][slices(box)] for role in roles if role in opened.companions}
        self.said.emit("Trying …")
        self._latest.ask(
            lambda: (procedure, box, measure_part(procedure, cropped(image, box), settings, **masks))
        )

    def stop(self, *_: object) -> None:
        """Stop trying, and take the outlines away."""
        self._latest.stop()
        self._take_away()
        self.said.emit("")

    def _take_away(self) -> None:
        viewer = self._session.viewer
        if viewer is not None:
            take_away(viewer, [layer for layer in viewer.layers if layer.name == PREVIEW])

    def _show(self, tried: tuple[str, Box, Result]) -> None:
        procedure, box, result = tried
        viewer, opened = self._session.viewer, self._session.current
        if opened is None:
            return
        outlined = (result.masks[procedure] > 0).astype(np.uint8)
        placing = placement(opened.image.calibration)
        corner = tuple(start * size for start, size in zip(box[::2], placing["scale"], strict=True))
        active = viewer.layers.selection.active
        shown = next((layer for layer in viewer.layers if layer.name == PREVIEW), None)
        if shown is not None and shown.data.shape == outlined.shape:
            shown.data, shown.translate = outlined, corner
        else:
            self._take_away()
            layer = viewer.add_labels(
                outlined,
                name=PREVIEW,
                colormap=DirectLabelColormap(color_dict={None: "transparent", 0: "transparent", 1: SKY}),
                opacity=1.0,
                metadata={PART: True},
                translate=corner,
                **placing,
            )
            layer.contour = 2
            layer.editable = False
            viewer.layers.selection.active = active
        self.said.emit(result_in_words(procedure, result))

    def _fail(self, error: Exception) -> None:
        self.said.emit("")
        self.failed.emit(error)
