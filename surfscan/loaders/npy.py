"""NPY array files: heights, micrographs and masks, read from the header's plain facts alone.

Nothing in the file is run: the header is matched, not evaluated, and objects are refused.
"""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.base import LoadedImage, check_single_image, check_size
from surfscan.loaders.decoding import ALPHA_DROPPED

_MAGIC = b"\x93NUMPY"
_HEADER_LIMIT = 2**16
_REMEDY = "Write the array again with numpy.save"
_DESCR = re.compile(r"""['"]descr['"]\s*:\s*['"]([^'"]*)['"]""")
_ORDER = re.compile(r"""['"]fortran_order['"]\s*:\s*(True|False)""")
_SHAPE = re.compile(r"""['"]shape['"]\s*:\s*\(([\d\sL,]*)\)""")
_NUMBER = re.compile(r"([<>|=]?)(?:(b)1|([iu])([1248])|(f)([248]))")


class NpyLoader:
    """Loader of NPY files.

    Floating-point arrays of shape (rows, columns) are heights without a stated unit or pitch; whole numbers
    of that shape, or (rows, columns, 3), are a micrograph; bool is a mask.
    """

    formats = "NPY"

    def recognises(self, head: bytes) -> bool:
        """Whether the NPY signature stands first."""
        return head.startswith(_MAGIC)

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the array; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        dtype, fortran_order, shape, start = _read_header(path)
        if len(shape) not in (2, 3) or (len(shape) == 3 and shape[2] not in (1, 3, 4)):
            raise InputError(
                path,
                f"the array has shape {shape}; needed are (rows, columns) or (rows, columns, 3)",
                "Save one image on its own",
            )
        check_size(path, shape[0], shape[1], max(dtype.itemsize, 4) * math.prod(shape[2:]))
        count, size = math.prod(shape), path.stat().st_size
        if start + count * dtype.itemsize != size:
            raise InputError(
                path,
                f"the NPY header announces {count} values of {dtype.itemsize} bytes from byte {start} on, "
                f"but the file has {size} bytes",
                _REMEDY,
            )
        stored = np.dtype(np.uint8) if dtype.kind == "b" else dtype
        values = np.fromfile(path, stored, count, offset=start)
        if dtype.kind == "b":
            values = values != 0
        values = values.reshape(shape, order="F" if fortran_order else "C")
        values = np.ascontiguousarray(values.astype(dtype.newbyteorder("="), copy=False))
        warnings = []
        if values.ndim == 3 and values.shape[2] == 1:
            values = values[..., 0]
        elif values.ndim == 3 and values.shape[2] == 4:
            full = np.iinfo(dtype).max if dtype.kind in "iu" else 1
            if not bool((values[..., 3] == full).all()):
                warnings.append(ALPHA_DROPPED)
            values = np.ascontiguousarray(values[..., :3])
        heights = values.ndim == 2 and dtype.kind == "f"
        return LoadedImage(
            values, "NPY", kind="heightmap" if heights else "micrograph", warnings=tuple(warnings)
        )


def _read_header(path: Path) -> tuple[np.dtype, bool, tuple[int, ...], int]:
    """Number type, order, shape, and where the values start."""
    with path.open("rb") as file:
        head = file.read(12)
        if len(head) < 10:
            raise InputError(path, "the NPY file is truncated within its header", _REMEDY)
        version = head[6]
        if version not in (1, 2, 3):
            raise InputError(path, f"NPY version {version} is not read", _REMEDY)
        width = 2 if version == 1 else 4
        start = 8 + width
        length = int.from_bytes(head[8:start], "little")
        if length > _HEADER_LIMIT:
            raise InputError(path, f"the NPY header claims {length} bytes: damaged", _REMEDY)
        file.seek(start)
        raw = file.read(length)
    if len(raw) < length:
        raise InputError(path, "the NPY file is truncated within its header", _REMEDY)
    text = raw.decode("latin-1")
    descr, order, shape = (pattern.findall(text) for pattern in (_DESCR, _ORDER, _SHAPE))
    if len(order) != 1 or len(shape) != 1 or len(descr) > 1:
        raise InputError(path, "the NPY header is damaged", _REMEDY)
    number = _NUMBER.fullmatch(descr[0]) if descr else None
    if number is None:
        what = repr(descr[0][:40]) if descr else "records"
        raise InputError(
            path,
            f"the array holds {what}, not plain numbers",
            "Save one array of floating-point, whole or bool values; objects and records are not read",
        )
    lengths = [part.strip().rstrip("L") for part in shape[0].split(",")]
    if any(len(part) > 18 or not part.isdigit() for part in lengths[:-1] + lengths[-1:] * bool(lengths[-1])):
        raise InputError(path, f"the shape in the NPY header is damaged: ({shape[0][:60]})", _REMEDY)
    dims = tuple(int(part) for part in lengths if part)
    return np.dtype(descr[0]), order[0] == "True", dims, start + length
