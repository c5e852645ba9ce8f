"""Changes of a review of pits, from the pixels that its edits touched: the whole picture is not compared."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from surfscan.corrections.changes import Changes, changes_of_pairs
from surfscan.corrections.pit_state import REJECTED, UNSURE, PitState, Step


def changes_of(state: PitState, done: Sequence[Step]) -> Changes:
    """What `compare_label_images` gives for the automatic and the corrected mask.

    Parameters
    ----------
    state : PitState
    done : sequence of Step
        Every step from the automatic mask to the present one.
    """
    at = np.unique(np.concatenate([np.zeros(0, np.int64), *(step.at for step in done)]))
    was = state.found.reshape(-1)[at].astype(np.int64)
    counts = state.rows["alive"] & (state.rows["status"] != REJECTED)
    counts[0] = False
    now = state.labels.reshape(-1)[at].astype(np.int64)
    now[~counts[now]] = 0
    untouched = state.found_area - np.bincount(was, minlength=state.found_count + 1)
    untouched[0] = 0
    own = np.flatnonzero(untouched > 0)
    first_label = np.concatenate([was, own])
    second_label = np.concatenate([now, np.where(counts[own], own, 0)])
    weight = np.concatenate([np.ones(len(at), np.int64), untouched[own]])
    some = (first_label > 0) | (second_label > 0)
    width = state.size + 1
    pair, number = np.unique(first_label[some] * width + second_label[some], return_inverse=True)
    area = np.bincount(number, weight[some], len(pair)).astype(np.int64)
    unsure = int(np.count_nonzero(state.rows["alive"] & (state.rows["status"] == UNSURE)))
    return changes_of_pairs(pair // width, pair % width, area, unsure_count=unsure)
