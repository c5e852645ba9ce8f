"""How well and how fast `surfscan` measures strut widths.

What: on single curved struts the error of the mean and of the least width, of every station (in units of its
uncertainty), and the same for a plain scikit-image way; on meshes at any angle how often a strut between two
junctions is found exactly once, and the error of each mean width. Then hard cases by name, and speed of
silhouette, centrelines and stations together against the plain way, alternating, minima. How: default
settings. On what: seeded pictures of `synthetic_struts.py`, blur 0.5 to 2 px, noise to 5 % of the contrast.

    python benchmarks/bench_struts.py [--struts 200] [--meshes 24] [--first-seed 5000]
    python benchmarks/bench_struts.py --speed [--size 4096] [--repeat 3]
"""

from __future__ import annotations

import argparse
import os
import platform
import time
from dataclasses import dataclass

import numpy as np
from plain_struts import PlainStruts, measure_plain
from synthetic_struts import SyntheticMesh, SyntheticStrut, curved_strut, mesh

from surfscan.measurement.stations import Stations, place_stations
from surfscan.segmentation.centrelines import Centrelines, find_centrelines
from surfscan.segmentation.silhouette import find_silhouette

NEAR_MIDDLE = 0.35
"""A strut is found where the middle of a line lies within this share of its length from its own middle."""

HARD = {
    "notched": {"notches": 4},
    "notch of 40 %": {"notches": 0, "deep_notch": 0.4},
    "notch of 60 %": {"notches": 0, "deep_notch": 0.6},
    "ragged": {"ragged_px": 1.5},
    "glints": {"glints": 5},
    "noise 10 %": {"noise": 0.1},
    "light uneven by 60 %": {"uneven": 0.6},
    "product 8 px at 30 %": {"product_px": 8.0, "product_level": 0.3},
    "product 8 px at 50 %": {"product_px": 8.0, "product_level": 0.5},
    "product 8 px at 70 %": {"product_px": 8.0, "product_level": 0.7},
    "product 3 px at 50 %": {"product_px": 3.0, "product_level": 0.5},
}


def measured(pixels: np.ndarray, polarity: str = "auto") -> tuple[Centrelines, Stations]:
    """Centrelines and stations of a picture."""
    silhouette = find_silhouette(pixels, polarity=polarity)
    centrelines = find_centrelines(silhouette.solid)
    return centrelines, place_stations(silhouette, centrelines)


@dataclass(frozen=True)
class StrutErrors:
    """Errors on one strut, px; `scatter` is the standard deviation of station errors over uncertainties."""

    mean: float
    least: float
    scatter: float


def true_width_at(made: SyntheticStrut, row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """True width at the point of the true centreline nearest to each position."""
    from scipy.spatial import cKDTree

    _, nearest = cKDTree(np.column_stack([made.row, made.col])).query(np.column_stack([row, col]))
    return made.width_px[nearest]


def strut_errors(made: SyntheticStrut, found: Stations) -> StrutErrors:
    """Errors over the stations that count."""
    counts = found.fault == ""
    truth = true_width_at(made, found.row[counts], found.col[counts])
    error = found.width[counts] - truth
    return StrutErrors(
        float(error.mean()),
        float(found.width[counts].min() - truth.min()),
        float(np.std(error - error.mean()) / np.median(found.uncertainty[counts])),
    )


def plain_errors(made: SyntheticStrut, found: PlainStruts) -> tuple[float, float]:
    """Errors of the mean width, of twice the distance and of profiles, 20 px clear of the frame."""
    rows, cols = made.pixels.shape
    clear = (np.minimum(found.row, rows - 1 - found.row) > 20) & (
        np.minimum(found.col, cols - 1 - found.col) > 20
    )
    truth = true_width_at(made, found.row[clear], found.col[clear])
    axis, profile = found.axis_width[clear] - truth, found.profile_width[clear] - truth
    return float(axis.mean()), float(np.nanmean(profile))


def mesh_errors(
    made: SyntheticMesh, centrelines: Centrelines, found: Stations
) -> tuple[np.ndarray, np.ndarray]:
    """How often each true strut was found, and the error of its mean width where once, px; shape (S,)."""
    middle = 0.5 * (made.ends[:, :2] + made.ends[:, 2:])
    length = np.hypot(*(made.ends[:, 2:] - made.ends[:, :2]).T)
    lines = [centrelines.points(k) for k in range(1, centrelines.n + 1)]
    own = np.array([(row[len(row) // 2], col[len(col) // 2]) for row, col in lines])
    away = np.hypot(*(own[:, None] - middle[None]).transpose(2, 0, 1))
    hits = away < NEAR_MIDDLE * length
    times = hits.sum(axis=0)
    error = np.full(len(length), np.nan)
    for k in np.flatnonzero(times == 1):
        part = found.of(int(np.argmax(hits[:, k])) + 1)
        counts = found.fault[part] == ""
        if counts.any():
            error[k] = found.width[part][counts].mean() - made.width_px[k]
    return times, error


def drawn_mesh(seed: int) -> tuple[SyntheticMesh, str]:
    """A mesh with everything about it drawn."""
    rng = np.random.default_rng(seed + 1000)
    polarity = str(rng.choice(["dark", "light"]))
    made = mesh(
        seed,
        crossing_deg=float(rng.choice([90, 90, 60, 75, 45])),
        polarity=polarity,
        blur=float(rng.uniform(0.5, 2)),
        noise=float(rng.uniform(0, 0.05)),
        cell_px=float(rng.uniform(110, 200)),
    )
    return made, polarity


def _line(name: str, errors: list[StrutErrors], failed: int) -> str:
    mean, least = np.array([e.mean for e in errors]), np.array([e.least for e in errors])
    return (
        f"{name:24}{len(errors):>6}{failed:>8}{mean.mean():>+9.3f}{np.abs(mean).max():>9.3f}"
        f"{np.mean(np.abs(mean) <= 0.3):>8.1%}{least.mean():>+9.3f}{np.abs(least).max():>9.3f}"
        f"{np.mean(np.abs(least) <= 1.5):>8.1%}{np.median([e.scatter for e in errors]):>9.2f}"
    )


def run_struts(name: str, seeds: range, **given: float) -> None:
    """Score single struts and print a line."""
    errors, failed = [], 0
    for seed in seeds:
        made = curved_strut(seed, **given)
        try:
            centrelines, found = measured(made.pixels)
        except ValueError:
            failed += 1
            continue
        failed += centrelines.n != 1
        errors.append(strut_errors(made, found))
    print(_line(name, errors, failed))


def run_plain(seeds: range) -> None:
    """Score the plain way on the same struts."""
    both = []
    for seed in seeds:
        made = curved_strut(seed)
        both.append(plain_errors(made, measure_plain(made.pixels, made.polarity)))
    for name, values in zip(("plain, distance", "plain, profiles"), np.array(both).T, strict=True):
        print(
            f"{name:24}{len(values):>6}{'':8}{values.mean():>+9.3f}{np.abs(values).max():>9.3f}"
            f"{np.mean(np.abs(values) <= 0.3):>8.1%}"
        )


def run_meshes(seeds: range) -> None:
    """Score meshes and print a line."""
    times, errors, wrong = [], [], 0
    for seed in seeds:
        made, polarity = drawn_mesh(seed)
        silhouette = find_silhouette(made.pixels)
        wrong += silhouette.polarity != polarity
        centrelines = find_centrelines(silhouette.solid)
        t, e = mesh_errors(made, centrelines, place_stations(silhouette, centrelines))
        times.append(t)
        errors.append(e)
    t, e = np.concatenate(times), np.concatenate(errors)
    print(
        f"meshes: {len(seeds)}, polarity wrong in {wrong}; struts between junctions: {len(t)}, found once "
        f"{np.mean(t == 1):.1%}, missed {np.sum(t == 0)}, more than once {np.sum(t > 1)}\n"
        f"        mean width: mean error {np.nanmean(e):+.3f} px, largest {np.nanmax(np.abs(e)):.3f} px, "
        f"without a width {np.sum(np.isnan(e))}"
    )


def run_speed(size: int, repeat: int) -> None:
    """Time the whole measurement against the plain way on a mesh."""
    made = mesh(5, shape=(size, size), cell_px=240, width_px=(40, 80), noise=0.03)
    ours, plain = [], []
    for _ in range(repeat):
        start = time.perf_counter()
        _, found = measured(made.pixels)
        ours.append(time.perf_counter() - start)
        start = time.perf_counter()
        measure_plain(made.pixels, "dark")
        plain.append(time.perf_counter() - start)
    print(
        f"{size} x {size} mesh, {found.n_struts} struts, {len(found.s)} stations: {min(ours):.2f} s, "
        f"plain {min(plain):.2f} s, ratio {min(plain) / min(ours):.1f} "
        f"({platform.machine()}, {os.cpu_count()} cores)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--struts", type=int, default=200)
    parser.add_argument("--meshes", type=int, default=24)
    parser.add_argument("--first-seed", type=int, default=5000)
    parser.add_argument("--speed", action="store_true", help="time it only")
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--repeat", type=int, default=3)
    args = parser.parse_args()
    if not args.speed:
        print(
            f"{'family':24}{'struts':>6}{'failed':>8}{'mean':>9}{'largest':>9}{'<= 0.3':>8}{'least':>9}"
            f"{'largest':>9}{'<= 1.5':>8}{'scatter':>9}"
        )
        run_struts("curved", range(args.first_seed, args.first_seed + args.struts))
        run_plain(range(args.first_seed, args.first_seed + args.struts // 4))
        for name, given in HARD.items():
            run_struts(name, range(args.first_seed, args.first_seed + args.struts // 8), **given)
        run_meshes(range(args.first_seed, args.first_seed + args.meshes))
    run_speed(args.size, args.repeat)


if __name__ == "__main__":
    main()
