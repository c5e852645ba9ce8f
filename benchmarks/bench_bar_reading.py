"""How many drawn scale bars are found, read and taken for the scale, and whether any is taken wrongly.

Run: python benchmarks/bench_bar_reading.py [--images 200] [--first-seed 0]

Wrong is a scale that was taken without a person having looked and is off by more than 2 %, by the centres of
end ticks or by their outer edges. Pictures with two
bars of different scales and pictures without a bar must give no scale.
"""

from __future__ import annotations

import argparse
import time
from collections import Counter
from dataclasses import dataclass, field

import synthetic_bars
from synthetic_bars import BarPicture

from surfscan.calibration.bar_scale import ScaleReading, read_scale

OFF = 0.02
"""Relative error of the pixel size from which a scale is wrong."""


@dataclass
class ReadScore:
    """Outcome of one run.

    Attributes
    ----------
    outcomes : Counter
        "taken", "wrong", "offered" (a reading below acceptance), "no label", "no bar".
    seeds : dict
        Outcome -> seeds of its pictures, for all but "taken".
    seconds : list of float
        Time of each reading.
    """

    outcomes: Counter[str] = field(default_factory=Counter)
    seeds: dict[str, list[int]] = field(default_factory=dict)
    seconds: list[float] = field(default_factory=list)


def outcome(reading: ScaleReading, picture: BarPicture) -> str:
    """What became of one picture; without a bar of its own, or with two that differ, no scale is right."""
    if reading.calibration is not None:
        size = reading.calibration.pixel_size_x_um
        agreeing = [[abs(size / true - 1) <= OFF for true in bar.pixel_sizes_um] for bar in picture.bars]
        # Both bars of a picture agree where they may mean one scale; a lone one has to by either way.
        right = [any(ways) if len(agreeing) > 1 else all(ways) for ways in agreeing]
        return "taken" if right and all(right) else "wrong"
    if not reading.readings:
        return "no bar"
    return "no label" if reading.readings[0].label is None else "offered"


def score_reading(pictures: list[tuple[int, BarPicture]]) -> ReadScore:
    """Read every picture, each with its seed."""
    score = ReadScore()
    for seed, picture in pictures:
        started = time.perf_counter()
        reading = read_scale(picture.pixels)
        score.seconds.append(time.perf_counter() - started)
        said = outcome(reading, picture)
        score.outcomes[said] += 1
        if said != "taken":
            score.seeds.setdefault(said, []).append(seed)
    return score


def report(title: str, score: ReadScore) -> None:
    """Print the outcomes and the seeds of all that was not taken."""
    n = sum(score.outcomes.values())
    parts = ", ".join(f"{name} {count} ({count / n:.1%})" for name, count in score.outcomes.most_common())
    print(f"{title}: {n} pictures; {parts}; median {sorted(score.seconds)[n // 2]:.2f} s")
    for name, seeds in score.seeds.items():
        if name != "no bar" or title.startswith("one"):
            print(f"  {name}: {', '.join(map(str, seeds))}")


def main() -> None:
    """Parse and run."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawTextHelpFormatter)
    parser.add_argument("--images", type=int, default=200)
    parser.add_argument("--first-seed", type=int, default=0)
    options = parser.parse_args()
    seeds = range(options.first_seed, options.first_seed + options.images)
    few = seeds[: max(1, len(seeds) // 4)]
    report("one bar", score_reading([(s, synthetic_bars.bar_picture(s)) for s in seeds]))
    report("two bars", score_reading([(s, synthetic_bars.bar_picture(s, n_bars=2)) for s in few]))
    report("no bar", score_reading([(s, synthetic_bars.barless_picture(s)) for s in few]))


if __name__ == "__main__":
    main()
