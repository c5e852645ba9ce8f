"""A guard on accuracy: small synthetic micrographs that are always the same, against their truth."""

from functools import cache

import plain
import pytest
import synthetic
from scoring import Score, score

from surfscan.procedures.settings import PitSettings
from surfscan.segmentation.pits import find_dark_pits

PICTURES = (("clear", 3), ("low_contrast_noisy", 4), ("clear", 2), ("mixed", 6))
SHAPE = (384, 384)


@cache
def scores(family: str, seed: int) -> tuple[Score, Score]:
    """The pit finder's score with default settings, and that of the plain way."""
    image, truth = synthetic.make_family(family, seed, SHAPE)
    settings = PitSettings()
    found = find_dark_pits(
        image,
        min_contrast=settings.min_contrast,
        min_contrast_to_noise=settings.min_contrast_to_noise,
        min_diameter_px=settings.min_diameter_px,
        max_aspect=settings.max_aspect,
    )
    return score(found.labels, truth), score(plain.label_pits(image), truth)


@pytest.mark.parametrize("family, seed", PICTURES)
def test_objects_and_area(family, seed):
    """F1 of 0.9 or more, total area within 5 %; count within 10 % of some 30."""
    found, _ = scores(family, seed)
    assert found.known > 20
    assert found.f1 >= 0.9
    assert abs(found.area_error) < 0.05
    assert abs(found.count_error) < 0.1


def test_better_than_the_plain_way():
    """Over all pictures together the error is less than 0.7 times the plain way's."""
    nothing = Score(0, 0, 0, 0, 0)
    found = sum((scores(*p)[0] for p in PICTURES), nothing)
    plainly = sum((scores(*p)[1] for p in PICTURES), nothing)
    assert 1 - found.f1 < 0.7 * (1 - plainly.f1)
    assert abs(found.area_error) < 0.03
