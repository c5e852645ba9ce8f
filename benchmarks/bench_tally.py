"""How fast the figures of a field follow one edit of its mask.

What: seconds from an edit of each kind to the new tally (count, density, area fraction, deepest), beside the
plain way of measuring the whole label image again with scikit-image (`regionprops_table`: area, perimeter,
centroid, bounding box) and summing up. Also what starting a review costs beyond loading, and what the table
of all rows costs. How: `surfscan.corrections.pit_review.PitReview`; edits alternate with the plain way,
minima and medians are given. On what: a seeded label image with 5000 round pits on 4096 x 4096 px, and the
same on a height map, whose depths are measured too.

    python benchmarks/bench_tally.py [--size 4096] [--pits 5000] [--repeat 20] [--plain 2] [--heights]
"""

from __future__ import annotations

import argparse
import platform
import statistics
import time
from collections.abc import Callable

import cv2
import numpy as np
from skimage.measure import regionprops_table

from surfscan.corrections.pit_review import PitReview
from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.procedures import Result, measure_pits

SCALE = Calibration(0.5, 0.5, 0.01, "made so")


def make(size: int, pits: int, heights: bool) -> Micrograph | HeightMap:
    """A picture of round pits with noise: dark ones, or deep ones."""
    rng = np.random.default_rng(1)
    mask = np.zeros((size, size), np.float32)
    side = int(np.ceil(np.sqrt(pits)))
    step = size / side
    for k in range(pits):
        row, col = divmod(k, side)
        centre = (int((col + 0.5) * step), int((row + 0.5) * step))
        cv2.circle(mask, centre, int(rng.integers(4, int(step / 2.6))), 1.0, -1, cv2.LINE_AA)
    noise = rng.normal(0, 0.02, mask.shape).astype(np.float32)
    if heights:
        return HeightMap(-5 * cv2.GaussianBlur(mask, (0, 0), 2) + noise, SCALE, Source("synthetic"))
    grey = 180 * (1 - 0.6 * cv2.GaussianBlur(mask, (0, 0), 1) + noise)
    return Micrograph(np.clip(grey, 0, 255).astype(np.uint8), SCALE, Source("synthetic"))


def plain_tally(labels: np.ndarray) -> tuple[int, float, float]:
    """The plain way: everything is measured again."""
    table = regionprops_table(labels, properties=("label", "area", "perimeter", "centroid", "bbox"))
    area = labels.size * SCALE.pixel_area_um2
    count = len(table["label"])
    return count, count / area * 1e6, float(table["area"].sum()) * SCALE.pixel_area_um2 / area


def strokes(review: PitReview, size: int) -> dict[str, Callable[[int], object]]:
    """An edit of each kind on another object each time."""
    rng = np.random.default_rng(2)

    def a_place(reach: int) -> tuple[int, int]:
        row, col = rng.integers(reach, size - reach, 2)
        return int(row), int(col)

    def one() -> int:
        living = np.unique(review.corrected_labels()[::7, ::7])
        return int(rng.choice(living[living > 0]))

    def brush(k: int, reach: int, label: int | None) -> Callable[[], object]:
        row, col = a_place(reach + 1)
        part = (slice(row - reach, row + reach + 1), slice(col - reach, col + reach + 1))
        before = np.array(review.labels[part])
        y, x = np.mgrid[-reach : reach + 1, -reach : reach + 1]
        after = np.where(y * y + x * x <= reach * reach, 10**6 + k if label is None else label, before)
        bounds = (part[0].start, part[0].stop, part[1].start, part[1].stop)
        return lambda: review.paint_over(before, after, bounds)

    def reject(_: int) -> Callable[[], object]:
        number = one()
        return lambda: review.reject([number])

    def add(_: int) -> Callable[[], object]:
        row, col = a_place(20)
        rows, cols = np.mgrid[row : row + 14, col : col + 14]
        return lambda: review.add(rows, cols)

    def repaint(_: int) -> Callable[[], object]:
        number = one()
        rows, cols = np.nonzero(review.labels == number)
        return lambda: review.repaint(number, rows[: len(rows) // 2], cols[: len(cols) // 2], False)

    def split(_: int) -> Callable[[], object]:
        number = one()
        while (row := review.row(number))["equivalent_diameter_um"] < 5 or row["redrawn"]:
            number = one()
        middle, far = (row["row_px"], row["col_px"]), 60.0
        return lambda: review.split(
            number, np.array([[middle[0] - far, middle[1]], [middle[0] + far, middle[1]]])
        )

    def merge(_: int) -> Callable[[], object]:
        numbers = [one(), one()]
        while numbers[0] == numbers[1]:
            numbers[1] = one()
        return lambda: review.merge(numbers)

    return {
        "reject one": reject,
        "reject 100": lambda _: lambda ids=[one() for _ in range(100)]: review.reject(ids),
        "add": add,
        "repaint": repaint,
        "split": split,
        "merge two far apart": merge,
        "brush of 10 px": lambda k: brush(k, 5, None),
        "brush of 60 px": lambda k: brush(1000 + k, 30, None),
        "rubber of 60 px": lambda k: brush(k, 30, 0),
        "rubber of 600 px": lambda k: brush(k, 300, 0),
        "undo": lambda _: review.undo,
    }


def timed(action: Callable[[], object]) -> float:
    start = time.perf_counter()
    action()
    return time.perf_counter() - start


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter
    )
    parser.add_argument("--size", type=int, default=4096)
    parser.add_argument("--pits", type=int, default=5000)
    parser.add_argument("--repeat", type=int, default=20)
    parser.add_argument("--plain", type=int, default=2, help="runs of the plain way")
    parser.add_argument("--heights", action="store_true", help="on a height map")
    asked = parser.parse_args()
    image = make(asked.size, asked.pits, asked.heights)
    automatic: Result = measure_pits(image)
    count = len(automatic.tables["pits"]["label"])
    print(f"{asked.size} x {asked.size} px, {count} pits, {platform.python_version()}, {platform.machine()}")
    starts = []
    for _ in range(3):
        begin = time.perf_counter()
        review = PitReview.start(image, automatic)
        starts.append(time.perf_counter() - begin)
    print(f"start of a review        {min(starts):8.3f} s")
    print(f"ground for new outlines  {timed(review.prepare):8.3f} s, once, beside the viewer")
    print(f"rows of all objects      {min(timed(review.rows) for _ in range(3)):8.3f} s")
    plain = min(timed(lambda: plain_tally(review.corrected_labels())) for _ in range(asked.plain))
    print(f"plain way, one edit      {plain:8.3f} s\n")
    print(f"{'edit':22}{'least':>10}{'median':>10}{'most':>10}   plain way over it")
    for name, make_edit in strokes(review, asked.size).items():
        took = []
        for k in range(asked.repeat):
            edit = make_edit(k)
            took.append(timed(edit))
        middle = statistics.median(took)
        print(
            f"{name:22}{1e3 * min(took):7.2f} ms{1e3 * middle:7.2f} ms{1e3 * max(took):7.2f} ms"
            f"{plain / middle:12.0f} x"
        )


if __name__ == "__main__":
    main()
