"""A review of pits in the layers of a viewer without a screen."""

from types import SimpleNamespace

import numpy as np
import pytest
from napari.components import ViewerModel
from napari.utils.shortcuts import _default_shortcuts
from napari_surfscan.mask_tools import BY_HAND, FOUND, REJECTED
from napari_surfscan.pit_editing import PitEditing
from napari_surfscan.placing import placement

from surfscan.corrections.pit_review import PitReview
from surfscan.procedures import measure_pits


@pytest.fixture
def editing(pitted):
    """Six pits under review; what was said is kept beside it."""
    image = pitted
    viewer = ViewerModel()
    viewer.add_image(image.pixels, name="image", **placement(image.calibration))
    made = PitEditing(viewer, PitReview.start(image, measure_pits(image)), placement(image.calibration))
    made.attach()
    made.heard = []
    made.said.connect(made.heard.append)
    return made


def _at(editing, row, col):
    return editing.pit_at((row, col))


def _stroke(layer, places, label):
    """What the brush does between press and release."""
    layer.mode = "paint"
    with layer.block_history():
        for place in places:
            layer.paint(place, label, refresh=False)
        layer._partial_labels_refresh()


def test_layers_stand_at_scale_and_show_the_review(editing):
    """All layers have the image's scale and units; "pits" holds the review's own numbers."""
    names = [layer.name for layer in editing.viewer.layers]
    assert names == ["image", "rejected", "pits", "outlines", "marks"]
    assert all(tuple(layer.scale) == (0.5, 0.5) for layer in editing.layers)
    assert np.array_equal(editing.viewer.layers["pits"].data, editing.review.labels)
    assert editing.viewer.layers.selection.active.name == "pits"
    assert set(np.unique(editing.viewer.layers["outlines"].data)) <= {0, FOUND, 4}


def test_reject_moves_the_outline_and_the_tally(editing):
    """A rejected pit leaves the mask, its outline goes to the rejected ones; accept brings it back."""
    pit = _at(editing, 40, 120)
    editing.select([pit])
    editing.reject()
    layers = editing.viewer.layers
    assert not (layers["pits"].data == pit).any()
    assert (layers["rejected"].data[25:55, 105:135] == REJECTED).any()
    assert not layers["outlines"].data[27:53, 107:133].any()
    assert editing.review.tally().pit_count == editing.review.tally().automatic.pit_count - 1
    assert pit in editing.settled
    editing.accept()
    assert (layers["pits"].data == pit).sum() == (editing.review.labels == pit).sum() > 0
    assert not layers["rejected"].data.any()


def test_one_stack_takes_back_brush_and_button_in_turn(editing):
    """A brush stroke between two button edits is undone in its turn, and done again."""
    labels = editing.review.labels.copy()
    editing.select([_at(editing, 40, 40)])
    editing.reject()
    _stroke(editing.painted, [(180, 20), (180, 24)], max(editing._places) + 1)
    editing.select([_at(editing, 40, 120)])
    editing.reject()
    assert _at(editing, 180, 22)
    editing.undo()
    assert editing.review.status[_at(editing, 40, 120)] == "accepted"
    editing.undo()
    assert _at(editing, 180, 22) == 0
    assert editing.viewer.layers["pits"].data[180, 22] == 0
    editing.undo()
    assert np.array_equal(editing.viewer.layers["pits"].data, labels)
    assert not editing.review.can_undo
    for _ in range(3):
        editing.redo()
    assert _at(editing, 180, 22)
    assert editing.viewer.layers["outlines"].data[170:190, 10:35].max() == BY_HAND


def test_keys_of_the_layer_reach_the_same_stack(editing):
    """Ctrl+Z on the layer is the review's undo, not the layer's own."""
    from app_model.types import KeyBinding, KeyCode, KeyMod

    editing.select([_at(editing, 40, 40)])
    editing.reject()
    keymap = editing.painted.keymap
    keymap[KeyBinding.from_int(KeyMod.CtrlCmd | KeyCode.KeyZ)](editing.painted)
    assert not editing.review.can_undo
    keymap[KeyBinding.from_int(KeyMod.CtrlCmd | KeyMod.Shift | KeyCode.KeyZ)](editing.painted)
    assert editing.review.can_undo


def test_a_polygon_is_taken_in_though_it_is_told_before_it_is_written(editing):
    """The viewer tells of a single polygon before its pixels are in the layer."""
    new = max(editing._places) + 1
    editing.painted.paint_polygon([(170, 10), (170, 30), (190, 30), (190, 10)], new)
    assert _at(editing, 180, 20) == new
    assert (editing.review.labels == new).sum() == (editing.painted.data == new).sum() > 300


def test_painting_over_a_neighbour_takes_its_pixels(editing):
    """What is painted with a pit's number belongs to it, wherever it belonged before."""
    pit, other = _at(editing, 110, 50), _at(editing, 40, 40)
    before = (editing.review.labels == other).sum()
    _stroke(editing.painted, [(40, 40)], pit)
    assert (editing.review.labels == other).sum() < before
    assert _at(editing, 40, 40) == pit
    assert any("2 parts" in words for words in editing.heard)


def test_cut_merge_and_split(editing):
    """A line drawn across a pit parts it; both parts can be merged again."""
    pit = _at(editing, 40, 40)
    editing._cut(np.array([(40.0, 20.0), (40.0, 60.0)]))
    upper, lower = _at(editing, 33, 40), _at(editing, 47, 40)
    assert upper and lower and upper != lower
    assert pit in (upper, lower)
    editing.select([upper, lower])
    editing.merge()
    assert _at(editing, 33, 40) == _at(editing, 47, 40) == editing.selection[0]
    editing.select([_at(editing, 40, 40)])
    editing.merge()
    assert "two pits or more" in editing.heard[-1]


def test_a_line_beside_every_pit_says_so(editing):
    """No pit under the line: nothing changes, and words say what to do."""
    editing._cut(np.array([(190.0, 5.0), (195.0, 15.0)]))
    assert "crosses no pit" in editing.heard[-1]
    assert not editing.review.can_undo


def test_walk_begins_with_the_most_doubtful_and_leaves_out_settled_ones(editing):
    """Every step goes on to what is not settled, until nothing is left."""
    order = editing.review.doubtful_order()
    editing.walk_next()
    assert editing.selection == (order[0],)
    editing.accept()
    editing.walk_next()
    assert editing.selection == (order[1],)
    for _ in order[1:]:
        editing.reject()
        editing.walk_next()
    assert editing.heard[-1] == "Every pit has been settled."


def test_flying_brings_a_pit_into_the_middle(editing):
    """The camera's centre is the pit's place in µm."""
    pit = _at(editing, 160, 150)
    editing.select([pit], fly=True)
    assert np.allclose(editing.viewer.scene.camera.center[-2:], (80, 75), atol=0.5)


def test_not_sure_has_a_question_mark_and_selection_a_ring(editing):
    """Marks say in signs what colour says."""
    pit = _at(editing, 40, 40)
    editing.select([pit])
    editing.mark_unsure()
    marks = editing.viewer.layers["marks"]
    assert list(marks.features["mark"]) == ["?"]
    assert np.allclose(marks.data, [(40, 40)], atol=0.5)
    assert marks.border_color[0, 3] == 1
    editing.select([_at(editing, 40, 120)])
    assert sorted(marks.features["mark"]) == [" ", "?"]


def test_clicks_select_and_shift_joins(editing):
    """A click on a pit selects it, one beside it nothing; Shift adds and takes away."""
    first, second = _at(editing, 40, 40), _at(editing, 40, 120)

    def click(row, col, modifiers=()):
        event = SimpleNamespace(
            type="mouse_press", button=1, position=(row / 2, col / 2), pos=(5, 5), modifiers=modifiers
        )
        steps = editing._on_mouse(editing.viewer, event)
        next(steps)
        event.type = "mouse_release"
        next(steps, None)

    click(40, 40)
    assert editing.selection == (first,)
    click(40, 120, ("Shift",))
    assert editing.selection == (first, second)
    click(40, 40, ("Shift",))
    assert editing.selection == (second,)
    click(190, 5)
    assert editing.selection == ()


def test_nothing_selected_says_what_to_do(editing):
    """A button without a selection explains itself."""
    editing.reject()
    assert "No pit is selected" in editing.heard[-1]


def test_keys_are_free_in_the_viewer(editing):
    """No key of ours is one that the viewer uses for its window or for labels."""
    from app_model.types import KeyBinding

    taken = {
        str(KeyBinding.from_int(key))
        for name, keys in _default_shortcuts.items()
        for key in keys
        if not any(kind in name for kind in ("points", "shape", "vertex", "add_", "plane_normal", "direct"))
        and not any(kind in name for kind in ("image", "vectors", "tracks", "surface", "select_"))
        and "auto_contrast" not in name
        and "finish_drawing" not in name
    }
    assert not {key.replace("-", "+") for key in (*editing.keys(), "H")} & taken


def test_detached_layers_are_gone_and_the_brush_is_no_more_listened_to(editing):
    """Closing leaves the image alone, and the review as it was."""
    layer = editing.painted
    editing.detach()
    assert [each.name for each in editing.viewer.layers] == ["image"]
    assert editing._on_mouse not in editing.viewer.mouse_drag_callbacks
    layer.paint((180, 20), 99)
    assert not editing.review.can_undo


def test_a_picture_without_pits_says_what_to_do(pitted):
    """Nothing was found: no word of settled pits, and adding one works."""
    from dataclasses import replace

    noise = np.random.default_rng(1).normal(150, 2, pitted.pixels.shape)
    image = replace(pitted, pixels=noise.astype(np.uint8))
    viewer = ViewerModel()
    made = PitEditing(viewer, PitReview.start(image, measure_pits(image)), placement(image.calibration))
    made.attach()
    heard = []
    made.said.connect(heard.append)
    assert made.waiting_in_words() == "No pits"
    made.walk_next()
    assert "paint one with 'Add'" in heard[-1]
    made.start_adding()
    _stroke(made.painted, [(50, 50), (50, 53)], made.painted.selected_label)
    assert made.review.tally().pit_count == 1
    assert made.waiting_in_words() == "All are settled"  # a pit drawn by hand needs no second look
