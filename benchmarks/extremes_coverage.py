"""How often 95 % intervals of return levels hold the truth, on simulated block maxima of known distribution.

Run `python benchmarks/extremes_coverage.py [--sets N] [--quick]`. It prints a table and fails (exit code 1)
where an interval that is promised (Gumbel from 20 blocks, GEV from 50, complete or 30 % censored) holds the
truth in less than 92 or more than 98 % of the sets (with a margin where they are under 1000). The rest of the
table says what fewer blocks do, what the uncalibrated profile likelihood and L-moments do, and what Gumbel,
and "auto", which tests first, do where the truth is not Gumbel.

Censoring: "random" hides the floor of a pit at a depth independent of the pit's own; "range" hides all that
lies beyond one depth, as the end of a focus range does; "shadow" hides the lowest part of 30 % of the pits,
whatever their depth, so that the bound follows the depth and is not what likelihood assumes.
"""

from __future__ import annotations

import argparse
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import numpy as np

from surfscan.estimates.extremes import fit_maxima, level_intervals
from surfscan.estimates.gumbel import return_variate
from surfscan.estimates.maxima_likelihood import AT_LEAST, MEASURED, fit_batch, level_factor
from surfscan.estimates.maxima_profile import (
    gumbel_p_value,
    pattern_of,
    profile_limits,
    signed_root_limits,
)
from surfscan.procedures.extremes import TEST_LEVEL

RETURN_PERIODS = (10, 100, 1000)
HELD = (0.92, 0.98)
NORMAL = 1.959963984540054
LOCATION, SCALE = 20.0, 4.0


@dataclass(frozen=True)
class Case:
    """Sets of so many blocks with a true shape, fitted by a model; `promised` ones decide the exit code."""

    model: str
    blocks: int
    shape: float
    censoring: str = "none"
    how: str = "calibrated"
    promised: bool = False
    share: float = 1.0


@dataclass(frozen=True)
class Coverage:
    """Shares of sets, one for each return period, and the median width of the interval over the truth."""

    held: tuple[float, ...]
    above: tuple[float, ...]
    width: tuple[float, ...]
    seconds: float


def cases(quick: bool) -> list[Case]:
    """The table's rows."""
    found = [Case("gumbel", n, 0.0, promised=n >= 20) for n in (8, 10, 15, 20, 50)]
    found += [Case("gev", 50, xi, promised=True) for xi in (-0.2, -0.1, 0.0, 0.1)]
    found += [Case("gumbel", 20, 0.0, "range", promised=True)]
    if quick:
        return found
    found += [Case("gumbel", n, 0.0, how="plain") for n in (8, 20)]
    found += [Case("gumbel", 20, 0.0, how="lmoments")]
    found += [Case("gev", 50, xi, how="plain") for xi in (-0.1, 0.1)]
    found += [Case("gev", 50, xi, how="lmoments") for xi in (-0.2, 0.0, 0.1)]
    found += [Case("gev", 30, xi) for xi in (-0.2, 0.0, 0.1)]
    found += [Case("gumbel", n, xi) for n in (20, 50) for xi in (-0.2, -0.1, 0.1)]
    found += [Case("auto", 50, xi) for xi in (-0.2, -0.1, 0.0, 0.1)]
    found += [Case("gumbel", 20, 0.0, "random", promised=True), Case("gumbel", 20, 0.0, "shadow", share=0.3)]
    found += [Case("gev", 50, xi, "range", promised=True) for xi in (-0.1, 0.1)]
    found += [Case("gev", 50, -0.1, "random", promised=True, share=0.3)]
    return found


def draw(case: Case, sets: int, seed: int) -> tuple[np.ndarray, np.ndarray]:
    """Values and kinds, each of shape (sets, blocks); about 30 % of the values are bounds where censored."""
    rng = np.random.default_rng(seed)
    shape = (sets, case.blocks)
    depth = LOCATION + SCALE * level_factor(rng.gumbel(size=shape), case.shape)
    if case.censoring == "none":
        return depth, np.full(shape, MEASURED)
    if case.censoring == "range":
        limit = np.full(shape, LOCATION + SCALE * float(level_factor(return_variate(1 / 0.3), case.shape)))
    elif case.censoring == "random":
        limit = LOCATION + SCALE * level_factor(rng.gumbel(size=shape) + np.log(7 / 3), case.shape)
    else:
        limit = depth * np.where(rng.random(shape) < 0.3, rng.uniform(0.7, 1.0, shape), 1.0)
    return np.minimum(depth, limit), np.where(limit < depth, AT_LEAST, MEASURED)


def intervals(case: Case, values: np.ndarray, kinds: np.ndarray, variate: float) -> np.ndarray:
    """Interval of each set, shape (sets, 2), by the package's own functions."""
    gumbel = case.model == "gumbel"
    if case.model == "auto":
        both = [intervals(replace(case, model=model), values, kinds, variate) for model in ("gumbel", "gev")]
        narrow, wide = (fit_batch(values, kinds, gumbel=g).log_likelihood for g in (True, False))
        chances = zip(values, kinds, 2 * (wide - narrow), strict=True)
        rejected = np.array([gumbel_p_value(x, what, ratio) < TEST_LEVEL for x, what, ratio in chances])
        return np.where(rejected[:, None], both[1], both[0])
    if case.how == "lmoments":
        fits = [fit_maxima(x, what, case.model, "lmoments") for x, what in zip(values, kinds, strict=True)]
        at = np.array([variate])
        return np.array(
            [level_intervals(x, w, f, at, variate)[0] for x, w, f in zip(values, kinds, fits, strict=True)]
        )
    fit = fit_batch(values, kinds, variate, gumbel=gumbel)
    if case.how == "plain":
        targets = np.tile([-NORMAL, NORMAL], (len(values), 1))
    else:
        targets = np.array(
            [
                signed_root_limits(pattern_of(x, w), variate, gumbel)
                for x, w in zip(values, kinds, strict=True)
            ]
        )
    ends = [profile_limits(values, kinds, variate, fit, targets[:, side], gumbel=gumbel) for side in (1, 0)]
    return np.column_stack(ends)


def coverage(case: Case, sets: int, seed: int = 1) -> Coverage:
    """Simulate one row of the table."""
    began = time.perf_counter()
    values, kinds = draw(case, max(50, round(sets * case.share)), seed)
    enough = (kinds == MEASURED).sum(axis=1) >= 5
    values, kinds = values[enough], kinds[enough]
    if case.how == "calibrated" and case.model != "auto":
        for x, what in zip(values, kinds, strict=True):
            pattern = pattern_of(x, what)
            for period in RETURN_PERIODS:  # one after the other: they share the simulated sets kept last
                signed_root_limits(pattern, return_variate(period), case.model == "gumbel")
    held, above, width = [], [], []
    for period in RETURN_PERIODS:
        variate = return_variate(period)
        truth = LOCATION + SCALE * float(level_factor(variate, case.shape))
        low, high = intervals(case, values, kinds, variate).T
        held.append(float(((low <= truth) & (truth <= high)).mean()))
        above.append(float((truth > high).mean()))
        width.append(float(np.median(high - low)) / truth)
    return Coverage(tuple(held), tuple(above), tuple(width), time.perf_counter() - began)


def main() -> int:
    """Print coverage row by row; 1 where a promised interval falls out of the range."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--sets", type=int, default=1000, help="sets simulated for a row")
    parser.add_argument("--quick", action="store_true", help="only the main rows")
    parser.add_argument("--workers", type=int, default=2)
    given = parser.parse_args()
    rows = cases(given.quick)
    print("T = 10, 100, 1000: held = truth inside; above = truth above the interval; width over the truth")
    failed = 0
    with ProcessPoolExecutor(given.workers) as pool:
        for case, result in zip(rows, pool.map(coverage, rows, [given.sets] * len(rows)), strict=True):
            sets = given.sets * case.share
            slack = 2 * np.sqrt(0.95 * 0.05 / sets) if sets < 1000 else 0.0
            out = [not HELD[0] - slack <= share <= HELD[1] + slack for share in result.held]
            failed += case.promised and any(out)
            triples = (
                " ".join(f"{100 * share:5.1f}" for share in shares)
                for shares in (result.held, result.above, result.width)
            )
            print(
                f"{case.model:6s} {case.blocks:3d} blocks, shape {case.shape:4.1f}, "
                f"censored {case.censoring:6s} {case.how:10s} {'promised' if case.promised else '        '} "
                + "  held {} %  above {} %  width {} %".format(*triples)
                + f"  {result.seconds:4.0f} s",
                flush=True,
            )
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
