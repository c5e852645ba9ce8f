"""Lines with errors in both directions."""

from __future__ import annotations

import numpy as np
import pytest

from surfscan.comparison.york import is_saturated, york_line

X = np.array([0.1, 0.4, 0.5, 0.8, 1.1, 1.3])


def _made(rng: np.random.Generator, n: int, scatter: float) -> tuple[np.ndarray, ...]:
    x = rng.uniform(0, 1, n)
    sx, sy = rng.uniform(0.02, 0.08, n), rng.uniform(0.05, 0.2, n)
    return x + rng.normal(0, sx), 1 + 2 * x + rng.normal(0, np.hypot(sy, scatter)), sx, sy


def test_points_on_a_line() -> None:
    line = york_line(X, 3 - 2 * X, np.full(6, 0.1), np.full(6, 0.2))
    assert line.slope == pytest.approx(-2.0) and line.intercept == pytest.approx(3.0)
    assert line.mswd == pytest.approx(0.0, abs=1e-20) and line.probability == pytest.approx(1.0)
    assert (line.n, line.left_out, line.x_range, line.refused) == (6, 0, (0.1, 1.3), "")


def test_without_errors_in_x_it_is_weighted_least_squares() -> None:
    rng = np.random.default_rng(1)
    sy = rng.uniform(0.1, 0.5, 6)
    y = 1 + X + rng.normal(0, sy)
    line = york_line(X, y, np.zeros(6), sy)
    (slope, intercept), cov = np.polyfit(X, y, 1, w=1 / sy, cov="unscaled")
    assert line.slope == pytest.approx(slope) and line.intercept == pytest.approx(intercept)
    assert line.slope_standard_error == pytest.approx(np.sqrt(cov[0, 0]))
    assert line.intercept_standard_error == pytest.approx(np.sqrt(cov[1, 1]))
    assert line.covariance == pytest.approx(cov[0, 1])


def test_exchanging_the_axes_gives_the_same_line() -> None:
    x, y, sx, sy = _made(np.random.default_rng(5), 9, 0.0)
    one, other = york_line(x, y, sx, sy), york_line(y, x, sy, sx)
    assert one.slope is not None and other.slope == pytest.approx(1 / one.slope, rel=1e-9)
    assert other.mswd == pytest.approx(one.mswd)


def test_units_do_not_matter() -> None:
    x, y, sx, sy = _made(np.random.default_rng(6), 9, 0.5)
    for own in (False, True):
        one = york_line(x, y, sx, sy, own_scatter=own)
        other = york_line(1e6 * x, 1e-3 * y, 1e6 * sx, 1e-3 * sy, own_scatter=own)
        assert one.slope is not None and one.slope_ci95 is not None
        assert other.slope == pytest.approx(one.slope * 1e-9, rel=1e-9)
        assert other.slope_ci95 == pytest.approx(np.array(one.slope_ci95) * 1e-9, rel=1e-7)
        assert other.scatter == pytest.approx(1e-3 * one.scatter, rel=1e-6)


def test_own_scatter_makes_the_mswd_one() -> None:
    x, y, sx, sy = _made(np.random.default_rng(2), 12, 0.5)
    plain, own = york_line(x, y, sx, sy), york_line(x, y, sx, sy, own_scatter=True)
    assert plain.mswd is not None and plain.mswd > 2 and own.mswd == plain.mswd
    again = york_line(x, y, sx, np.hypot(sy, own.scatter))
    assert again.mswd == pytest.approx(1.0, abs=1e-6) and again.slope == pytest.approx(own.slope)
    assert 0.2 < own.scatter < 1.0


def test_own_scatter_is_none_where_uncertainties_explain_all() -> None:
    rng = np.random.default_rng(2)
    y = 1 + X + rng.normal(0, 0.02, 6)
    line = york_line(X, y, np.full(6, 0.1), np.full(6, 0.1), own_scatter=True)
    assert line.mswd is not None and line.mswd < 1 and line.scatter == 0.0


def test_interval_of_the_line_is_narrowest_in_its_middle() -> None:
    x, y, sx, sy = _made(np.random.default_rng(8), 10, 0.0)
    line = york_line(x, y, sx, sy)
    assert line.middle is not None and line.slope_ci95 is not None and line.intercept_ci95 is not None
    at, low, high = line.at([line.middle[0] - 0.3, line.middle[0], line.middle[0] + 0.3])
    assert at[1] == pytest.approx(line.middle[1])
    width = high - low
    assert width[0] == pytest.approx(width[2]) and width[1] < width[0]
    _, low0, high0 = line.at(0.0)
    assert (low0, high0) == pytest.approx(line.intercept_ci95)


@pytest.mark.parametrize(("n", "scatter"), [(5, 0.0), (8, 0.2), (20, 0.3)])
def test_intervals_cover(n: int, scatter: float) -> None:
    """Of 200 made sets the 95 % interval of the slope, 2, and of the intercept, 1, holds 91 % or more."""
    rng = np.random.default_rng(3)
    slope = intercept = 0
    for _ in range(200):
        line = york_line(*_made(rng, n, scatter), own_scatter=True)
        assert line.slope_ci95 is not None and line.intercept_ci95 is not None
        slope += line.slope_ci95[0] <= 2 <= line.slope_ci95[1]
        intercept += line.intercept_ci95[0] <= 1 <= line.intercept_ci95[1]
    assert slope >= 182 and intercept >= 182


def test_points_that_are_not_known_are_left_out() -> None:
    y = 1 + X
    y[2] = np.nan
    line = york_line(X, y, np.full(6, 0.1), [0.1, 0.1, 0.1, 0.1, np.nan, 0.1])
    assert (line.n, line.left_out) == (4, 2)


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [
        ([1, 2, 3], [1, 2, 3], "3 points with intervals in both directions, 4 are needed"),
        ([], [], "0 points"),
        ([1, 1, 1, 1], [1, 2, 3, 4], "the same x"),
        ([1, 2, 3, 4], [2, 2, 2, 2], "the same y"),
    ],
)
def test_no_line(x: list[float], y: list[float], said: str) -> None:
    line = york_line(x, y, np.full(len(x), 0.1), np.full(len(x), 0.1))
    assert line.slope is None and said in line.refused
    with pytest.raises(ValueError, match="there is no line"):
        line.at(1.0)


def test_a_cloud_without_direction_gives_no_line_or_a_wide_one() -> None:
    angle = np.linspace(0, 2 * np.pi, 9)[:-1]
    line = york_line(np.cos(angle), np.sin(angle), np.full(8, 1.0), np.full(8, 1.0))
    assert line.refused or (line.slope_ci95 is not None and line.slope_ci95[0] < 0 < line.slope_ci95[1])


@pytest.mark.parametrize(
    ("sx", "sy", "r", "said"),
    [
        ([-0.1] * 4, [0.1] * 4, 0, "0 or above"),
        ([0.0] * 4, [0.0] * 4, 0, "not both 0"),
        ([0.1] * 4, [0.1] * 4, 1.0, "correlations"),
    ],
)
def test_nonsense_is_refused(sx: list[float], sy: list[float], r: float, said: str) -> None:
    with pytest.raises(ValueError, match=said):
        york_line([1, 2, 3, 4], [1, 2, 3, 5], sx, sy, r)
    with pytest.raises(ValueError, match="shape"):
        york_line(1.0, 2.0, 0.1, 0.1)


def test_saturated_fractions() -> None:
    assert is_saturated([0.2, 0.9, 0.91, np.nan]).tolist() == [False, False, True, False]
