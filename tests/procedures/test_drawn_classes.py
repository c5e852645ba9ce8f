import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.procedures.drawn_classes import drawn_classes, moved_interval


def test_classes_as_painted():
    given = np.array([[0, 2, 1], [2, 2, 0]])
    classes, said = drawn_classes(given, None, "a.png", (2, 3), 2)
    assert classes.dtype == np.uint8 and said == []
    np.testing.assert_array_equal(classes, given)


def test_off_the_specimen():
    given = np.array([[0, 2, 1], [2, 2, 0]])
    region = np.array([[True, True, False], [False, True, True]])
    classes, said = drawn_classes(given, region, "a.png", (2, 3), 2)
    assert classes.tolist() == [[0, 2, 0], [0, 2, 0]] and said[0].startswith("2 px painted by hand")
    assert given[0, 2] == 1  # the mask given stays as it is


@pytest.mark.parametrize(
    ("given", "said"),
    [
        (np.zeros((2, 4), int), "2 x 4 px, the picture 2 x 3"),
        (np.full((2, 3), 3), "from 3 to 3"),
        (np.full((2, 3), -1), "from -1 to -1"),
        (np.zeros((2, 3)), "float64"),
    ],
)
def test_images_that_do_not_fit(given, said):
    with pytest.raises(InputError, match=said):
        drawn_classes(given, None, "a.png", (2, 3), 2)


def test_the_interval_moves_with_the_fraction():
    assert moved_interval(0.3, 0.2, (0.15, 0.28)) == pytest.approx((0.25, 0.38))
    assert moved_interval(0.02, 0.2, (0.15, 0.28)) == pytest.approx((0, 0.1))
    assert moved_interval(0.99, 0.2, (0.15, 0.28)) == pytest.approx((0.94, 1))
    assert moved_interval(0.3, None, None) is None and moved_interval(0.3, 0.2, None) is None
