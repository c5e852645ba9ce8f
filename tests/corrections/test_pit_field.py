"""The field under review: where a pit may lie, and how gaps in a height map come and go with the pits."""

import numpy as np
import pytest

from surfscan.corrections.pit_field import field_of
from surfscan.procedures import PitSettings
from surfscan.procedures.height_pits import pit_field
from surfscan.procedures.settings import HeightPitSettings


def test_a_whole_picture(plate):
    image, result = plate
    field = field_of(image, PitSettings(), result.masks["region"], None, None)
    assert field.specimen is None and field.region is None
    assert field.frame == (0, *image.shape[:1], 0, image.shape[1]) and field.area_px == image.pixels.size
    assert field.pixel_size_um == (0.5, 0.8) and not field.has_heights
    assert field.ground is None
    field.prepare()
    ground = field.ground
    field.prepare()
    assert field.ground is ground  # once is enough


def test_a_specimen(plate):
    image, result = plate
    region = result.masks["region"].copy()
    region[:, :20] = False
    field = field_of(image, PitSettings(), region, None, None)
    np.testing.assert_array_equal(field.specimen, region)
    assert field.area_px == region.sum()
    assert field.given[0] is not None  # the search for the metal keeps to it


@pytest.mark.parametrize("with_region", [False, True])
def test_gaps_follow_the_pits(rough_plate, with_region):
    """After each change of the pits, region and area are those of the whole measurement."""
    image, result = rough_plate
    region = np.ones(image.shape, bool)
    region[:, :10] = not with_region
    labels = result.masks["pits"].copy()
    given = region if with_region else None
    labels[:, :10] = np.where(region[:, :10], labels[:, :10], 0)
    missing = np.isnan(image.heights_um)
    start = pit_field(missing, labels, given)
    field = field_of(image, HeightPitSettings(), start, given, None)
    field.prepare()
    missing = field.missing
    start = pit_field(missing, labels, given)
    field.region = start.copy()
    field.settle()
    rng = np.random.default_rng(2)
    changed = 0
    for _ in range(30):
        row, col = rng.integers(-12, 12, 2) + [(20, 140), (90, 105)][rng.integers(2)]
        part = (slice(row, row + rng.integers(3, 25)), slice(col, col + rng.integers(3, 25)))
        labels[part] = rng.integers(0, 2)
        part = tuple(slice(s.start, min(s.stop, n)) for s, n in zip(part, labels.shape, strict=True))
        wide = field.widened(part)
        changed += field.follow(labels[wide] > 0, wide)
        expected = pit_field(missing, labels, given)
        if expected is None:
            expected = np.ones(labels.shape, bool)
        np.testing.assert_array_equal(field.region, expected)
        assert field.area_px == expected.sum()
    assert changed > 3
