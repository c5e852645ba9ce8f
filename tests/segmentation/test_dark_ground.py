"""Any outline on a micrograph is judged against the metal that the search found."""

import numpy as np
import pytest

from surfscan.segmentation.dark_ground import limit_names
from surfscan.segmentation.pits import search_dark_pits

SPOTS = ((50, 60, 12, 0.4), (60, 180, 9, 0.5), (150, 100, 15, 0.35), (170, 220, 6, 0.45), (6, 120, 10, 0.5))


@pytest.fixture(scope="module")
def searched(draw_discs):
    contrast = draw_discs((240, 300), SPOTS)
    light = 180 * (1 - 0.2 * np.linspace(0, 1, 300))
    noise = np.random.default_rng(1).normal(0, 3, contrast.shape)
    grey = np.clip(np.rint(light * (1 - contrast) + noise), 0, 255).astype(np.uint8)
    return search_dark_pits(
        grey, min_contrast=0.08, min_contrast_to_noise=4.0, min_diameter_px=4.0, max_aspect=4.0
    )


def test_an_outline_as_found_is_judged_alike(searched):
    """Floor and surroundings are read on the outline alone: figures differ by little, limits by none."""
    found, ground = searched
    for k in range(1, found.labels.max() + 1):
        judged = ground.judge_outlined(*np.nonzero(found.labels == k))
        assert judged.contrast[0] == pytest.approx(found.contrast[k - 1], abs=0.01)
        assert judged.contrast_to_noise[0] == pytest.approx(found.contrast_to_noise[k - 1], rel=0.05)
        assert judged.near_limit().tolist() == [found.near_limit[k - 1]] == [""]


@pytest.mark.parametrize(("row", "col", "radius", "strength"), SPOTS)
def test_a_true_outline_has_the_true_contrast(searched, row, col, radius, strength):
    _, ground = searched
    y, x = np.mgrid[:240, :300]
    own = (y - row) ** 2 + (x - col) ** 2 <= radius**2
    judged = ground.judge_outlined(*np.nonzero(own))
    assert judged.contrast[0] == pytest.approx(strength, abs=0.03)
    assert judged.diameter[0] == pytest.approx(np.sqrt(4 * own.sum() / np.pi))


def test_an_outline_on_bare_metal_passes_no_limit(searched):
    _, ground = searched
    y, x = np.mgrid[:240, :300]
    judged = ground.judge_outlined(*np.nonzero((y - 110) ** 2 + (x - 30) ** 2 <= 49))
    assert judged.contrast[0] == pytest.approx(0, abs=0.02)
    assert judged.near_limit().tolist() == ["contrast, contrast to noise"]


def test_one_pixel_and_the_whole_picture(searched):
    """The smallest and the largest outline there can be: no figure breaks."""
    _, ground = searched
    one = ground.judge_outlined(np.array([0]), np.array([0]))
    assert np.isfinite(one.contrast[0]) and one.near_limit()[0].endswith("diameter")
    everything = ground.judge_outlined(*np.divmod(np.arange(240 * 300), 300))
    assert np.isfinite(everything.contrast[0]) and np.isfinite(everything.contrast_to_noise[0])


def test_shut_in_by_pits_the_surroundings_are_what_lies_round_it(searched):
    """Inside a pit there is no metal in reach: the pit's floor is the surroundings."""
    _, ground = searched
    y, x = np.mgrid[:240, :300]
    inside = ground.judge_outlined(*np.nonzero((y - 150) ** 2 + (x - 100) ** 2 <= 2))
    assert inside.contrast[0] == pytest.approx(0, abs=0.1)


def test_a_ground_of_a_part_of_the_picture(searched):
    from dataclasses import replace

    found, ground = searched
    row, col = np.nonzero(found.labels == 1)
    moved = replace(ground, origin=(100, 7)).judge_outlined(row + 100, col + 7)
    assert moved.contrast[0] == ground.judge_outlined(row, col).contrast[0]


def test_names():
    assert limit_names(np.array([True, False, True])) == "contrast, diameter"
    assert limit_names(np.zeros(3, bool)) == ""
