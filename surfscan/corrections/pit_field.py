"""The field of a review of pits: what any outline on it measures, and how far the field itself reaches."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table
from surfscan.estimates.counting import EdgeRule
from surfscan.images import HeightMap, Micrograph
from surfscan.measurement.objects import Frame, Objects, measure_objects
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.drawn_pits import measure_dark_one, measure_deep_one
from surfscan.procedures.height_pits import (
    LOST_PATCH_PX,
    exposed_surface,
    height_ground,
    lost_patches,
)
from surfscan.procedures.pits import pit_ground
from surfscan.procedures.settings import HeightPitSettings, PitSettings
from surfscan.segmentation.dark_ground import DarkGround
from surfscan.segmentation.deep_ground import DeepGround

Window = tuple[slice, slice]
_REACH = 2 * LOST_PATCH_PX


@dataclass
class PitField:
    """One picture with its specimen and its edge rule.

    Attributes
    ----------
    image : Micrograph or HeightMap
    settings : PitSettings or HeightPitSettings
    specimen : ndarray of shape (M, N), bool, or None
        Where a pit may lie; None for the whole picture.
    region : ndarray of shape (M, N), bool, or None
        Where a pit would be seen: the specimen, on a height map without the gaps that no pit takes in.
    frame : (row0, row1, col0, col1)
        Counting frame.
    area_px : int
        Of the region in the frame.
    rule : EdgeRule
    ground : DarkGround, DeepGround or None
        The metal that outlines are judged by; None until `prepare` was called.
    missing : ndarray of shape (M, N), bool, or None
        On a prepared height map with gaps: what was not measured.
    """

    image: Micrograph | HeightMap
    settings: PitSettings | HeightPitSettings
    specimen: np.ndarray | None
    region: np.ndarray | None
    frame: Frame
    area_px: int
    rule: EdgeRule
    given: tuple[np.ndarray | None, np.ndarray | None]
    ground: DarkGround | DeepGround | None = None
    missing: np.ndarray | None = None

    @property
    def pixel_size_um(self) -> tuple[float, float] | None:
        """Pixel size in x and y."""
        scale = self.image.calibration
        return None if scale is None else (scale.pixel_size_x_um, scale.pixel_size_y_um)

    @property
    def has_heights(self) -> bool:
        """Whether the picture is a height map."""
        return isinstance(self.image, HeightMap)

    def prepare(self) -> None:
        """Work out the metal that outlines are judged by; takes as long as measuring the picture does."""
        if self.ground is not None:
            return
        if isinstance(self.image, HeightMap):
            assert isinstance(self.settings, HeightPitSettings)
            _, self.ground, ready, _ = height_ground(self.image, self.settings, *self.given)
            missing = np.isnan(ready.residual_um)
            self.missing = missing if missing.any() else None
        else:
            assert isinstance(self.settings, PitSettings)
            _, self.ground, _ = pit_ground(self.image, self.settings, self.given[0])

    def outline_columns(self, own: np.ndarray, origin: tuple[int, int]) -> tuple[Table, Objects]:
        """Columns of table "pits" that an outline and the field give.

        Parameters
        ----------
        own : ndarray of shape (m, n), int32
            Objects 1 to k on a part of the picture, with a pixel to spare on sides that are not the
            picture's.
        origin : (int, int)
            Row and column at which that part begins.
        """
        part = (slice(origin[0], origin[0] + own.shape[0]), slice(origin[1], origin[1] + own.shape[1]))
        objects = measure_objects(
            own,
            pixel_size_um=self.pixel_size_um,
            region=None if self.region is None else self.region[part],
            frame=self.frame,
            origin=origin,
        )
        return objects.columns | {"edge_weight": self.weigh(objects)}, objects

    def weigh(self, objects: Objects) -> np.ndarray:
        """Edge weights of some objects."""
        return self.rule.weigh(objects.top_px, objects.left_px, objects.height_px, objects.width_px).weights

    def judge(self, row: np.ndarray, col: np.ndarray) -> Table:
        """Columns that only the picture itself gives, of one outline: contrast, or depths."""
        if isinstance(self.ground, DeepGround):
            assert isinstance(self.settings, HeightPitSettings)
            return measure_deep_one(
                self.ground,
                row,
                col,
                pixel_size_um=self.pixel_size_um,
                objective_aperture=self.settings.objective_aperture,
            )
        assert isinstance(self.ground, DarkGround)
        return measure_dark_one(self.ground, row, col)

    def follow(self, pitted: np.ndarray, window: Window) -> bool:
        """Let the field follow the pits inside a window: gaps that none takes in any more, or one now does.

        Parameters
        ----------
        pitted : ndarray, bool
            Pits that count, on the window widened by `widened`.
        window : (slice, slice)
            The widened window.

        Returns
        -------
        bool
            Whether the region changed; every weight has then to be worked out anew.
        """
        assert self.missing is not None
        inner = tuple(
            slice(0 if s.start == 0 else LOST_PATCH_PX, None if s.stop >= n else -LOST_PATCH_PX)
            for s, n in zip(window, self.missing.shape, strict=True)
        )
        seen = ~lost_patches(self.missing[window] & ~pitted)[inner]
        if self.specimen is not None:
            seen &= self.specimen[window][inner]
        if self.region is None:
            if seen.all():
                return False
            self.region = np.ones(self.missing.shape, bool)
        now = self.region[window][inner]
        if np.array_equal(now, seen):
            return False
        now[...] = seen
        self.settle()
        return True

    def settle(self) -> None:
        """Area and edge rule for the region as it stands."""
        row0, row1, col0, col1 = self.frame
        whole = (row1 - row0) * (col1 - col0)
        self.area_px = whole if self.region is None else int(np.count_nonzero(self.region))
        self.rule = EdgeRule(self.frame, self.region)

    def widened(self, window: Window) -> Window:
        """A window widened as `follow` wants it."""
        rows, cols = self.image.shape
        return (
            slice(max(window[0].start - _REACH, 0), min(window[0].stop + _REACH, rows)),
            slice(max(window[1].start - _REACH, 0), min(window[1].stop + _REACH, cols)),
        )


def field_of(
    image: Micrograph | HeightMap,
    settings: PitSettings | HeightPitSettings,
    region: np.ndarray,
    given_region: np.ndarray | None,
    given_datum: np.ndarray | None,
) -> PitField:
    """The field that an automatic result was measured on.

    Parameters
    ----------
    image : Micrograph or HeightMap
    settings : PitSettings or HeightPitSettings
        As used by the result.
    region : ndarray of shape (M, N)
        The result's mask "region", not 0 on the specimen.
    given_region, given_datum : ndarray of shape (M, N), bool, or None
        Masks as `measure_pits` was given them.
    """
    rows, cols = image.shape
    frame: Frame = (0, rows, 0, cols)
    if isinstance(image, Micrograph) and isinstance(settings, PitSettings) and settings.data_strip == "auto":
        strip = find_data_strip(image.grey)
        frame = frame if strip is None else strip.frame((rows, cols))
    inside = np.asarray(region) != 0
    full = bool(inside[frame[0] : frame[1], frame[2] : frame[3]].all())
    outside_frame = frame != (0, rows, 0, cols)
    if isinstance(image, HeightMap):
        specimen = exposed_surface(image, given_region, given_datum)
    else:
        specimen = inside if outside_frame or not full else None
        if given_region is None and not full:
            given_region = inside
    area = int(np.count_nonzero(inside))
    kept = None if full and not outside_frame else inside
    return PitField(
        image, settings, specimen, kept, frame, area, EdgeRule(frame, kept), (given_region, given_datum)
    )
