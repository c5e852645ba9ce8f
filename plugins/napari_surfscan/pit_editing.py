"""A review of pits in the viewer: layers, selection, mouse and keys. No widgets."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any

import numpy as np
from napari.utils.colormaps import CyclicLabelColormap, DirectLabelColormap
from psygnal import Signal

from napari_surfscan.mask_editing import MaskEditing
from napari_surfscan.mask_tools import (
    BY_HAND,
    FOUND,
    MARGIN_PX,
    NOT_SURE,
    OUTLINE_COLOURS,
    REJECTED,
    VERMILION,
    YELLOW,
    Box,
    code_of,
    grown,
    line_between,
    outline_codes,
    shown_of,
    slices,
    with_strokes,
)
from napari_surfscan.placing import PART

PITS, OUTLINES, REJECTED_PITS, MARKS = "pits", "outlines", "rejected", "marks"

_NEEDED = (
    "status",
    "origin",
    "settled",
    "redrawn",
    "near_limit",
    "row_px",
    "col_px",
    "area_px",
)
"""Columns of a review's rows that drawing goes by."""

_RING, _RING_SPARE_PX = 1.5, 4
"""Width of the ring around a selected pit: so many times its own, and so many pixels more."""

_FEW = 2
"""Up to so many pits are asked for one by one."""

_SPARE = 1024
"""Room for pits that are still to come, so that the table of codes seldom grows."""

_CLICK_PX = 4
"""How far the mouse may slip between press and release of a click, screen pixels."""

_SHOWN_AT_LEAST = 60
"""Width to which a pit flown to is magnified where it is smaller, screen pixels."""


class PitEditing(MaskEditing):
    """The layers "pits", "outlines", "rejected" and "marks" of one review.

    "pits" holds the labels of the review without the rejected ones and takes the brush. Outlines are drawn
    by what stands behind them: found plain, corrected by hand dashed, near a limit with a plus, rejected
    dotted with a cross, not sure with a question mark.

    Signals
    -------
    selected (tuple of int)
        Pits that are selected, the first first.
    """

    selected = Signal(object)

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.selection: tuple[int, ...] = ()
        self.settled: set[int] = set()
        self._doubtful: list[int] = []
        self.is_cutting = False
        self._codes = np.zeros(0, np.uint8)
        self._marks: dict[int, tuple[float, float]] = {}
        self._places: dict[int, tuple[float, float, float]] = {}
        self._marked: list[Any] = []
        self.touched: dict[int, Mapping[str, Any]] = {}

    # layers

    def _add_layers(self) -> None:
        labels = self.review.labels
        rows = self.review.rows()
        self._codes = np.zeros(int(max(rows["label"], default=0)) + _SPARE, np.uint8)
        self.settled = set()
        self._marks, self._places, self._marked = {}, {}, []
        self.selection = ()
        for k, pit in enumerate(rows["label"].tolist()):
            self._know(pit, {name: rows[name][k] for name in _NEEDED})
        self._doubtful = self.review.doubtful_order()
        drawn = outline_codes(labels, self._codes, self._marks)
        colours = {None: "transparent", 0: "transparent", **OUTLINE_COLOURS}
        add = self.viewer.add_labels
        rejected = add(
            np.where(drawn == REJECTED, drawn, 0).astype(np.uint8),
            name=REJECTED_PITS,
            colormap=DirectLabelColormap(color_dict=colours),
            opacity=1.0,
            metadata={PART: True},
            **self.placing,
        )
        self.painted = add(
            np.array(shown_of(labels, self._rejected())),
            name=PITS,
            colormap=CyclicLabelColormap(colors=["transparent", VERMILION]),
            opacity=0.3,
            metadata={PART: True},
            **self.placing,
        )
        outlines = add(
            np.where(drawn == REJECTED, 0, drawn).astype(np.uint8),
            name=OUTLINES,
            colormap=DirectLabelColormap(color_dict=colours),
            opacity=1.0,
            metadata={PART: True},
            **self.placing,
        )
        for layer in (rejected, outlines):
            layer.editable = False
        marks = self.viewer.add_points(
            np.zeros((0, 2)),
            name=MARKS,
            features={"mark": np.zeros(0, "U1")},
            text={"string": "{mark}", "color": YELLOW, "size": 14, "anchor": "upper_left"},
            symbol="disc",
            face_color="transparent",
            border_color="black",
            border_width=0.06,
            size=1,
            metadata={PART: True},
            **self.placing,
        )
        marks.editable = False
        self.layers = [rejected, outlines, marks, self.painted]
        self._put_marks()

    def attach(self) -> None:
        """Add the layers, listen to brush and mouse, and bind the keys."""
        super().attach()
        self.viewer.mouse_drag_callbacks.append(self._on_mouse)
        for key, action in self.keys().items():
            self.painted.bind_key(key, lambda _, act=action: act(), overwrite=True)

    def detach(self) -> None:
        """Take layers and mouse callback away."""
        if self._on_mouse in self.viewer.mouse_drag_callbacks:
            self.viewer.mouse_drag_callbacks.remove(self._on_mouse)
        super().detach()

    def keys(self) -> dict[str, Callable[[], object]]:
        """Key -> what it does; only keys that the viewer leaves free on a labels layer."""
        return {
            "R": self.reject,
            "A": self.accept,
            "U": self.mark_unsure,
            "I": self.start_adding,
            "T": self.start_repainting,
            "S": self.split,
            "C": self.start_cutting,
            "J": self.merge,
            "N": self.walk_next,
            "Shift-N": self.walk_back,
        }

    # what can be done

    def reject(self) -> None:
        """Take the selected pits out of the count."""
        if self._has_selection():
            self.do(lambda: self.review.reject(self.selection))

    def accept(self) -> None:
        """Count the selected pits, rejected ones too."""
        if self._has_selection():
            self.do(lambda: self.review.accept(self.selection))

    def mark_unsure(self) -> None:
        """Mark the selected pits as not sure: they count, and are looked at again."""
        if self._has_selection():
            self.do(lambda: self.review.mark_unsure(self.selection))

    def split(self) -> None:
        """Part the selected pit at its neck."""
        if self._has_selection():
            self.do(lambda: self.review.split(self.selection[0], None))

    def merge(self) -> None:
        """Make one pit of those selected."""
        if len(self.selection) < 2:
            self.said.emit("Merging takes two pits or more: hold Shift and click each, or select their rows.")
            return
        edit = self.do(lambda: self.review.merge(self.selection))
        if edit is not None:
            self.select([i for i in edit.ids_touched if i in self._places][:1])

    def start_adding(self) -> None:
        """Take the brush with a new number: what is painted next is a new pit."""
        self.painted.selected_label = max(self.review.status, default=0) + 1
        self.painted.mode = "paint"

    def start_repainting(self) -> None:
        """Take the brush with the number of the selected pit."""
        if self._has_selection():
            self.painted.selected_label = self.selection[0]
            self.painted.mode = "paint"

    def start_cutting(self) -> None:
        """Let the next drag across a pit part it along that line."""
        self.painted.mode = "pan_zoom"
        self.painted.mouse_pan = False
        self.is_cutting = True

    def stop_tools(self) -> None:
        """Put brush and knife away."""
        self.is_cutting = False
        if self.painted is not None:
            self.painted.mode = "pan_zoom"
            self.painted.mouse_pan = True

    def _has_selection(self) -> bool:
        if not self.selection:
            self.said.emit("No pit is selected: click one in the picture or in the table.")
        return bool(self.selection)

    # selection and walk

    def select(self, pits: Iterable[int], *, fly: bool = False) -> None:
        """Select pits; with `fly` the first is brought into the middle of the view."""
        chosen = tuple(dict.fromkeys(int(p) for p in pits if int(p) in self._places))
        if fly and chosen:
            self._fly_to(chosen[0])
        if chosen == self.selection:
            return
        self.selection = chosen
        if self.painted is not None:
            if chosen:
                self.painted.selected_label = chosen[0]
            self._put_marks()
        self.selected.emit(chosen)

    def walk_next(self) -> None:
        """Go to the most doubtful pit that nobody has settled yet."""
        self._walk(1)

    def walk_back(self) -> None:
        """Go back along the walk."""
        self._walk(-1)

    def open_doubts(self) -> list[int]:
        """Pits still to be looked at: those marked as not sure, then nearest the limits first."""
        return [p for p in self._doubtful if p in self._places and p not in self.settled]

    def waiting_in_words(self) -> str:
        """How many pits are left to look at."""
        if not self._places:
            return "No pits"
        waiting = self.open_doubts()
        near = sum(1 for p in waiting if p in self._marks or self._codes[p] == NOT_SURE)
        return f"{len(waiting)} open, {near} near a limit" if waiting else "All are settled"

    def sort_doubts(self) -> None:
        """Bring the order of the walk up to date."""
        self._doubtful = self.review.doubtful_order()

    def _walk(self, step: int) -> None:
        waiting = self.open_doubts()
        if not waiting:
            self.said.emit(
                "Every pit has been settled."
                if self._places
                else "There are no pits: paint one with 'Add', or run with other settings."
            )
            return
        here = self.selection[0] if self.selection else None
        if here in waiting:
            pit = waiting[(waiting.index(here) + step) % len(waiting)]
        else:
            pit = waiting[0 if step > 0 else -1]
        self.select([pit], fly=True)

    def _fly_to(self, pit: int) -> None:
        row, col, diameter = self._places[pit]
        size_y, size_x = self.placing["scale"]
        camera = self.viewer.scene.camera
        camera.center = (row * size_y, col * size_x)
        camera.zoom = max(camera.zoom, _SHOWN_AT_LEAST / max(diameter * size_x, size_x))

    # mouse

    def _on_mouse(self, viewer: Any, event: Any) -> Iterator[None]:
        if self.painted is None or event.button != 1 or self.painted.mode != "pan_zoom":
            return
        start = self.painted.world_to_data(event.position)[-2:]
        pressed = np.asarray(event.pos, float)
        path = []
        yield
        while event.type == "mouse_move":
            path.append(self.painted.world_to_data(event.position)[-2:])
            yield
        if self.is_cutting:
            self._cut(line_between(start, path))
        elif np.abs(np.asarray(event.pos, float) - pressed).max() <= _CLICK_PX:
            self._click(start, joining="Shift" in event.modifiers or "Control" in event.modifiers)

    def _click(self, at: np.ndarray, *, joining: bool) -> None:
        pit = self.pit_at(at)
        if joining and pit:
            kept = [p for p in self.selection if p != pit]
            self.select(kept if pit in self.selection else [*kept, pit])
        else:
            self.select([pit] if pit else [])

    def pit_at(self, at: Iterable[float]) -> int:
        """Number of the pit at a place of the picture (row, column), a rejected one too; 0 where none is."""
        row, col = (round(float(v)) for v in at)
        rows, cols = self.review.labels.shape
        return int(self.review.labels[row, col]) if 0 <= row < rows and 0 <= col < cols else 0

    def _cut(self, line: np.ndarray) -> None:
        self.stop_tools()
        crossed = self._crossed(line)
        if not crossed:
            self.said.emit("The line crosses no pit: drag from one side of a pit to the other.")
            return
        pit = next((p for p in self.selection if p in crossed), crossed[0])
        self.do(lambda: self.review.split(pit, line))

    def _crossed(self, line: np.ndarray) -> list[int]:
        """Pits under a line, the one with most of it first."""
        seen: dict[int, int] = {}
        for start, end in pairwise(line):
            count = int(np.abs(end - start).max()) + 1
            for share in np.linspace(0, 1, count + 1):
                if pit := self.pit_at(start + share * (end - start)):
                    seen[pit] = seen.get(pit, 0) + 1
        return sorted(seen, key=lambda p: -seen[p])

    # showing

    def _strokes(self, box: Box) -> tuple[np.ndarray, np.ndarray]:
        part = slices(box)
        before = self.review.labels[part].copy()
        shown = shown_of(before, self._rejected())
        return before, with_strokes(before, shown, self.painted.data[part])

    def _restore(self, box: Box) -> None:
        self._put(self.painted, box, shown_of(self.review.labels[slices(box)], self._rejected()))

    def show_part(self, edit: Any) -> None:
        """Redraw what an edit has touched, and nothing else."""
        self.touched = self._rows_of(edit.ids_touched)
        for pit in edit.ids_touched:
            self._forget(pit)
            if pit in self.touched:
                self._know(pit, self.touched[pit])
        box = edit.bounds
        if box[1] > box[0] and box[3] > box[2]:
            self._restore(box)
            self._draw(box)
        self.select([p for p in self.selection if p in self._places])
        self._put_marks()

    def _rows_of(self, pits: Iterable[int]) -> dict[int, Mapping[str, Any]]:
        """Rows of those pits that there are; of many at once, since each row looks at all neighbours."""
        status = self.review.status
        there = [pit for pit in pits if pit in status]
        if len(there) <= _FEW:
            return {pit: self.review.row(pit) for pit in there}
        rows = self.review.rows()
        places = np.searchsorted(rows["label"], there).tolist()
        names = list(rows)
        return {pit: {name: rows[name][k] for name in names} for pit, k in zip(there, places, strict=True)}

    def _draw(self, box: Box) -> None:
        shape = self.review.labels.shape
        outer = grown(box, MARGIN_PX, shape)
        seen = grown(outer, MARGIN_PX, shape)
        labels = self.review.labels[slices(seen)]
        marks = {p: self._marks[p] for p in np.unique(labels).tolist() if p in self._marks}
        drawn = outline_codes(labels, self._codes, marks, (seen[0], seen[2]))
        inner = drawn[outer[0] - seen[0] : outer[1] - seen[0], outer[2] - seen[2] : outer[3] - seen[2]]
        is_rejected = inner == REJECTED
        rejected, outlines = self.layers[0], self.layers[1]
        self._put(rejected, outer, np.where(is_rejected, inner, 0))
        self._put(outlines, outer, np.where(is_rejected, 0, inner))

    def _know(self, pit: int, row: Mapping[str, Any]) -> None:
        if pit >= len(self._codes):
            self._codes = np.concatenate([self._codes, np.zeros(pit + _SPARE - len(self._codes), np.uint8)])
        code = code_of(str(row["status"]), bool(row["redrawn"]) or row["origin"] != "automatic")
        self._codes[pit] = code
        if row["settled"]:
            self.settled.add(pit)
        if not row["area_px"]:
            return
        at = (float(row["row_px"]), float(row["col_px"]))
        self._places[pit] = (*at, float(row["area_px"]) ** 0.5)
        if code == REJECTED or (row["near_limit"] != "" and code in (FOUND, BY_HAND)):
            self._marks[pit] = at

    def _forget(self, pit: int) -> None:
        self._places.pop(pit, None)
        self._marks.pop(pit, None)
        self.settled.discard(pit)
        if pit < len(self._codes):
            self._codes[pit] = 0

    def _rejected(self) -> list[int]:
        return [int(p) for p in np.flatnonzero(self._codes == REJECTED)]

    def _put_marks(self) -> None:
        """Question marks beside what is not sure, a ring around what is selected."""
        unsure = [p for p in np.flatnonzero(self._codes == NOT_SURE).tolist() if p in self._places]
        ringed = set(self.selection)
        pits = [*unsure, *(p for p in self.selection if self._codes[p] != NOT_SURE)]
        wanted = [
            (*self._places[p], "?" if self._codes[p] == NOT_SURE else " ", 1.0 if p in ringed else 0.0)
            for p in pits
        ]
        if wanted == self._marked:
            return
        self._marked = wanted
        marks = self.layers[2]
        rows, cols, widths, signs, rings = zip(*wanted, strict=True) if wanted else ((), (), (), (), ())
        marks.data = np.column_stack([rows, cols]).reshape(-1, 2)
        if wanted:
            marks.features = {"mark": np.array(signs)}
            marks.size = np.array(widths) * _RING + _RING_SPARE_PX
            marks.border_color = np.array([(0, 0, 0, ring) for ring in rings])
