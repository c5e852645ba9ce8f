"""Pictures of the page: each field with what was found drawn on it, as inline SVG over a small picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph
from surfscan.report.drawing import (
    MOST_CHARS,
    SHOWN_WIDTH_PX,
    area_path,
    encode,
    outside,
    picture_key,
    scale_bar,
)
from surfscan.report.hand_drawing import area_by_hand
from surfscan.report.pit_drawing import pit_layer
from surfscan.report.records import FieldRecord
from surfscan.store.results import StoredResult


@dataclass(frozen=True)
class ColourBar:
    """What the colours of a height map mean.

    Attributes
    ----------
    low, high : str
        Heights at the two ends, µm.
    zero_percent : float
        Where height 0 lies between them.
    """

    low: str
    high: str
    zero_percent: float


@dataclass(frozen=True)
class FieldPicture:
    """A field as the page shows it.

    Attributes
    ----------
    width, height : int
        Size in picture pixels.
    strip : int
        Height of the strip below the picture that holds the scale bar, so that it hides nothing.
    data_uri : str
        The picture itself, WebP.
    layers : dict of str to str
        By procedure: SVG drawn over the picture.
    scale_bar : str
        SVG of the scale bar.
    scale_words : str
        The scale in words.
    colours : ColourBar or None
        What the colours mean; None where the picture shows brightness.
    left_out : int
        Pits that are not outlined, for there are too many; the smallest.
    """

    width: int
    height: int
    strip: int
    data_uri: str
    layers: dict[str, str]
    scale_bar: str
    scale_words: str
    colours: ColourBar | None = None
    left_out: int = 0

    @property
    def drawn_chars(self) -> int:
        """Length of all that is drawn over it."""
        return sum(map(len, self.layers.values()))


def make_picture(
    record: FieldRecord, folder: Path, max_bytes: int, most_chars: int = MOST_CHARS
) -> FieldPicture:
    """Draw one picture with its stored masks.

    Parameters
    ----------
    record : FieldRecord
        With at least one result that succeeded.
    folder : Path
        Folder of the study.
    max_bytes : int
        Size aimed at for the encoded picture; width and quality go down until it fits.
    most_chars : int, optional
        Length aimed at for each layer drawn over it.

    Raises
    ------
    InputError
        If the image or a mask cannot be read or is no longer the one measured.
    """
    import cv2

    image, measured = open_as_measured(record, folder)
    if not isinstance(image, Micrograph):
        raise TypeError(f"{record.image_id}: opened as a micrograph, got {type(image).__name__}")
    rows, cols = image.shape

    def render(width: int, height: int) -> np.ndarray:
        return eight_bit(cv2.resize(image.pixels, (width, height), interpolation=cv2.INTER_AREA))

    uri, width, height = encode(render, image.shape, stretch(measured), max_bytes)
    zoom = (width / cols, height / rows)
    unit = max(1.0, width / SHOWN_WIDTH_PX)
    layers, left_out = {}, 0
    not_measured: dict[str, str] = {}  # the same for most procedures, and slow to draw
    for procedure in ("pits", "degraded"):
        if not (result := record.done(procedure)):
            continue
        region = result.mask_sha256["region"]
        if region not in not_measured:
            not_measured[region] = outside(result.read_mask("region"), zoom)
        if procedure == "pits":
            drawn, left_out = pit_layer(record, zoom, unit, most_chars)
        else:
            drawn = _degraded_layer(record, zoom, most_chars)
        layers[procedure] = not_measured[region] + drawn
    strip = round(26 * unit)
    bar, words = scale_bar(width, height, strip, um_per_px(measured, zoom[0]), 1 / zoom[0])
    return FieldPicture(width, height, strip, uri, layers, bar, words, left_out=left_out)


def left_out_words(picture: FieldPicture | None) -> str:
    """What a caption adds where not every pit is outlined; empty where all are."""
    if picture is None or not picture.left_out:
        return ""
    return f" The {picture.left_out} smallest pits are not outlined here."


def open_as_measured(record: FieldRecord, folder: Path) -> tuple[Micrograph | HeightMap, StoredResult]:
    """The image of a record and one result of it.

    Raises
    ------
    InputError
        If the image cannot be read or is no longer the one measured.
    ValueError
        If nothing was measured on it.
    """
    from surfscan.study.inputs import open_entry

    measured = record.any_done()
    if measured is None or measured.source is None:
        raise ValueError(f"{record.image_id}: nothing measured to draw")
    image = open_entry(folder, record.image, read_bar=False)  # the scale is the one that was measured with
    if image.source.sha256 != measured.source.sha256:
        raise InputError(
            folder / record.image.file,
            "the file changed since it was measured, so no picture is shown",
            "Run surfscan measure.",
        )
    return image, measured


def stretch(measured: StoredResult) -> float:
    """Height over width of a pixel; 1 where no scale is known."""
    scale = measured.calibration
    return 1.0 if scale is None or scale.is_square else scale.pixel_size_y_um / scale.pixel_size_x_um


def um_per_px(measured: StoredResult, zoom: float) -> float | None:
    """Micrometres per picture pixel along a row; None where no scale is known."""
    return measured.calibration.pixel_size_x_um / zoom if measured.calibration else None


def eight_bit(pixels: np.ndarray) -> np.ndarray:
    """8-bit pixels as they are; deeper ones stretched between their 0.2 % and 99.8 % levels."""
    if pixels.dtype == np.uint8:
        return pixels
    known = pixels[np.isfinite(pixels)]
    if known.size == 0:
        return np.zeros(pixels.shape, np.uint8)
    low, high = np.percentile(known, (0.2, 99.8))
    span = float(high - low) or 1.0
    filled = np.nan_to_num(pixels.astype(np.float64), nan=float(low), posinf=float(high), neginf=float(low))
    return (np.clip((filled - low) / span, 0, 1) * 255).round().astype(np.uint8)


def _degraded_layer(record: FieldRecord, zoom: tuple[float, float], most_chars: int) -> str:
    result = record.results["degraded"]
    classes = result.read_mask("degraded")
    parts = []
    for value, name in ((1, "tarnished"), (2, "degraded")):
        path = area_path(classes == value, zoom, most_chars=most_chars)
        if path:
            parts.append(f'<path class="{name}" d="{path}"/>')
    parts.append(area_by_hand(record, "degraded", picture_key(record.image_id), zoom))
    return "".join(parts)
