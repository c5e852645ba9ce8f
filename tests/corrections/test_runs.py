import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from surfscan.corrections.runs import as_runs, from_runs


@settings(max_examples=100, derandomize=True, database=None)
@given(st.sets(st.integers(0, 199)))
def test_there_and_back(chosen):
    at = np.array(sorted(chosen), int)
    runs = as_runs(at)
    np.testing.assert_array_equal(from_runs(runs, 200), at)
    assert sum(runs[1::2]) == at.size and all(k > 0 for k in runs[2::2])


def test_form():
    assert as_runs(np.array([3, 4, 5, 9])) == [3, 3, 3, 1]
    assert as_runs(np.zeros(0, int)) == []


@pytest.mark.parametrize("wrong", [[1], [0, 0], [-1, 3], [3, -1], [195, 6]])
def test_runs_that_do_not_fit(wrong):
    with pytest.raises(ValueError, match="do not fit"):
        from_runs(wrong, 200)
