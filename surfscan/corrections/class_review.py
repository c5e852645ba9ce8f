"""A person's review of a class image: degraded surface, or the metal of sections, painted with undo."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from surfscan.corrections.automatic import Automatic, mask_of
from surfscan.corrections.changes import Changes, compare_class_images
from surfscan.corrections.edit import Bounds, replayed
from surfscan.corrections.strokes import as_groups, flat_positions, from_groups, on_specimen, read_stroke
from surfscan.images import Calibration, Micrograph
from surfscan.procedures.degraded import DEGRADED_CLASS, TARNISHED_CLASS, corrected_fractions
from surfscan.segmentation.section import MEDIUM, METAL, PRODUCT, VOID

Interval = tuple[float, float]
_NAMES = {
    "degraded": {0: "metal", TARNISHED_CLASS: "tarnished", DEGRADED_CLASS: "degraded"},
    "section": {MEDIUM: "mounting medium", METAL: "metal", PRODUCT: "product", VOID: "crack or pore"},
}
_REPORTED = {"degraded": DEGRADED_CLASS, "section": METAL}


@dataclass(frozen=True)
class ClassTally:
    """Figures of a class image as it stands.

    Attributes
    ----------
    areas_px : dict of str to int
        Pixels of each class inside the specimen.
    degraded_fraction, tarnished_fraction : float or None
        Share of the specimen; None on sections, the second also where that class is not told apart.
    degraded_fraction_ci95, tarnished_fraction_ci95 : (float, float) or None
        As wide as those of the automatic map.
    metal_area_um2 : float or None
        On sections: that of the automatic result, moved by the metal given and taken in whole pixels, all of
        it counted. The result that is saved follows the edge to a fraction of a pixel, and leaves out
        sections that the frame cuts. None without a scale or a section that lies whole in the field.
    remaining_fraction : float or None
        On sections whose original area is known: that metal over it, with or without a scale.
    region_area_px : int
    automatic : ClassTally or None
        The same of the automatic result; None in that one itself.
    """

    areas_px: Mapping[str, int]
    degraded_fraction: float | None
    degraded_fraction_ci95: Interval | None
    tarnished_fraction: float | None
    tarnished_fraction_ci95: Interval | None
    metal_area_um2: float | None
    remaining_fraction: float | None
    region_area_px: int
    automatic: ClassTally | None = None


@dataclass(frozen=True)
class ClassEdit:
    """What one edit did.

    Attributes
    ----------
    kind : str
        "paint", "undo" or "redo".
    ids_touched : tuple of int
        Classes that lost or gained pixels; empty where nothing changed.
    bounds : (row0, row1, col0, col1)
        The part of the picture to be drawn anew, ends excluded; all 0 where nothing changed.
    tally : ClassTally
    said : tuple of str
        What the person should know, in plain words.
    record : dict
        The edit for a journal: `ClassReview.replay` does it again.
    """

    kind: str
    ids_touched: tuple[int, ...]
    bounds: Bounds
    tally: ClassTally
    said: tuple[str, ...] = ()
    record: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class _Step:
    """Pixels changed: flat positions, ascending, with their classes before and after."""

    at: np.ndarray
    before: np.ndarray
    after: np.ndarray


class ClassReview:
    """The class image of one picture under review; made by `start`.

    Only what a stroke changed is counted again. Nothing can be painted off the specimen.
    """

    def __init__(
        self,
        procedure: str,
        classes: np.ndarray,
        region: np.ndarray,
        automatic: Mapping[str, Any],
        scale: Calibration | None,
    ) -> None:
        self.procedure = procedure
        self._classes = np.array(classes, np.uint8, order="C")
        self._region = np.asarray(region) != 0
        self._summary = automatic
        self._scale = scale
        self._counts = np.bincount(self._classes[self._region], minlength=len(_NAMES[procedure]))
        self._region_px = int(np.count_nonzero(self._region))
        self._found = self._counts.copy()
        self._done: list[_Step] = []
        self._undone: list[_Step] = []
        self._first = self._figures(None)

    @classmethod
    def start(
        cls,
        image: Micrograph,
        automatic: Automatic,
        *,
        classes: np.ndarray | None = None,
        region: np.ndarray | None = None,
    ) -> ClassReview:
        """Begin a review.

        Parameters
        ----------
        image : Micrograph
        automatic : Result or StoredResult
            Of `surfscan.procedures.measure_degraded` or `measure_section`.
        classes, region : ndarray of shape (M, N), optional
            Its masks of that name ("degraded" or "section", and "region"); read from it where not given.

        Raises
        ------
        ValueError
            If the result has no classes, or is not of this image.
        InputError
            If a stored mask is missing or was changed.
        """
        procedure = automatic.procedure
        if procedure not in _NAMES:
            raise ValueError(f"a result of {procedure!r} has no classes to paint")
        classes = mask_of(automatic, procedure) if classes is None else classes
        region = mask_of(automatic, "region") if region is None else region
        if classes.shape != image.shape or region.shape != image.shape:
            raise ValueError(
                f"the masks are {classes.shape[0]} x {classes.shape[1]} px, the image "
                f"{image.shape[0]} x {image.shape[1]} px: measure this image first"
            )
        highest = max(_NAMES[procedure])
        if int(classes.max(initial=0)) > highest:
            raise ValueError(f"the mask holds classes above {highest}: measure this image again")
        return cls(procedure, classes, region, automatic.summary, image.calibration)

    @property
    def class_names(self) -> dict[int, str]:
        """Class -> its name."""
        return dict(_NAMES[self.procedure])

    @property
    def labels(self) -> np.ndarray:
        """Class at every pixel, shape (M, N), uint8; read only."""
        view = self._classes.view()
        view.flags.writeable = False
        return view

    @property
    def can_undo(self) -> bool:
        """Whether there is an edit to take back."""
        return bool(self._done)

    @property
    def can_redo(self) -> bool:
        """Whether there is an edit to do again."""
        return bool(self._undone)

    def corrected_labels(self) -> np.ndarray:
        """The class image as it stands, shape (M, N), uint8; a copy."""
        return self._classes.copy()

    def tally(self) -> ClassTally:
        """Figures as the image stands; fractions are those of the procedure with `corrected_labels()`."""
        return self._figures(self._first)

    def changes(self) -> Changes:
        """What was changed against the automatic result."""
        automatic = self._classes.copy()
        for step in reversed(self._done):
            automatic.reshape(-1)[step.at] = step.before
        return compare_class_images(automatic, self._classes, _REPORTED[self.procedure], region=self._region)

    def paint(self, rows: np.ndarray, cols: np.ndarray, value: int) -> ClassEdit:
        """Give pixels a class.

        Parameters
        ----------
        rows, cols : ndarray of shape (n,), int
        value : int
            One of `class_names`.

        Raises
        ------
        ValueError
            If there is no such class, or the pixels lie off the picture or off the specimen.
        """
        at = flat_positions(rows, cols, self._classes.shape)
        return self._paint(at, np.full(len(at), value))

    def paint_over(self, before_labels: np.ndarray, after_labels: np.ndarray, bounds: Bounds) -> ClassEdit:
        """Take in what a brush did to a picture of the classes.

        Parameters
        ----------
        before_labels, after_labels : ndarray, int
            Classes before and after the stroke: the part within `bounds`, or the whole picture.
        bounds : (row0, row1, col0, col1)
            Where the stroke went, ends excluded.

        Raises
        ------
        ValueError
            If shapes and bounds disagree, there is no such class, or the whole stroke lies off the specimen.
        """
        at, value, _ = read_stroke(before_labels, after_labels, bounds, self._classes.shape)
        return self._paint(at, value)

    def undo(self) -> ClassEdit:
        """Take the last edit back.

        Raises
        ------
        ValueError
            If there is none.
        """
        if not self._done:
            raise ValueError("there is nothing to undo")
        step = self._done.pop()
        self._undone.append(step)
        self._put(step.at, step.after, step.before)
        return self._told("undo", step, {"kind": "undo"})

    def redo(self) -> ClassEdit:
        """Do again what was taken back last.

        Raises
        ------
        ValueError
            If there is nothing to.
        """
        if not self._undone:
            raise ValueError("there is nothing to redo")
        step = self._undone.pop()
        self._done.append(step)
        self._put(step.at, step.before, step.after)
        return self._told("redo", step, {"kind": "redo"})

    def replay(self, edits: Iterable[Mapping[str, Any]]) -> int:
        """Do recorded edits again, on a review as it was when they were recorded.

        Parameters
        ----------
        edits : iterable of mapping
            `ClassEdit.record` of each, in order.

        Returns
        -------
        int
            How many were done.

        Raises
        ------
        ValueError
            If one does not fit; those before it stay done.
        """
        return replayed(edits, self._again)

    def _again(self, edit: Mapping[str, Any]) -> None:
        kind = edit["kind"]
        if kind == "paint":
            self._paint(*from_groups(edit["pixels"], self._classes.size))
        elif kind in ("undo", "redo"):
            (self.undo if kind == "undo" else self.redo)()
        else:
            raise ValueError(f"a review of classes knows no edit {kind!r}")

    def _paint(self, at: np.ndarray, value: np.ndarray) -> ClassEdit:
        strange = sorted(set(np.unique(value).tolist()) - set(_NAMES[self.procedure]))
        if strange:
            raise ValueError(f"there is no class {strange[0]}; there are {self.class_names}")
        record = {"kind": "paint", "pixels": as_groups(at, value)}
        inside, said = on_specimen(at, self._region)
        at, value = at[inside], value[inside].astype(np.uint8)
        before = self._classes.reshape(-1)[at]
        differ = before != value
        step = _Step(at[differ], before[differ], value[differ])
        if step.at.size:
            self._put(step.at, step.before, step.after)
            self._done.append(step)
            self._undone.clear()
        return self._told("paint", step, record, said)

    def _put(self, at: np.ndarray, before: np.ndarray, after: np.ndarray) -> None:
        self._classes.reshape(-1)[at] = after
        size = len(self._counts)
        self._counts += np.bincount(after, minlength=size) - np.bincount(before, minlength=size)

    def _told(
        self, kind: str, step: _Step, record: Mapping[str, Any], said: tuple[str, ...] = ()
    ) -> ClassEdit:
        bounds = (0, 0, 0, 0)
        if step.at.size:
            row, col = np.divmod(step.at, self._classes.shape[1])
            bounds = (int(row.min()), int(row.max()) + 1, int(col.min()), int(col.max()) + 1)
        touched = tuple(np.union1d(step.before, step.after).tolist())
        return ClassEdit(kind, touched, bounds, self.tally(), said, record)

    def _figures(self, automatic: ClassTally | None) -> ClassTally:
        names = _NAMES[self.procedure]
        areas = {names[k]: int(self._counts[k]) for k in names}
        shares: dict[str, Any] = {}
        metal = remaining = None
        if self.procedure == "degraded":
            shares = corrected_fractions(self._counts, self._region_px, self._summary)
        elif self._summary.get("metal_area_px") is not None:
            metal_px = self._summary["metal_area_px"] + self._metal_gained_px()
            original_px = self._summary.get("original_area_px")
            remaining = metal_px / original_px if original_px else None
            if self._scale is not None:
                metal = metal_px * min(self._scale.pixel_size_x_um, self._scale.pixel_size_y_um) ** 2
        return ClassTally(
            areas_px=areas,
            degraded_fraction=shares.get("degraded_area_fraction"),
            degraded_fraction_ci95=_pair(shares.get("degraded_area_fraction_ci95")),
            tarnished_fraction=shares.get("tarnished_area_fraction"),
            tarnished_fraction_ci95=_pair(shares.get("tarnished_area_fraction_ci95")),
            metal_area_um2=metal,
            remaining_fraction=remaining,
            region_area_px=self._region_px,
            automatic=automatic,
        )

    def _metal_gained_px(self) -> float:
        """Metal given less metal taken, in the square pixels that sections are measured on, as cut."""
        scale, angle = self._scale, self._summary.get("cut_angle_deg") or 0.0
        gained = float(self._counts[METAL] - self._found[METAL]) * float(np.cos(np.deg2rad(angle)))
        if scale is None:
            return gained
        sizes = scale.pixel_size_x_um, scale.pixel_size_y_um
        return gained * max(sizes) / min(sizes)


def _pair(limits: Sequence[float] | None) -> Interval | None:
    return None if limits is None else (limits[0], limits[1])
