from dataclasses import replace

import numpy as np
import pytest

from surfscan.segmentation.classes import find_sides, score_of
from surfscan.segmentation.features import Picture

LIMITS = {"degraded_is": "auto", "min_contrast": 0.1, "min_separation": 2.5}


def picture(*patches, noise=0.02, n=120):
    """Grey ratio 1 with rectangles (row0, row1, col0, col1, level) and a little noise."""
    values = np.ones((n, n))
    for row0, row1, col0, col1, level in patches:
        values[row0:row1, col0:col1] = level
    values = values + np.random.default_rng(1).normal(0, noise, (n, n))
    return Picture(values[..., None].astype(np.float32), np.ones((n, n), bool))


DARK = (10, 50, 10, 70, 0.5)
LIGHT = (70, 110, 20, 100, 1.5)


def test_metal_alone_has_no_other_class():
    assert find_sides(picture(), **LIMITS) == ()


@pytest.mark.parametrize("patch", [DARK, LIGHT])
def test_one_class_beside_the_metal(patch):
    (side,) = find_sides(picture(patch), **LIMITS)
    assert side.grey == pytest.approx(patch[4], abs=0.02)
    score = side.score(np.array([[1.0], [patch[4]]], np.float32))
    np.testing.assert_allclose(score, [0.0, 1.0], atol=0.05)


def test_dark_and_light_classes_are_both_found():
    sides = find_sides(picture(DARK, LIGHT), **LIMITS)
    assert sorted(round(side.grey, 1) for side in sides) == [0.5, 1.5]
    score = score_of(sides, np.array([[1.0], [0.5], [1.5], [0.75]], np.float32))
    np.testing.assert_allclose(score, [0.0, 1.0, 1.0, 0.5], atol=0.08)


@pytest.mark.parametrize(("asked", "found"), [("darker", [0.5]), ("lighter", [1.5])])
def test_only_the_asked_direction_counts(asked, found):
    sides = find_sides(picture(DARK, LIGHT), **(LIMITS | {"degraded_is": asked}))
    assert [round(side.grey, 1) for side in sides] == found


def test_faint_glare_beside_dark_product_is_metal():
    sides = find_sides(picture(DARK, (70, 110, 20, 100, 1.18)), **LIMITS)
    assert [side.grey < 1 for side in sides] == [True]


def test_a_faint_class_beside_a_strong_one_is_metal():
    sides = find_sides(picture(DARK, (70, 110, 20, 100, 0.9), noise=0.005), **LIMITS)
    assert [round(side.grey, 1) for side in sides] == [0.5]


def test_the_class_that_covers_most_is_the_metal():
    sides = find_sides(picture((0, 90, 0, 120, 0.5)), **LIMITS)
    assert [side.grey > 1.5 for side in sides] == [True]
    forced = find_sides(picture((0, 90, 0, 120, 0.5)), **(LIMITS | {"degraded_is": "darker"}))
    assert forced[0].grey == pytest.approx(0.5, abs=0.03)


def test_a_step_below_the_least_contrast_is_no_class():
    faint = picture((10, 50, 10, 70, 0.92), noise=0.005)
    assert find_sides(faint, **LIMITS) == ()
    assert len(find_sides(faint, **(LIMITS | {"min_contrast": 0.05}))) == 1


def test_the_tail_of_uneven_metal_is_no_class():
    values = np.random.default_rng(3).standard_t(4, (120, 120)) * 0.03 + 1.0
    assert (
        find_sides(Picture(values[..., None].astype(np.float32), np.ones((120, 120), bool)), **LIMITS) == ()
    )


def test_a_small_class_of_steep_texture_is_kept():
    film = picture((10, 40, 10, 40, 1.5))
    film.features[10:40, 10:40] += np.random.default_rng(4).normal(0, 0.08, (30, 30, 1)).astype(np.float32)
    (side,) = find_sides(film, **LIMITS)
    assert side.grey == pytest.approx(1.5, abs=0.05)


def test_score_goes_on_to_a_further_level_and_stops_at_a_ceiling():
    (side,) = find_sides(picture(DARK), **LIMITS)
    further = side.moved_to(1.6)
    assert further.grey == pytest.approx(0.2, abs=0.03)
    np.testing.assert_allclose(further.score(np.array([[1.0], [0.2]], np.float32)), [0, 1], atol=0.05)
    capped = replace(side.moved_to(2.0), ceiling=0.5)
    np.testing.assert_allclose(capped.score(np.array([[0.5], [0.1]], np.float32)), [0.5, 0.5], atol=0.02)


def test_classes_of_equal_grey_are_told_apart_by_tint():
    grey = picture()
    tint = np.ones((120, 120, 2), np.float32)
    tint[10:60, 10:60] = (1.3, 0.6)
    tint += np.random.default_rng(2).normal(0, 0.02, tint.shape).astype(np.float32)
    (side,) = find_sides(Picture(np.concatenate([grey.features, tint], axis=-1), grey.valid), **LIMITS)
    assert side.tint_shift == pytest.approx(0.5, abs=0.05)
    assert side.grey == pytest.approx(1.0, abs=0.03)
    assert side.share == pytest.approx(50 * 50 / 120**2, abs=0.01)
