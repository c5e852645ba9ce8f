"""Layers stand at physical scale with units, or in pixels where no scale is known."""

import numpy as np
import pytest
from napari import layers as napari_layers
from napari_surfscan.placing import OPENED, PART, is_ours, layer_of, opened_in, placement

from surfscan.images import Calibration, HeightMap, Micrograph, Source

SCALE = Calibration(0.5, 0.25, 0.01, "stated")
GREY = np.arange(12, dtype=np.uint8).reshape(3, 4)


def test_placement_of_a_calibrated_image():
    """Rows first: y, then x."""
    assert placement(SCALE) == {"scale": (0.25, 0.5), "units": ("um", "um")}


def test_placement_without_a_scale():
    """Never 1 µm: pixels."""
    assert placement(None) == {"scale": (1.0, 1.0), "units": ("pixel", "pixel")}


@pytest.mark.parametrize(
    ("image", "name", "keyword"),
    [
        (Micrograph(GREY, SCALE, Source("a.png")), "image", ("colormap", "gray")),
        (Micrograph(np.dstack([GREY] * 3), SCALE, Source("a.png")), "image", ("rgb", True)),
        (HeightMap(GREY.astype(float), SCALE, Source("a.x3p")), "height map", ("colormap", "cividis")),
    ],
)
def test_layers_are_what_napari_takes(image, name, keyword):
    """napari makes a layer of it, in µm, that knows what was opened."""
    data, keywords, kind = layer_of(image)
    assert (kind, keywords["name"], keywords[keyword[0]]) == ("image", name, keyword[1])
    layer = napari_layers.Image(data, **keywords)
    assert [str(unit) for unit in layer.units] == ["micrometer", "micrometer"]
    assert tuple(layer.scale) == (0.25, 0.5)
    assert opened_in(layer.metadata) is image
    assert is_ours(layer)


def test_levels_in_place_of_the_pixels():
    """A pyramid is shown as one."""
    image = Micrograph(np.zeros((64, 64), np.uint8), None, Source("a.png"))
    data, keywords, _ = layer_of(image, pixels=[image.pixels, image.pixels[::2, ::2]])
    assert napari_layers.Image(data, **keywords).multiscale


def test_layers_of_others_are_not_ours():
    """What the user added by himself stays when an image is closed; what is drawn on it goes."""
    assert not is_ours(napari_layers.Image(GREY, name="mine", metadata={OPENED: "not an image"}))
    assert is_ours(napari_layers.Image(GREY, name="anything", metadata={PART: True}))


def test_a_spike_does_not_take_the_colours():
    """Colours run over the heights there are, not up to one spike; gaps and flat maps do no harm."""
    heights = np.random.default_rng(0).normal(0, 1, (200, 200))
    heights[50, 50], heights[60] = 1000, np.nan
    low, high = layer_of(HeightMap(heights, SCALE, Source("a.x3p")))[1]["contrast_limits"]
    assert -3.5 < low < -2 < 2 < high < 3.5
    for flat in (np.zeros((20, 20)), np.full((20, 20), np.nan)):
        assert "contrast_limits" not in layer_of(HeightMap(flat, SCALE, Source("a.x3p")))[1]
