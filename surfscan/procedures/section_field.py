"""The field of a polished cross-section made ready: without its data strip, on square pixels, told apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.errors import InputError
from surfscan.images import Micrograph
from surfscan.preparation.region import specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.drawn_classes import drawn_classes
from surfscan.procedures.settings import SectionSettings
from surfscan.segmentation.section import VOID, SectionMap, map_section, painted_over

_LEAST_SIDE_PX = 32


@dataclass(frozen=True)
class SectionField:
    """One picture of sections.

    Attributes
    ----------
    found : SectionMap or None
        On square pixels, within the frame.
    um_per_px : float or None
        Of those pixels.
    relative_uncertainty : float
        Of a length, k = 1; 0 without a scale.
    stretch : tuple of float
        Square pixels per pixel of the picture, down and across.
    frame : tuple of int
        (row0, row1, col0, col1) of the field in the picture.
    region : ndarray of shape (M, N), bool
        What was measured, over the whole picture.
    warnings : tuple of str
    origin : tuple of int
        Row and column of `found` in the field: (0, 0) but for a part of it.
    painted : ndarray of shape (M, N), uint8, optional
        Class image over the whole picture as a person painted it; None where nobody did.
    """

    found: SectionMap | None
    um_per_px: float | None
    relative_uncertainty: float
    stretch: tuple[float, float]
    frame: tuple[int, int, int, int]
    region: np.ndarray
    warnings: tuple[str, ...]
    origin: tuple[int, int] = (0, 0)
    painted: np.ndarray | None = None

    @property
    def count(self) -> int:
        """Sections found."""
        return 0 if self.found is None else int(self.found.bodies.max())

    def around(self, k: int) -> SectionField:
        """The part of this field round section `k`, for quicker work on it."""
        assert self.found is not None  # there is a section k
        rows, cols = np.nonzero(self.found.bodies == k)
        margin = 20 + int(0.3 * max(np.ptp(rows), np.ptp(cols)))
        row0, col0 = max(int(rows.min()) - margin, 0), max(int(cols.min()) - margin, 0)
        part = (slice(row0, int(rows.max()) + margin), slice(col0, int(cols.max()) + margin))
        found = replace(
            self.found,
            classes=self.found.classes[part],
            excess=self.found.excess[part],
            bodies=np.where(self.found.bodies[part] == k, self.found.bodies[part], 0),
        )
        return replace(self, found=found, origin=(self.origin[0] + row0, self.origin[1] + col0))

    def in_picture(self, points: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns in the picture of points (..., 2) of the field."""
        rows = (points[..., 1] + self.origin[0] + 0.5) / self.stretch[0] - 0.5 + self.frame[0]
        cols = (points[..., 0] + self.origin[1] + 0.5) / self.stretch[1] - 0.5 + self.frame[2]
        return rows, cols

    def corrected(self, by_hand: np.ndarray, path: str) -> SectionField:
        """The field with the class image that a person painted.

        Parameters
        ----------
        by_hand : ndarray of shape (M, N), int
            Over the whole picture, classes as `classes` gives them.
        path : str
            Image file, for messages.

        Raises
        ------
        InputError
            If it does not fit the picture, holds anything but classes, or no section stood apart, so that
            there is no metal to tell an edge by.
        """
        classes, said = drawn_classes(by_hand, self.region, path, self.region.shape, VOID)
        if self.found is None:
            raise InputError(
                path,
                "a mask was corrected by hand, but no section stands apart from a medium in this picture",
                "State grey_order, so that metal and medium are told apart, then correct again",
            )
        row0, row1, col0, col1 = self.frame
        size = self.found.classes.shape[::-1]
        changed = (classes != self.classes())[row0:row1, col0:col1]
        painted = cv2.resize(changed.view(np.uint8), size, interpolation=cv2.INTER_NEAREST).view(bool)
        on_square = cv2.resize(classes[row0:row1, col0:col1], size, interpolation=cv2.INTER_NEAREST)
        now = painted_over(self.found, np.where(painted, on_square, self.found.classes), painted)
        own = [text for text in self.warnings if text not in self.found.warnings]
        if not now.bodies.any():
            said.append("No metal is left on the corrected mask: nothing is measured.")
        return replace(self, found=now, painted=classes, warnings=(*own, *said, *now.warnings))

    def classes(self) -> np.ndarray:
        """Class map over the whole picture, uint8."""
        if self.painted is not None:
            return self.painted
        out = np.zeros(self.region.shape, np.uint8)
        row0, row1, col0, col1 = self.frame
        if self.found is not None:
            out[row0:row1, col0:col1] = cv2.resize(
                self.found.classes, (col1 - col0, row1 - row0), interpolation=cv2.INTER_NEAREST
            )
        return out


def section_field(
    image: Micrograph,
    settings: SectionSettings,
    *,
    region: np.ndarray | None = None,
    order: str | None = None,
) -> SectionField:
    """Find the sections of one picture.

    Parameters
    ----------
    image : Micrograph
    settings : SectionSettings
    region : ndarray of shape (M, N), optional
        Non-zero where sections are to be looked for.
    order : str, optional
        In place of the settings' grey_order.

    Returns
    -------
    SectionField

    Raises
    ------
    InputError
        If the region mask does not fit, or the field is narrower than 32 px.
    """
    grey = image.grey
    strip = find_data_strip(grey) if settings.data_strip == "auto" else None
    path = image.source.path
    overlays = image.overlays if settings.data_strip == "auto" else ()
    found = specimen_region(grey, mode="everything", given=region, strip=strip, overlays=overlays, path=path)
    row0, row1, col0, col1 = found.frame
    if min(row1 - row0, col1 - col0) < _LEAST_SIDE_PX:
        raise InputError(
            path,
            f"the field is {row1 - row0} x {col1 - col0} px (rows x columns), too small for a section",
            f"Give at least {_LEAST_SIDE_PX} px each way",
        )
    part = np.ascontiguousarray(grey[row0:row1, col0:col1], np.float32)
    valid = None if found.mask is None else np.ascontiguousarray(found.mask[row0:row1, col0:col1])
    scale = image.calibration
    stretch, um_per_px = (1.0, 1.0), None
    if scale is not None:
        um_per_px = min(scale.pixel_size_x_um, scale.pixel_size_y_um)
        if not scale.is_square:
            rows = round(part.shape[0] * scale.pixel_size_y_um / um_per_px)
            cols = round(part.shape[1] * scale.pixel_size_x_um / um_per_px)
            stretch = (rows / part.shape[0], cols / part.shape[1])
            part = np.asarray(cv2.resize(part, (cols, rows), interpolation=cv2.INTER_LINEAR))
            if valid is not None:
                valid = cv2.resize(
                    valid.astype(np.uint8), (cols, rows), interpolation=cv2.INTER_NEAREST
                ).view(bool)
    sections = map_section(
        part, valid, order=order or settings.grey_order, min_feature_px=settings.min_feature_px
    )
    return SectionField(
        sections,
        um_per_px,
        0.0 if scale is None else scale.relative_uncertainty,
        stretch,
        found.frame,
        found.full_mask(image.shape),
        (*image.warnings, *found.warnings, *(() if sections is None else sections.warnings)),
    )
