"""The synthetic micrographs: repeatable, and true to what they say of themselves."""

import numpy as np
import pytest
import synthetic

SHAPE = (256, 320)
BARE = {
    "touching_fraction": 0.0,
    "rims": 0.0,
    "noise": 0.0,
    "light": 0.0,
    "grains": 0.0,
    "stains": 0,
    "scratches": 0,
    "glare": 0,
}


@pytest.mark.parametrize("family", synthetic.FAMILIES)
def test_same_seed_gives_same_bytes_and_another_seed_does_not(family):
    image, truth = synthetic.make_family(family, 3, SHAPE)
    again, truth_again = synthetic.make_family(family, 3, SHAPE)
    other, _ = synthetic.make_family(family, 4, SHAPE)
    assert image.dtype == np.uint8 and truth.dtype == np.int32 and image.shape == truth.shape == SHAPE
    assert np.array_equal(image, again) and np.array_equal(truth, truth_again)
    assert not np.array_equal(image, other)


def test_labels_have_no_gaps():
    _, truth = synthetic.make_micrograph(5, SHAPE, n_pits=40)
    assert np.array_equal(np.unique(truth), np.arange(truth.max() + 1))


def test_contrast_is_as_asked_on_a_bare_surface():
    image, truth = synthetic.make_micrograph(
        1, SHAPE, n_pits=6, contrast=(0.4, 0.4), radius_px=(10, 14), median_radius_px=12, **BARE
    )
    metal = np.median(image[truth == 0])
    floor = np.median(image[truth > 0])
    assert 1 - floor / metal == pytest.approx(0.4, abs=0.04)


def test_outline_runs_at_half_contrast():
    image, truth = synthetic.make_micrograph(
        2, SHAPE, n_pits=8, contrast=(0.5, 0.5), radius_px=(10, 14), median_radius_px=12, **BARE
    )
    half = (np.median(image[truth == 0]) + np.median(image[truth > 0])) / 2
    assert np.count_nonzero(image < half) == pytest.approx(np.count_nonzero(truth), rel=0.02)


def test_round_outline_has_the_area_of_a_circle():
    _, truth = synthetic.make_micrograph(
        4, (400, 400), n_pits=1, radius_px=(20, 20.001), median_radius_px=20, lumpiness=0, **BARE
    )
    rows, cols = np.nonzero(truth)
    assert rows.min() > 0 and cols.min() > 0 and rows.max() < 399 and cols.max() < 399, "choose another seed"
    assert np.count_nonzero(truth) == pytest.approx(np.pi * 20**2, rel=0.01)


def test_touching_pits_are_split_along_the_line_through_their_crossings():
    flat = np.zeros(5)
    pair = [synthetic.Outline(50, 40, 20, flat, flat), synthetic.Outline(50, 70, 20, flat, flat)]
    depth, _, truth = synthetic.paint_pits(np.random.default_rng(0), (100, 110), pair, (0.4, 0.4), 0.0)
    left, right = np.nonzero(truth == 1)[1], np.nonzero(truth == 2)[1]
    assert left.max() <= 55 <= right.min()
    assert not np.any(depth[truth == 0] > 0.25)


def test_unknown_family_is_refused():
    with pytest.raises(ValueError, match="family must be one of"):
        synthetic.family_settings("shiny", 0)
