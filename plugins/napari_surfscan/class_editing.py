"""A review of a class mask in the viewer: degraded surface, or a polished section. No widgets."""

from __future__ import annotations

from typing import Any

import numpy as np
import pandas as pd
from napari.utils.colormaps import DirectLabelColormap

from napari_surfscan.mask_editing import MaskEditing
from napari_surfscan.mask_tools import BLUE, GREY, VERMILION, Box, slices
from napari_surfscan.placing import PART

ORANGE = "#E69F00"

COLOURS = {
    "degraded": {1: ORANGE, 2: VERMILION},
    "section": {1: BLUE, 2: VERMILION, 3: GREY},
}
"""Procedure -> class -> colour; class 0 (metal, or the mounting medium) shows the picture itself."""


class ClassEditing(MaskEditing):
    """One layer, named like its procedure, whose values are the classes of the review.

    Parameters
    ----------
    procedure : "degraded" or "section"
    names : mapping of int to str
        Classes in words.
    """

    def __init__(self, procedure: str, names: dict[int, str], *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.procedure = procedure
        self.names = names

    def _add_layers(self) -> None:
        colours = {None: "transparent", 0: "transparent", **COLOURS[self.procedure]}
        self.painted = self.viewer.add_labels(
            np.array(self.review.labels, np.uint8),
            name=self.procedure,
            colormap=DirectLabelColormap(color_dict=colours),
            opacity=0.4,
            features=pd.DataFrame({"index": list(self.names), "class": list(self.names.values())}),
            metadata={PART: True},
            **self.placing,
        )
        self.layers = [self.painted]

    def take_brush(self, code: int) -> None:
        """Take the brush of a class."""
        self.painted.selected_label = code
        self.painted.mode = "paint"

    def stop_tools(self) -> None:
        """Put the brush away."""
        if self.painted is not None:
            self.painted.mode = "pan_zoom"

    def _strokes(self, box: Box) -> tuple[np.ndarray, np.ndarray]:
        part = slices(box)
        before = self.review.labels[part].copy()
        after = np.where(np.isin(self.painted.data[part], list(self.names)), self.painted.data[part], before)
        return before, after.astype(before.dtype)

    def _restore(self, box: Box) -> None:
        self._put(self.painted, box, self.review.labels[slices(box)])

    def show_part(self, edit: Any) -> None:
        """Redraw what an edit has touched."""
        self._restore(edit.bounds)
