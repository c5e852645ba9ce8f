"""Pits as they are drawn on pictures."""

from __future__ import annotations

import pytest

from surfscan.report.pit_drawing import pit_layer


@pytest.fixture(scope="module")
def as_found(reviewed_records):
    """A picture with four pits, as found."""
    return next(r for r in reviewed_records if r.image_id == "d.png")


def test_pits_left_out_are_the_smallest_and_counted(as_found):
    whole, none_left_out = pit_layer(as_found, (1.0, 1.0), 1.0)
    assert none_left_out == 0
    table = as_found.table("pits")
    some, left_out = pit_layer(as_found, (1.0, 1.0), 1.0, most_chars=len(whole) // 4)
    assert 0 < left_out < len(table["label"]) and len(some) < len(whole)


def test_same_layer_every_time(as_found):
    assert pit_layer(as_found, (0.7, 0.7), 1.3) == pit_layer(as_found, (0.7, 0.7), 1.3)
