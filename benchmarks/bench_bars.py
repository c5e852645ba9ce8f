"""How many drawn scale bars are found, how well their ends, and how much else is taken for one.

Run: python benchmarks/bench_bars.py [--images 200] [--first-seed 0]
"""

from __future__ import annotations

import argparse
import math
import time
from dataclasses import dataclass

import numpy as np
import synthetic_bars
from synthetic_bars import BarPicture, DrawnBar

from surfscan.calibration.bars import Bar, find_bars


@dataclass(frozen=True)
class BarScore:
    """What one run over drawn bars gave; errors are those of both ends of the bars found, px.

    Of an end with a tick the error is that against its centre or its outer edge, whichever is larger.
    """

    found: int
    known: int
    end_errors_px: np.ndarray
    end_uncertainties_px: np.ndarray
    missed: tuple[int, ...]


def matches(bar: Bar, drawn: DrawnBar) -> bool:
    """Whether `bar` is the drawn one: its row, both ends within 3 px."""
    return (
        abs(bar.row_px - drawn.row_px) <= 1 + drawn.thickness_px / 4
        and abs(bar.col_start_px - drawn.col_start_px) <= 3
        and abs(bar.col_end_px - drawn.col_end_px) <= 3
    )


def score_drawn(pictures: list[tuple[int, BarPicture]]) -> BarScore:
    """Whether the best candidate of each picture is its bar, and how far its ends are off."""
    errors, uncertainties, missed = [], [], []
    for seed, picture in pictures:
        bars, drawn = find_bars(picture.pixels), picture.bars[0]
        if not bars or not matches(bars[0], drawn):
            missed.append(seed)
            continue
        for outwards in (drawn.col_start_px - bars[0].col_start_px, bars[0].col_end_px - drawn.col_end_px):
            errors.append(max(outwards, outwards - drawn.tick_width_px / 2, key=abs))
        ticks = bars[0].tick_width_px / 4 / math.sqrt(3)
        uncertainties += [math.hypot(bars[0].end_uncertainty_px, ticks)] * 2
    n = len(pictures)
    return BarScore(n - len(missed), n, np.array(errors), np.array(uncertainties), tuple(missed))


def false_bars(pictures: list[tuple[int, BarPicture]]) -> list[tuple[int, Bar]]:
    """Everything found on pictures without a bar, with the seed of its picture."""
    return [(seed, bar) for seed, picture in pictures for bar in find_bars(picture.pixels)]


def shortest_time(pixels: np.ndarray, repeat: int) -> float:
    """Seconds that `find_bars` takes, the shortest of `repeat` runs."""
    best = np.inf
    for _ in range(repeat):
        started = time.perf_counter()
        find_bars(pixels)
        best = min(best, time.perf_counter() - started)
    return best


def report_drawn(pictures: list[tuple[int, BarPicture]]) -> None:
    """Print found share and end errors, over all and by place."""
    groups: dict[str, list[tuple[int, BarPicture]]] = {"all": pictures}
    for seed, picture in pictures:
        groups.setdefault(str(picture.style["place"]), []).append((seed, picture))
    for name, group in groups.items():
        score = score_drawn(group)
        off = np.abs(score.end_errors_px)
        inside = np.mean(off <= 1.96 * score.end_uncertainties_px) if off.size else np.nan
        median, high = np.percentile(off, (50, 95)) if off.size else (np.nan, np.nan)
        print(
            f"{name:12s} {score.found:4d} of {score.known:4d} ({score.found / score.known:.1%}); ends off by "
            f"{median:.2f} px (median), {high:.2f} px (95 %); {inside:.1%} within 1.96 u"
        )
        if name == "all":
            print(f"  missed seeds: {', '.join(map(str, score.missed)) or 'none'}")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--images", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=0)
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.images)
    report_drawn([(seed, synthetic_bars.bar_picture(seed)) for seed in seeds])
    barless = [(seed, synthetic_bars.barless_picture(seed)) for seed in seeds]
    wrong = false_bars(barless)
    print(
        f"without a bar: {len(wrong)} taken for one, on {len({s for s, _ in wrong})} "
        f"of {len(barless)} pictures"
    )
    for seed, bar in wrong:
        print(f"  seed {seed}: {bar.length_px:.0f} px at row {bar.row_px:.0f}, evidence {bar.evidence:.2f}")
    grey = synthetic_bars.ground("granular", 1, (4096, 4096))
    seconds = [shortest_time(pixels, 5) for pixels in (grey, np.dstack([grey] * 3))]
    print(f"4096 x 4096: grey {seconds[0]:.3f} s, colour {seconds[1]:.3f} s")


if __name__ == "__main__":
    main()
