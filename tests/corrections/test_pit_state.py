"""Objects by number: boxes, steps both ways, and what counts."""

import numpy as np
import pytest

from surfscan.corrections.pit_field import field_of
from surfscan.corrections.pit_state import REJECTED, PitState, parts_of
from surfscan.procedures import PitSettings


@pytest.fixture
def state(plate):
    image, result = plate
    field = field_of(image, PitSettings(), result.masks["region"], None, None)
    return PitState(result.masks["pits"], result.tables["pits"], field)


def test_boxes_and_pixels(state, plate):
    labels = plate[1].masks["pits"]
    for number in range(1, state.size + 1):
        np.testing.assert_array_equal(state.pixels(number), np.flatnonzero(labels.ravel() == number))
        rows, cols = np.nonzero(labels == number)
        window = state.window(np.array([number]), 0)
        assert (window[0].start, window[0].stop) == (rows.min(), rows.max() + 1)
        assert (window[1].start, window[1].stop) == (cols.min(), cols.max() + 1)
    assert state.window(np.zeros(0, int)) == (slice(0, 0), slice(0, 0))


def test_the_automatic_labels_stay(state, plate):
    assert state.found.dtype == np.uint16
    state.change(np.arange(50), np.full(50, 3, np.int32), np.zeros(0, int), {})
    np.testing.assert_array_equal(state.found, plate[1].masks["pits"])
    assert (state.labels.ravel()[:50] == 3).all()


def test_a_step_goes_both_ways(state):
    before = {name: values.copy() for name, values in state.rows.items()}
    labels = state.labels.copy()
    at = state.pixels(2)
    step = state.change(at, np.zeros(len(at), np.int32), np.array([5]), {"status": {5: REJECTED}})
    assert step.ids.tolist() == [2, 5]
    assert state.counting().tolist() == [k for k in range(1, state.size + 1) if k not in (2, 5)]
    assert state.living().tolist() == list(range(1, state.size + 1))
    after = {name: values.copy() for name, values in state.rows.items()}
    state.restore(step, forward=False)
    np.testing.assert_array_equal(state.labels, labels)
    for name, values in before.items():
        np.testing.assert_array_equal(state.rows[name], values, name)
    state.restore(step, forward=True)
    for name, values in after.items():
        np.testing.assert_array_equal(state.rows[name], values, name)


def test_an_outline_that_comes_back_has_the_figures_found_with_it(state):
    at = state.pixels(2)
    contrast = state.rows["contrast"][2]
    state.change(at[:5], np.zeros(5, np.int32), np.zeros(0, int), {})
    assert np.isnan(state.rows["contrast"][2]) and state.rows["redrawn"][2] and not state.rows["judged"][2]
    state.change(at[:5], np.full(5, 2, np.int32), np.zeros(0, int), {})
    assert state.rows["contrast"][2] == contrast
    assert not state.rows["redrawn"][2] and state.rows["judged"][2]


def test_new_numbers_are_blank(state):
    n = state.size
    assert state.new(2).tolist() == [n + 1, n + 2] and state.size == n + 2
    assert state.rows["near_limit"][n + 1] == "" and np.isnan(state.rows["contrast"][n + 2])
    assert n + 1 not in state.living()


def test_corrected_leaves_out_what_does_not_count(state):
    state.rows["status"][3] = REJECTED
    assert 3 in state.labels and 3 not in state.corrected()
    window = (slice(10, 60), slice(20, 90))
    np.testing.assert_array_equal(state.corrected(window), state.corrected()[window])


def test_parts():
    mask = np.zeros((6, 6), bool)
    assert parts_of(mask) == 0
    mask[0, 0] = mask[1, 1] = mask[4, 4] = True
    assert parts_of(mask) == 2
