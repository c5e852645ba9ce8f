"""The header of binary SDF files, field by field, against the published layout.

Source: help page of the UK national metrology institute's software measurement standards for surface
texture, which gives the fields, types and codes of the SDF format (an older version of what became ISO
25178-71): version 8 characters, ManufacID 10, CreateDate and ModDate 12 each (DDMMYYYYHHMM), NumPoints and
NumProfiles unsigned int, Xscale, Yscale, Zscale and Zresolution double, Compression, DataType and CheckType
one byte each: 81 bytes; data types 0 unsigned char, 1 unsigned int, 2 unsigned long, 3 float, 4 signed char,
5 int, 6 long, 7 double. That int has 2 and long 4 bytes, little-endian order, the version strings and the
marks for unmeasured points are known from memory of ISO 25178-71 only.
"""

import struct
from datetime import datetime

import numpy as np
import pytest

from surfscan import open_image
from surfscan.loaders.sdf import DATA_TYPES, read_sdf
from surfscan.loaders.sdf_writer import write_sdf

HEADER_BYTES = 81
OFFSETS = {
    "version": (0, "8s"),
    "ManufacID": (8, "10s"),
    "CreateDate": (18, "12s"),
    "ModDate": (30, "12s"),
    "NumPoints": (42, "<H"),
    "NumProfiles": (44, "<H"),
    "Xscale": (46, "<d"),
    "Yscale": (54, "<d"),
    "Zscale": (62, "<d"),
    "Zresolution": (70, "<d"),
    "Compression": (78, "B"),
    "DataType": (79, "B"),
    "CheckType": (80, "B"),
}
TYPES = {
    0: ("B", 1),
    1: ("H", 2),
    2: ("I", 4),
    3: ("f", 4),
    4: ("b", 1),
    5: ("h", 2),
    6: ("i", 4),
    7: ("d", 8),
}


def header(**fields):
    raw = bytearray(HEADER_BYTES)
    for name, value in fields.items():
        offset, kind = OFFSETS[name]
        struct.pack_into(kind, raw, offset, value)
    return bytes(raw)


# The codes and their sizes; each value written with the struct code of its C type, 81 bytes into the file.
@pytest.mark.parametrize("code", TYPES)
@pytest.mark.parametrize("version", [b"bISO-1.0", b"bBCR-1.0"])
def test_fields_at_their_offsets(tmp_path, code, version):
    kind, size = TYPES[code]
    raw = header(
        version=version, ManufacID=b"invented", CreateDate=b"210520051200", ModDate=b"210520051200",
        NumPoints=3, NumProfiles=2, Xscale=2.5e-7, Yscale=5e-7, Zscale=1e-6, Zresolution=-1.0, DataType=code,
    )  # fmt: skip
    body = struct.pack(f"<6{kind}", 1, 2, 3, 4, 5, 6)
    assert len(body) == 6 * size == 6 * np.dtype(DATA_TYPES[code]).itemsize
    path = tmp_path / "a.sdf"
    path.write_bytes(raw + body)
    opened = open_image(path)
    np.testing.assert_allclose(opened.heights_um, [[1, 2, 3], [4, 5, 6]], rtol=1.3e-7)
    sizes = (opened.calibration.pixel_size_x_um, opened.calibration.pixel_size_y_um)
    assert sizes == pytest.approx((0.25, 0.5), rel=1e-12)


@pytest.mark.parametrize(("data_type", "code"), [("float64", 7), ("int32", 6), ("int16", 5)])
def test_the_writer_puts_fields_at_their_offsets(tmp_path, data_type, code):
    path = tmp_path / "a.sdf"
    heights = np.arange(6.0).reshape(2, 3)
    write_sdf(
        path, heights, (0.25, 0.5), form="binary", data_type=data_type, z_step_um=1.0,
        created=datetime(2005, 5, 21, 12, 0),
    )  # fmt: skip
    raw = path.read_bytes()
    found = {name: struct.unpack_from(kind, raw, at)[0] for name, (at, kind) in OFFSETS.items()}
    assert found == {
        "version": b"bISO-1.0", "ManufacID": b"surfscan  ", "CreateDate": b"210520051200",
        "ModDate": b"210520051200", "NumPoints": 3, "NumProfiles": 2, "Xscale": 2.5e-7, "Yscale": 5e-7,
        "Zscale": 1e-6, "Zresolution": -1.0, "Compression": 0, "DataType": code, "CheckType": 0,
    }  # fmt: skip
    assert struct.unpack_from(f"<6{TYPES[code][0]}", raw, HEADER_BYTES) == tuple(range(6))
    assert len(raw) == HEADER_BYTES + 6 * TYPES[code][1]


# From memory of ISO 25178-71: an unmeasured point is BAD in text and the lowest value of the integer type.
@pytest.mark.parametrize("code", [4, 5, 6])
def test_lowest_integer_is_not_measured(tmp_path, code):
    lowest = -(2 ** (8 * TYPES[code][1] - 1))
    raw = header(
        version=b"bISO-1.0", NumPoints=2, NumProfiles=2, Xscale=1e-6, Yscale=1e-6, Zscale=1e-6, DataType=code
    )
    path = tmp_path / "a.sdf"
    path.write_bytes(raw + struct.pack(f"<4{TYPES[code][0]}", lowest, lowest + 1, 0, 1))
    np.testing.assert_array_equal(np.isnan(read_sdf(path).heights_m), [[True, False], [False, False]])


# The example of dates, scales and type on the same page: 210520051200, Xscale 2.5E-07, Zscale 1E-06,
# DataType 7; header, heights and trailer are parted by asterisks in the text form.
def test_text_form(tmp_path):
    path = tmp_path / "a.sdf"
    path.write_text(
        "aBCR-1.0\nManufacID = invented\nCreateDate = 210520051200\nModDate = 210520051200\nNumPoints = 3\n"
        "NumProfiles = 2\nXscale = 2.5E-07\nYscale = 5E-07\nZscale = 1E-06\nZresolution = -1\n"
        "Compression = 0\nDataType = 7\nCheckType = 0\n*\n1 2 BAD\n4 5 6\n*\ntrailer\n*\n"
    )
    np.testing.assert_allclose(open_image(path).heights_um, [[1, 2, np.nan], [4, 5, 6]], rtol=1e-15)
    assert read_sdf(path).trailer == "trailer"
