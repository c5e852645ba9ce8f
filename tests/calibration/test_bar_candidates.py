import numpy as np
import pytest

from surfscan.calibration.bar_candidates import (
    block_columns,
    block_extremes,
    find_candidates,
    planes_of,
    shortest_px,
    thickest_px,
)


@pytest.mark.parametrize("block", [8, 16, 32])
def test_block_extremes_are_those_of_each_block(block):
    levels = np.random.default_rng(1).integers(0, 256, (300, 5 * block + 3)).astype(np.uint8)
    low, high = block_extremes(levels, block)
    blocks = levels[:, : 5 * block].reshape(300, 5, block)
    assert np.array_equal(low, blocks.min(axis=2)) and np.array_equal(high, blocks.max(axis=2))


@pytest.mark.parametrize("cols", [200, 640, 1024, 2048, 4096, 9000])
def test_two_blocks_fit_into_the_shortest_bar(cols):
    block = block_columns(cols)
    assert 3 * block - 1 <= max(shortest_px(cols), 23)


def test_every_place_of_a_bar_is_found():
    for start in range(100, 117):
        picture = np.full((200, 640), 30, np.uint8)
        picture[100:103, start : start + 40] = 220
        (found,) = [c for c in find_candidates(planes_of(picture)) if c.light]
        assert (found.row0, found.row1, found.light) == (100, 103, True)
        assert start <= found.col0 < found.col1 <= start + 40


def test_a_bar_that_touches_flat_ground_of_another_level_is_parted_from_it():
    picture = np.full((400, 640), 150, np.uint8)
    picture[200:206, 100:300] = 0
    picture[206:209, 80:500] = 100
    assert any((c.row0, c.row1) == (200, 206) and not c.light for c in find_candidates(planes_of(picture)))


def test_thick_layers_are_none():
    picture = np.full((400, 640), 30, np.uint8)
    picture[100 : 100 + 2 * thickest_px(400), 100:400] = 220
    assert find_candidates(planes_of(picture)) == []


def test_planes():
    grey = np.zeros((20, 30), np.uint8)
    assert [p.kind for p in planes_of(grey)] == ["luminance"]
    colour = np.zeros((20, 30, 3), np.uint8)
    assert [p.kind for p in planes_of(colour)] == ["luminance"]
    colour[5, 5] = (255, 0, 0)
    luminance, saturation = planes_of(colour)
    assert saturation.kind == "saturation" and saturation.levels[5, 5] == 255
    assert luminance.levels[5, 5] == 76
    scaled = planes_of(np.array([[0.0, 0.5], [1.0, np.nan]]))[0].levels
    assert scaled.tolist() == [[0, 128], [255, 0]]
    assert planes_of(np.eye(3, dtype=bool))[0].levels.max() == 255
    with pytest.raises(ValueError, match="expected"):
        planes_of(np.zeros((3, 3, 5)))
