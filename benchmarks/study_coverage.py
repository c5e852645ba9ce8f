"""How often the 95 % intervals of a study's headline figures hold the truth, over generated studies.

Run `python benchmarks/study_coverage.py [--studies N] [--first-seed S] [--processes P]`. Every study is one
group of three plates drawn from a population of plates, with three fields and three pictures of struts each,
a height map, a section, a weighing and a sweep (`coverage_studies.py`). It is measured by `measure_study` and
pooled by the report's own code. Then:

- of a specimen the truth is its own: what its rate makes of the mean of such fields; for a greatest or least
  value, a section, a weighing or a sweep, that of the very map, pictures, section, weighing or sweep;
- of a group the truth is the mean of the population that its plates were drawn from.

What a field shows on average at a given rate is told by the generator's own true figures of all fields of all
studies: a curve of second degree in the loss through them. It fails (exit code 1) where an interval holds the
truth in less than 91 or more than 99 % (with a margin of two standard deviations of the count where fewer
than 500 studies are drawn). The table goes to `bench-results/study_coverage.json` too.
"""

from __future__ import annotations

import argparse
import json
import math
import os
import sys
import tempfile
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from coverage_studies import DAYS, Plate, Population, population, write_study

HELD, ENOUGH = (0.91, 0.99), 500
RESULTS = Path(__file__).resolve().parents[1] / "bench-results" / "study_coverage.json"


@dataclass(frozen=True)
class Printed:
    """A figure as the report prints it: value, limits, and whether a specimen's or the group's."""

    figure: str
    of: str
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class Measured:
    """One study: where its plates came from, what is true of them, what the report prints."""

    seed: int
    population: Population
    plates: list[Plate]
    printed: list[Printed]
    failed: list[str]


@dataclass(frozen=True)
class Coverage:
    """How one kind of interval did.

    Attributes
    ----------
    figure : str
    of : str
        "specimen" or "group".
    given, without : int
        Figures with an interval, and without one.
    held : float
        Share of the intervals that hold the truth.
    missed_low, missed_high : float
        Share whose upper limit lies below the truth, and whose lower limit lies above it.
    bias : float
        Mean of value over truth less 1.
    half_width : float
        Median half width over truth.
    """

    figure: str
    of: str
    given: int
    without: int
    held: float
    missed_low: float
    missed_high: float
    bias: float
    half_width: float


Own = Callable[[Plate], float]

OWN: dict[str, tuple[Own, bool]] = {
    "pit_density_per_mm2": (lambda p: _mean(p.fields, "pit_density_per_mm2"), True),
    "pitted_area_fraction": (lambda p: _mean(p.fields, "pitted_area_fraction"), True),
    "degraded_area_fraction": (lambda p: _mean(p.fields, "degraded_area_fraction"), True),
    "max_depth_um": (lambda p: p.map.get("max_depth_um", math.nan), False),
    "mean_strut_width_um": (lambda p: _mean(p.pictures, "mean_width_um"), True),
    "min_strut_width_um": (lambda p: min(t["min_width_um"] for t in p.pictures), False),
    "width_penetration_um": (lambda p: 200 - _mean(p.pictures, "mean_width_um") / 2, True),
    "remaining_section_fraction": (lambda p: p.section["remaining_fraction"], False),
    "section_penetration_um": (lambda p: p.section["mean_penetration_um"], False),
    "mass loss": (lambda p: p.weighing["rate_mm_per_y"], False),
    "sweep": (lambda p: p.sweep["rate_mm_per_y"], False),
}
"""Figure -> what is true of what was seen of a plate, and whether the plate's own truth is the mean of all
such fields (else it is that of the very thing measured)."""


def _mean(fields: Sequence[dict[str, float]], name: str) -> float:
    return float(np.mean([f[name] for f in fields]))


def measure(seed: int) -> Measured:
    """Write a study, measure it, and pool it as the report does."""
    from surfscan.report.groups import summarise_groups
    from surfscan.report.rate_records import gather_rates
    from surfscan.report.rates import group_rates, rates_of
    from surfscan.report.records import gather
    from surfscan.report.specimens import summarise_specimens
    from surfscan.store.results import ResultsStore
    from surfscan.study.batch import measure_study
    from surfscan.study.manifest import load_study

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plates = write_study(folder, seed)
        outcome = measure_study(folder, workers=1)
        study = load_study(folder)
        stored = list(ResultsStore(folder).all())
        records, _ = gather(study, stored)
        specimens = summarise_specimens(study.specimens, records)
        group = summarise_groups(study.groups, specimens)[0]
        rates = rates_of(gather_rates(study, stored))
        by_method = {g.method: g for g in group_rates(["plates"], rates)}
    printed = []
    for figure in OWN:
        if figure in ("mass loss", "sweep"):
            for rate in (r for r in rates if r.method == figure):
                printed.append(
                    Printed(figure, rate.record.specimens[0].id, rate.mm_per_y, *rate.mm_per_y_ci95)
                )
            if figure in by_method:
                mean = by_method[figure].means["rate_mm_per_y"]
                printed.append(Printed(figure, "", mean.value, *(mean.ci95 or (math.nan, math.nan))))
            continue
        for one in specimens:
            printed.append(Printed(figure, one.specimen.id, one.figure(figure), *one.limits(figure)))
        mean = group.means[figure]
        printed.append(Printed(figure, "", mean.value, *(mean.ci95 or (math.nan, math.nan))))
    return Measured(seed, population(seed), plates, printed, [f"{who}: {why}" for who, why in outcome.failed])


def truth_curves(studies: Sequence[Measured]) -> dict[str, np.ndarray]:
    """Figure -> coefficients of its mean at a given loss: second degree in the loss, least squares."""
    plates = [p for s in studies for p in s.plates]
    loss = np.array([loss_um(p.rate_mm_per_y) for p in plates])
    curves = {}
    for figure, (own, _) in OWN.items():
        true = np.array([own(p) for p in plates])
        known = np.isfinite(true)
        curves[figure] = np.polyfit(loss[known], true[known], min(2, int(known.sum()) - 1))
    return curves


def loss_um(rate_mm_per_y: float | np.ndarray) -> float | np.ndarray:
    """Mean penetration of a plate when it came out."""
    return 1000 * rate_mm_per_y * DAYS / 365.25


def group_truth(curve: np.ndarray, drawn_from: Population) -> float:
    """Mean of a figure over a population: the curve, averaged over its log-normal rates (Gauss-Hermite)."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(24)
    values = np.polyval(curve, loss_um(drawn_from.rates(nodes)))
    return float(values @ weights / weights.sum())


def coverage(studies: Sequence[Measured]) -> list[Coverage]:
    """Coverage of every figure, of specimens and of groups."""
    curves = truth_curves(studies)
    rows: dict[tuple[str, str], list[tuple[float, float, float, float]]] = {}
    for study in studies:
        by_name = {p.name: p for p in study.plates}
        for item in study.printed:
            own, of_all_fields = OWN[item.figure]
            if not item.of:
                true, level = group_truth(curves[item.figure], study.population), "group"
            elif of_all_fields:
                at = loss_um(by_name[item.of].rate_mm_per_y)
                true, level = float(np.polyval(curves[item.figure], at)), "specimen"
            else:
                true, level = own(by_name[item.of]), "specimen"
            if math.isfinite(true) and math.isfinite(item.value):
                rows.setdefault((item.figure, level), []).append((true, item.value, item.low, item.high))
    return [_row(figure, level, np.array(values)) for (figure, level), values in rows.items()]


def _row(figure: str, level: str, values: np.ndarray) -> Coverage:
    true, value, low, high = values.T
    given = np.isfinite(low) & np.isfinite(high)
    below, above = high[given] < true[given], low[given] > true[given]
    return Coverage(
        figure,
        level,
        int(given.sum()),
        int((~given).sum()),
        float(1 - below.mean() - above.mean()),
        float(below.mean()),
        float(above.mean()),
        float(np.mean(value / true) - 1),
        float(np.median((high - low)[given] / 2 / true[given])),
    )


def is_good(row: Coverage, studies: int) -> bool:
    """Whether the share lies in range; the plates of one study share errors and count as one."""
    slack = 0.0 if studies >= ENOUGH else 2 * math.sqrt(0.95 * 0.05 / max(studies, 1))
    return HELD[0] - slack <= row.held <= HELD[1] + slack


def main() -> int:
    """Print coverage figure by figure; 1 where an interval falls out of the range."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--studies", type=int, default=500)
    parser.add_argument("--first-seed", type=int, default=0)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("--out", type=Path, default=RESULTS)
    given = parser.parse_args()
    seeds = range(given.first_seed, given.first_seed + given.studies)
    os.environ |= {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"}  # the work is spread over processes
    with ProcessPoolExecutor(given.processes, get_context("spawn")) as pool:
        studies = list(pool.map(measure, seeds))
    rows = coverage(studies)
    print(
        "figure                      of        intervals  without   held  too low  too high   bias  half "
        "width; per cent"
    )
    for row in rows:
        print(
            f"{row.figure:27s} {row.of:9s} {row.given:9d} {row.without:8d} {100 * row.held:6.1f} "
            f"{100 * row.missed_low:8.1f} {100 * row.missed_high:9.1f} {100 * row.bias:+6.1f} "
            f"{100 * row.half_width:11.1f}{'' if is_good(row, len(studies)) else '   OUT OF RANGE'}"
        )
    failed = [f"study {s.seed}: {text}" for s in studies for text in s.failed]
    print(f"{len(studies)} studies; {len(failed)} files not measured")
    for text in failed[:10]:
        print(text)
    given.out.parent.mkdir(parents=True, exist_ok=True)
    content = {
        "studies": len(studies),
        "first_seed": given.first_seed,
        "held_from_to": HELD,
        "rows": [asdict(row) | {"good": is_good(row, len(studies))} for row in rows],
        "failed": failed,
    }
    given.out.write_text(json.dumps(content, indent=1) + "\n", encoding="utf-8")
    return 0 if all(is_good(row, len(studies)) for row in rows) else 1


if __name__ == "__main__":
    sys.exit(main())
