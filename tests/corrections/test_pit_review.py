"""A review of pits: whatever the edits, the figures are those of measuring the whole mask."""

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from surfscan.columns import columns
from surfscan.corrections.changes import compare_label_images
from surfscan.corrections.pit_review import PitReview
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import PitSettings, measure_pits

FIGURES = {
    "pit_count": "pit_count",
    "density_per_mm2": "pit_density_per_mm2",
    "density_per_mm2_ci95": "pit_density_per_mm2_ci95",
    "density_per_mpx": "pit_density_per_mpx",
    "density_per_mpx_ci95": "pit_density_per_mpx_ci95",
    "area_fraction": "pitted_area_fraction",
    "area_fraction_ci95": "pitted_area_fraction_ci95",
    "deepest_um": "max_depth_um",
    "deepest_is_lower_bound": "max_depth_is_lower_bound",
    "field_area_px": "field_area_px",
}


def assert_same_as_the_whole(review, image, settings=None, **given_masks):
    """Tally and rows are, to the bit, those of `measure_pits` on the corrected mask."""
    whole = measure_pits(image, settings, corrected=review.corrected_labels(), **given_masks)
    tally = review.tally()
    for ours, theirs in FIGURES.items():
        value, expected = getattr(tally, ours), whole.summary.get(theirs)
        if expected is None:
            assert not value, ours
        else:
            assert value == pytest.approx(expected, rel=1e-12, abs=0), ours
    review.prepare()
    rows, pits = review.rows(), whole.tables["pits"]
    counts = rows["status"] != "rejected"
    for column in columns("pits"):
        if column.name != "label":
            np.testing.assert_array_equal(rows[column.name][counts], pits[column.name], column.name)
    return whole


def disc(row, col, radius, shape):
    y, x = np.mgrid[: shape[0], : shape[1]]
    return np.nonzero((y - row) ** 2 + (x - col) ** 2 <= radius**2)


def at_random(review, rng, shape):
    """One edit of a random kind; None where the review refuses it in plain words."""
    living = list(review.status)
    some = [int(k) for k in rng.choice(living, min(len(living), int(rng.integers(1, 4))), replace=False)]
    row, col = int(rng.integers(-3, shape[0] + 3)), int(rng.integers(-3, shape[1] + 3))
    spot = disc(row, col, int(rng.integers(1, 16)), shape)
    line = np.stack([rng.uniform(0, shape[0], 3), rng.uniform(0, shape[1], 3)], axis=1)

    def stroke():
        before = np.array(review.corrected_labels())
        after = before.copy()
        after[spot] = rng.choice([0, some[0], 5000, *living])
        return review.paint_over(before, after, (0, shape[0], 0, shape[1]))

    edits = [
        lambda: review.reject(some),
        lambda: review.accept(some),
        lambda: review.mark_unsure(some[:1]),
        lambda: review.add(*spot),
        lambda: review.repaint(some[0], *spot, True),
        lambda: review.repaint(some[0], *spot, False),
        lambda: review.split(some[0]),
        lambda: review.split(some[0], line),
        lambda: review.merge(some),
        stroke,
        stroke,
        review.undo,
        review.undo,
        review.redo,
    ]
    try:
        return edits[int(rng.integers(len(edits)))]()
    except ValueError as refused:
        assert len(str(refused)) > 15
        return None


def state_of(review):
    return (
        review.labels.copy(),
        dict(review.status),
        dict(review.origin),
        review.rows(),
        review.tally(),
        review.changes(),
    )


def assert_same_state(one, other):
    np.testing.assert_array_equal(one[0], other[0])
    assert one[1] == other[1] and one[2] == other[2]
    assert list(one[3]) == list(other[3])
    for name in one[3]:
        np.testing.assert_array_equal(one[3][name], other[3][name], name)
    assert one[4] == other[4] and one[5] == other[5]


@settings(
    max_examples=4,
    deadline=None,
    derandomize=True,
    database=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(seed=st.integers(0, 10**6))
def test_any_series_of_edits_gives_the_figures_of_the_whole_mask(pitted_field, seed):
    """Also after undo and redo; the records give the same state, and undoing all the automatic result."""
    image, automatic = pitted_field
    rng = np.random.default_rng(seed)
    review = PitReview.start(image, automatic)
    records = []
    for _ in range(10):
        edit = at_random(review, rng, image.shape)
        if edit is not None:
            records.append(edit.record)
            assert edit.tally == review.tally()
    assert_same_as_the_whole(review, image)
    state = state_of(review)
    assert (
        compare_label_images(
            automatic.masks["pits"], review.corrected_labels(), unsure_count=review.changes().unsure_count
        )
        == review.changes()
    )
    again = PitReview.start(image, automatic)
    again.prepare()
    assert again.replay(records) == len(records)
    assert_same_state(state_of(again), state)
    steps = 0
    while review.can_undo:
        review.undo()
        steps += 1
    np.testing.assert_array_equal(review.labels, automatic.masks["pits"])
    assert_same_as_the_whole(review, image)
    assert review.changes() == PitReview.start(image, automatic).changes()
    for _ in range(steps):
        review.redo()
    assert_same_state(state_of(review), state)


def test_starts_with_the_automatic_figures(pitted_field):
    image, automatic = pitted_field
    review = PitReview.start(image, automatic)
    tally = review.tally()
    for ours, theirs in FIGURES.items():
        now, then = getattr(tally, ours), getattr(tally.automatic, ours)
        assert now == then, ours
        if theirs in automatic.summary and automatic.summary[theirs] is not None:
            assert np.array_equal(now, automatic.summary[theirs])
    assert set(review.status.values()) == {"accepted"} and set(review.origin.values()) == {"automatic"}
    assert not review.can_undo and not review.can_redo and not review.changes().any
    np.testing.assert_array_equal(review.corrected_labels(), automatic.masks["pits"])
    assert not review.labels.flags.writeable
    rows = review.rows()
    for name in automatic.tables["pits"]:
        np.testing.assert_array_equal(rows[name], automatic.tables["pits"][name], name)


def test_on_part_of_a_picture(plate):
    """Region and data strip: the edge rule, and what lies off the specimen."""
    image, _ = plate
    region = np.zeros(image.shape, bool)
    region[10:120, 15:165] = True
    automatic = measure_pits(image, region=region)
    review = PitReview.start(image, automatic, region=region)
    review.reject([1])
    with pytest.raises(ValueError, match="off the specimen"):
        review.add(*disc(4, 4, 3, image.shape))
    edit = review.add(*disc(120, 110, 5, image.shape))
    assert "off the specimen were left" in edit.said[0]
    assert not review.labels[120:].any()
    assert_same_as_the_whole(review, image, region=region)
    kept = PitReview.start(image, automatic)  # the region of the result stands in for one that is not given
    kept.replay([{"kind": "reject", "ids": [1]}])
    assert_same_as_the_whole(kept, image, region=region)


def test_with_a_data_strip():
    """Its rows belong to no field: the frame's lower side cuts pits where it begins."""
    import cv2

    rng = np.random.default_rng(2)
    grey = rng.normal(170, 4, (240, 320))
    for row, col in ((60, 60), (120, 200), (236, 150)):
        cv2.circle(grey, (col, row), 9, 60.0, -1)
    strip = np.zeros((30, 320), np.uint8)
    cv2.putText(strip, "20 um", (20, 22), cv2.FONT_HERSHEY_SIMPLEX, 0.6, 255, 1)
    cv2.rectangle(strip, (120, 12), (200, 16), 255, -1)
    grey = cv2.GaussianBlur(np.vstack([grey, strip]), (0, 0), 0.7).clip(0, 255).astype(np.uint8)
    image = Micrograph(grey, Calibration(0.5, 0.5, 0.01, "stated"), Source("plate.png"))
    automatic = measure_pits(image)
    assert automatic.masks["region"][:236].all() and not automatic.masks["region"][250:].any()
    review = PitReview.start(image, automatic)
    with pytest.raises(ValueError, match="off the specimen"):
        review.add(*disc(258, 30, 4, image.shape))
    edge = int(automatic.masks["region"][:, 0].sum())
    number = review.add(*disc(edge - 4, 250, 6, image.shape)).new_ids[0]
    assert review.row(number)["touches_image_border"]
    assert review.row(number)["edge_weight"] == 0
    assert_same_as_the_whole(review, image)


def test_settings_are_those_of_the_result(plate):
    image, _ = plate
    chosen = PitSettings(min_contrast=0.3, min_diameter_px=9)
    review = PitReview.start(image, measure_pits(image, chosen))
    review.add(*disc(60, 120, 6, image.shape))
    assert_same_as_the_whole(review, image, chosen)
    assert review.rows()["near_limit"][-1].startswith("contrast, contrast to noise")


def test_rows_say_what_a_person_needs(plate):
    """Marks, doubt and contrast, which is not known of a new outline until the picture was prepared."""
    image, automatic = plate
    review = PitReview.start(image, automatic)
    number = review.add(*disc(60, 120, 6, image.shape)).new_ids[0]
    rows = review.rows()
    own = rows["label"] == number
    assert np.isnan(rows["contrast"][own]) and rows["origin"][own] == "added" and rows["settled"][own]
    assert ((rows["doubt"] > 0) & (rows["doubt"] <= 1)).all()
    review.prepare()
    assert review.prepared
    assert review.rows()["contrast"][own] == pytest.approx(0, abs=0.05)  # there is only metal
    assert review.row(number)["doubt"] == 1
    assert review.row(number)["status"] == "accepted"
    with pytest.raises(ValueError, match="no pit 999"):
        review.row(999)


def test_the_doubtful_are_walked_first(plate):
    image, automatic = plate
    review = PitReview.start(image, automatic)
    order = review.doubtful_order()
    assert sorted(order) == automatic.tables["pits"]["label"].tolist()
    doubt = [review.row(k)["doubt"] for k in order]
    assert doubt == sorted(doubt, reverse=True)
    review.mark_unsure([order[-1]])
    review.accept([order[0]])
    review.reject([order[1]])
    assert review.doubtful_order() == [order[-1], *order[2:-1]]


def test_marks_of_the_automatic_objects(plate):
    """What became of each; one that was merged has the mark of what it went into."""
    image, automatic = plate
    review = PitReview.start(image, automatic)
    review.reject([1])
    review.mark_unsure([2])
    review.merge([3, 5])
    review.add(*disc(60, 120, 6, image.shape))
    marks = review.marks()
    assert list(marks) == automatic.tables["pits"]["label"].tolist()
    assert [marks[k] for k in (1, 2, 3, 4, 5)] == ["rejected", "unsure", "accepted", "accepted", "accepted"]
    review.reject([3])
    assert review.marks()[5] == "rejected"


def test_changes_follow(plate):
    image, automatic = plate
    review = PitReview.start(image, automatic)
    area = automatic.tables["pits"]["area_px"]
    review.reject([1])
    spot = disc(60, 120, 6, image.shape)
    review.add(*spot)
    changes = review.changes()
    assert (changes.rejected_count, changes.added_count) == (1, 1)
    assert (changes.rejected_area_px, changes.added_area_px) == (area[0], len(spot[0]))
    assert changes.corrected_area_px == area.sum() - area[0] + len(spot[0])
    assert changes.touched_fraction == pytest.approx(2 / (len(area) + 1))


def test_refuses_what_does_not_belong_together(plate, rough_plate):
    image, automatic = plate
    with pytest.raises(ValueError, match="measure this image first"):
        PitReview.start(Micrograph(image.pixels[:50], None, image.source), automatic)
    with pytest.raises(ValueError, match="measure this image again"):
        PitReview.start(image, automatic, labels=np.zeros(image.shape, int))

    class Other:
        procedure, settings, summary, tables = "degraded", {}, {}, {}

    with pytest.raises(ValueError, match="holds no pits"):
        PitReview.start(image, Other())


def test_a_field_without_pits():
    grey = np.random.default_rng(1).normal(150, 4, (80, 90)).clip(0, 255).astype(np.uint8)
    image = Micrograph(grey, Calibration(0.5, 0.5, 0.01, "stated"), Source("plate.png"))
    automatic = measure_pits(image)
    assert automatic.summary["pit_count"] == 0
    review = PitReview.start(image, automatic)
    assert review.tally().area_fraction_ci95 is None and review.doubtful_order() == []
    number = review.add(*disc(40, 40, 5, image.shape)).new_ids
    assert number == (1,)
    assert_same_as_the_whole(review, image)
    review.reject([1])
    whole = assert_same_as_the_whole(review, image)
    assert any("No pit was found" in text for text in whole.warnings)


def test_against_scikit_image(plate):
    """Count, areas, places and boxes of the corrected mask, by scikit-image (regionprops)."""
    from skimage.measure import regionprops

    image, automatic = plate
    review = PitReview.start(image, automatic)
    review.reject([2])
    number = review.add(*disc(60, 120, 6, image.shape)).new_ids[0]
    review.repaint(4, *disc(36, 112, 9, image.shape), True)
    review.split(number, np.array([[60, 100], [61, 140.0]]))
    theirs = {found.label: found for found in regionprops(review.corrected_labels())}
    rows = review.rows()
    counts = rows["status"] != "rejected"
    assert rows["label"][counts].tolist() == sorted(theirs)
    for k in np.flatnonzero(counts):
        other = theirs[int(rows["label"][k])]
        assert rows["area_px"][k] == other.area
        assert (rows["row_px"][k], rows["col_px"][k]) == pytest.approx(other.centroid)
        assert rows["aspect"][k] >= 1
    total = sum(found.area for found in theirs.values())
    assert review.tally().area_fraction == pytest.approx(total / image.pixels.size)
    assert review.tally().pit_count == len(theirs)
