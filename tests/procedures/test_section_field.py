"""Making the field of a section ready: strip, region, square pixels, and the way back to the picture."""

import cv2
import numpy as np
import pytest

from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures.section_field import section_field
from surfscan.procedures.settings import SectionSettings

SHAPE = (200, 240)


def picture(grey, x=1.0, y=1.0):
    return Micrograph(grey, Calibration(x, y, 0.01, "made so"), Source("drawn"))


@pytest.fixture(scope="module")
def grey(draw_section):
    return draw_section(SHAPE, [("rectangle", 140, 90, 80, 60, 210)])


def test_square_pixels_are_left_as_they_are(grey):
    field = section_field(picture(grey), SectionSettings())
    assert field.stretch == (1.0, 1.0)
    assert field.um_per_px == 1.0
    assert field.relative_uncertainty == 0.01
    assert field.classes().shape == SHAPE
    assert field.region.all()


def test_points_come_back_to_the_picture(grey):
    field = section_field(picture(grey, 1.0, 2.0), SectionSettings())
    assert field.found.classes.shape == (400, 240)
    rows, cols = np.nonzero(field.found.classes == 1)
    row, col = field.in_picture(np.array([cols.mean(), rows.mean()]))
    assert (row, col) == pytest.approx((90, 140), abs=0.1)
    assert field.classes().shape == SHAPE
    assert np.count_nonzero(field.classes() == 1) == pytest.approx(80 * 60, rel=0.02)


def test_the_data_strip_is_left_out_unless_kept(grey):
    strip = np.full((30, 240), 255, np.uint8)
    cv2.putText(strip, "15 kV  WD 10", (8, 20), cv2.FONT_HERSHEY_SIMPLEX, 0.5, 0, 1)
    cv2.rectangle(strip, (180, 8), (220, 12), 0, -1)
    whole = np.vstack([grey, strip])
    field = section_field(picture(whole), SectionSettings())
    assert field.frame[1] == pytest.approx(198, abs=4)
    assert not field.region[200:].any()
    assert field.found.bodies.max() == 1
    assert section_field(picture(whole), SectionSettings(data_strip="keep")).frame == (0, 230, 0, 240)


def test_another_order_overrules_the_settings(grey):
    settings = SectionSettings(grey_order="medium_metal")
    assert section_field(picture(grey), settings, order="metal_medium").found.levels.order == "metal_medium"
