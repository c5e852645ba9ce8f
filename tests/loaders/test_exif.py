import struct

import pytest

from surfscan.loaders.exif import orientation_warning, read_exif


def block(order, *, orientation=None, resolution=None, unit=None):
    """A directory with a rational XResolution and YResolution after it."""
    entries, heap = [], b""
    count = (orientation is not None) + 2 * (resolution is not None) + (unit is not None)
    heap_at = 8 + 2 + 12 * count + 4
    if orientation is not None:
        entries.append(struct.pack(f"{order}HHIHH", 274, 3, 1, orientation, 0))
    if resolution is not None:
        for code, (top, bottom) in zip((282, 283), resolution, strict=True):
            entries.append(struct.pack(f"{order}HHII", code, 5, 1, heap_at + len(heap)))
            heap += struct.pack(f"{order}II", top, bottom)
    if unit is not None:
        entries.append(struct.pack(f"{order}HHIHH", 296, 3, 1, unit, 0))
    mark = b"II*\0" if order == "<" else b"MM\0*"
    start = mark + struct.pack(f"{order}IH", 8, count)
    return start + b"".join(entries) + bytes(4) + heap


@pytest.mark.parametrize("order", ["<", ">"])
def test_both_byte_orders(order):
    exif = read_exif(block(order, orientation=6, resolution=((20000, 1), (5000, 2)), unit=3))
    assert exif.orientation == 6
    tag = exif.scale_tag
    assert (tag.kind, tag.x, tag.y, tag.x_unit, tag.y_unit) == ("density", 20000, 2500, "cm", "cm")


def test_unit_is_inch_unless_told():
    assert read_exif(block("<", resolution=((72, 1), (72, 1)))).scale_tag.x_unit == "inch"
    assert read_exif(block("<", resolution=((72, 1), (72, 1)), unit=1)).scale_tag.x_unit == ""


def test_zero_denominator_is_zero():
    assert read_exif(block("<", resolution=((72, 0), (72, 1)))).scale_tag.x == 0


def test_nothing_said():
    assert read_exif(block("<")) == read_exif(b"")


def test_a_block_that_cannot_be_followed_says_nothing():
    whole = block(">", orientation=6, resolution=((300, 1), (300, 1)), unit=2)
    for length in range(len(whole)):
        exif = read_exif(whole[:length])
        assert exif.scale_tag is None and exif.orientation == 1
    assert read_exif(b"II*\0\xff\xff\xff\xff") == read_exif(b"no directory")


@pytest.mark.parametrize("orientation", [0, 1])
def test_upright_needs_no_warning(orientation):
    assert orientation_warning(orientation) is None
