import cv2
import numpy as np
import pytest

from surfscan.corrections.parting import part_mask

Y, X = np.mgrid[:40, :60]


def disc(row, col, radius):
    return (Y - row) ** 2 + (X - col) ** 2 <= radius**2


def test_parts_that_lie_apart():
    own = disc(20, 15, 6) | disc(20, 45, 9)
    parts = part_mask(own, None)
    assert parts[20, 45] == 1 and parts[20, 15] == 2 and parts.max() == 2  # the largest first
    np.testing.assert_array_equal(parts > 0, own)


def test_at_the_neck():
    own = disc(20, 20, 9) | disc(20, 35, 8)
    parts = part_mask(own, None)
    assert parts.max() == 2 and parts[20, 15] != parts[20, 40]
    np.testing.assert_array_equal(parts > 0, own)


def test_nothing_to_part():
    assert part_mask(disc(20, 20, 9), None).max() == 1


def drawn(kind, width):
    """A ring, an arc, a bent bar: as wide all along."""
    own = np.zeros((160, 160), np.uint8)
    if kind == "ring":
        cv2.circle(own, (80, 80), 50, 1, width)
    elif kind == "arc":
        cv2.ellipse(own, (80, 80), (50, 50), 0, 40, 320, 1, width)
    else:
        cv2.polylines(own, [np.array([[30, 30], [30, 130], [130, 130]])], False, 1, width)
    return own > 0


@pytest.mark.parametrize("width", [9, 12, 14, 21])
@pytest.mark.parametrize("kind", ["ring", "arc", "bent bar"])
def test_what_is_as_wide_all_along_has_no_neck(kind, width):
    assert part_mask(drawn(kind, width), None).max() == 1


def test_an_arc_with_one_neck_parts_there_alone():
    own = drawn("arc", 20)
    own[78:83, :27] = False
    own[78:83, 34:60] = False
    parts = part_mask(own, None)
    assert parts.max() == 2 and parts[60, 35] != parts[100, 35]
    np.testing.assert_array_equal(parts > 0, own)


@pytest.mark.parametrize("turn", np.linspace(0, np.pi, 7, endpoint=False))
def test_along_a_line_in_any_direction(turn):
    """Both halves are whole, and every pixel belongs to one."""
    own = disc(20, 30, 12)
    reach = 15 * np.array([np.sin(turn), np.cos(turn)])
    middle = np.array([20.0, 30.0])
    line = np.stack([middle - reach, middle + reach])
    parts = part_mask(own, line)
    assert parts.max() == 2
    np.testing.assert_array_equal(parts > 0, own)
    areas = np.bincount(parts.ravel())[1:]
    assert areas.min() > 0.42 * own.sum()


def test_a_bent_line_and_crumbs():
    """A line that grazes an outline cuts off no crumbs."""
    own = disc(20, 30, 12)
    bent = np.array([[5, 30], [20, 26], [35, 30]], float)
    assert part_mask(own, bent).max() == 2
    grazing = np.array([[0, 18.0], [39, 18.0]])
    assert part_mask(own, grazing).max() == 1
    short = np.array([[15, 30.0], [25, 30.0]])
    assert part_mask(own, short).max() == 1


def test_a_line_over_a_tiny_object():
    own = np.zeros((5, 6), bool)
    own[2, 2:4] = True
    parts = part_mask(own, np.array([[0, 2.0], [4, 2.0]]))
    np.testing.assert_array_equal(parts, own.astype(int))
