import os
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path

import cv2
import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.loaders import LoadedImage, find_loaders, load, registry


class Toy:
    """A third party's loader, and what may go wrong with one."""

    formats = "TOY"

    def recognises(self, head):
        return head.startswith((b"TOY", b"\x89PNG"))

    def load(self, path, page):
        return LoadedImage(np.full((4, 4), 7, np.uint8), "TOY", page=page)


class Careless(Toy):
    formats = "CARELESS"

    def load(self, path, page):
        if path.stat().st_size > 10:
            raise MemoryError
        raise ZeroDivisionError("rows per strip")


class Shapeless(Toy):
    formats = "SHAPELESS"

    def load(self, path, page):
        return LoadedImage(np.zeros((2, 3, 4, 5)), "SHAPELESS")


@pytest.fixture
def register(monkeypatch):
    """Add entry points to those installed."""
    installed = tuple(entry_points(group=registry.GROUP))

    def register(*values):
        added = tuple(EntryPoint(f"extra{i}", v, registry.GROUP) for i, v in enumerate(values))
        monkeypatch.setattr(registry, "entry_points", lambda group: installed + added)
        find_loaders.cache_clear()

    yield register
    find_loaders.cache_clear()


def own(name):
    """Value of an entry point that names a class of this file."""
    return f"{__name__}:{name}"


def test_our_loaders_come_by_entry_point():
    loaders, problems = find_loaders()
    assert [type(one).__name__ for one in loaders] == [
        "BmpLoader",
        "HeightTextLoader",
        "JpegLoader",
        "NpyLoader",
        "PngLoader",
        "SdfLoader",
        "TiffLoader",
        "X3pLoader",
    ]
    assert problems == ()


def test_a_third_party_format(tmp_path, register):
    register(own("Toy"))
    (tmp_path / "a.bin").write_bytes(b"TOY!")
    loaded = load(tmp_path / "a.bin", 3)
    assert (loaded.file_format, loaded.page, loaded.warnings) == ("TOY", 3, ())


def test_third_parties_are_asked_first(tmp_path, register):
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((4, 4), np.uint8))
    assert load(tmp_path / "a.png").file_format == "PNG"
    register(own("Toy"))
    assert load(tmp_path / "a.png").file_format == "TOY"


def test_one_that_does_not_import_is_named_and_the_rest_works(tmp_path, register):
    register("no_such_package_of_anybody.images:Loader")
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((4, 4), np.uint8))
    (warning,) = load(tmp_path / "a.png").warnings
    assert "'extra0'" in warning and "no_such_package_of_anybody" in warning
    (tmp_path / "a.bin").write_bytes(b"TOY!")
    with pytest.raises(InputError, match="no_such_package_of_anybody"):
        load(tmp_path / "a.bin")


@pytest.mark.parametrize(("name", "content", "fault"), [
    ("Careless", b"TOY", "CARELESS loader: ZeroDivisionError: rows per strip"),
    ("Careless", b"TOY of some length", "not enough memory"),
    ("Shapeless", b"TOY", r"array of shape \(2, 3, 4, 5\)"),
])  # fmt: skip
def test_whatever_a_loader_does_wrong_is_an_input_error(tmp_path, register, name, content, fault):
    register(own(name))
    (tmp_path / "a.bin").write_bytes(content)
    with pytest.raises(InputError, match=fault):
        load(tmp_path / "a.bin")


def test_content_counts_not_suffix(tmp_path):
    cv2.imwrite(str(tmp_path / "a.png"), np.zeros((4, 4), np.uint8))
    (tmp_path / "a.png").rename(tmp_path / "a.tif")
    assert load(tmp_path / "a.tif").file_format == "PNG"


@pytest.mark.parametrize(("content", "fault"), [
    (b"", "empty"),
    (b"label,row_px\n1,2\n", "it holds text"),
    (b"\0\1\2\3" * 100, "no format that surfscan reads"),
])  # fmt: skip
def test_no_image_at_all(tmp_path, content, fault):
    (tmp_path / "a.tif").write_bytes(content)
    with pytest.raises(InputError, match=fault) as caught:
        load(tmp_path / "a.tif")
    assert "a.tif" in str(caught.value)
    if content:
        assert all(name in caught.value.remedy for name in ("BMP", "JPEG", "PNG", "TIFF", "OME-TIFF"))


def test_no_file(tmp_path):
    with pytest.raises(InputError, match="no such file"):
        load(tmp_path / "missing.tif")
    with pytest.raises(InputError, match="folder"):
        load(tmp_path)
    with pytest.raises(InputError, match="cannot be read"):
        load(Path("nul\0byte.tif"))
    with pytest.raises(InputError, match=r"cannot be read|no such file"):
        load(tmp_path / ("long" * 200 + ".tif"))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "a.tif")
    with pytest.raises(InputError, match="not a regular file"):
        load(tmp_path / "a.tif")


def test_a_file_without_rights(tmp_path, monkeypatch):
    def refuse(self, *args, **kwargs):
        raise PermissionError(13, "Permission denied")

    (tmp_path / "a.tif").write_bytes(b"II*\0")
    monkeypatch.setattr(Path, "open", refuse)
    with pytest.raises(InputError, match=r"cannot be read.*Permission denied"):
        load(tmp_path / "a.tif")


@pytest.mark.parametrize("page", [-1, 1.5, True, "0"])
def test_page_must_be_a_page_number(tmp_path, page):
    with pytest.raises(InputError, match="not a page number"):
        load(tmp_path / "a.tif", page)
