"""Tables of an analysed sweep: points with the fitted curve, runs, methods, windows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from surfscan.columns import Table, columns, conform
from surfscan.electrochemistry.cyclic import CyclicSweep
from surfscan.electrochemistry.methods import ASSUMED, FIT, STERN_GEARY, TAFEL, MethodResult, RunAnalysis
from surfscan.electrochemistry.mixed_control import current_density_uA_per_cm2
from surfscan.electrochemistry.sweep import Scan
from surfscan.electrochemistry.tafel import TafelBranch

Interval = tuple[float, float]


def points_table(
    potential_V: np.ndarray,
    density_uA_per_cm2: np.ndarray,
    scans: Sequence[Scan],
    analysed: int,
    run: RunAnalysis,
    *,
    has_area: bool,
) -> Table:
    """One row a point of the whole sweep.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
    scans : sequence of Scan
    analysed : int
        Place of the analysed run in `scans`.
    run : RunAnalysis
    has_area : bool
        Without it densities come out as not-a-number.
    """
    n = potential_V.size
    number = np.zeros(n, np.int64)
    for k in range(len(scans) - 1, -1, -1):  # of two runs that share a point, the first has it
        number[scans[k].points] = k + 1
    inside = np.zeros(n, bool)
    inside[scans[analysed].points] = True
    fitted, used = fitted_density(potential_V, run)
    fitted = np.where(inside, fitted, np.nan)
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = density_uA_per_cm2 / fitted
        residual = np.where(ratio > 0, np.log10(np.where(ratio > 0, ratio, 1.0)), np.nan)
    nothing = np.full(n, np.nan)
    return conform(
        "sweep",
        {
            "point": np.arange(1, n + 1),
            "scan": number,
            "potential_V": potential_V,
            "density_uA_per_cm2": density_uA_per_cm2 if has_area else nothing,
            "fitted_uA_per_cm2": fitted if has_area else nothing,
            "residual_decades": residual,
            "in_window": used & inside,
        },
    )


def fitted_density(potential_V: np.ndarray, run: RunAnalysis) -> tuple[np.ndarray, np.ndarray]:
    """Density by the headline method at each potential, not-a-number where none, and which points it used."""
    fitted, used = np.full(potential_V.size, np.nan), np.zeros(potential_V.size, bool)
    headline, zero = run.headline, run.zero.Ecorr_V
    if headline is None or zero is None:
        return fitted, used
    if headline.method == FIT and run.fit is not None and run.fit.curve is not None:
        used = _within(potential_V, headline.window_V)
        fitted[used] = current_density_uA_per_cm2(potential_V[used], run.fit.curve)
    elif headline.method == TAFEL and run.tafel is not None:
        for branch in _straight(run):
            at = _within(potential_V, branch.window_V)
            assert branch.level is not None and branch.slope_V is not None
            away = np.abs(potential_V[at] - zero)
            fitted[at] = branch.side * 10 ** (branch.level + away / branch.slope_V)
            used |= at
    elif run.resistance is not None and run.resistance.ohm_cm2 is not None:
        used = _within(potential_V, headline.window_V)
        fitted[used] = 1e6 * (potential_V[used] - zero) / run.resistance.ohm_cm2
    return fitted, used


def _within(potential_V: np.ndarray, window_V: Interval | None) -> np.ndarray:
    if window_V is None:
        return np.zeros(potential_V.size, bool)
    return (potential_V >= window_V[0]) & (potential_V <= window_V[1])


def _straight(run: RunAnalysis) -> list[TafelBranch]:
    return [] if run.tafel is None else [b for b in (run.tafel.cathodic, run.tafel.anodic) if not b.refused]


def runs_table(
    potential_V: np.ndarray,
    scans: Sequence[Scan],
    runs: Sequence[RunAnalysis],
    analysed: int,
    *,
    has_area: bool,
) -> Table:
    """One row a run."""
    rows = []
    for k, (scan, run) in enumerate(zip(scans, runs, strict=True)):
        headline, resistance = run.headline, run.resistance
        given = headline if has_area else None
        rows.append(
            {
                "scan": k + 1,
                "direction": "up" if scan.direction > 0 else "down",
                "analysed": k == analysed,
                "points": scan.stop - scan.start,
                "start_V": potential_V[scan.start],
                "end_V": potential_V[scan.stop - 1],
                **_three("Ecorr_V", run.zero.Ecorr_V, run.zero.ci95),
                **_three(
                    "icorr_uA_per_cm2",
                    given.icorr_uA_per_cm2 if given else None,
                    given.ci95 if given else None,
                ),
                "method": headline.method if headline else "",
                **_three(
                    "polarization_resistance_ohm_cm2",
                    resistance.ohm_cm2 if resistance and has_area else None,
                    resistance.ci95 if resistance and has_area else None,
                ),
                "refused": "" if headline else why_none(run.methods),
            }
        )
    return _table("sweep_runs", rows)


def why_none(methods: Sequence[MethodResult]) -> str:
    """Why no method gives a value, in one line; a reason that all share is said once."""
    reasons = {each.refused for each in methods}
    if len(reasons) == 1:
        return reasons.pop()
    return "; ".join(f"{each.method}: {each.refused}" for each in methods)


def methods_table(runs: Sequence[RunAnalysis], *, has_area: bool) -> Table:
    """One row a run and method."""
    rows = []
    for k, run in enumerate(runs):
        for each in run.methods:
            rows.append(
                {
                    "scan": k + 1,
                    "method": each.method,
                    "chosen": each is run.headline,
                    **_three(
                        "icorr_uA_per_cm2",
                        each.icorr_uA_per_cm2 if has_area else None,
                        each.ci95 if has_area else None,
                    ),
                    **_three(
                        "anodic_slope_mV_per_decade", each.anodic_slope_mV_per_decade, each.anodic_slope_ci95
                    ),
                    **_three(
                        "cathodic_slope_mV_per_decade",
                        each.cathodic_slope_mV_per_decade,
                        each.cathodic_slope_ci95,
                    ),
                    "note": each.note,
                    "refused": each.refused,
                }
            )
    return _table("sweep_methods", rows)


def windows_table(
    runs: Sequence[RunAnalysis], analysed: int, cyclic: CyclicSweep | None, *, has_area: bool
) -> Table:
    """One row a window of a method."""
    rows: list[dict[str, Any]] = []

    def add(
        scan: int, method: str, part: str, window: Interval | None, icorr: float | None, chosen: bool
    ) -> None:
        if window is not None:
            rows.append(
                {
                    "scan": scan,
                    "method": method,
                    "part": part,
                    "low_V": window[0],
                    "high_V": window[1],
                    "icorr_uA_per_cm2": np.nan if icorr is None or not has_area else icorr,
                    "chosen": chosen,
                }
            )

    for k, run in enumerate(runs, start=1):
        for each in run.fit.windows if run.fit else ():
            add(k, FIT, "both", (each.low_V, each.high_V), each.icorr_uA_per_cm2, each.chosen)
        for branch in _straight(run):
            add(
                k,
                TAFEL,
                branch.name,
                branch.window_V,
                None if branch.level is None else 10**branch.level,
                True,
            )
        if run.resistance is not None and run.resistance.ohm_cm2 is not None:
            last = next((m for m in run.methods if m.method in (STERN_GEARY, ASSUMED)), None)
            value = last.icorr_uA_per_cm2 if last else None
            add(k, last.method if last else STERN_GEARY, "zero current", run.resistance.window_V, value, True)
    if cyclic is not None and cyclic.passive is not None:
        add(analysed + 1, "cyclic", "passive", cyclic.passive.window_V, None, True)
    return _table("sweep_windows", rows)


def _three(name: str, value: float | None, ci95: Interval | None) -> dict[str, float]:
    low, high = ci95 if ci95 is not None and value is not None else (np.nan, np.nan)
    return {name: np.nan if value is None else value, f"{name}_ci95_low": low, f"{name}_ci95_high": high}


def _table(name: str, rows: Sequence[Mapping[str, Any]]) -> Table:
    return conform(
        name, {c.name: np.array([row[c.name] for row in rows], dtype=c.dtype) for c in columns(name)}
    )
