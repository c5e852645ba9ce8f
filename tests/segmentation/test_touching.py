"""Touching pits against the geometry of the discs they were drawn from."""

import numpy as np
import pytest

from surfscan.segmentation.grouped import components, ellipses
from surfscan.segmentation.touching import part_touching


def overlapping(shape, circles):
    """Labels of a mask made of circles (row, col, radius)."""
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    mask = np.zeros(shape, bool)
    for row, col, radius in circles:
        mask |= np.hypot(rows - row, cols - col) < radius
    return components(mask)


def boxes_of(labels, n):
    """First row, end row, first column and end column of labels 1 to n."""
    out = np.zeros((n + 1, 4), int)
    for k in range(1, n + 1):
        row, col = np.nonzero(labels == k)
        out[k] = row.min(), row.max() + 1, col.min(), col.max() + 1
    return out


def part(labels, n):
    """All objects parted; the labels, and the largest in use."""
    parted = labels.copy()
    last = part_touching(parted, np.arange(1, n + 1), boxes_of(labels, n), n)
    assert np.array_equal(parted > 0, labels > 0), "parting neither adds nor takes away pixels"
    return parted, last


def count(circles, shape=(100, 140)):
    labels, last = part(*overlapping(shape, circles)[::-1])
    assert len(np.unique(labels)) - 1 == last
    return last


@pytest.mark.parametrize(
    "one, other",
    [
        ((50, 50, 14), (50, 72, 14)),
        ((50.3, 45.7, 18), (58.2, 68.4, 12)),
        ((40, 50, 9), (52, 62, 9.5)),
        ((50, 60, 6), (50, 70, 6)),
        ((50, 45, 30), (50, 90, 22)),
    ],
)
def test_border_runs_through_the_crossing_points(one, other):
    """Of two circles, the border is the line through their crossing points, to within 1 px."""
    shape = (100, 140)
    n, labels = overlapping(shape, [one, other])
    assert n == 1
    parted, last = part(labels, n)
    assert last == 2
    rows, cols = np.mgrid[: shape[0], : shape[1]]
    power = [(rows - r) ** 2 + (cols - c) ** 2 - radius**2 for r, c, radius in (one, other)]
    beyond = (power[0] - power[1]) / (2 * np.hypot(one[0] - other[0], one[1] - other[1]))
    clear = (labels > 0) & (np.abs(beyond) > 1)
    first = parted[round(one[0]), round(one[1])]
    assert np.array_equal((parted == first)[clear], (beyond < 0)[clear])


def test_three_in_a_row_and_four_in_a_square():
    """Every disc a label of its own."""
    assert count([(50, 30, 12), (50, 51, 12), (50, 72, 12)]) == 3
    assert count([(30, 40, 12), (30, 61, 12), (51, 40, 12), (51, 61, 12)]) == 4
    assert count([(50, 30, 20), (50, 58, 12), (50, 76, 8)]) == 3


@pytest.mark.parametrize("radius", [3, 5, 9, 20, 45])
def test_single_disc_is_not_parted(radius):
    """One disc, one pit, on any place of the pixel grid."""
    for shift in (0.0, 0.25, 0.5):
        assert count([(50 + shift, 60 + 0.7 * shift, radius)]) == 1


@pytest.mark.parametrize("seed", range(12))
def test_lumpy_pit_is_not_parted(seed):
    """Lobes of a tenth of the radius are not pits."""
    rng = np.random.default_rng(seed)
    rows, cols = np.mgrid[-50:50, -50:50]
    angle, radius = np.arctan2(rows, cols), rng.uniform(8, 35)
    wave = np.zeros(rows.shape)
    for order in range(2, 7):
        wave += rng.normal(0, 0.1) / order * np.cos(order * angle + rng.uniform(0, 2 * np.pi))
    n, labels = components(np.hypot(rows, cols) < radius * (1 + wave))
    assert part(labels, n)[1] == n == 1


@pytest.mark.parametrize("aspect", [1.3, 2.0, 3.0])
@pytest.mark.parametrize("angle_deg", [0, 30, 45])
def test_ellipse_is_not_parted(aspect, angle_deg):
    """An elongated pit without a neck is one pit."""
    rows, cols = np.mgrid[-50:50, -70:70]
    a = np.radians(angle_deg)
    along, across = cols * np.cos(a) + rows * np.sin(a), rows * np.cos(a) - cols * np.sin(a)
    n, labels = components((along / (12 * aspect)) ** 2 + (across / 12) ** 2 < 1)
    assert part(labels, n)[1] == 1


def test_pits_that_nearly_cover_each_other_stay_one():
    """Without a neck there is nothing to part by."""
    assert count([(50, 50, 20), (50, 56, 20)]) == 1


def test_large_objects():
    """Above the size that is looked at on a finer grid, too."""
    assert count([(80, 80, 70), (80, 200, 65)], (160, 280)) == 2
    assert count([(80, 100, 75)], (160, 280)) == 1


@pytest.mark.parametrize("row", [0, 3, 99])
def test_pair_on_the_picture_edge(row):
    """Beyond the edge of the picture there is nothing: a pair cut by it is parted as any other."""
    assert count([(row, 50, 14), (row, 74, 14)]) == 2
    assert count([(row, 50, 14)]) == 1


def test_chosen_labels_only():
    """Objects that are not named, and their labels, stay as they are; new labels follow the last in use."""
    n, labels = overlapping(
        (100, 140), [(25, 30, 10), (25, 47, 10), (75, 30, 10), (75, 47, 10), (50, 110, 9)]
    )
    assert n == 3
    chosen = labels[25, 30]
    parted = labels.copy()
    assert part_touching(parted, np.array([chosen]), boxes_of(labels, n), 10) == 11
    assert set(np.unique(parted)) == {0, 1, 2, 3, 11}
    assert np.array_equal(parted[labels != chosen], labels[labels != chosen])
    assert set(np.unique(parted[labels == chosen])) == {chosen, 11}


def test_nobody_chosen():
    """No labels to look at: nothing happens."""
    n, labels = overlapping((50, 50), [(25, 25, 10)])
    assert part_touching(labels, np.zeros(0, int), boxes_of(labels, n), n) == n


def test_neighbour_inside_the_box_of_another():
    """Objects whose boxes overlap do not enter each other's distances."""
    n, labels = overlapping((100, 140), [(50, 50, 14), (62, 71, 14), (44, 74, 4)])
    assert n == 2
    assert part(labels, n)[1] == 3


def test_many_objects_are_parted_as_each_alone():
    """A sheet full of objects of all sizes gives what one object at a time gives."""
    rng = np.random.default_rng(5)
    circles = []
    for row in range(20, 340, 40):
        for col in range(20, 340, 40):
            radius = rng.uniform(4, 11)
            circles.append((row, col, radius))
            if rng.random() < 0.5:
                angle = rng.uniform(0, 2 * np.pi)
                circles.append((row + 8 * np.sin(angle), col + 8 * np.cos(angle), rng.uniform(4, 7)))
    n, labels = overlapping((340, 340), circles)
    assert n == 64
    together, last = part(labels, n)
    assert last > n + 5
    boxes = boxes_of(labels, n)
    for k in range(1, n + 1):
        alone = labels.copy()
        part_touching(alone, np.array([k]), boxes, n)
        own = labels == k
        pairs = np.unique(np.stack([alone[own], together[own]]), axis=1)
        assert pairs.shape[1] == len(np.unique(alone[own])) == len(np.unique(together[own]))


def test_areas_of_a_parted_pair():
    """Areas of the two parts within 2 % of those of two circles cut along their common chord."""
    radii, apart = np.array([16.4, 12.3]), 24.3
    n, labels = overlapping((100, 140), [(50, 50, radii[0]), (50, 50 + apart, radii[1])])
    parted, last = part(labels, n)
    to_chord = (apart**2 + (radii**2 - radii[::-1] ** 2)) / (2 * apart)
    cut = radii**2 * np.arccos(to_chord / radii) - to_chord * np.sqrt(radii**2 - to_chord**2)
    area = ellipses(parted, last).area[[parted[50, 45], parted[50, 80]]]
    assert area.tolist() == pytest.approx((np.pi * radii**2 - cut).tolist(), rel=0.02)
