"""Drawn sections: their truth is what was asked for."""

import numpy as np
import pytest
from synthetic_sections import SHAPES, SectionRecipe, drawn_outline, make_section, random_recipe

from surfscan.measurement.section_loss import polygon_area


@pytest.mark.parametrize("shape", SHAPES)
def test_truth_is_the_recipe(shape):
    recipe = SectionRecipe(seed=3, shape=shape, width_px=120, thickness_px=80, remaining=0.6, islands=0)
    made = make_section(recipe)
    area = polygon_area(drawn_outline(shape, 120, 80))
    assert made.original_area_px == pytest.approx(area, rel=0.002)
    assert polygon_area(made.outline) == pytest.approx(area, rel=1e-6)
    assert made.remaining_fraction == pytest.approx(0.6, abs=0.002)
    assert 5 < made.max_penetration_px <= 41


def test_same_seed_same_picture_and_another_seed_another():
    a, b, c = (make_section(SectionRecipe(seed=s, width_px=90, thickness_px=60)).pixels for s in (1, 1, 2))
    np.testing.assert_array_equal(a, b)
    assert a.shape != c.shape or not np.array_equal(a, c)


def test_recipes_span_the_losses():
    losses = [1 - random_recipe(seed).remaining for seed in range(200)]
    assert min(losses) < 0.08
    assert max(losses) > 0.57
