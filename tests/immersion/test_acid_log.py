"""Acid columns: totals and doses told apart and added up, whatever the pages."""

import numpy as np
import pytest

from surfscan.immersion.acid_log import AcidTotals

NAN = np.nan


def added(values, pages=()):
    totals = AcidTotals()
    parts = [totals.take(part) for part in np.split(np.asarray(values, float), pages) if len(part)]
    return np.concatenate(parts, axis=1), totals


@pytest.mark.parametrize("pages", [(), (1, 2, 5)])
def test_totals_and_doses(pages):
    (total, doses), _ = added([0, 0.5, NAN, 0.5, 1.0, 1.5], pages)
    assert np.nan_to_num(total, nan=-1).tolist() == [0, 0.5, -1, 0.5, 1.0, 1.5]
    assert doses.tolist() == [0, 0.5, 0.5, 1.0, 2.0, 3.5]


@pytest.mark.parametrize("pages", [(), (3,), (4,)])
def test_set_back(pages):
    """A bottle is changed at 3 mL, the counter starts again, and again."""
    (total, _), totals = added([1, 2, 3, 0.5, 1, 0, 1], pages)
    assert total.tolist() == [1, 2, 3, 3.5, 4, 4, 5]
    assert totals.resets == 2


def test_small_falls_are_no_set_back():
    (total, _), totals = added([5.0, 5.02, 5.01, 5.03])
    assert total.tolist() == [5.0, 5.02, 5.01, 5.03]
    assert totals.resets == 0


@pytest.mark.parametrize(
    ("values", "kind"),
    [
        (np.floor(np.arange(200) / 20) * 0.05, "cumulative"),
        (np.concatenate([np.zeros(150), np.full(50, 0.05)]), "cumulative"),
        (np.zeros(50), "cumulative"),
        (np.where(np.arange(200) % 20 == 7, 0.05, 0.0), "events"),
        (np.where(np.arange(200) % 20 == 7, 0.05, NAN), "events"),
        (np.where(np.arange(200) % 20 == 7, 0.01 * (1 + np.arange(200) % 3), 0.0), "events"),
        (np.tile(np.arange(100.0), 3), "cumulative"),
        (5 + np.sin(np.arange(100.0)), ""),
        ([NAN, NAN], ""),
    ],
)
def test_kind(values, kind):
    found = added(values)[1].kind()
    assert found.kind == kind
    assert found.why
