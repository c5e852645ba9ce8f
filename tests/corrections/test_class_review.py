"""A review of classes: fractions follow the brush, and are those of measuring the painted image."""

import cv2
import numpy as np
import pytest

from surfscan.corrections.changes import compare_class_images
from surfscan.corrections.class_review import ClassReview
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import DegradedSettings, SectionSettings, measure_degraded, measure_section

SCALE = Calibration(0.5, 0.8, 0.01, "stated")


@pytest.fixture(scope="module")
def patchy():
    """A plate with a round dark patch and its automatic result."""
    rows, cols = np.mgrid[:160, :200]
    grey = cv2.GaussianBlur(np.where(np.hypot(rows - 80, cols - 90) < 35, 90.0, 170.0), (0, 0), 1.0)
    grey += np.random.default_rng(1).normal(0, 5, grey.shape)
    image = Micrograph(grey.clip(0, 255).astype(np.uint8), SCALE, Source("plate.png"))
    return image, measure_degraded(image)


@pytest.fixture(scope="module")
def cut(draw_section):
    """A corroded section and its automatic result."""
    parts = [("rectangle", 130, 110, 132, 100, 110), ("rectangle", 130.4, 109.7, 96, 66, 210)]
    image = Micrograph(draw_section((220, 260), parts, turn_deg=10), SCALE, Source("section.png"))
    return image, measure_section(image, SectionSettings(drawn_width_um=60, drawn_thickness_um=72))


def test_starts_with_the_automatic_figures(patchy, cut):
    review = ClassReview.start(*patchy)
    summary = patchy[1].summary
    tally = review.tally()
    assert tally.degraded_fraction == tally.automatic.degraded_fraction == summary["degraded_area_fraction"]
    assert tally.degraded_fraction_ci95 == pytest.approx(summary["degraded_area_fraction_ci95"])
    assert tally.tarnished_fraction is None and tally.metal_area_um2 is None
    assert tally.region_area_px == 160 * 200 == sum(tally.areas_px.values())
    section = ClassReview.start(*cut).tally()
    assert section.metal_area_um2 == pytest.approx(cut[1].summary["metal_area_um2"])
    assert section.remaining_fraction == pytest.approx(cut[1].summary["remaining_fraction"])
    assert section.degraded_fraction is None and section.areas_px["metal"] > 0


@pytest.mark.parametrize("seed", range(4))
def test_any_strokes_give_the_figures_of_the_whole_image(patchy, seed):
    image, automatic = patchy
    review = ClassReview.start(image, automatic)
    rng = np.random.default_rng(seed)
    records = []
    for _ in range(15):
        kind = rng.integers(4)
        if kind == 0 and review.can_undo:
            edit = review.undo()
        elif kind == 1 and review.can_redo:
            edit = review.redo()
        else:
            row, col = rng.integers(0, 150), rng.integers(0, 190)
            bounds = (row, row + int(rng.integers(2, 10)), col, col + int(rng.integers(2, 10)))
            before = np.array(review.labels[bounds[0] : bounds[1], bounds[2] : bounds[3]])
            edit = review.paint_over(before, rng.integers(0, 3, before.shape), bounds)
        records.append(edit.record)
    painted = review.corrected_labels()
    whole = measure_degraded(image, corrected=painted).summary
    tally = review.tally()
    assert tally.degraded_fraction == whole["degraded_area_fraction"]
    assert list(tally.degraded_fraction_ci95) == whole["degraded_area_fraction_ci95"]
    assert tally.tarnished_fraction == whole["tarnished_area_fraction"]
    np.testing.assert_array_equal(np.bincount(painted.ravel(), minlength=3), list(tally.areas_px.values()))
    assert review.changes() == compare_class_images(automatic.masks["degraded"], painted, 2)
    again = ClassReview.start(image, automatic)
    assert again.replay(records) == len(records)
    np.testing.assert_array_equal(again.labels, painted)
    assert again.tally() == tally and again.can_redo == review.can_redo
    while review.can_undo:
        review.undo()
    np.testing.assert_array_equal(review.labels, automatic.masks["degraded"])
    assert not review.changes().any


def test_a_section_follows_to_about_a_pixel(cut):
    """Metal taken off in the middle: the tally counts pixels, the result follows the edge between them."""
    image, automatic = cut
    review = ClassReview.start(image, automatic)
    rows, cols = np.mgrid[95:120, 110:150]
    edit = review.paint(rows, cols, 2)
    assert edit.ids_touched == (1, 2) and edit.bounds == (95, 120, 110, 150)
    whole = measure_section(
        image, SectionSettings(drawn_width_um=60, drawn_thickness_um=72), corrected=review.corrected_labels()
    ).summary
    taken = 1000 * SCALE.pixel_area_um2
    assert edit.tally.metal_area_um2 == pytest.approx(edit.tally.automatic.metal_area_um2 - taken)
    assert edit.tally.metal_area_um2 == pytest.approx(whole["metal_area_um2"], rel=0.01)
    assert edit.tally.remaining_fraction == pytest.approx(whole["remaining_fraction"], abs=0.01)


def test_without_a_scale_a_section_has_its_fraction(draw_section):
    parts = [("rectangle", 130, 110, 132, 100, 110), ("rectangle", 130.4, 109.7, 96, 66, 210)]
    image = Micrograph(draw_section((220, 260), parts), None, Source("section.png"))
    review = ClassReview.start(image, measure_section(image))
    tally = review.paint(np.array([110]), np.array([130]), 2).tally
    assert tally.metal_area_um2 is None
    assert 0 < tally.remaining_fraction < tally.automatic.remaining_fraction


def test_names(patchy, cut):
    assert ClassReview.start(*patchy).class_names == {0: "metal", 1: "tarnished", 2: "degraded"}
    assert ClassReview.start(*cut).class_names[1] == "metal"


def test_off_the_specimen():
    """Three classes, a region: what lies off it is left, said, or refused."""
    rows, cols = np.mgrid[:160, :200]
    grey = np.where(np.hypot(rows - 80, cols - 90) < 35, 90, 170)
    grey = (grey + np.random.default_rng(1).normal(0, 5, grey.shape)).clip(0, 255).astype(np.uint8)
    image = Micrograph(grey, SCALE, Source("plate.png"))
    region = np.zeros(grey.shape, bool)
    region[20:140, 20:180] = True
    review = ClassReview.start(image, measure_degraded(image, DegradedSettings(classes=3), region=region))
    edit = review.paint(*np.mgrid[10:30, 50:60], 2)
    assert edit.said == ("100 px off the specimen were left as they are.",)
    assert not review.labels[:20].any()
    with pytest.raises(ValueError, match="off the specimen"):
        review.paint(*np.mgrid[0:5, 0:5], 2)
    whole = measure_degraded(
        image, DegradedSettings(classes=3), region=region, corrected=review.corrected_labels()
    )
    assert review.tally().degraded_fraction == whole.summary["degraded_area_fraction"]


def test_what_is_refused_changes_nothing(patchy, plate):
    review = ClassReview.start(*patchy)
    one = (np.array([1]), np.array([1]))
    for do, said in (
        (lambda: review.paint(*one, 3), "no class 3"),
        (lambda: review.paint(np.array([160]), np.array([0]), 2), "off the picture"),
        (lambda: review.undo(), "nothing to undo"),
        (lambda: review.redo(), "nothing to redo"),
        (lambda: review.replay([{"kind": "reject", "ids": [1]}]), "knows no edit 'reject'"),
        (lambda: review.replay([{"kind": "paint"}]), "edit 1 of the journal"),
        (lambda: ClassReview.start(*plate), "no classes"),
        (lambda: ClassReview.start(plate[0], patchy[1]), "measure this image first"),
    ):
        with pytest.raises(ValueError, match=said):
            do()
    assert not review.can_undo
    assert review.paint(*one, 0).ids_touched == () and not review.can_undo
    assert not review.labels.flags.writeable
