"""How far product that comes off late may move the loss."""

import numpy as np
import pytest

from surfscan.immersion.product_tail import tail_range

CYCLES = np.arange(1.0, 9)


def test_exact_tail_is_found():
    """50 mg, 1 mg a cycle, 20 mg of product of which 0.3 is left each time, no noise."""
    found = tail_range(50 + CYCLES - 20 * 0.3**CYCLES, 0.01)
    assert found.best_mg == pytest.approx(50.0, abs=0.01)
    assert found.low_mg < 50 < found.high_mg


def test_line_without_product_is_its_own_best():
    found = tail_range(50 + 1.0 * CYCLES, 0.1)
    assert found.best_mg == pytest.approx(50.0)
    assert found.high_mg - 50 > 50 - found.low_mg > 0  # a tail can only have hidden loss


def test_more_cycles_narrow_it():
    wide = [tail_range(50 + 1.0 * CYCLES[:n], 0.1) for n in (3, 4, 6, 8)]
    widths = [each.high_mg - each.low_mg for each in wide]
    assert widths == sorted(widths, reverse=True)


@pytest.mark.parametrize("share", [0.7, 0.8, 0.9])
def test_slow_product_is_seen_in_all_cycles(share):
    """20 mg of product of which much is left each time: the line through the last cycles is far too low."""
    found = tail_range(50 + CYCLES - 20 * share**CYCLES, 0.02)
    assert found.is_sure and found.is_slow_allowed
    assert found.share_left == pytest.approx(share, abs=0.03)
    assert found.low_mg < 50 < found.high_mg


def test_product_slower_than_any_share_has_no_bound():
    found = tail_range(50 + 3 * CYCLES - 0.05 * CYCLES**2, 0.02)
    assert found.is_sure and found.is_at_bound


def test_least_slope_bounds_it():
    """What a blank loses in a cycle leaves less to slow product."""
    losses = 50 + CYCLES[:5] - 20 * 0.9 ** CYCLES[:5]
    free, bounded = tail_range(losses, 0.1), tail_range(losses, 0.1, 0.9)
    assert free.is_slow_allowed and bounded.is_slow_allowed
    assert bounded.high_mg < free.high_mg
    assert bounded.low_mg < 50 < bounded.high_mg


def test_three_cycles_cannot_show_slow_product():
    assert not tail_range(50 + CYCLES[:3] - 20 * 0.8 ** CYCLES[:3], 0.1).is_slow_allowed


def test_nonsense():
    with pytest.raises(ValueError, match="three cycles"):
        tail_range(np.array([1.0, 2.0]), 0.1)
    with pytest.raises(ValueError, match="three cycles"):
        tail_range(np.array([1.0, 2.0, 3.0]), 0.0)
