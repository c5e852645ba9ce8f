"""How well `surfscan` finds pits, beside the plain scikit-image way, on the same pictures.

What: objects matched at IoU 0.5; F1, how its error 1 - F1 compares with the plain way's, and the
errors of total pit area and of pit count. How: `surfscan.procedures.measure_pits` with default
settings against `plain.label_pits`. On what: seeded synthetic micrographs of `synthetic.py`, 1024 x
1024, 12 of each family; seeds from --first-seed on, so that other pictures are one option away.

    python benchmarks/bench_accuracy.py [--images 12] [--first-seed 0] [--family clear ...] [--each]
"""

from __future__ import annotations

import argparse
import time

import numpy as np
import plain
import synthetic
from scoring import Score, score

from surfscan.images import Micrograph, Source
from surfscan.procedures import measure_pits

EMPTY = Score(0, 0, 0, 0, 0)
HEADER = f"{'':34}{'F1':>7}{'precision':>11}{'recall':>8}{'count':>9}{'area':>9}"


def find_pits(image: np.ndarray) -> np.ndarray:
    """surfscan's pit labels with default settings."""
    return measure_pits(Micrograph(image, None, Source("synthetic"))).masks["pits"]


def line(name: str, result: Score) -> str:
    """One row of the table."""
    return (
        f"{name:<34}{result.f1:>7.3f}{result.precision:>11.3f}{result.recall:>8.3f}"
        f"{result.count_error:>+9.1%}{result.area_error:>+9.1%}"
    )


def run_family(family: str, seeds: range, each: bool) -> None:
    """Score both ways on one family and print."""
    ours, theirs, seconds = EMPTY, EMPTY, [0.0, 0.0]
    off_count, off_area = [], []
    for seed in seeds:
        image, truth = synthetic.make_family(family, seed)
        started = time.perf_counter()
        found = find_pits(image)
        between = time.perf_counter()
        plainly = plain.label_pits(image)
        seconds[0] += between - started
        seconds[1] += time.perf_counter() - between
        own, other = score(found, truth), score(plainly, truth)
        ours, theirs = ours + own, theirs + other
        off_count.append(abs(own.count_error))
        off_area.append(abs(own.area_error))
        if each:
            print(line(f"  {family} {seed}: surfscan", own))
            print(line(f"  {family} {seed}: plain", other))
    print(line(f"{family} (n = {len(seeds)}): surfscan", ours))
    print(line(f"{family} (n = {len(seeds)}): plain", theirs))
    ratio = (1 - ours.f1) / (1 - theirs.f1) if theirs.f1 < 1 else float("nan")
    print(
        f"  error 1 - F1 is {ratio:.2f} times the plain way's; per image surfscan is off by "
        f"{np.median(off_count):.1%} in count and {np.median(off_area):.1%} in area (medians), at most "
        f"{max(off_count):.1%} and {max(off_area):.1%}; {seconds[0]:.1f} s against {seconds[1]:.1f} s"
    )


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--images", type=int, default=12, help="pictures of each family")
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--family", nargs="+", choices=synthetic.FAMILIES, default=synthetic.FAMILIES)
    parser.add_argument("--each", action="store_true", help="also one line per picture")
    options = parser.parse_args()
    print(HEADER)
    for family in options.family:
        run_family(family, range(options.first_seed, options.first_seed + options.images), options.each)


if __name__ == "__main__":
    main()
