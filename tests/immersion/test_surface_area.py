"""Wetted surface: closed forms, a count of voxel faces, and propagation against random draws."""

import math

import numpy as np
import pytest

from surfscan.immersion.surface_area import Dimension, Masked, Tool, mesh_area, plate_area, tube_area

D = Dimension


def _voxel_faces_mm2(solid: np.ndarray, size_mm: float) -> float:
    """Surface of a solid of cubes: faces between metal and none, counted."""
    padded = np.pad(solid, 1).astype(np.int8)
    return sum(int(np.abs(np.diff(padded, axis=axis)).sum()) for axis in range(3)) * size_mm**2


def _mesh_solid(nx, ny, nz, long_at, long_width, cross_at, cross_width):
    solid = np.zeros((ny, nx, nz), bool)
    for row in long_at:
        solid[row : row + long_width] = True
    for col in cross_at:
        solid[:, col : col + cross_width] = True
    return solid


@pytest.mark.parametrize(
    ("long_at", "cross_at"),
    [((0, 20, 37), (0, 30, 56)), ((4, 20, 30), (5, 30, 45)), ((0, 20, 31), (7, 30, 45))],
    ids=["framed", "all ends stick out", "mixed"],
)
def test_mesh_against_counted_voxels(long_at, cross_at):
    """Grids 60 x 40 x 5 voxels of 0.05 mm: struts 3 and 4 voxels wide, wherever they stand."""
    solid = _mesh_solid(60, 40, 5, long_at, 3, cross_at, 4)
    found = mesh_area(
        D(3.0),
        D(2.0),
        D(0.25),
        long_struts=3,
        cross_struts=3,
        long_strut_width=D(0.15),
        cross_strut_width=D(0.2),
    )
    assert found.area_mm2 == pytest.approx(_voxel_faces_mm2(solid, 0.05), rel=1e-12)
    bottom_down = mesh_area(
        D(3.0),
        D(2.0),
        D(0.25),
        long_struts=3,
        cross_struts=3,
        long_strut_width=D(0.15),
        cross_strut_width=D(0.2),
        is_bottom_wet=False,
    )
    assert found.area_mm2 - bottom_down.area_mm2 == pytest.approx(solid[:, :, 0].sum() * 0.05**2)


def test_mesh_without_openings_is_a_plate():
    """Struts as wide as their pitch: nodes counted once, no inner walls."""
    grid = mesh_area(
        D(10), D(6), D(0.5), long_struts=3, cross_struts=5, long_strut_width=D(2), cross_strut_width=D(2)
    )
    assert grid.area_mm2 == pytest.approx(plate_area(D(10), D(6), D(0.5)).area_mm2)


def test_plate_against_counted_voxels():
    """A plate with a square hole has no closed form here, one without has: both by faces."""
    assert plate_area(D(3), D(2), D(0.5)).area_mm2 == pytest.approx(
        _voxel_faces_mm2(np.ones((60, 40, 10), bool), 0.05)
    )


def test_plate_with_holes():
    """Each hole takes two circles and gives its wall."""
    plain = plate_area(D(20), D(10), D(2))
    holed = plate_area(D(20), D(10), D(2), holes=[(D(3), 2), (D(1), 4)])
    change = 2 * math.pi * (3 * 2 - 2 * 9 / 4) + 4 * math.pi * (1 * 2 - 2 * 1 / 4)
    assert holed.area_mm2 - plain.area_mm2 == pytest.approx(change)
    assert plain.area_mm2 == pytest.approx(2 * (200 + 40 + 20))
    assert plain.area_cm2 == pytest.approx(5.2)


def test_hole_as_wide_as_twice_the_thickness_changes_nothing():
    """Closed form: 2 pi d²/4 = pi d t at d = 2 t."""
    holed = plate_area(D(20), D(10), D(2), holes=[(D(4), 1)])
    assert holed.area_mm2 == pytest.approx(plate_area(D(20), D(10), D(2)).area_mm2)


def test_tube_and_rod():
    tube = tube_area(D(2.0), D(15.0), inner_diameter=D(1.6))
    assert tube.area_mm2 == pytest.approx(math.pi * (3.6 * 15 + (4 - 2.56) / 2))
    rod = tube_area(D(2.0), D(15.0))
    assert rod.area_mm2 == pytest.approx(math.pi * (2 * 15 + 2))
    outside = tube_area(D(2.0), D(15.0), inner_diameter=D(1.6), is_bore_wet=False, wet_ends=0)
    assert outside.area_mm2 == pytest.approx(math.pi * 30)
    assert set(outside.parts_mm2) == {"outside", "ends"}


def test_masked_surface():
    found = plate_area(D(10), D(10), D(1), masked=Masked(40.0, 3.0))
    assert found.area_mm2 == pytest.approx(200)
    assert math.fsum(found.parts_mm2.values()) == pytest.approx(200)
    assert found.uncertainty_mm2 == 3.0
    assert found.relative_uncertainty == pytest.approx(0.015)
    with pytest.raises(ValueError, match="240 mm² are masked of 240"):
        plate_area(D(10), D(10), D(1), masked=Masked(240.0))


def test_own_errors_against_random_draws():
    """Propagation agrees with the spread of 20 000 recomputed areas (2 %)."""
    rng = np.random.default_rng(3)
    sizes = {"outer_diameter": (2.0, 0.01), "length": (15.0, 0.05), "inner": (1.6, 0.015)}
    outer, long, inner = (rng.normal(m, s, 20_000) for m, s in sizes.values())
    drawn = np.pi * (outer + inner) * long + np.pi / 2 * (outer**2 - inner**2)
    found = tube_area(D(2.0, 0.01), D(15.0, 0.05), inner_diameter=D(1.6, 0.015))
    assert found.uncertainty_mm2 == pytest.approx(drawn.std(), rel=0.02)


def test_common_errors_against_random_draws():
    """A tool's offset makes outsides larger and bores smaller at once; its scale moves all in proportion."""
    rng = np.random.default_rng(4)
    offset, scale = rng.normal(0, 0.01, 20_000), 1 + rng.normal(0, 0.004, 20_000)
    outer, long, inner = 2.0 * scale + offset, 15.0 * scale + offset, 1.6 * scale - offset
    drawn = np.pi * (outer + inner) * long + np.pi / 2 * (outer**2 - inner**2)
    found = tube_area(D(2.0), D(15.0), inner_diameter=D(1.6), tool=Tool(0.004, 0.01))
    assert found.uncertainty_mm2 == pytest.approx(drawn.std(), rel=0.02)
    assert set(found.contributions_mm2) == {"tool's scale", "tool's offset"}


def test_one_tool_errs_more_than_many():
    """Offsets of one sign add up; by themselves they partly cancel."""
    one = plate_area(D(10), D(8), D(1), tool=Tool(offset_mm=0.05))
    many = plate_area(D(10, 0.05), D(8, 0.05), D(1, 0.05))
    assert one.uncertainty_mm2 == pytest.approx(2 * 0.05 * (18 + 18 + 2))
    assert one.uncertainty_mm2 > many.uncertainty_mm2


@pytest.mark.parametrize(
    ("made", "said"),
    [
        (lambda: plate_area(D(0), D(1), D(1)), "length must be above 0"),
        (lambda: plate_area(D(1), D(float("nan")), D(1)), "width must be above 0"),
        (lambda: plate_area(D(5), D(5), D(1), holes=[(D(5), 1)]), "do not fit"),
        (lambda: plate_area(D(5), D(5), D(1), holes=[(D(1), 0)]), "holes must be 1 or more"),
        (lambda: tube_area(D(1), D(5), inner_diameter=D(1)), "below the outer"),
        (lambda: tube_area(D(1), D(5), wet_ends=3), "wet_ends"),
        (lambda: tube_area(D(1, 1.5), D(5)), "uncertainty"),
        (
            lambda: mesh_area(
                D(5), D(5), D(1), long_struts=6, cross_struts=1, long_strut_width=D(1), cross_strut_width=D(1)
            ),
            "wider in sum",
        ),
        (
            lambda: mesh_area(
                D(5), D(5), D(1), long_struts=0, cross_struts=1, long_strut_width=D(1), cross_strut_width=D(1)
            ),
            "long_struts must be 1",
        ),
    ],
)
def test_nonsense_is_refused(made, said):
    with pytest.raises(ValueError, match=said):
        made()


def test_ready_for_json():
    found = plate_area(D(10), D(8), D(1, 0.01)).as_dict()
    assert found["area_cm2"] == pytest.approx(1.96)
    assert set(found["contributions_mm2"]) == {"thickness"}
