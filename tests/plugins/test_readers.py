"""The reader says yes to what surfscan opens and to studies, no to the rest, and never raises."""

import numpy as np
import pytest
import tifffile
from napari_surfscan import pyramid, readers
from napari_surfscan.placing import PATH, opened_in
from napari_surfscan.readers import get_reader, read_images

from surfscan.errors import InputError


@pytest.fixture
def told(monkeypatch):
    said = []
    monkeypatch.setattr(readers, "_tell", said.append)
    return said


def test_all_images_of_the_demo_are_read(demo_folder, told):
    """Every kind of file of the demo study: one layer each, at scale, or in pixels with a notice."""
    files = [*sorted((demo_folder / "images").glob("U28-1*")), demo_folder / "heights" / "S00-1_h.ome.tif"]
    files += [demo_folder / "heights" / "C07-1_h.sdf", demo_folder / "heights" / "U28-1_h1.x3p"]
    layers = get_reader([str(f) for f in files])([str(f) for f in files])
    assert len(layers) == len(files)
    for path, (data, keywords, kind) in zip(files, layers, strict=True):
        image = opened_in(keywords["metadata"])
        known = image.calibration is not None
        assert kind == "image"
        assert keywords["name"] == path.name
        assert keywords["units"] == (("um", "um") if known else ("pixel", "pixel"))
        assert data.shape[:2] == image.shape
        assert known is not any(path.name in words for words in told)
    assert told, "one of them states no scale"


@pytest.mark.parametrize("content", [b"", b"no image at all", b"\x89PNG", b"II*\0"])
def test_getter_never_raises(tmp_path, content):
    """Empty, foreign and damaged files; the getter says yes or no, the reader says what is wrong."""
    path = tmp_path / "file.tif"
    path.write_bytes(content)
    reader = get_reader(str(path))
    if reader is not None:
        with pytest.raises(InputError):
            reader(str(path))


@pytest.mark.parametrize("path", ["", "nowhere.tif", "\0", []])
def test_getter_says_no(path):
    """What is not there is none of ours."""
    assert get_reader(path) is None


def test_study_by_folder_or_manifest(demo_folder, tmp_path):
    """A folder with a study.toml is a study; any other folder is not."""
    assert get_reader(str(demo_folder)) is readers.read_study
    assert get_reader(str(demo_folder / "study.toml")) is readers.read_study
    assert get_reader(str(tmp_path)) is None


def test_large_tiled_file_is_not_decoded(tmp_path, monkeypatch):
    """Its layer comes with levels that are read as they are looked at."""
    monkeypatch.setattr(pyramid, "LARGE_PX", 1000)
    path = tmp_path / "tiled.tif"
    tifffile.imwrite(path, np.zeros((64, 64), np.uint8), tile=(16, 16))
    ((levels, keywords, _),) = read_images(str(path))
    assert keywords["metadata"] == {PATH: str(path)}
    assert keywords["multiscale"]
    assert levels[0].shape == (64, 64)
