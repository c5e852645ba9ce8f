"""Large TIFF files seen without being decoded whole: pyramid levels and tiles, read when they are asked for.

For looking at only. What is measured is read whole by `surfscan.loaders.tiff.TiffLoader`.
"""

from __future__ import annotations

import threading
from collections import OrderedDict
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.base import Kind, ScaleTag
from surfscan.loaders.tiff import facts_of
from surfscan.loaders.tiff_pixels import interpret

if TYPE_CHECKING:
    import tifffile

_KEPT_BYTES = 2**28  # decoded tiles kept for the next look
_REDUCED, _MASK = 1, 4  # bits of NewSubfileType


class TiledLevel:
    """One resolution of a TIFF page, indexed like an array; only the tiles or strips asked for are decoded.

    Attributes
    ----------
    shape : (M, N) or (M, N, 3)
    dtype : numpy.dtype
    ndim : int
    """

    def __init__(self, path: Path, page: tifffile.TiffPage, reading: _Reading) -> None:
        self._path, self._page, self._reading = path, page, reading
        sample = self._interpreted(np.zeros((1, 1, page.samplesperpixel), page.dtype))
        self.shape: tuple[int, ...] = (page.imagelength, page.imagewidth, *sample.shape[2:])
        self.dtype = sample.dtype
        self.ndim = len(self.shape)
        if page.is_tiled:
            self._tile = (page.tilelength, page.tilewidth)
        else:
            self._tile = (min(page.rowsperstrip, page.imagelength), page.imagewidth)
        # all that is read of the file itself, while it is open
        self._offsets, self._counts = tuple(page.dataoffsets), tuple(page.databytecounts)
        self._tables, self._decode = page.jpegtables, page.decode
        self._across = -(-page.imagewidth // self._tile[1])

    @property
    def size(self) -> int:
        """Number of values."""
        return int(np.prod(self.shape))

    @property
    def nbytes(self) -> int:
        """Bytes once decoded."""
        return self.size * self.dtype.itemsize

    def __len__(self) -> int:
        return self.shape[0]

    def __array__(self, dtype: Any = None, copy: bool | None = None) -> np.ndarray:
        return np.asarray(self[:, :], dtype=dtype)

    def __getitem__(self, key: Any) -> np.ndarray:
        keys = key if isinstance(key, tuple) else (key,)
        if Ellipsis in keys:
            at = keys.index(Ellipsis)
            keys = (*keys[:at], *[slice(None)] * (self.ndim - len(keys) + 1), *keys[at + 1 :])
        keys = (*keys, *[slice(None)] * (self.ndim - len(keys)))
        rows, cols = (
            (k.indices(n) if isinstance(k, slice) else (int(k) % n, int(k) % n + 1, 1))
            for k, n in zip(keys[:2], self.shape[:2], strict=True)
        )
        window = self._window(_covered(rows), _covered(cols))
        picked = tuple(
            slice(None, None, span[2]) if isinstance(k, slice) else 0
            for k, span in zip(keys[:2], (rows, cols), strict=True)
        )
        return window[(*picked, *keys[2:])]

    def _window(self, rows: tuple[int, int], cols: tuple[int, int]) -> np.ndarray:
        """Rows and columns of one rectangle, ends excluded."""
        out = np.zeros((max(0, rows[1] - rows[0]), max(0, cols[1] - cols[0]), *self.shape[2:]), self.dtype)
        if not out.size:
            return out
        height, width = self._tile
        places = [
            (i, j)
            for i in range(rows[0] // height, (rows[1] - 1) // height + 1)
            for j in range(cols[0] // width, (cols[1] - 1) // width + 1)
        ]
        tiles = self._reading.tiles(self, [i * self._across + j for i, j in places])
        for (i, j), tile in zip(places, tiles, strict=True):
            top, left = i * height, j * width
            r0, r1 = max(rows[0], top), min(rows[1], top + tile.shape[0])
            c0, c1 = max(cols[0], left), min(cols[1], left + tile.shape[1])
            out[r0 - rows[0] : r1 - rows[0], c0 - cols[0] : c1 - cols[0]] = tile[
                r0 - top : r1 - top, c0 - left : c1 - left
            ]
        return out

    def decode(self, index: int, file: BinaryIO) -> np.ndarray:
        """Tile or strip `index` of the open file."""
        file.seek(self._offsets[index])
        tables = {} if self._tables is None else {"jpegtables": self._tables}
        try:
            samples, _, shape = self._decode(file.read(self._counts[index]), index, **tables)
        except Exception:  # a damaged tile looks empty; what is wrong is said when the file is read whole
            samples = None
        if samples is None:
            return np.zeros((*self._tile, *self.shape[2:]), self.dtype)
        return self._interpreted(samples[0, : shape[1], : shape[2]])

    def _interpreted(self, samples: np.ndarray) -> np.ndarray:
        return interpret(self._path, self._page, samples[None, None])[0]


class _Reading:
    """The tiles decoded last of all levels of a file. It stays closed between looks."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._kept: OrderedDict[tuple[int, int], np.ndarray] = OrderedDict()
        self._kept_bytes = 0

    def tiles(self, level: TiledLevel, indices: Sequence[int]) -> Iterator[np.ndarray]:
        """Decoded tiles or strips, in the order asked for."""
        with self._lock, ExitStack() as opened:
            file = None
            for index in indices:
                key = (id(level), index)
                tile = self._kept.get(key)
                if tile is None:
                    file = file or opened.enter_context(self._path.open("rb"))
                    tile = level.decode(index, file)
                    self._keep(key, tile)
                else:
                    self._kept.move_to_end(key)
                yield tile

    def _keep(self, key: tuple[int, int], tile: np.ndarray) -> None:
        self._kept[key] = tile
        self._kept_bytes += tile.nbytes
        while self._kept_bytes > _KEPT_BYTES and len(self._kept) > 1:
            self._kept_bytes -= self._kept.popitem(last=False)[1].nbytes


@dataclass(frozen=True)
class Levels:
    """A TIFF page at all its resolutions.

    Attributes
    ----------
    arrays : tuple of TiledLevel
        Largest first.
    kind : {"micrograph", "heightmap"}
        What the pixels are, as far as the file tells.
    scale_tags : tuple of ScaleTag
        Best first.
    """

    arrays: tuple[TiledLevel, ...]
    kind: Kind
    scale_tags: tuple[ScaleTag, ...]


def open_levels(path: str | Path, page: int | None = None) -> Levels | None:
    """The resolutions of a pyramid, or of a tiled image, without decoding any.

    Parameters
    ----------
    path : str or Path
    page : int, optional
        Page at full size, first page 0.

    Returns
    -------
    Levels or None
        None where the file is no TIFF, is damaged, holds several full-size pages and none is named, has no
        levels and no tiles, or is laid out in a way that is only read whole (planes apart, volumes, white is
        zero).
    """
    import tifffile

    path = Path(path)
    try:
        with tifffile.TiffFile(path) as file:
            return _levels(path, file, page)
    except Exception:  # decoders raise anything on damaged data; the loader says what is wrong
        return None


def _levels(path: Path, file: tifffile.TiffFile, asked: int | None) -> Levels | None:
    pages: list[Any] = list(file.pages)
    full = [i for i, p in enumerate(pages) if not p.subfiletype & (_REDUCED | _MASK)]
    if asked is None and len(full) != 1:
        return None
    first = full[0] if asked is None else asked
    if first >= len(pages):
        return None
    base = pages[first]
    kept = [base, *_reduced(base, pages[first + 1 :])]
    if (len(kept) == 1 and not base.is_tiled) or not all(_can_be_read_in_part(p) for p in kept):
        return None
    reading = _Reading(path)
    try:
        arrays = tuple(TiledLevel(path, p, reading) for p in kept)
    except InputError:  # what is amiss is said when the image is read whole
        return None
    _, tags, brightness, _ = facts_of(file, base.index)
    heights = arrays[0].ndim == 2 and arrays[0].dtype.kind == "f" and not brightness
    return Levels(arrays, "heightmap" if heights else "micrograph", tuple(tags))


def _reduced(base: Any, following: list[Any]) -> list[Any]:
    """Pyramid levels of a page: its sub-images, else the reduced pages that follow it."""
    near = list(base.pages) if base.pages else []
    if not near:
        for page in following:
            if not page.subfiletype & _REDUCED:
                break
            near.append(page)
    found, rows, cols = [], base.imagelength, base.imagewidth
    for page in near:
        alike = page.dtype == base.dtype and page.samplesperpixel == base.samplesperpixel
        smaller = page.imagelength < rows and page.imagewidth < cols
        if alike and smaller and not page.subfiletype & _MASK:
            found.append(page)
            rows, cols = page.imagelength, page.imagewidth
    return found


def _can_be_read_in_part(page: Any) -> bool:
    together = page.planarconfig == 1 or page.samplesperpixel == 1
    usual = page.photometric in (1, 2, 3, 6) and page.samplesperpixel in (1, 3)
    whole = page.dtype is not None and page.imagedepth == 1 and len(page.dataoffsets) > 0
    return bool(together and usual and whole)


def _covered(span: tuple[int, int, int]) -> tuple[int, int]:
    """First and last-but-one index that a forward slice touches."""
    start, stop, step = span
    if step < 0:
        raise IndexError("a level is read forwards only")
    return start, max(start, stop)
