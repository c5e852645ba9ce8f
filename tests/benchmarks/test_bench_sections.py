"""Accuracy on drawn sections, one of each order of greys: what the benchmark counts over many."""

import pytest
from bench_sections import errors, measured
from synthetic_sections import ORDERS, SectionRecipe, make_section


@pytest.mark.parametrize("order", ORDERS)
def test_section_within_the_targets(order):
    made = make_section(SectionRecipe(seed=12, order=order, width_px=220, thickness_px=150, blur_px=0.8))
    for outline in ("drawn", "before"):
        found = errors(made, measured(made, outline))
        assert abs(found["metal"]) < 0.01
        assert abs(found["original"]) < 0.015
        assert abs(found["fraction"]) < 0.01
        assert found["held"]
