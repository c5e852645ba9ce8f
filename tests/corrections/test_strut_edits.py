"""A person's corrections to struts: the width follows to the truth, step by step, and is accounted for."""

import json
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest

from surfscan.corrections.strut_edits import EdgeMoves, StrutReview
from surfscan.images import Calibration, Micrograph, Source
from surfscan.procedures import StrutSettings, measure_struts

SETTINGS = StrutSettings(drawn_width_um=15, drawn_thickness_um=15)


@pytest.fixture
def review(strut_picture):
    """The review of three bars, the second with product on its upper edge at column 180."""
    return StrutReview.start(strut_picture, SETTINGS)


def onto_metal(review):
    """Drag the upper edge of the second bar from the top of the product onto the metal (row 105)."""
    handle = review.handle(97, 180)
    assert handle.away_px < 1.5
    return review.drag(handle, review.offset_to(handle, 105, 180), 30.0)


def test_dragged_onto_metal_the_width_is_the_true_one(review):
    """Product had made 30 px into 38; along the whole bar the width is now 30 px within half a px."""
    before = review.stations()
    at = np.flatnonzero((before["strut"] == 2) & (abs(before["col_px"] - 180) < 1.5))
    assert before["width_px"][at] == pytest.approx(38, abs=0.5)
    onto_metal(review)
    after = review.stations()
    own = (after["strut"] == 2) & (after["fault"] == "")
    assert after["width_px"][own] == pytest.approx(30, abs=0.6)
    mean, (low, high) = (review.result.summary[n] for n in ("mean_width_px", "mean_width_px_ci95"))
    assert low < (20 + 30 + 24) / 3 < high
    assert mean == pytest.approx((20 + 30 + 24) / 3, abs=0.1)
    assert review.result.summary["corrected_by_hand"] is True
    struts = review.result.tables["struts"]
    assert struts["mean_width_um"][1] == pytest.approx(15, abs=0.1)
    assert struts["loss_fraction"][1] == pytest.approx(0, abs=0.01)
    assert review.automatic.tables["struts"]["loss_fraction"][1] < -0.02


def test_sections_follow(review):
    """A cut into the metal: area, fraction with drawn thickness and equal loss follow the width there."""
    handle = review.handle(136, 80)
    review.drag(handle, -9.0, 12.0)
    after, struts = review.stations(), review.result.tables["struts"]
    width_um = after["width_um"][handle.station]
    assert width_um == pytest.approx(15 - 4.5, abs=0.3)
    assert after["section_area_um2"][handle.station] == pytest.approx(15 * width_um)
    assert after["section_fraction"][handle.station] == pytest.approx(width_um / 15)
    loss = 15 - width_um
    assert after["section_equal_loss_fraction"][handle.station] == pytest.approx((1 - loss / 15) ** 2)
    assert struts["least_section_fraction"][1] == pytest.approx(width_um / 15)
    assert struts["min_width_um"][1] == pytest.approx(width_um)
    # 1 px of the hand (k = 1) is 0.5 µm: the interval reaches at least 1.96 times that below.
    assert struts["min_width_um_ci95_low"][1] < width_um - 1.96 * 0.5
    assert struts["mean_width_um"][0] == review.automatic.tables["struts"]["mean_width_um"][0]


def test_figures_are_those_of_measuring_with_the_moves(review, strut_picture):
    """The same code: to the bit what measure_struts gives for the saved edits, through text."""
    onto_metal(review)
    review.drag(review.handle(201, 300), -3.0)
    edits = json.loads(json.dumps(review.edits()))
    whole = measure_struts(strut_picture, SETTINGS, corrected=EdgeMoves.from_dict(edits))
    assert whole.summary == review.result.summary
    for name, table in whole.tables.items():
        for column, values in table.items():
            assert np.array_equal(
                values, review.result.tables[name][column], equal_nan=values.dtype.kind == "f"
            )
    assert whole.warnings == review.result.warnings
    plain = measure_struts(strut_picture, SETTINGS)
    assert "corrected_by_hand" not in plain.summary
    assert plain.summary == review.automatic.summary
    # Product taken off is no metal of the mask either.
    assert plain.masks["struts"][100, 180] == 2
    assert whole.masks["struts"][100, 180] == 0


def test_preview_keeps_nothing(review):
    """What a drag would give is shown while the mouse is down; nothing has changed until it is let go."""
    handle = review.handle(97, 180)
    move = review.move_of(handle, -8.0, 30.0)
    seen = review.preview(move)
    assert seen.tables["stations"]["width_px"][handle.station] == pytest.approx(30, abs=0.6)
    assert not review.moves
    review.drag(handle, -8.0, 30.0)
    assert seen.summary == review.result.summary


def test_undo_redo_note_and_replay(strut_picture, review):
    """A journal of steps, undone ones too, gives the same state; the note is one of the steps."""
    steps = [onto_metal(review), review.set_note("product at the clamp")]
    steps += [review.drag(review.handle(60, 250), -2.0), review.undo(), review.undo(), review.redo()]
    assert review.note == "product at the clamp"
    assert len(review.moves.moves) == 1
    assert review.can_redo
    lines = [json.loads(json.dumps(step.as_dict())) for step in steps]
    again = StrutReview(review.picture)
    again.replay(lines)
    assert (again.moves, again.note) == (review.moves, review.note)
    assert again.can_redo
    assert again.redo().kind == "redo"
    assert len(again.moves.moves) == 2
    while again.undo():
        pass
    assert not again.is_changed
    assert again.undo() is None
    assert StrutReview(review.picture).redo() is None
    with pytest.raises(ValueError, match="kind"):
        again.replay([{"kind": "paint"}])


def test_edits_go_through_toml(review):
    """Only what TOML can hold: no None, and floats stay to the bit."""
    onto_metal(review)
    edits = review.edits()
    lines = [f"note = {json.dumps(edits['note'])}", f"uncertainty_px = {edits['uncertainty_px']!r}"]
    for move in edits["moves"]:
        lines += ["[[moves]]", *(f"{k} = {json.dumps(v)}" for k, v in move.items())]
    assert EdgeMoves.from_dict(tomllib.loads("\n".join(lines))) == review.moves
    assert all(value is not None for value in review.changes().as_dict().values())


def test_changes_are_counted(review):
    """Stations and length by hand, the largest move, area taken off: a raised cosine's is offset x taper."""
    assert review.changes().station_count == 0
    handle = review.handle(97, 180)
    review.drag(handle, -8.0, 30.0)
    changes = review.changes()
    assert (changes.move_count, changes.missed_count, changes.strut_count) == (1, 0, 1)
    assert changes.largest_move_px == pytest.approx(8)
    assert changes.largest_move_um == pytest.approx(4)
    assert changes.removed_area_px == pytest.approx(8 * 30, rel=0.02)
    assert changes.added_area_px == 0
    # Where the cosine moves 0.05 px or more: 30 px times 1 - acos(1 - 2 x 0.05 / 8) / pi to either side.
    reach = 30 * (1 - math.acos(1 - 2 * 0.05 / 8) / math.pi)
    assert changes.moved_length_px == pytest.approx(2 * reach, abs=4)
    counted = review.result.tables["struts"]["counted_length_px"].sum()
    assert changes.by_hand_fraction == pytest.approx(changes.moved_length_px / counted, rel=1e-6)
    assert changes.mean_width_px < changes.mean_width_px_automatic


def test_handles_and_offsets(review):
    """The nearest edge, of one strut where asked; inwards at most to the other edge."""
    handle = review.handle(180, 40, strut=3)
    assert (handle.strut, handle.row_px) == (3, pytest.approx(178, abs=0.5))
    assert review.offset_to(handle, 178 - 5, 200) == pytest.approx(5, abs=0.5)
    assert review.offset_to(handle, 230, 40) == pytest.approx(-24, abs=0.5)
    assert handle.taper_px == pytest.approx(24, abs=0.5)


def test_uncertainty_of_the_hand_is_a_setting(review):
    """Half the uncertainty of the hand, half of what it adds to the interval of the strut's mean."""
    onto_metal(review)

    def half_width(uncertainty_px):
        review.with_uncertainty(uncertainty_px)
        assert review.edits()["uncertainty_px"] == uncertainty_px
        struts = review.result.tables["struts"]
        return (struts["mean_width_px_ci95_high"][1] - struts["mean_width_px"][1]) / 1.959964

    none, half, whole = (half_width(u) for u in (0.0, 0.5, 1.0))
    assert math.sqrt(half**2 - none**2) == pytest.approx(math.sqrt(whole**2 - none**2) / 2)
    # Of 360 px of strut, 2 x 30 px follow by half on average: 30/360 px, the same way along the drag.
    assert math.sqrt(whole**2 - none**2) == pytest.approx(30 / 360, rel=0.03)


def test_moves_of_another_picture_are_named(review, strut_picture):
    """An edge that is not there any more is not moved, and a warning says so."""
    onto_metal(review)
    move = replace(review.moves.moves[0], edge_row_px=20.0)
    result = measure_struts(strut_picture, SETTINGS, corrected=EdgeMoves((move,)))
    assert any("1 of 1 edge moves by hand not applied" in w for w in result.warnings)
    assert result.summary["mean_width_px"] == review.automatic.summary["mean_width_px"]


def test_oblong_pixels(strut_picture):
    """Rows half as high as columns are wide: a px of the stations is the root of the product of both."""
    scale = Calibration(0.8, 0.4, 0.005, "stated")
    review = StrutReview.start(Micrograph(strut_picture.pixels, scale, Source("oblong.png")))
    handle = review.handle(97, 180)
    offset = review.offset_to(handle, 105, 180)
    assert offset * math.sqrt(0.8 * 0.4) == pytest.approx((97 - 105) * 0.4, abs=0.3)
    review.drag(handle, offset, 50.0)
    assert review.stations()["width_um"][handle.station] == pytest.approx(30 * 0.4, abs=0.2)


def test_picture_before_keeps_its_places(strut_picture):
    """Loss against a picture before follows the widths that were moved."""
    rows = np.repeat(np.arange(240)[:, None], 360, axis=1)
    grey = np.full(rows.shape, 200.0)
    for row, width in ((50, 24), (120, 34), (190, 28)):
        grey[abs(rows - row) <= width / 2] = 40
    across = [(slice(50, 120), slice(60, 76)), (slice(120, 190), slice(260, 278))]  # so that nothing slides
    for rung in across:
        grey[rung] = 40
    noise = np.random.default_rng(0).normal(0, 2, grey.shape)
    before = Micrograph(
        np.clip(grey + noise, 0, 255).astype(np.uint8), strut_picture.calibration, Source("was")
    )
    now = strut_picture.pixels.copy()
    for rung in across:
        now[rung] = 40
    review = StrutReview.start(
        Micrograph(now, strut_picture.calibration, Source("is")),
        StrutSettings(before_max_rotation_deg=10, before_max_shift_fraction=0.1),
        before=before,
    )
    struts = review.automatic.tables["struts"]
    handle = review.handle(97, 180)
    k = handle.strut - 1
    assert struts["loss_against"][k] == "before", review.automatic.warnings
    was = struts["loss_fraction"][k]
    review.drag(handle, review.offset_to(handle, 105, 180), 30.0)
    after = review.result.tables["struts"]
    assert after["reference_width_px"][k] == struts["reference_width_px"][k]
    lost = after["loss_fraction"][k]
    assert lost > was + 0.01
    assert lost == pytest.approx(1 - after["compared_width_px"][k] / after["reference_width_px"][k])
    assert (
        review.result.summary["loss_with_lost_fraction"] > review.automatic.summary["loss_with_lost_fraction"]
    )


def test_picture_without_struts():
    """Nothing to drag, nothing changed, and the reason stays with the result."""
    flat = np.full((120, 160), 128, np.uint8)
    review = StrutReview.start(Micrograph(flat, None, Source("flat.png")))
    assert not review.has_struts
    assert review.handle(10, 10) is None
    assert review.changes().station_count == 0
    assert review.result.summary["strut_count"] == 0
    assert review.by_hand.size == 0
