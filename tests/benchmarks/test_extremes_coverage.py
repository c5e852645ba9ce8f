"""The coverage study counts what it says: true distribution, censoring, and intervals of the package."""

import numpy as np
import pytest
from extremes_coverage import LOCATION, SCALE, Case, cases, coverage, draw, intervals

from surfscan.estimates.extremes import fit_maxima, level_intervals
from surfscan.estimates.gumbel import return_variate
from surfscan.estimates.maxima_likelihood import AT_LEAST, MEASURED


@pytest.mark.parametrize("censoring", ["random", "range", "shadow"])
def test_thirty_per_cent_are_bounds(censoring):
    values, kinds = draw(Case("gumbel", 20, -0.1, censoring), 500, 1)
    whole, _ = draw(Case("gumbel", 20, -0.1), 500, 1)
    assert np.mean(kinds == AT_LEAST) == pytest.approx(0.3, abs=0.02)
    if censoring != "shadow":
        assert (values <= whole + 1e-9).all()
    assert (values[kinds == MEASURED] > LOCATION - 3 * SCALE).all()


@pytest.mark.parametrize("model", ["gumbel", "gev"])
def test_intervals_of_a_batch_are_those_of_the_package(model):
    case = Case(model, 30, 0.0)
    values, kinds = draw(case, 3, 1)
    y = return_variate(100)
    batch = intervals(case, values, kinds, y)
    for x, what, ends in zip(values, kinds, batch, strict=True):
        fit = fit_maxima(x, what, model, "likelihood")
        assert level_intervals(x, what, fit, np.array([y]), y)[0] == pytest.approx(ends, rel=1e-6)


def test_plain_intervals_of_few_blocks_miss_too_often():
    """The study can tell: uncalibrated intervals of 8 blocks fall short, calibrated ones do not."""
    plain, calibrated = (coverage(Case("gumbel", 8, 0.0, how=how), 2000) for how in ("plain", "calibrated"))
    assert max(plain.held) < 0.935
    assert min(calibrated.held) > 0.935
    assert min(plain.above) > max(calibrated.above)


def test_promises_are_among_the_rows():
    """Gumbel from 20 blocks and GEV at 50, over four shapes, complete and censored."""
    promised = [case for case in cases(quick=False) if case.promised]
    assert {case.shape for case in promised if case.model == "gev"} == {-0.2, -0.1, 0.0, 0.1}
    assert min(case.blocks for case in promised if case.model == "gumbel") == 20
    assert {"none", "range", "random"} <= {case.censoring for case in promised}
