"""Object geometry on shapes small enough to work out by hand, and the traps around them."""

import math

import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.measurement.objects import measure_objects, nearest_distance

GEOMETRIC = {c.name for c in columns("pits") if not c.only_on} - {"edge_weight", "near_limit"}


def image(*rows: str) -> np.ndarray:
    """Label image drawn in digits; '.' is background."""
    return np.array([[0 if c == "." else int(c) for c in row] for row in rows], dtype=np.int32)


def measured(labels, **options):
    return measure_objects(labels, **{"pixel_size_um": (1.0, 1.0), **options})


def test_columns_are_registered_and_complete():
    table = measured(image(".1", "2.")).columns
    assert set(table) == GEOMETRIC


def test_two_objects_by_hand():
    objects = measure_objects(
        image(
            "......",
            ".111..",
            ".111..",
            "....2.",
            "......",
        ),
        pixel_size_um=(2.0, 3.0),
    )
    t = objects.columns
    np.testing.assert_array_equal(t["label"], [1, 2])
    np.testing.assert_array_equal(t["area_px"], [6, 1])
    np.testing.assert_allclose(t["area_um2"], [36, 6])
    np.testing.assert_allclose(t["row_px"], [1.5, 3])
    np.testing.assert_allclose(t["col_px"], [2, 4])
    np.testing.assert_allclose(t["row_um"], [4.5, 9])
    np.testing.assert_allclose(t["col_um"], [4, 8])
    np.testing.assert_allclose(t["equivalent_diameter_um"], np.sqrt(4 * np.array([36, 6]) / math.pi))
    np.testing.assert_allclose(t["nearest_pit_um"], math.hypot(4.5, 4))
    # A rectangle of sides a and b has the ellipse with axes 4 a/sqrt(12) and 4 b/sqrt(12).
    np.testing.assert_allclose(t["length_um"], 4 / math.sqrt(12) * np.array([6, 3]))
    np.testing.assert_allclose(t["width_um"], 4 / math.sqrt(12) * np.array([6, 2]))
    np.testing.assert_allclose(t["aspect"], [1, 1.5])
    np.testing.assert_array_equal(objects.top_px, [1, 3])
    np.testing.assert_array_equal(objects.left_px, [1, 4])
    np.testing.assert_array_equal(objects.height_px, [2, 1])
    np.testing.assert_array_equal(objects.width_px, [3, 1])


def test_perimeter_by_hand():
    # One pixel: two crossings in each direction; L = pi/8 (2 + 2 + 2/sqrt 2 + 2/sqrt 2).
    t = measured(image("...", ".1.", "...")).columns
    assert t["perimeter_um"][0] == pytest.approx(math.pi / 8 * (4 + 4 / math.sqrt(2)))


def test_outline_is_closed_at_every_picture_edge():
    inside = np.zeros((6, 7), dtype=np.int32)
    inside[1:-1, 1:-1] = 1
    cropped = inside[1:-1, 1:-1]
    assert not cropped.flags["C_CONTIGUOUS"]
    assert measured(cropped).columns["perimeter_um"] == pytest.approx(
        measured(inside).columns["perimeter_um"]
    )


def test_touching_objects_each_have_their_whole_outline():
    together = measured(image("....", ".12.", ".12.", "....")).columns
    alone = measured(image("....", ".1..", ".1..", "....")).columns
    np.testing.assert_allclose(together["perimeter_um"], alone["perimeter_um"][0])


@pytest.mark.parametrize(
    ("rows", "degrees"),
    [
        (("1111", "...."), 0),
        (("1.", "1.", "1."), 90),
        (("..1", ".1.", "1.."), 45),
        (("1..", ".1.", "..1"), -45),
    ],
)
def test_orientation_is_counter_clockwise_to_the_eye(rows, degrees):
    assert measured(image(*rows)).columns["orientation_deg"][0] == pytest.approx(degrees)


def test_orientation_of_a_square_is_not_given():
    assert np.isnan(measured(image("11", "11")).columns["orientation_deg"][0])


def test_without_scale_the_px_twins_are_filled_and_um_are_not():
    labels = image("11..", "....", "..22")
    known, unknown = measured(labels).columns, measured(labels, pixel_size_um=None).columns
    for name in ("equivalent_diameter", "perimeter", "length", "width", "nearest_pit"):
        np.testing.assert_array_equal(unknown[f"{name}_px"], known[f"{name}_um"])
        assert np.isnan(unknown[f"{name}_um"]).all()
        assert np.isnan(known[f"{name}_px"]).all()
    for name in ("row_um", "col_um", "area_um2"):
        assert np.isnan(unknown[name]).all()
    np.testing.assert_array_equal(unknown["area_px"], [2, 2])
    np.testing.assert_array_equal(unknown["aspect"], known["aspect"])


def test_border_of_the_frame_and_of_the_picture():
    labels = image(
        "1.....",
        "..2...",
        "....3.",
        "......",
    )
    whole = measured(labels).columns["touches_image_border"]
    np.testing.assert_array_equal(whole, [True, False, False])
    strip_left_out = measured(labels, frame=(0, 3, 0, 6)).columns["touches_image_border"]
    np.testing.assert_array_equal(strip_left_out, [True, False, True])


@pytest.mark.parametrize(
    ("frame", "touches"),
    [
        ((0, 5, 0, 5), False),
        ((2, 5, 0, 5), True),
        ((0, 3, 0, 5), True),
        ((0, 5, 2, 5), True),
        ((0, 5, 0, 3), True),
        ((1, 4, 1, 4), False),
    ],
)
def test_each_side_of_the_frame(frame, touches):
    labels = np.zeros((5, 5), dtype=np.int32)
    labels[2, 2] = 1
    assert measured(labels, frame=frame).columns["touches_image_border"][0] == touches


def test_specimen_edge_is_not_the_frame_border():
    labels = image(
        "1.....",
        "......",
        "..2...",
        "....3.",
        "......",
    )
    region = np.ones(labels.shape, dtype=bool)
    region[:, 5] = False
    t = measured(labels, region=region).columns
    np.testing.assert_array_equal(t["touches_specimen_edge"], [False, False, True])
    np.testing.assert_array_equal(t["touches_image_border"], [True, False, False])
    # What lies outside the frame (a data strip) is no specimen edge.
    t = measured(labels, region=region, frame=(0, 5, 0, 5)).columns
    np.testing.assert_array_equal(t["touches_specimen_edge"], [False, False, False])
    np.testing.assert_array_equal(t["touches_image_border"], [True, False, True])
    # A diagonal neighbour off the specimen is enough.
    region = np.ones(labels.shape, dtype=bool)
    region[1, 1] = False
    t = measured(labels, region=region).columns
    np.testing.assert_array_equal(t["touches_specimen_edge"], [True, True, False])


def test_no_object_gives_empty_columns_of_the_right_type():
    t = measured(np.zeros((5, 4), dtype=np.int32)).columns
    assert set(t) == GEOMETRIC
    assert all(len(v) == 0 for v in t.values())
    assert t["touches_image_border"].dtype == bool
    assert t["length_um"].dtype == np.float64


def test_one_object_has_no_nearest():
    assert np.isnan(measured(image(".1")).columns["nearest_pit_um"][0])


@pytest.mark.parametrize(
    ("labels", "message"),
    [
        (image("1.3"), "2 is missing"),
        (-image("1.2"), "0 or above, got -2"),
        (np.zeros((2, 2)), "whole numbers"),
        (np.zeros(4, dtype=np.int32), "1-D"),
    ],
)
def test_bad_labels_are_refused(labels, message):
    with pytest.raises(ValueError, match=message):
        measured(labels)


def test_region_of_another_shape_is_refused():
    with pytest.raises(ValueError, match=r"\(2, 2\)"):
        measured(image("1.3"), region=np.ones((2, 2), dtype=bool))


def test_shape_does_not_depend_on_place():
    rng = np.random.default_rng(3)
    blob = (rng.random((9, 11)) < 0.7).astype(np.int32)
    near, far = np.zeros((20, 20), np.int32), np.zeros((3000, 3000), np.int32)
    near[5:14, 4:15], far[2900:2909, 2980:2991] = blob, blob
    a, b = measured(near).columns, measured(far).columns
    for name in ("length_um", "width_um", "perimeter_um", "orientation_deg"):
        np.testing.assert_allclose(a[name], b[name], rtol=1e-12)


def brute_force_nearest(row, col):
    squared = (row[:, None] - row) ** 2 + (col[:, None] - col) ** 2
    np.fill_diagonal(squared, np.inf)
    return np.sqrt(squared.min(axis=1))


@pytest.mark.parametrize("kind", ["even", "clusters", "line", "column", "far pair", "lattice"])
def test_nearest_distance_equals_brute_force(kind):
    rng = np.random.default_rng(11)
    row, col = rng.uniform(0, 1000, (2, 400))
    if kind == "clusters":
        row, col = rng.normal(0, 1, (2, 400)) + rng.choice([0, 500, 3000], 400)
    elif kind == "line":
        row = np.zeros(400)
    elif kind == "column":
        col = np.full(400, 7.0)
    elif kind == "far pair":
        row, col = np.array([0.0, 1e6]), np.array([0.0, 3.0])
    elif kind == "lattice":
        row, col = (a.ravel().astype(float) for a in np.mgrid[:20, :20])
    np.testing.assert_allclose(nearest_distance(row, col), brute_force_nearest(row, col), rtol=1e-12)


def test_nearest_distance_of_coincident_and_few_points():
    np.testing.assert_array_equal(nearest_distance(np.ones(3), np.ones(3)), [0, 0, 0])
    assert np.isnan(nearest_distance(np.ones(1), np.ones(1))).all()
    assert nearest_distance(np.empty(0), np.empty(0)).size == 0


def test_a_part_of_the_picture_gives_the_figures_of_the_whole():
    """To the bit, object by object, also at the picture's sides, the frame's and the specimen's edge."""
    rng = np.random.default_rng(4)
    labels = np.zeros((60, 80), np.int32)
    for k in range(1, 15):
        row, col = rng.integers(-3, 58), rng.integers(-3, 78)
        labels[max(row, 0) : row + rng.integers(4, 9), max(col, 0) : col + rng.integers(4, 9)] = k
    _, labels = np.unique(labels, return_inverse=True)
    labels = labels.reshape(60, 80).astype(np.int32)
    region = np.ones(labels.shape, bool)
    region[:, 30:34] = False
    labels[~region] = 0
    numbers = np.unique(labels[labels > 0])
    labels = np.searchsorted(numbers, labels).astype(np.int32) + (labels > 0)
    frame = (0, 55, 5, 80)
    whole = measure_objects(labels, pixel_size_um=(0.4, 0.7), region=region, frame=frame)
    for k in range(1, labels.max() + 1):
        rows, cols = np.nonzero(labels == k)
        part = (
            slice(max(rows.min() - 1, 0), rows.max() + 2),
            slice(max(cols.min() - 1, 0), cols.max() + 2),
        )
        own = measure_objects(
            (labels[part] == k).astype(np.int32),
            pixel_size_um=(0.4, 0.7),
            region=region[part],
            frame=frame,
            origin=(part[0].start, part[1].start),
        )
        for name, values in own.columns.items():
            if name not in ("label", "nearest_pit_um"):
                np.testing.assert_array_equal(values[0], whole.columns[name][k - 1], name)
        for name in ("top_px", "left_px", "height_px", "width_px"):
            assert getattr(own, name)[0] == getattr(whole, name)[k - 1]
