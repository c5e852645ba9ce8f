"""Maps of polished sections: classes, bodies, and the metal's edge between pixels."""

import numpy as np
import pytest

from surfscan.measurement.section_outline import area_above
from surfscan.segmentation.section import MEDIUM, METAL, PRODUCT, VOID, map_section

SHAPE = (200, 240)


def one(metal=210, product=110):
    return [("rectangle", 120, 100, 120, 90, product), ("rectangle", 118.3, 99.6, 90, 60, metal)]


@pytest.mark.parametrize(
    ("metal", "product", "medium"), [(210, 110, 25), (215, 50, 120), (120, 215, 25), (210, 200 - 60, 25)]
)
@pytest.mark.parametrize(("blur", "within"), [(0.6, 0.006), (2.0, 0.01)])  # blur takes the corners off
def test_metal_area(draw_section, metal, product, medium, blur, within):
    grey = draw_section(SHAPE, one(metal, product), medium=medium, blur=blur, noise=4, turn_deg=8)
    found = map_section(grey)
    assert area_above(found.excess) == pytest.approx(90 * 60, rel=within)
    assert found.bodies.max() == 1


def test_classes_lie_where_they_were_drawn(draw_section):
    pore = ("ellipse", 66, 100, 6, 6, 25)
    found = map_section(draw_section(SHAPE, [*one(), pore]))
    assert found.classes[100, 118] == METAL
    assert found.classes[60, 118] == PRODUCT
    assert found.classes[100, 66] == VOID
    assert found.classes[10, 10] == MEDIUM
    assert (found.bodies[found.classes != MEDIUM] == 1).all()


def test_the_edge_follows_the_level_of_what_lies_beside_it(draw_section):
    """Product of two shades and bare medium round one core: one threshold would not do."""
    parts = [
        ("rectangle", 80, 100, 80, 96, 90),
        ("rectangle", 160, 80, 80, 56, 160),
        ("rectangle", 120, 100, 90, 60, 220),
    ]
    assert area_above(map_section(draw_section(SHAPE, parts, noise=3)).excess) == pytest.approx(
        5400, rel=0.01
    )


def test_several_sections_are_numbered_in_reading_order(draw_section):
    parts = [
        ("rectangle", 190, 50, 50, 40, 210),
        ("rectangle", 60, 60, 50, 40, 210),
        ("ellipse", 120, 150, 50, 50, 210),
    ]
    bodies = map_section(draw_section(SHAPE, parts)).bodies
    assert [bodies[50, 190], bodies[60, 60], bodies[150, 120]] == [2, 1, 3]


def test_islands_belong_to_their_section_and_debris_to_none(draw_section):
    island, debris = ("ellipse", 70, 100, 8, 8, 210), ("ellipse", 20, 180, 9, 9, 210)
    found = map_section(draw_section(SHAPE, [*one(), island, debris]))
    assert found.bodies.max() == 1
    assert found.classes[100, 70] == METAL
    assert found.bodies[180, 20] == 0
    assert any("debris" in text for text in found.warnings)


def test_an_island_in_bare_medium_is_kept_where_it_is_near(draw_section):
    found = map_section(draw_section(SHAPE, [*one(210, 210), ("ellipse", 188, 100, 8, 8, 210)]))
    assert found.bodies[100, 188] == 1


def test_a_crack_that_opens_to_the_medium_stays_inside_the_section(draw_section):
    crack = ("rectangle", 66, 100, 20, 3, 25)
    found = map_section(draw_section(SHAPE, [*one(), crack], blur=0.6))
    assert found.bodies[100, 66] == 1
    assert found.classes[100, 66] == VOID


def test_light_product_cracks_are_no_metal(draw_section):
    """Product lighter than metal: the edge from product to a dark crack passes the metal's grey."""
    cracks = [("rectangle", 60 + 12 * k, 60, 2, 10, 20) for k in range(10)]
    grey = draw_section(SHAPE, [*one(120, 215), *cracks], medium=25, blur=1.5)
    assert area_above(map_section(grey).excess) == pytest.approx(5400, rel=0.01)


def test_pixels_out_of_use_are_medium(draw_section):
    grey = draw_section(SHAPE, [*one(), ("rectangle", 120, 180, 200, 30, 210)]).astype(np.float32)
    valid = np.ones(SHAPE, bool)
    valid[160:] = False
    found = map_section(grey, valid)
    assert found.bodies.max() == 1
    assert not found.bodies[160:].any()


def test_no_section():
    assert map_section(np.full(SHAPE, 90, np.uint8)) is None
    noise = np.random.default_rng(2).normal(90, 8, SHAPE).astype(np.float32)
    assert map_section(noise) is None


def test_same_picture_same_map(draw_section):
    grey = draw_section(SHAPE, one())
    np.testing.assert_array_equal(map_section(grey).excess, map_section(grey).excess)


@pytest.mark.parametrize("blur", [0.8, 1.5])
def test_metal_under_a_layer_of_five_pixels(draw_section, blur):
    """Metal within 1 %, where half-way from metal to medium would be 5 % too much."""
    parts = [("rectangle", 120, 100, 110, 80, 120), ("rectangle", 120, 100, 100, 70, 215)]
    found = map_section(draw_section((200, 240), parts, blur=blur).astype(np.float32))
    assert area_above(found.excess) == pytest.approx(7000, rel=0.01)
