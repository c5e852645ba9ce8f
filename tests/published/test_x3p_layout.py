"""The X3P layout of ISO 25178-72:2017 (earlier ISO 5436-2), against files written by hand, byte by byte.

Sources, named at each check:
[wiki] the wiki and sample files that the publisher of the format's XML schema puts out openly; read.
[excerpt] excerpts of public code and of that schema; seen, not read whole.
[memory] from memory of the standard and of files; not read again for this test.
"""

import hashlib
import struct
import zipfile

import numpy as np
import pytest

from surfscan import open_image
from surfscan.loaders import load
from surfscan.loaders.x3p_writer import write_x3p

RECORD = """<?xml version="1.0" encoding="UTF-8"?>
<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2">
  <Record1>
    <Revision>ISO5436 - 2000</Revision>
    <FeatureType>SUR</FeatureType>
    <Axes>
      <CX><AxisType>I</AxisType><DataType>D</DataType><Increment>5.0E-0007</Increment><Offset>0</Offset></CX>
      <CY><AxisType>I</AxisType><DataType>D</DataType><Increment>2.5E-0007</Increment><Offset>0</Offset></CY>
      <CZ><AxisType>A</AxisType><DataType>{letter}</DataType>{increment}</CZ>
    </Axes>
  </Record1>
  <Record3>
    <MatrixDimension><SizeX>{cols}</SizeX><SizeY>{rows}</SizeY><SizeZ>{layers}</SizeZ></MatrixDimension>
    {data}
  </Record3>
  <Record4><ChecksumFile>md5checksum.hex</ChecksumFile></Record4>
</p:ISO5436_2>
"""
LINK = """<DataLink><PointDataLink>bindata/data.bin</PointDataLink>
<MD5ChecksumPointData>{points}</MD5ChecksumPointData>{mask}</DataLink>"""
MASK = """<ValidPointsLink>bindata/valid.bin</ValidPointsLink>
<MD5ChecksumValidPoints>{mask}</MD5ChecksumValidPoints>"""


@pytest.fixture
def packed(tmp_path):
    """[wiki] A zip with main.xml, md5checksum.hex, bindata/data.bin and, if wanted, bindata/valid.bin."""

    def pack(points=None, mask=None, *, cols, rows, layers=1, letter="D", increment="", data=None):
        if data is None:
            masked = "" if mask is None else MASK.format(mask=hashlib.md5(mask).hexdigest())
            data = LINK.format(points=hashlib.md5(points).hexdigest(), mask=masked)
        xml = RECORD.format(
            cols=cols, rows=rows, layers=layers, letter=letter, increment=increment, data=data
        ).encode()
        path = tmp_path / "a.x3p"
        with zipfile.ZipFile(path, "w") as file:
            file.writestr("main.xml", xml)
            file.writestr("md5checksum.hex", f"{hashlib.md5(xml).hexdigest()} *main.xml")
            if points is not None:
                file.writestr("bindata/data.bin", points)
            if mask is not None:
                file.writestr("bindata/valid.bin", mask)
        return path

    return pack


# [wiki] sample files: "I" for int16, "L" for int32, "F" for float32, "D" for float64. [excerpt] sizes 2, 4, 4
# and 8 bytes. [memory] little-endian. Coordinate = stored value times Increment plus Offset, metres.
@pytest.mark.parametrize(("letter", "code"), [("I", "<6h"), ("L", "<6i"), ("F", "<6f"), ("D", "<6d")])
def test_number_types(packed, letter, code):
    points = struct.pack(code, 1, -2, 3, -4, 5, 300)
    increment = "<Increment>1e-9</Increment><Offset>2e-6</Offset>"
    image = load(packed(points, cols=3, rows=2, letter=letter, increment=increment))
    expected = np.array([[1, -2, 3], [-4, 5, 300]]) * 1e-9 + 2e-6
    np.testing.assert_allclose(image.pixels, expected, rtol=1e-12)
    assert image.warnings == ()


# [wiki] sample files: "X is fastest index, Y is slowest: (x1,y1),(x2,y1),(x3,y1),(x4,y1),(x1,y2)...";
# [memory] then the layer. Increment is the length of one increment in metres: 0.5 µm in x, 0.25 µm in y.
def test_order_of_points_and_pitch(packed):
    points = struct.pack("<24d", *(k * 1e-6 for k in range(24)))
    path = packed(points, cols=4, rows=3, layers=2)
    for layer in (0, 1):
        image = open_image(path, page=layer)
        expected = np.arange(12 * layer, 12 * layer + 12).reshape(3, 4)
        np.testing.assert_allclose(image.heights_um, expected, rtol=1e-15)
    calibration = image.calibration
    assert (calibration.pixel_size_x_um, calibration.pixel_size_y_um) == pytest.approx((0.5, 0.25), rel=1e-14)


# [wiki] one bit a point, 1 = valid. The publisher's sample of 4 x 4 points has the mask bytes 7F FF in one
# file and, of the same surface, an empty eighth point in the list of another: bit 7 of byte 0 is point 7, so
# that the least significant bit is the first.
@pytest.mark.parametrize("letter", ["I", "D"])
def test_mask_bits(packed, letter):
    values = [100 + k for k in range(16)]
    values[7] = 0
    points = struct.pack("<16h" if letter == "I" else "<16d", *values)
    path = packed(
        points, bytes([0x7F, 0xFF]), cols=4, rows=4, letter=letter, increment="<Increment>1</Increment>"
    )
    image = load(path)
    assert np.flatnonzero(np.isnan(image.pixels)).tolist() == [7]
    assert image.warnings == ()


# [wiki] sample files: "missing data points are represented by an empty tag".
def test_data_list(packed):
    numbers = "".join(f"<Datum>{k}.00000000000000E-0006</Datum>" if k != 7 else "<Datum/>" for k in range(16))
    image = load(packed(cols=4, rows=4, data=f"<DataList>{numbers}</DataList>"))
    expected = np.arange(16.0).reshape(4, 4) * 1e-6
    expected[1, 3] = np.nan
    np.testing.assert_allclose(image.pixels, expected, rtol=1e-15)


# [excerpt] where x and y are absolute, they are stored before z with each point; without MatrixDimension a
# ListDimension counts the points, parted by semicolons as in the publisher's sample.
def test_point_list(tmp_path):
    axis = "<AxisType>A</AxisType><DataType>D</DataType><Increment>1</Increment><Offset>0</Offset>"
    data = "".join(f"<Datum>{x}e-6;{y}e-6;{x + 10 * y}E-0007</Datum>" for y in range(3) for x in range(4))
    xml = (
        f'<p:ISO5436_2 xmlns:p="http://www.opengps.eu/2008/ISO5436_2"><Record1><Revision/><FeatureType>PCL'
        f"</FeatureType><Axes><CX>{axis}</CX><CY>{axis}</CY><CZ>{axis}</CZ></Axes></Record1><Record3>"
        f"<ListDimension>12</ListDimension><DataList>{data}</DataList></Record3></p:ISO5436_2>"
    ).encode()
    with zipfile.ZipFile(tmp_path / "a.x3p", "w") as file:
        file.writestr("main.xml", xml)
        file.writestr("md5checksum.hex", hashlib.md5(xml).hexdigest())
    image = open_image(tmp_path / "a.x3p")
    rows, cols = np.mgrid[:3, :4]
    np.testing.assert_allclose(image.heights_um, (cols + 10 * rows) * 0.1, rtol=1e-12)
    assert image.calibration.pixel_size_x_um == pytest.approx(1, rel=1e-9)


# The writer against the same statements, read back with nothing of ours: names of members, md5 in the style
# of md5sum [memory], order of elements in Record1 [excerpt], bytes of points and mask.
def test_what_the_writer_writes(tmp_path):
    heights = np.arange(12.0).reshape(3, 4)
    heights[1, 0] = np.nan
    write_x3p(tmp_path / "a.x3p", heights, (0.5, 0.25), data_type="int16", z_step_um=0.5)
    with zipfile.ZipFile(tmp_path / "a.x3p") as file:
        assert file.testzip() is None
        held = {name: file.read(name) for name in file.namelist()}
    assert set(held) == {"main.xml", "md5checksum.hex", "bindata/data.bin", "bindata/valid.bin"}
    digest = hashlib.md5(held["main.xml"]).hexdigest()
    assert held["md5checksum.hex"].decode() == f"{digest} *main.xml\n"
    assert held["bindata/data.bin"] == struct.pack("<12h", *(0 if k == 4 else 2 * k for k in range(12)))
    assert held["bindata/valid.bin"] == bytes([0b11101111, 0b11111111])  # bits after the last point are 1
    text = held["main.xml"].decode()
    order = ["Record1", "Revision", "FeatureType", "Axes", "CX", "CY", "CZ", "Record2", "Record3", "Record4"]
    places = [text.index(f"<{name}>") for name in order]
    assert places == sorted(places)
    for name in ("bindata/data.bin", "bindata/valid.bin"):
        assert hashlib.md5(held[name]).hexdigest() in text
