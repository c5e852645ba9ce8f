"""One section: pieces, pits, undercut, and what the rows say."""

import numpy as np
import pytest

from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import SectionSettings
from surfscan.procedures.section_field import section_field
from surfscan.procedures.section_profiles import measure_profile

SHAPE = (220, 260)
FRESH = ("rectangle", 130, 110, 140, 90, 110)
CORE = ("rectangle", 130, 110, 124, 74, 210)
DRAWN = SectionSettings(drawn_width_um=140, drawn_thickness_um=90)


@pytest.fixture
def profile(draw_section):
    def measure(parts, settings=DRAWN, **how):
        image = Micrograph(
            draw_section(SHAPE, parts, **how), Calibration(1, 1, 0.01, "made so"), Source("drawn")
        )
        return measure_profile(1, section_field(image, settings), settings, [], [])

    return measure


def test_a_pit_sets_maximum_factor_and_ligament(profile):
    found = profile([FRESH, CORE, ("rectangle", 130, 80, 10, 34, 110)])
    assert found.max_penetration_px == pytest.approx(32, abs=1)
    assert found.mean_penetration_px == pytest.approx(8.6, abs=0.3)
    assert found.factor == pytest.approx(found.max_penetration_px / found.mean_penetration_px)
    assert found.ligament_px == pytest.approx(50, abs=1.0)
    row = found.tables["profiles"]
    assert row["max_row_px"] == pytest.approx(65, abs=2)
    assert row["max_col_px"] == pytest.approx(130, abs=8)


def test_islands_count_as_metal_but_do_not_stop_penetration(profile):
    bare = profile([FRESH, ("rectangle", 130, 120, 124, 54, 210)])
    island = profile([FRESH, ("rectangle", 130, 120, 124, 54, 210), ("ellipse", 130, 80, 10, 10, 210)])
    assert island.tables["profiles"]["island_count"] == 1
    assert island.metal_px - bare.metal_px == pytest.approx(np.pi * 25, abs=12)
    assert island.max_penetration_px == pytest.approx(bare.max_penetration_px, abs=0.7)


def test_pores_inside_the_metal_are_no_metal_and_no_penetration(profile):
    whole = profile([FRESH, CORE])
    porous = profile([FRESH, CORE, ("ellipse", 130, 110, 16, 16, 25)])
    assert whole.metal_px - porous.metal_px == pytest.approx(np.pi * 64, abs=15)
    assert porous.max_penetration_px == pytest.approx(whole.max_penetration_px, abs=0.5)
    assert porous.tables["profiles"]["void_area_px"] == pytest.approx(np.pi * 64, rel=0.4)


def test_product_and_voids_have_areas(profile):
    row = profile([FRESH, CORE, ("ellipse", 130, 68, 5, 5, 25)], blur=0.6).tables["profiles"]
    assert row["product_area_px"] + row["void_area_px"] == pytest.approx(140 * 90 - 124 * 74, rel=0.05)


def test_the_interval_widens_with_the_doubt_of_the_drawing(profile):
    sure = profile([FRESH, CORE], DRAWN.model_copy(update={"drawn_relative_uncertainty": 0.0}))
    unsure = profile([FRESH, CORE], DRAWN.model_copy(update={"drawn_relative_uncertainty": 0.03}))
    assert np.ptp(unsure.fraction_limits) > 1.5 * np.ptp(sure.fraction_limits)


def test_too_little_metal_is_no_section(profile):
    assert profile([("rectangle", 130, 110, 18, 18, 210)]) is None
