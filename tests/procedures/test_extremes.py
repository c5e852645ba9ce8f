"""From block maxima to the whole part: figures, plot, warnings, refusals."""

import math

import numpy as np
import pytest

from surfscan.errors import InputError
from surfscan.images import Source
from surfscan.procedures.extremes import ADVISED_BLOCKS, FEWEST_BLOCKS, analyse_maxima

DEPTHS = 20 + 4 * np.random.default_rng(1).gumbel(size=40)
HEAVY = 20 * np.exp(0.7 * np.random.default_rng(1).gumbel(size=40))


def _analysed(values=DEPTHS, **changed):
    return analyse_maxima(values, **{"block_area_mm2": 2.0, "part_area_mm2": 200.0, **changed})


def test_return_period_is_the_ratio_of_areas():
    result = _analysed()
    assert result.return_period == 100
    assert result.return_level == pytest.approx(result.fit.location + result.fit.scale * 4.60015, rel=1e-6)
    low, high = result.return_level_ci95
    assert low < result.return_level < high
    assert result.part_exceeds_fraction == pytest.approx(1 - 0.99**100)


def test_dictionary_has_the_contract_keys():
    found = _analysed(source=Source("maxima.csv", "ab")).as_dict()
    keys = {"source", "settings", "warnings", "fit", "return_level", "return_level_ci95", "probability_plot"}
    assert keys | {"version"} <= set(found)
    assert found["source"]["path"] == "maxima.csv" and found["source"]["sha256"] == "ab"
    assert found["fit"]["model"] == "gumbel" and found["fit"]["shape"] == 0
    assert len(found["fit"]["standard_errors"]) == 2
    assert found["gumbel_test"]["rejected"] is False


def test_same_input_same_output():
    assert _analysed().as_dict() == _analysed().as_dict()


def test_plot_has_a_row_a_block():
    """Ascending values at i / (n + 1), with variate, line and band; the line runs out to T."""
    result = _analysed()
    assert [row.value for row in result.plot] == sorted(DEPTHS)
    assert [row.plotting_position for row in result.plot] == pytest.approx(np.arange(1, 41) / 41)
    for row in result.plot:
        assert row.reduced_variate == pytest.approx(-math.log(-math.log(row.plotting_position)))
        assert row.fitted == pytest.approx(float(result.fit.level(row.reduced_variate)))
        assert row.fitted_ci95[0] < row.fitted < row.fitted_ci95[1]
        assert not row.censored
    last = result.line[-1]
    assert last.plotting_position == pytest.approx(0.99)
    assert last.fitted == pytest.approx(result.return_level)
    assert last.fitted_ci95 == result.return_level_ci95


def test_line_covers_the_blocks_where_the_part_is_small():
    result = _analysed(part_area_mm2=20.0)
    assert result.line[-1].reduced_variate >= result.plot[-1].reduced_variate
    at = [row for row in result.line if row.fitted == result.return_level]
    assert at[0].fitted_ci95 == result.return_level_ci95


def test_bounds_are_marked_and_have_no_place():
    censored = np.arange(40) % 5 == 0
    result = _analysed(censored=censored)
    assert (result.measured, result.lower_bounds, result.upper_bounds) == (32, 8, 0)
    marked = [row for row in result.plot if row.censored]
    assert sorted(row.value for row in marked) == pytest.approx(sorted(DEPTHS[censored]))
    assert all(row.kind == "at least" and row.plotting_position is None for row in marked)
    assert any("8 of 40 maxima are lower bounds" in w for w in result.warnings)
    assert result.return_level > _analysed().return_level


def test_block_without_pits_is_below_the_detection_limit():
    """It counts as below the limit, not as a depth of 0; a mark of one's own does the same."""
    values = np.sort(DEPTHS)
    limit = float(values[3]) + 1e-9
    zeros, below = values.copy(), np.arange(40) < 4
    zeros[:4] = 0
    by_limit = _analysed(zeros, detection_limit=limit)
    marked = values.copy()
    marked[:4] = limit
    by_mark = _analysed(marked, below=below)
    assert by_limit.upper_bounds == by_mark.upper_bounds == 4
    assert by_limit.return_level == by_mark.return_level
    assert by_limit.return_level == pytest.approx(_analysed().return_level, rel=0.06)
    with pytest.raises(InputError, match="no pit found is not a depth of 0"):
        _analysed(zeros)


def test_auto_takes_gumbel_unless_rejected():
    assert _analysed().fit.model == "gumbel"
    heavy = _analysed(HEAVY)
    assert heavy.fit.model == "gev"
    assert any("Gumbel was rejected" in w for w in heavy.warnings)
    assert any("does not describe" in w for w in _analysed(HEAVY, model="gumbel").warnings)


def test_auto_stays_with_gumbel_where_blocks_are_too_few_for_gev():
    few = _analysed(np.sort(HEAVY)[::2])
    assert few.fit.model == "gumbel"
    assert any("GEV needs at least 30" in w for w in few.warnings)


def test_level_with_the_shape_left_free():
    """It stands beside Gumbel's where blocks suffice for GEV, and is the level itself where GEV was taken."""
    beside = _analysed(model="gumbel").as_dict()["free_shape"]
    gev = _analysed(model="gev")
    assert beside["return_level"] == pytest.approx(gev.return_level)
    assert beside["return_level_ci95"] == pytest.approx(gev.return_level_ci95, rel=1e-6)
    assert beside["shape"] == gev.fit.shape
    assert _analysed(DEPTHS[:20]).as_dict()["free_shape"]["return_level_ci95"] is None


def test_level_that_hangs_on_gumbel_is_warned_about():
    """A tail a little short of Gumbel passes the test, but far out it matters."""
    short = (1 - np.exp(-0.15 * np.random.default_rng(2).gumbel(size=40))) / 0.15
    result = _analysed(20 + 4 * short, model="gumbel", part_area_mm2=900.0)
    assert any("hangs on Gumbel" in w for w in result.warnings)
    assert not any("hangs on Gumbel" in w for w in _analysed().warnings)


def test_many_blocks_are_quick():
    """No simulation is needed there, and nothing grows with the square of their number."""
    values = 20 + 4 * np.random.default_rng(3).gumbel(size=1500)
    result = _analysed(values, censored=np.arange(1500) % 3 == 0)
    assert len(result.plot) == 1500
    assert result.gumbel.p_value < 0.05 or result.fit.model == "gumbel"


def test_lmoments():
    result = _analysed(method="lmoments")
    assert result.fit.method == "lmoments"
    assert result.return_level == pytest.approx(_analysed().return_level, rel=0.05)
    assert result.return_level_standard_error is None
    with pytest.raises(InputError, match="L-moments take measured maxima only"):
        _analysed(method="lmoments", censored=np.arange(40) == 3)


@pytest.mark.parametrize("model", ["gumbel", "gev"])
def test_fewest_blocks(model):
    """One less is refused; from there to the advised number a warning stands."""
    fewest = FEWEST_BLOCKS[model]
    with pytest.raises(InputError, match=f"{fewest - 1} measured maxima are too few"):
        _analysed(DEPTHS[: fewest - 1], model=model)
    assert any("advised" in w for w in _analysed(DEPTHS[:fewest], model=model).warnings)
    assert fewest < ADVISED_BLOCKS[model]


def test_bounds_do_not_count_as_measured():
    with pytest.raises(InputError, match="7 measured maxima are too few"):
        _analysed(DEPTHS[:12], censored=np.arange(12) < 5)


@pytest.mark.parametrize(
    ("spoilt", "said"),
    [
        ({3: math.nan}, "value 4 of 40 .* not a finite number"),
        ({5: math.inf}, "not a finite number"),
        ({0: -1.0}, "negative"),
    ],
)
def test_values_that_are_no_depths(spoilt, said):
    values = DEPTHS.copy()
    for at, value in spoilt.items():
        values[at] = value
    with pytest.raises(InputError, match=said):
        _analysed(values)


def test_equal_values_are_refused():
    with pytest.raises(InputError, match="equal values have no distribution"):
        _analysed(np.full(40, 7.5))


@pytest.mark.parametrize(
    ("areas", "said"),
    [
        ({"part_area_mm2": 1.0}, "not larger than one block"),
        ({"part_area_mm2": 2.0}, "not larger than one block"),
        ({"part_area_mm2": math.inf}, "part area is inf"),
        ({"block_area_mm2": 0.0}, "block area is 0.0"),
        ({"block_area_mm2": math.nan}, "block area is nan"),
    ],
)
def test_areas_that_make_no_sense(areas, said):
    with pytest.raises(InputError, match=said):
        _analysed(**areas)


def test_wrong_marks():
    flags = np.arange(40) == 2
    with pytest.raises(InputError, match="a lower and as an upper bound"):
        _analysed(censored=flags, below=flags)
    with pytest.raises(InputError, match="below the detection limit"):
        _analysed(censored=DEPTHS.min() == DEPTHS, detection_limit=float(DEPTHS.min()) + 1)
    with pytest.raises(InputError, match="detection limit is 0"):
        _analysed(detection_limit=0)
    with pytest.raises(ValueError, match="flags must match"):
        _analysed(censored=[True])
    with pytest.raises(ValueError, match="one-dimensional"):
        _analysed(DEPTHS.reshape(2, 20))


@pytest.mark.parametrize(
    ("part", "said"),
    [
        (2000.0, "beyond the practical limit of 500"),
        (6000.0, "% of the part's area was inspected"),
        (3.0, "two blocks"),
    ],
)
def test_extrapolation_is_warned_about(part, said):
    assert any(said in w for w in _analysed(part_area_mm2=part, block_area_mm2=2.0).warnings)
    assert not any(said in w for w in _analysed().warnings)


def test_deepest_known_only_from_below():
    result = _analysed(censored=DEPTHS.max() == DEPTHS)
    assert any("The deepest maximum is a lower bound" in w for w in result.warnings)
    most = _analysed(censored=np.sort(DEPTHS)[15] < DEPTHS)
    assert any("More than half" in w for w in most.warnings)
