"""From the samples of a TIFF page to grey or RGB: planes, palette, alpha, few bits, inverted grey."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.decoding import ALPHA_DROPPED

_WHITE_IS_ZERO, _BLACK_IS_ZERO, _RGB, _PALETTE, _YCBCR = 0, 1, 2, 3, 6
_JPEG_COMPRESSIONS = {6, 7}
_COLOUR_MAP, _NODATA = 320, 42113


def interpret(path: Path, page: Any, samples: np.ndarray) -> tuple[np.ndarray, float, list[str]]:
    """Turn decoded samples into grey or RGB with bright high.

    Parameters
    ----------
    path : Path
        For messages.
    page : tifffile.TiffPage
    samples : ndarray of shape (S, Z, M, N, C)
        Planes, depth, rows, columns, interleaved samples, as tifffile gives them unsqueezed.

    Returns
    -------
    pixels : ndarray of shape (M, N) or (M, N, 3)
        Number type of the file; 1 to 7 bits are brought to 8.
    zero : float
        What a stored 0 has become.
    remarks : list of str
        What was dropped or taken for granted.

    Raises
    ------
    InputError
        For volumes, complex numbers and colour models that are not read.
    """
    planes, depth = samples.shape[:2]
    if depth != 1:
        raise InputError(path, f"the page is a volume of {depth} slices", "Save the slice to be measured")
    if samples.dtype.kind not in "buif":
        raise InputError(path, f"pixels of type {samples.dtype} are not read", "Save real numbers")
    if not samples.dtype.isnative:
        samples = samples.astype(samples.dtype.newbyteorder("="))
    pixels = np.moveaxis(samples[:, 0, :, :, 0], 0, -1) if planes > 1 else samples[0, 0]
    photometric = int(page.photometric)
    channels = pixels.shape[2]
    if photometric == _PALETTE and channels == 1:
        return _apply_palette(path, page, pixels[..., 0]), 0, []
    _check_colour_model(path, page, photometric, channels)
    remarks: list[str] = []
    if channels in (2, 4):
        if not _is_opaque(pixels[..., -1]):
            remarks.append(ALPHA_DROPPED)
        pixels = pixels[..., :-1]
    if photometric in (_WHITE_IS_ZERO, _BLACK_IS_ZERO) and channels > 2:
        remarks.append(
            f"The file calls its {channels} channels grey; they were taken as red, green and blue."
        )
    if pixels.shape[2] == 1:
        pixels = pixels[..., 0]
    pixels = _stretch_few_bits(np.ascontiguousarray(pixels), int(page.bitspersample))
    zero: float = 0
    if photometric == _WHITE_IS_ZERO:
        zero = _invert(pixels, int(page.bitspersample))
    if pixels.dtype.kind == "f" and page.tags.valueof(_NODATA) is not None:
        pixels[pixels == pixels.dtype.type(page.nodata)] = np.nan
    return pixels, zero, remarks


def _check_colour_model(path: Path, page: Any, photometric: int, channels: int) -> None:
    grey = photometric in (_WHITE_IS_ZERO, _BLACK_IS_ZERO) and channels <= 4
    rgb = photometric == _RGB and channels in (3, 4)
    ycbcr = photometric == _YCBCR and channels == 3 and int(page.compression) in _JPEG_COMPRESSIONS
    if not (grey or rgb or ycbcr):
        name = getattr(page.photometric, "name", str(page.photometric))
        raise InputError(
            path,
            f"{channels} channels of colour model {name} are not read",
            "Save the image in grey, RGB or RGBA, or one channel on its own",
        )


def _is_opaque(alpha: np.ndarray) -> bool:
    full = 1.0 if alpha.dtype.kind == "f" else np.iinfo(alpha.dtype).max if alpha.dtype != bool else True
    return bool(alpha.min() == full)


def _apply_palette(path: Path, page: Any, indices: np.ndarray) -> np.ndarray:
    """Colours of a palette image, 8 bits; grey where the palette is."""
    palette = page.tags.valueof(_COLOUR_MAP)
    entries = 2 ** int(page.bitspersample)
    if palette is None or np.size(palette) != 3 * entries or indices.dtype.kind not in "bu":
        raise InputError(path, "the palette is missing or damaged", "Save the image in grey or RGB")
    colours: np.ndarray = np.asarray(palette, np.uint16).reshape(3, entries)
    if colours.max() > 255:  # 16-bit entries, as the specification has it; some writers put 8-bit ones
        colours = colours >> 8
    table = colours.T.astype(np.uint8)
    if (table == table[:, :1]).all():
        table = table[:, 0]
    return np.ascontiguousarray(table[indices.astype(np.uint8) if indices.dtype == bool else indices])


def _stretch_few_bits(pixels: np.ndarray, bits: int) -> np.ndarray:
    """Bring 1 to 7 bits to the full range of 8; more bits stay as they are."""
    if bits >= 8 or pixels.dtype.kind not in "bu":
        return pixels
    top = 2**bits - 1
    table = np.rint(np.arange(top + 1) * (255 / top)).astype(np.uint8)
    return np.asarray(table[pixels.astype(np.uint8, copy=False)])


def _invert(pixels: np.ndarray, bits: int) -> float:
    """Turn white-is-zero in place so that bright is high, in the same range; gives what 0 has become."""
    if pixels.dtype.kind == "f":
        finite = pixels[np.isfinite(pixels)]
        top = float(finite.min()) + float(finite.max()) if finite.size else 0.0
        with np.errstate(over="ignore", invalid="ignore"):
            np.subtract(pixels.dtype.type(top), pixels, out=pixels)
        return top
    if pixels.dtype.kind == "i" or bits in (8, 16, 32, 64):
        np.invert(pixels, out=pixels)
        return -1 if pixels.dtype.kind == "i" else np.iinfo(pixels.dtype).max
    top = 255 if bits < 8 else 2**bits - 1
    np.subtract(pixels.dtype.type(top), pixels, out=pixels)
    return top
