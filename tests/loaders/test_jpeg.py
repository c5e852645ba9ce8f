import struct

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders.jpeg import JpegLoader


def load(path, page=None):
    return JpegLoader().load(path, page)


@pytest.fixture
def jpeg(grey):
    return cv2.imencode(".jpg", grey, [cv2.IMWRITE_JPEG_QUALITY, 95])[1].tobytes()


def with_density(data, unit, x, y):
    at = data.index(b"JFIF\0") + 7
    return data[:at] + struct.pack(">BHH", unit, x, y) + data[at + 5 :]


def with_exif(data, block):
    body = b"Exif\0\0" + block
    return data[:2] + b"\xff\xe1" + struct.pack(">H", len(body) + 2) + body + data[2:]


def test_grey_stays_grey(tmp_path, grey, jpeg):
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg)
    loaded = load(path)
    assert loaded.pixels.shape == grey.shape
    assert np.abs(loaded.pixels.astype(int) - grey).max() <= 8
    assert (loaded.file_format, loaded.lossy, loaded.warnings) == ("JPEG", True, ())


@pytest.mark.parametrize("progressive", [0, 1])
def test_colour_is_red_green_blue(tmp_path, progressive):
    red = np.zeros((32, 32, 3), np.uint8)
    red[..., 2] = 200  # OpenCV writes blue first
    path = tmp_path / "a.jpg"
    cv2.imwrite(str(path), red, [cv2.IMWRITE_JPEG_PROGRESSIVE, progressive, cv2.IMWRITE_JPEG_RST_INTERVAL, 2])
    mean = load(path).pixels.reshape(-1, 3).mean(axis=0)
    assert abs(mean[0] - 200) < 4 and mean[1] < 4 and mean[2] < 4


@pytest.mark.parametrize(("unit", "name"), [(0, ""), (1, "inch"), (2, "cm")])
def test_density_is_handed_over_raw(tmp_path, jpeg, unit, name):
    path = tmp_path / "a.jpg"
    path.write_bytes(with_density(jpeg, unit, 20_000, 10_000))
    (tag,) = load(path).scale_tags
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("density", 20_000, 10_000, name, name)


def test_orientation_is_stated_not_applied(tmp_path, grey, jpeg):
    block = b"II*\0\x08\0\0\0\x01\0" + struct.pack("<HHIHH", 274, 3, 1, 8, 0) + bytes(4)
    path = tmp_path / "a.jpg"
    path.write_bytes(with_exif(jpeg, block))
    loaded = load(path)
    assert loaded.pixels.shape == grey.shape
    assert "orientation 8" in loaded.warnings[0]


def test_cut_at_any_byte_is_found(tmp_path, jpeg):
    path = tmp_path / "a.jpg"
    for length in range(3, len(jpeg), 41):
        path.write_bytes(jpeg[:length])
        with pytest.raises(InputError, match=r"truncated|damaged"):
            load(path)


def test_bytes_after_the_end_do_no_harm(tmp_path, jpeg):
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg + b"something a camera added")
    assert load(path).warnings == ()


def test_damaged_scan_is_told_and_screen_stays_clean(tmp_path, jpeg, capfd):
    path = tmp_path / "a.jpg"
    start = jpeg.index(b"\xff\xda") + 14
    path.write_bytes(jpeg[: start + 100] + jpeg[-2:])  # the end marker is there, most of the scan is not
    with pytest.raises(InputError, match="damaged"):
        load(path)
    assert capfd.readouterr().err == ""


def test_spare_bytes_before_the_end_are_a_warning(tmp_path, jpeg, capfd):
    path = tmp_path / "a.jpg"
    path.write_bytes(jpeg[:-2] + bytes(40) + jpeg[-2:])
    assert "may be damaged" in load(path).warnings[0]
    assert capfd.readouterr().err == ""


def test_unknown_revision_is_a_warning(tmp_path, grey, jpeg, capfd):
    data = bytearray(jpeg)
    data[data.index(b"JFIF\0") + 5] = 4
    path = tmp_path / "a.jpg"
    path.write_bytes(data)
    loaded = load(path)
    assert loaded.pixels.shape == grey.shape
    assert "revision" in loaded.warnings[0]
    assert capfd.readouterr().err == ""


@pytest.mark.parametrize(("offset", "value", "fault"), [(9, 4, "4 colour components"), (4, 12, "12 bits")])
def test_unread_kinds_are_refused(tmp_path, jpeg, offset, value, fault):
    data = bytearray(jpeg)
    data[data.index(b"\xff\xc0") + offset] = value
    path = tmp_path / "a.jpg"
    path.write_bytes(data)
    with pytest.raises(InputError, match=fault):
        load(path)


def test_no_image_between_the_markers(tmp_path):
    path = tmp_path / "a.jpg"
    path.write_bytes(b"\xff\xd8\xff\xff\xd9")
    with pytest.raises(InputError, match="no pixels"):
        load(path)


def test_empty_is_refused(tmp_path, jpeg):
    data = bytearray(jpeg)
    at = data.index(b"\xff\xc0")
    data[at + 5 : at + 9] = bytes(4)
    path = tmp_path / "a.jpg"
    path.write_bytes(data)
    with pytest.raises(InputError, match="empty"):
        load(path)
