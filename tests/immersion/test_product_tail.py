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


def test_nonsense():
    with pytest.raises(ValueError, match="three cycles"):
        tail_range(np.array([1.0, 2.0]), 0.1)
    with pytest.raises(ValueError, match="three cycles"):
        tail_range(np.array([1.0, 2.0, 3.0]), 0.0)
