"""Levels of metal, product and medium, and which is which."""

import numpy as np
import pytest

from surfscan.segmentation.section_levels import find_levels

SHAPE = (200, 240)


def parts(product, metal, gap=16):
    return [
        ("rectangle", 120, 100, 90 + 2 * gap, 60 + 2 * gap, product),
        ("rectangle", 120, 100, 90, 60, metal),
    ]


@pytest.mark.parametrize(
    ("metal", "product", "medium", "order"),
    [
        (210, 110, 25, "metal_product_medium"),
        (215, 50, 120, "metal_medium_product"),
        (120, 215, 25, "product_metal_medium"),
        (110, 190, 250, "medium_product_metal"),
    ],
)
def test_the_order_is_found_from_where_the_classes_lie(draw_section, metal, product, medium, order):
    grey = draw_section(SHAPE, parts(product, metal), medium=medium, noise=4).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool))
    assert found.order == order
    assert found.levels["metal"][0] == pytest.approx(metal, rel=0.03)
    assert found.levels["product"][0] == pytest.approx(product, rel=0.03)
    assert found.separation > 2.5


def test_a_stated_order_is_taken(draw_section):
    grey = draw_section(SHAPE, parts(110, 210)).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool), "product_metal_medium")
    assert found.levels["product"][0] == pytest.approx(210, rel=0.02)


def test_all_but_the_medium_as_metal(draw_section):
    grey = draw_section(SHAPE, parts(150, 210)).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool), "metal_medium")
    assert set(found.levels) == {"metal", "medium"}


def test_fresh_metal_has_no_product(draw_section):
    grey = draw_section(SHAPE, parts(210, 210)).astype(np.float32)
    assert find_levels(grey, np.ones(SHAPE, bool)).order == "metal_medium"


@pytest.mark.parametrize(("product", "order"), [(110, "metal_product_medium"), (250, "product_metal_medium")])
def test_a_thin_layer_of_product_is_still_found(draw_section, product, order):
    grey = draw_section(SHAPE, parts(product, 180, gap=6)).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool))
    assert found.order == order
    assert found.levels["product"][0] == pytest.approx(product, rel=0.12)


def test_uneven_light_is_told_from_the_classes(draw_section):
    light = np.linspace(0.75, 1.2, SHAPE[1])[None, :]
    grey = (draw_section(SHAPE, parts(110, 190)) * light).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool))
    assert found.order == "metal_product_medium"
    inside = (slice(75, 125), slice(80, 160))
    even = grey[inside] / found.light[inside]
    assert np.ptp(even.mean(axis=0)) < 0.04 * even.mean()


def test_two_phases_of_an_alloy_are_both_metal(draw_section):
    spots = [("ellipse", 80 + 9 * i, 75 + 9 * j, 5, 5, 240) for i in range(9) for j in range(6)]
    grey = draw_section(SHAPE, [*parts(130, 130), *spots]).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool))
    assert set(found.levels) == {"metal", "medium"}


def test_noise_alone_is_no_section():
    grey = np.random.default_rng(3).normal(100, 5, SHAPE).astype(np.float32)
    assert find_levels(grey, np.ones(SHAPE, bool)) is None
    assert find_levels(np.full(SHAPE, 7, np.float32), np.ones(SHAPE, bool)) is None


@pytest.mark.parametrize(("product", "blur", "within"), [(120, 1.0, 12), (120, 1.5, 20), (60, 1.0, 40)])
def test_the_level_of_a_layer_of_five_pixels_is_read_where_it_shows_best(draw_section, product, blur, within):
    medium = 30 if product == 120 else 120
    grey = draw_section(SHAPE, parts(product, 215, gap=5), medium=medium, noise=4, blur=blur)
    found = find_levels(grey.astype(np.float32), np.ones(SHAPE, bool))
    assert found.thin_layer
    assert found.levels["product"][0] == pytest.approx(product, abs=within)
    assert any("higher magnification" in text for text in found.warnings)


@pytest.mark.parametrize("blur", [0.5, 1.0, 2.5])
def test_a_bare_edge_is_no_layer(draw_section, blur):
    grey = draw_section(SHAPE, parts(30, 215), noise=8, blur=blur).astype(np.float32)
    found = find_levels(grey, np.ones(SHAPE, bool))
    assert "product" not in found.levels
    assert not found.thin_layer
