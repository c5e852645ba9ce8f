"""Wetted surface as dimensions: the same areas as the functions give, and every contradiction refused."""

from __future__ import annotations

import math

import pytest
from pydantic import ValidationError

from surfscan.immersion.surface_area import Dimension, mesh_area
from surfscan.study.faults import describe
from surfscan.study.surface_entries import WettedSurface

PLATE = {"shape": "plate", "length_mm": [20, 0.05], "width_mm": 10, "thickness_mm": 2}
MESH = {
    "shape": "mesh", "length_mm": 10, "width_mm": 8, "thickness_mm": 0.3, "long_struts": 4, "cross_struts": 5,
    "long_strut_width_mm": [0.3, 0.01], "cross_strut_width_mm": 0.25,
}  # fmt: skip
TUBE = {"shape": "tube", "outer_diameter_mm": 3, "length_mm": 20}


def test_plate_with_holes_and_mask() -> None:
    plate = WettedSurface(**PLATE, holes_mm=1, hole_count=2, masked_mm2=[10, 2])
    area = plate.area()
    expected = 2 * (200 - 2 * math.pi / 4) + 60 * 2 + 2 * math.pi * 2 - 10
    assert area.area_mm2 == pytest.approx(expected)
    assert area.uncertainty_mm2 == pytest.approx(math.hypot(2 * 12 * 0.05, 2))


def test_wire_and_tube() -> None:
    assert WettedSurface(**TUBE, wet_ends=0).area().area_mm2 == pytest.approx(math.pi * 60)
    bore = WettedSurface(**TUBE, inner_diameter_mm=2, wet_ends=0).area()
    assert bore.parts_mm2["bore"] == pytest.approx(math.pi * 40)
    assert WettedSurface(**TUBE, tool_scale_relative=0.01).area().relative_uncertainty == pytest.approx(0.02)


def test_mesh_is_that_of_the_function() -> None:
    expected = mesh_area(
        Dimension(10), Dimension(8), Dimension(0.3), long_struts=4, cross_struts=5,
        long_strut_width=Dimension(0.3, 0.01), cross_strut_width=Dimension(0.25),
    )  # fmt: skip
    assert WettedSurface(**MESH).area() == expected


@pytest.mark.parametrize(
    ("stated", "said"),
    [
        ({"shape": "plate", "length_mm": 1}, "of a plate lacks width_mm, thickness_mm"),
        (TUBE | {"width_mm": 2}, "a tube has no width_mm"),
        (PLATE | {"hole_count": 2}, "a plate has no hole_count"),
        (PLATE | {"masked_mm2": 1000}, "the dimensions cannot be: 1000 mm² are masked of 520 mm²"),
        (PLATE | {"width_mm": -1}, "width must be above 0"),
        (PLATE | {"width_mm": [1, 2, 3]}, "cannot be used"),
        (MESH | {"long_struts": 40}, "wider in sum than the grid"),
        (PLATE | {"shape": "ball"}, "'ball' is not known"),
        (PLATE | {"width_um": 20}, "unknown key 'width_um'"),
    ],
)
def test_faults(stated: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError) as caught:
        WettedSurface(**stated)
    assert said in " ".join(what for _, what, _ in describe(caught.value, WettedSurface))
