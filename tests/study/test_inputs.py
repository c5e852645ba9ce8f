"""Files of one entry, opened as the entry says; faults name the file and say what to do."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import HeightMap, Micrograph
from surfscan.loaders.x3p_writer import write_x3p
from surfscan.study.entries import ImageEntry
from surfscan.study.inputs import open_companion, open_entry


def _entry(**stated: object) -> ImageEntry:
    return ImageEntry(**{"file": "h.tif", "specimen": "s", "shows": "heights"} | stated)


@pytest.fixture
def folder(tmp_path: Path, write_heights: Callable[..., None]) -> Path:
    """A folder with one height map without a unit."""
    write_heights(tmp_path / "h.tif")
    return tmp_path


def test_opened_as_the_entry_says_under_the_entry_s_name(folder: Path) -> None:
    heights, brightness = open_entry(folder, _entry()), open_entry(folder, _entry(shows="surface"))
    assert isinstance(heights, HeightMap) and isinstance(brightness, Micrograph)
    assert heights.source.path == brightness.source.path == "h.tif"
    assert np.array_equal(heights.heights_um, brightness.pixels)


def test_heights_are_opened_only_where_the_entry_says_so(folder: Path) -> None:
    with pytest.raises(InputError, match=r"holds heights, not brightness\. Add shows = "):
        open_entry(folder, _entry(shows=None))


def test_a_picture_needs_no_word(tmp_path: Path, write_image: Callable[..., None]) -> None:
    write_image(tmp_path / "a.png")
    unsaid, said = (open_entry(tmp_path, _entry(file="a.png", shows=shows)) for shows in (None, "surface"))
    assert isinstance(unsaid, Micrograph) and np.array_equal(unsaid.pixels, said.pixels)


def test_stated_scales_win(folder: Path) -> None:
    opened = open_entry(folder, _entry(pixel_size_um=(0.25, 0.5), height_unit="nm"))
    calibration = opened.calibration
    assert (calibration.pixel_size_x_um, calibration.pixel_size_y_um) == (0.25, 0.5)
    expected = open_entry(folder, _entry()).heights_um / 1000
    np.testing.assert_allclose(opened.heights_um, expected, rtol=1e-6)


def test_a_layer_of_several(tmp_path: Path) -> None:
    layers = np.random.default_rng(0).normal(0, 0.1, (2, 20, 18))
    write_x3p(tmp_path / "h.x3p", layers, 0.5)
    opened = open_entry(tmp_path, _entry(file="h.x3p", page=1))
    np.testing.assert_allclose(opened.heights_um, layers[1], rtol=1e-12)


def test_what_belongs_to_a_map(
    folder: Path, write_image: Callable[..., None], write_heights: Callable[..., None]
) -> None:
    write_image(folder / "mask.png")
    write_heights(folder / "before.tif", seed=1)
    entry = _entry(region="mask.png", datum="mask.png", unexposed="before.tif", height_unit="nm")
    opened = open_entry(folder, entry)
    for role in ("region", "datum"):
        mask = open_companion(folder, entry, opened, role)
        assert mask.shape == opened.shape and mask.dtype == bool and mask.all()
    unexposed = open_companion(folder, entry, opened, "unexposed")
    assert isinstance(unexposed, HeightMap) and unexposed.source.path == "before.tif"
    in_um = open_entry(folder, _entry(file="before.tif"))
    np.testing.assert_allclose(unexposed.heights_um, in_um.heights_um / 1000, rtol=1e-6)


@pytest.mark.parametrize(
    ("size", "pixel_size_um", "fault"),
    [(30, 0.5, "is 30 x 30 px, the exposed one 40 x 40 px"), (40, 0.6, "has pixels of 0.6 x 0.6 µm")],
)
def test_an_unexposed_map_must_lie_on_the_same_grid(
    folder: Path, write_heights: Callable[..., None], size: int, pixel_size_um: float, fault: str
) -> None:
    write_heights(folder / "before.tif", 1, size, pixel_size_um)
    entry = _entry(unexposed="before.tif")
    with pytest.raises(InputError, match=fault) as caught:
        open_companion(folder, entry, open_entry(folder, entry), "unexposed")
    assert caught.value.path == str(folder / "before.tif")


def test_a_stated_pixel_size_holds_for_both_maps(folder: Path, write_heights: Callable[..., None]) -> None:
    write_heights(folder / "before.tif", 1, 40, None)
    entry = _entry(unexposed="before.tif", pixel_size_um=(0.5, 0.5))
    unexposed = open_companion(folder, entry, open_entry(folder, entry), "unexposed")
    assert unexposed.calibration.pixel_size_x_um == 0.5


def test_pictures_and_heights_that_belong_to_a_picture_have_scales_of_their_own(
    tmp_path: Path, write_image: Callable[..., None], write_heights: Callable[..., None]
) -> None:
    import tifffile

    write_image(tmp_path / "a.png")
    write_image(tmp_path / "side.png", size=30)
    pixels = np.random.default_rng(1).integers(90, 200, (30, 50)).astype(np.uint8)
    tifffile.imwrite(tmp_path / "b.tif", pixels, resolution=(5000, 5000), resolutionunit="CENTIMETER")
    write_heights(tmp_path / "h.tif", size=60)
    named = {"file": "a.png", "shows": "strut", "side_view": "side.png"}
    entry = _entry(**named, before="b.tif", pixel_size_um=(0.5, 0.5))
    opened = open_entry(tmp_path, entry)
    before = open_companion(tmp_path, entry, opened, "before")
    assert isinstance(before, Micrograph) and before.source.path == "b.tif" and before.shape == (30, 50)
    assert before.calibration.pixel_size_x_um == pytest.approx(2)
    side = open_companion(tmp_path, entry, opened, "side_view")
    assert side.calibration.pixel_size_x_um == 0.5
    assert open_companion(tmp_path, _entry(**named), opened, "side_view").calibration is None
    entry = _entry(file="a.png", shows="strut", thickness_map="h.tif")
    heights = open_companion(tmp_path, entry, opened, "thickness_map")
    assert isinstance(heights, HeightMap) and heights.shape == (60, 60)


@pytest.mark.parametrize(
    ("role", "name", "fault"),
    [
        ("before", "h.x3p", "states heights in .*: it is no micrograph"),
        ("thickness_map", "rgb.png", "a colour image cannot be a height map"),
    ],
)
def test_a_companion_of_the_wrong_kind(tmp_path: Path, role: str, name: str, fault: str) -> None:
    import cv2

    colour = np.arange(40 * 40 * 3, dtype=np.uint8).reshape(40, 40, 3)
    for file in ("rgb.png", "a.png"):
        (tmp_path / file).write_bytes(cv2.imencode(".png", colour)[1].tobytes())
    write_x3p(tmp_path / "h.x3p", np.random.default_rng(0).normal(0, 1, (20, 18)), 0.5)
    entry = _entry(file="a.png", shows="strut", **{role: name})
    with pytest.raises(InputError, match=fault) as caught:
        open_companion(tmp_path, entry, open_entry(tmp_path, entry), role)
    assert caught.value.path == str(tmp_path / name)


@pytest.mark.parametrize(("role", "said"), [("region", "specimen"), ("datum", "datum")])
def test_a_mask_must_mark_something(folder: Path, role: str, said: str) -> None:
    import cv2

    (folder / "dark.png").write_bytes(cv2.imencode(".png", np.zeros((40, 40), np.uint8))[1].tobytes())
    entry = _entry(**{role: "dark.png"})
    with pytest.raises(InputError, match=f"the mask marks no {said}. Draw"):
        open_companion(folder, entry, open_entry(folder, entry), role)
