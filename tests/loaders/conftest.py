"""Writers of small files by hand, for what OpenCV and tifffile would not write."""

import struct
import zlib

import numpy as np
import pytest


@pytest.fixture
def png_chunk():
    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    return chunk


@pytest.fixture
def write_png(png_chunk):
    """Write rows of packed samples as a PNG, with extra chunks before the pixels."""

    def write(path, rows, *, width, bit_depth=8, colour_type=0, extra=()):
        raw = b"".join(b"\0" + bytes(row) for row in rows)
        header = struct.pack(">IIBBBBB", width, len(rows), bit_depth, colour_type, 0, 0, 0)
        chunks = [(b"IHDR", header), *extra, (b"IDAT", zlib.compress(raw)), (b"IEND", b"")]
        path.write_bytes(b"\x89PNG\r\n\x1a\n" + b"".join(png_chunk(*c) for c in chunks))
        return path

    return write


@pytest.fixture
def write_bmp():
    """Write bottom-up rows of packed pixels as a BMP with the 40-byte header."""

    def write(path, rows, *, width, bits, palette=b"", per_metre=(0, 0), compression=0, top_down=False):
        stride = (width * bits + 31) // 32 * 4
        body = b"".join(bytes(row).ljust(stride, b"\0") for row in (rows if top_down else rows[::-1]))
        at = 54 + len(palette)
        height = -len(rows) if top_down else len(rows)
        header = struct.pack(
            "<IiiHHIIiiII",
            40,
            width,
            height,
            1,
            bits,
            compression,
            len(body),
            *per_metre,
            len(palette) // 4,
            0,
        )
        path.write_bytes(struct.pack("<2sIHHI", b"BM", at + len(body), 0, 0, at) + header + palette + body)
        return path

    return write


@pytest.fixture
def grey():
    """A smooth grey field that JPEG can hold, shape (40, 60), uint8, no row or column alike."""
    rows, cols = np.mgrid[:40, :60]
    return (40 + 2 * rows + cols + 20 * np.sin(rows / 3) * np.cos(cols / 5)).astype(np.uint8)


@pytest.fixture
def rgb(grey):
    return np.dstack([grey, grey[::-1], grey[:, ::-1]])
