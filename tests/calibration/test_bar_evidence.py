import cv2
import numpy as np
import pytest

from surfscan.calibration.bar_candidates import Candidate, find_candidates, planes_of
from surfscan.calibration.bar_evidence import judge


def best(picture):
    planes = planes_of(picture)
    found = [f for c in find_candidates(planes) if (f := judge(planes, c)) is not None]
    return max(found, key=lambda f: f.evidence)


def drawn():
    picture = np.full((400, 640), 40, np.uint8)
    picture[200:206, 100:300] = 255
    return picture


def test_a_clean_bar_has_all_the_evidence():
    found = best(drawn())
    assert found.evidence == 1 and set(found.factors.values()) == {1.0}
    assert (found.top_px, found.bottom_px) == (199.5, 205.5)


def blob_close_beyond(picture):
    picture[200:206, 304:308] = 255


def faint(picture):
    picture[200:206, 100:300] = 67


def stem(picture):
    picture[206:230, 200:206] = 255


def nearly_across(picture):
    picture[200:206, 100:635] = 255


def grey(picture):
    picture[200:206, 100:300] = 200


@pytest.mark.parametrize(
    ("spoil", "factor"),
    [
        (blob_close_beyond, "free ends"),
        (faint, "contrast"),
        (stem, "nothing hanging on"),
        (nearly_across, "not the whole width"),
        (grey, "ground"),
    ],
)
def test_each_fault_lowers_its_factor(spoil, factor):
    picture = drawn()
    spoil(picture)
    found = best(picture)
    assert found.factors[factor] < 1 and found.evidence < 1


def test_rounded_ends_count_against_it():
    picture = np.full((400, 640), 40, np.uint8)
    cv2.line(picture, (106, 203), (294, 203), 255, 11)
    assert best(picture).factors["square ends"] < 1


def test_what_reaches_the_border_is_none():
    picture = np.full((400, 640), 40, np.uint8)
    picture[200:206, :300] = 255
    planes = planes_of(picture)
    assert judge(planes, Candidate(0, True, 200, 206, 8, 296)) is None
    picture[:3, 100:300] = 255
    assert judge(planes_of(picture), Candidate(0, True, 0, 3, 104, 296)) is None


def test_thin_coloured_line_at_half_resolution_is_not_told_to_a_pixel():
    picture = np.full((400, 640, 3), 120, np.uint8)
    picture[..., :] += np.random.default_rng(1).integers(-60, 60, (400, 640, 1)).astype(np.uint8)
    picture[200, 100:300] = (255, 140, 0)
    sharp = best(picture)
    soft = best(cv2.GaussianBlur(picture, (0, 0), 1.0))
    assert sharp.end_uncertainty_px < 0.5 and soft.end_uncertainty_px >= 1
    assert soft.evidence < sharp.evidence
