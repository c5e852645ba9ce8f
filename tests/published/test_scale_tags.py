"""What scale tags mean, by the specifications of the file formats; files written by hand, byte by byte.

The values are known from memory of the specifications named at each check, not read again for this test.
"""

import struct
import zlib

import cv2
import numpy as np
import pytest
import tifffile

from surfscan import open_image


def pixel_size(path):
    calibration = open_image(path).calibration
    return calibration and (calibration.pixel_size_x_um, calibration.pixel_size_y_um)


def tiff(entries, heap):
    """One 1 x 1 grey pixel with the given (code, type, value) entries besides the required ones."""
    required = [(256, 3, 1), (257, 3, 1), (258, 3, 8), (262, 3, 1), (273, 4, 8), (278, 3, 1), (279, 4, 1)]
    entries = sorted([*required, *entries])
    directory_at = 10
    heap_at = directory_at + 2 + 12 * len(entries) + 4
    directory = struct.pack("<H", len(entries))
    for code, kind, value in entries:
        offset = value if kind != 5 else heap_at + value
        directory += struct.pack("<HHII", code, kind, 1, offset)
    return b"II*\0" + struct.pack("<I", directory_at) + b"\x80\0" + directory + bytes(4) + heap


RATIONALS = struct.pack("<IIII", 20_000, 1, 40_000, 2)  # XResolution and YResolution, both 20 000


# TIFF Revision 6.0 Final (Adobe, 1992), section 8: ResolutionUnit 1 = no absolute unit of measurement,
# 2 = inch, 3 = centimetre; default 2. XResolution: number of pixels per ResolutionUnit in the ImageWidth
# direction. RATIONAL: numerator, then denominator.
@pytest.mark.parametrize(("unit", "um"), [(None, 25_400 / 20_000), (2, 25_400 / 20_000), (3, 0.5), (1, None)])
def test_tiff_resolution_unit(tmp_path, unit, um):
    entries = [(282, 5, 0), (283, 5, 8)] + ([(296, 3, unit)] if unit else [])
    path = tmp_path / "a.tif"
    path.write_bytes(tiff(entries, RATIONALS))
    assert pixel_size(path) == (None if um is None else pytest.approx((um, um), rel=1e-12))


# W3C Portable Network Graphics (PNG) Specification, second edition, 11.3.5.3: pHYs holds pixels per unit in
# x (4 bytes), in y (4 bytes) and the unit (1 byte): 0 = unknown, 1 = metre.
@pytest.mark.parametrize(("unit", "expected"), [(1, (0.5, 0.25)), (0, None)])
def test_png_phys(tmp_path, unit, expected):
    def chunk(name, body):
        return struct.pack(">I", len(body)) + name + body + struct.pack(">I", zlib.crc32(name + body))

    path = tmp_path / "a.png"
    path.write_bytes(
        b"\x89PNG\r\n\x1a\n"
        + chunk(b"IHDR", struct.pack(">IIBBBBB", 1, 1, 8, 0, 0, 0, 0))
        + chunk(b"pHYs", struct.pack(">IIB", 2_000_000, 4_000_000, unit))
        + chunk(b"IDAT", zlib.compress(b"\0\x80"))
        + chunk(b"IEND", b"")
    )
    assert pixel_size(path) == (expected and pytest.approx(expected, rel=1e-12))


# Microsoft BITMAPINFOHEADER: biXPelsPerMeter at byte 24 and biYPelsPerMeter at byte 28 of the header, pixels
# per metre, signed 32 bits.
def test_bmp_pixels_per_metre(tmp_path):
    header = struct.pack("<IiiHHIIiiII", 40, 1, 1, 1, 24, 0, 4, 2_000_000, 4_000_000, 0, 0)
    path = tmp_path / "a.bmp"
    path.write_bytes(struct.pack("<2sIHHI", b"BM", 58, 0, 0, 54) + header + b"\1\2\3\0")
    assert pixel_size(path) == pytest.approx((0.5, 0.25), rel=1e-12)


# JPEG File Interchange Format 1.02 (1992): units 0 = no units, X and Y give the pixel aspect ratio; 1 = dots
# per inch; 2 = dots per centimetre.
@pytest.mark.parametrize(("unit", "expected"), [(0, None), (1, (2.54, 1.27)), (2, (1, 0.5))])
def test_jfif_density(tmp_path, unit, expected):
    data = cv2.imencode(".jpg", np.full((16, 16), 90, np.uint8))[1].tobytes()
    at = data.index(b"JFIF\0") + 7
    path = tmp_path / "a.jpg"
    path.write_bytes(data[:at] + struct.pack(">BHH", unit, 10_000, 20_000) + data[at + 5 :])
    assert pixel_size(path) == (expected and pytest.approx(expected, rel=1e-12))


# OME schema 2016-06, ome.xsd: PhysicalSizeX is the physical size of a pixel, "Units are set by
# PhysicalSizeXUnit", whose default is the micrometre "µm" (U+00B5); UnitsLength has among others
# "nm", "pm", "Å", "cm", "m", "thou", "in", "pixel" and "reference frame", the last two without a size.
@pytest.mark.parametrize(("attributes", "expected"), [
    ('PhysicalSizeX="0.5" PhysicalSizeY="0.25"', (0.5, 0.25)),
    ('PhysicalSizeX="500" PhysicalSizeXUnit="nm" PhysicalSizeY="0.25"', (0.5, 0.25)),
    ('PhysicalSizeX="5000" PhysicalSizeXUnit="Å" PhysicalSizeY="0.5" PhysicalSizeYUnit="µm"', (0.5, 0.5)),
    ('PhysicalSizeX="1" PhysicalSizeXUnit="thou" PhysicalSizeY="0.001" PhysicalSizeYUnit="in"', (25.4, 25.4)),
    ('PhysicalSizeX="1" PhysicalSizeXUnit="pixel" PhysicalSizeY="1" PhysicalSizeYUnit="pixel"', None),
    ('PhysicalSizeX="1" PhysicalSizeXUnit="reference frame" PhysicalSizeY="1"', None),
])  # fmt: skip
def test_ome_physical_size(tmp_path, attributes, expected):
    xml = (
        '<?xml version="1.0" encoding="UTF-8"?>'
        '<OME xmlns="http://www.openmicroscopy.org/Schemas/OME/2016-06"><Image ID="Image:0">'
        f'<Pixels ID="Pixels:0" DimensionOrder="XYZCT" Type="uint8" SizeX="20" SizeY="20" SizeZ="1" SizeC="1"'
        f' SizeT="1" {attributes}><TiffData IFD="0" PlaneCount="1"/></Pixels></Image></OME>'
    )
    path = tmp_path / "a.ome.tif"
    pixels = np.zeros((20, 20), np.uint8)
    tifffile.imwrite(path, pixels, description=xml.encode(), metadata=None)
    assert pixel_size(path) == (expected and pytest.approx(expected, rel=1e-12))


# TIFF Revision 6.0, section 3: PhotometricInterpretation 0 = WhiteIsZero, 1 = BlackIsZero.
@pytest.mark.parametrize(("photometric", "grey"), [(0, 255 - 0x80), (1, 0x80)])
def test_tiff_photometric_interpretation(tmp_path, photometric, grey):
    data = bytearray(tiff([], b""))
    at = data.index(struct.pack("<HHI", 262, 3, 1)) + 8
    data[at] = photometric
    path = tmp_path / "a.tif"
    path.write_bytes(data)
    assert open_image(path).pixels.item() == grey
