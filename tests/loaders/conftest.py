"""Writers of small files by hand, for what OpenCV and tifffile would not write."""

import hashlib
import struct
import zipfile
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


@pytest.fixture
def x3p_record():
    """The text of an X3P record, written out by hand; every part can be replaced."""

    def axis(kind="I", letter="D", increment="1e-06", offset="0"):
        fields = (("AxisType", kind), ("DataType", letter), ("Increment", increment), ("Offset", offset))
        return "".join(f"<{name}>{text}</{name}>" for name, text in fields if text is not None)

    def record(
        *,
        feature="SUR",
        x=axis(),
        y=axis(),
        z=axis("A", "D", "1"),
        size="<MatrixDimension><SizeX>3</SizeX><SizeY>2</SizeY><SizeZ>1</SizeZ></MatrixDimension>",
        points="<DataList/>",
        extra="",
        namespace="http://www.opengps.eu/2008/ISO5436_2",
    ):
        return (
            f'<?xml version="1.0" encoding="UTF-8"?>\n<p:ISO5436_2 xmlns:p="{namespace}"><Record1>'
            f"<Revision>ISO5436 - 2000</Revision><FeatureType>{feature}</FeatureType><Axes><CX>{x}</CX>"
            f"<CY>{y}</CY><CZ>{z}</CZ>{extra}</Axes></Record1><Record3>{size}{points}</Record3>"
            "<Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4></p:ISO5436_2>"
        )

    record.axis = axis
    return record


@pytest.fixture
def pack_x3p(tmp_path):
    """Pack a record and other members into an X3P file, with the checksum of the record unless told."""

    def pack(record, members=(), *, folder="", checksum=None, name="a.x3p"):
        xml = record.encode()
        stated = hashlib.md5(xml).hexdigest() + " *main.xml" if checksum is None else checksum
        path = tmp_path / name
        with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as file:
            file.writestr(folder + "main.xml", xml)
            if stated:
                file.writestr(folder + "md5checksum.hex", stated)
            for member, data in dict(members).items():
                file.writestr(folder + member, data)
        return path

    return pack


@pytest.fixture
def linked():
    """A DataLink to the given points and mask (bytes), and the members it links to."""

    def link(points, mask=None, *, points_md5=None, mask_md5=None):
        members = {"bindata/data.bin": points}
        digest = hashlib.md5(points).hexdigest() if points_md5 is None else points_md5
        text = f"<PointDataLink>bindata/data.bin</PointDataLink><MD5ChecksumPointData>{digest}"
        text += "</MD5ChecksumPointData>"
        if mask is not None:
            members["bindata/valid.bin"] = mask
            digest = hashlib.md5(mask).hexdigest() if mask_md5 is None else mask_md5
            text += f"<ValidPointsLink>bindata/valid.bin</ValidPointsLink><MD5ChecksumValidPoints>{digest}"
            text += "</MD5ChecksumValidPoints>"
        return f"<DataLink>{text}</DataLink>", members

    return link
