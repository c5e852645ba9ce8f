"""How often the 95 % intervals hold the truth, on simulated Poisson fields of known density.

Run `python benchmarks/interval_coverage.py [--fields N]`. It prints a table and fails (exit code 1) where
the interval of pit density holds the truth less often than promised. A quick version is in tests/published.
"""

from __future__ import annotations

import argparse
import sys
from dataclasses import dataclass

import numpy as np

from surfscan.estimates.counting import area_fraction_interval, density, edge_weights

PROMISED = 0.95


@dataclass(frozen=True)
class Coverage:
    """Share of the intervals given that held the truth, and the mean estimate over the truth."""

    held: float
    mean_over_truth: float


def poisson_boxes(
    rng: np.random.Generator, side: int, expected: float, extent: float, spread: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Boxes of log-normal extent thrown on the plane, as whole-pixel bounding boxes that reach the field.

    `expected` is the mean number of box centres inside the field of `side` by `side` pixels. A box holds the
    pixels whose centres it covers. Returns first rows, first columns, rows and columns.
    """
    margin = extent * np.exp(4 * spread)
    number = rng.poisson(expected * ((side + 2 * margin) / side) ** 2)
    centre = rng.uniform(-margin - 0.5, side + margin - 0.5, (2, number))
    half = 0.5 * extent * np.exp(rng.normal(0, spread, number)) * rng.uniform(0.7, 1.4, (2, number))
    first = np.ceil(centre - half).astype(np.int64)
    last = np.floor(centre + half).astype(np.int64)
    seen = np.all((last >= first) & (last >= 0) & (first < side), axis=0)
    first, size = first[:, seen], (last - first + 1)[:, seen]
    return first[0], first[1], size[0], size[1]


def mean_box_area(extent: float, spread: float) -> float:
    """Mean area of the boxes of `poisson_boxes`: both sides share the log-normal, the rest is independent."""
    return extent**2 * float(np.exp(2 * spread**2)) * 1.05**2


def density_coverage(
    seed: int, fields: int, side: int, expected: float, extent: float, spread: float
) -> Coverage:
    """Interval of pit density against the density the boxes were thrown with."""
    rng = np.random.default_rng(seed)
    truth = expected / side**2
    held, total = 0, 0.0
    for _ in range(fields):
        top, left, height, width = poisson_boxes(rng, side, expected, extent, spread)
        weights = edge_weights(top, left, height, width, frame=(0, side, 0, side)).weights
        estimate = density(weights, side**2)
        held += estimate.ci95 is not None and estimate.ci95[0] <= truth <= estimate.ci95[1]
        total += estimate.value or 0.0
    return Coverage(held / fields, total / fields / truth)


def area_fraction_coverage(
    seed: int, fields: int, side: int, expected: float, extent: float, spread: float
) -> Coverage:
    """Interval of the pitted area fraction against the fraction the boxes were thrown with."""
    rng = np.random.default_rng(seed)
    truth = expected / side**2 * mean_box_area(extent, spread)
    held, given, total = 0, 0, 0.0
    for _ in range(fields):
        top, left, height, width = poisson_boxes(rng, side, expected, extent, spread)
        rows = np.minimum(top + height, side) - np.maximum(top, 0)
        cols = np.minimum(left + width, side) - np.maximum(left, 0)
        estimate = area_fraction_interval(rows * cols, 2 * (rows + cols), side**2, edge_shift=0.0)
        if estimate.ci95 is not None:
            given += 1
            held += estimate.ci95[0] <= truth <= estimate.ci95[1]
        total += estimate.value or 0.0
    return Coverage(held / given, total / fields / truth)


CASES = (
    # side of the field, mean number of pits, mean extent and its log-normal spread
    (256, 3.0, 8.0, 0.2),
    (256, 10.0, 8.0, 0.5),
    (512, 10.0, 60.0, 0.3),
    (512, 40.0, 12.0, 0.5),
    (512, 150.0, 20.0, 0.3),
    (1024, 600.0, 12.0, 0.7),
)


def main() -> int:
    """Print coverage case by case; 1 where a density interval falls short."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--fields", type=int, default=4000, help="fields simulated for each case")
    fields = parser.parse_args().fields
    slack = 3 * np.sqrt(PROMISED * (1 - PROMISED) / fields)
    short = 0
    print("side_px  pits  extent_px  spread  density: held  mean/truth   area fraction: held  mean/truth")
    for seed, case in enumerate(CASES):
        by_count, by_area = density_coverage(seed, fields, *case), area_fraction_coverage(seed, fields, *case)
        short += by_count.held < PROMISED - slack
        print(
            f"{case[0]:7d} {case[1]:5.0f} {case[2]:10.0f} {case[3]:7.1f} {by_count.held:14.4f} "
            f"{by_count.mean_over_truth:11.4f} {by_area.held:21.4f} {by_area.mean_over_truth:11.4f}"
        )
    return 1 if short else 0


if __name__ == "__main__":
    sys.exit(main())
