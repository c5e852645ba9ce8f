"""What is measured: micrographs and height maps, each with its calibration and its origin."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np


@dataclass(frozen=True)
class Calibration:
    """Pixel size of an image.

    Attributes
    ----------
    pixel_size_x_um, pixel_size_y_um : float
        Distance between neighbouring pixel centres along a row (x) and along a column (y), µm.
    relative_uncertainty : float
        Relative standard uncertainty of a length measured with this scale (k = 1), above 0.
    origin : str
        Where the scale comes from, in plain words ("OME metadata", "stated on the command line").
    """

    pixel_size_x_um: float
    pixel_size_y_um: float
    relative_uncertainty: float
    origin: str

    def __post_init__(self) -> None:
        for name in ("pixel_size_x_um", "pixel_size_y_um", "relative_uncertainty"):
            value = getattr(self, name)
            if not (isinstance(value, (int, float)) and math.isfinite(value) and value > 0):
                raise ValueError(f"{name} must be a finite number above 0, got {value!r}")

    @property
    def pixel_area_um2(self) -> float:
        """Area of one pixel, µm²."""
        return self.pixel_size_x_um * self.pixel_size_y_um

    @property
    def is_square(self) -> bool:
        """Whether x and y pixel sizes agree within 0.1 %."""
        return math.isclose(self.pixel_size_x_um, self.pixel_size_y_um, rel_tol=1e-3)

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON and the store."""
        return {
            "pixel_size_x_um": self.pixel_size_x_um,
            "pixel_size_y_um": self.pixel_size_y_um,
            "relative_uncertainty": self.relative_uncertainty,
            "origin": self.origin,
        }


@dataclass(frozen=True)
class Source:
    """Where pixels came from, down to the byte.

    Attributes
    ----------
    path : str
        File path as given by the user.
    sha256 : str
        SHA-256 of the whole file, hex.
    page : int or None
        Page taken from a multi-page file, first page 0; None where the file holds one image.
    file_format : str
        Format found from the content ("TIFF", "PNG", ...).
    """

    path: str
    sha256: str = ""
    page: int | None = None
    file_format: str = ""

    def as_dict(self) -> dict[str, Any]:
        """Plain dictionary for JSON and the store."""
        return {"path": self.path, "sha256": self.sha256, "page": self.page, "file_format": self.file_format}


@dataclass(frozen=True)
class Micrograph:
    """A picture in grey or colour; grey is brightness, not depth.

    Attributes
    ----------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        uint8, uint16 or float32; bright is high (an inverted file is turned on loading).
        Not-a-number marks pixels that were not recorded.
    calibration : Calibration or None
        None where the scale is unknown: never assumed.
    source : Source
    warnings : tuple of str
        What was doubtful on opening; carried into every result.
    overlays : tuple of (int, int, int, int)
        (row0, row1, col0, col1), ends excluded, of what was drawn over the picture: a scale bar, its label
        and the box behind them. No part of the specimen.
    """

    pixels: np.ndarray
    calibration: Calibration | None
    source: Source
    warnings: tuple[str, ...] = field(default=())
    overlays: tuple[tuple[int, int, int, int], ...] = field(default=())

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (int(self.pixels.shape[0]), int(self.pixels.shape[1]))

    @property
    def grey(self) -> np.ndarray:
        """Luminance, shape (M, N): ITU-R BT.601 weights for colour, the pixels themselves for grey."""
        if self.pixels.ndim == 2:
            return self.pixels
        import cv2

        return np.asarray(cv2.cvtColor(np.ascontiguousarray(self.pixels), cv2.COLOR_RGB2GRAY))


@dataclass(frozen=True)
class HeightMap:
    """Heights over a regular grid, up positive.

    Attributes
    ----------
    heights_um : ndarray of shape (M, N), float
        µm; not-a-number where nothing was measured.
    calibration : Calibration or None
    source : Source
    warnings : tuple of str
    """

    heights_um: np.ndarray
    calibration: Calibration | None
    source: Source
    warnings: tuple[str, ...] = field(default=())

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return (int(self.heights_um.shape[0]), int(self.heights_um.shape[1]))
