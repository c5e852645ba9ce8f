"""Budgets of rates from the bath and from sweeps: first order, and whole distributions where that is poor."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from surfscan.comparison.rates import NORMAL_FACTOR
from surfscan.estimates.first_order import Input
from surfscan.estimates.monte_carlo import SEED, evaluate
from surfscan.estimates.uncertainty import Budget
from surfscan.report.rate_records import RateRecord
from surfscan.report.rates import SWEEP, Rate

TRIALS = 20_000
"""Trials a rate: enough for two digits of its uncertainty."""

_SOURCES = {
    "weighing and cleaning": "cleaning",
    "volume readings": "reading",
    "gas temperature": "reading",
    "gas pressure": "reading",
    "titre and pump": "reading",
    "area": "area",
    "time": "time",
    "density (mm/y only)": "material",
}
"""Cause of a stored rate -> source of a contribution."""

_BELOW = ("area", "time", "density (mm/y only)")
"""Causes that the rate is divided by."""


@dataclass(frozen=True)
class RateBudget:
    """Budget of one rate.

    Attributes
    ----------
    specimen, figure : str
        Figure as criteria name it, such as "mass_loss_rate_mm_per_y".
    budget : Budget
    propagation : str
    expanded : float
        Half of the 95 % interval, mm/y.
    """

    specimen: str
    figure: str
    budget: Budget
    propagation: str
    expanded: float


def rate_budgets(rates: Sequence[Rate]) -> list[RateBudget]:
    """Budgets of all rates of single specimens that have an interval.

    Notes
    -----
    Rate of the bath: mass (or volume) over area, time and density. Of a sweep: exp of the fit's logarithm
    over area; of the fit, the choice of its window counts by the range over windows (over √12), the rest is
    the scatter of readings. Where the interval to first order and that of the trials differ in the digits
    stated, the latter stands.
    """
    found = []
    for rate in rates:
        if rate.refused or not math.isfinite(rate.mm_per_y) or len(rate.record.specimens) != 1:
            continue
        if rate.mm_per_y <= 0 or not all(map(math.isfinite, rate.mm_per_y_ci95)):
            continue
        inputs = _of_sweep(rate) if rate.is_instant else _of_bath(rate.record)
        if not inputs:
            continue
        name = f"{rate.method.replace(' ', '_')}_rate_mm_per_y"
        words = f"rate by {rate.method}"
        below = {_key(i.name) for i in inputs if i.source in ("area", "time", "material")}
        grows = {_key(i.name) for i in inputs} - below if rate.is_instant else set()
        keyed = [replace(i, name=_key(i.name)) for i in inputs]
        value = rate.mm_per_y

        def model(
            _value: float = value,
            _below: frozenset[str] = frozenset(below),
            _grows: frozenset[str] = frozenset(grows),
            **x: np.ndarray | float,
        ) -> np.ndarray | float:
            out: np.ndarray | float = _value
            for key, factor in x.items():
                if key in _grows:
                    out = out * np.exp(factor)
                else:
                    out = out / factor if key in _below else out * factor
            return out

        evaluated = evaluate(words, "mm/y", model, keyed, seed=SEED, trials=TRIALS)
        named = {_key(i.name): i.name for i in inputs}
        budget = replace(
            evaluated.budget,
            contributions=tuple(replace(c, name=named[c.name]) for c in evaluated.budget.contributions),
        )
        low, high = evaluated.ci95
        found.append(
            RateBudget(rate.record.specimens[0].id, name, budget, evaluated.method, (high - low) / 2)
        )
    return found


def _of_bath(record: RateRecord) -> list[Input]:
    """Causes of a rate of the bath, each as a factor of 1."""
    of_acid = record.value("acid_balance", "rate", "contributions_percent")
    parts = record.value("contributions_percent") or of_acid or {}
    return [
        Input(cause, 1.0, percent / 100, source=_SOURCES.get(cause, "other"))
        for cause, percent in parts.items()
        if percent is not None and math.isfinite(percent) and percent > 0
    ]


def _of_sweep(rate: Rate) -> list[Input]:
    """Causes of a rate of a sweep: the area as a factor, the others as logarithms."""
    record = rate.record
    low, high = rate.mm_per_y_ci95
    if low <= 0:
        return []
    total = math.log(high / low) / 2 / NORMAL_FACTOR
    area = record.figure("area_relative_uncertainty")
    area = 0.0 if math.isnan(area) else area
    window = _window_spread(record, rate) if rate.method == SWEEP else 0.0
    rest = math.sqrt(max(total**2 - area**2 - window**2, 0.0))
    return [
        *([Input("wetted area", 1.0, area, source="area")] if area else []),
        *([Input("fit window", 0.0, window, source="fit window")] if window else []),
        *([Input("fit and readings", 0.0, rest, source="reading", evaluation="A")] if rest else []),
    ]


def _window_spread(record: RateRecord, rate: Rate) -> float:
    """Range of ln(current density) over the fit windows tried, over √12; 0 where one was."""
    table = record.table("sweep_windows")
    own = table["icorr_uA_per_cm2"][(table["method"] == rate.how) & (table["part"] == "both")]
    own = own[np.isfinite(own) & (own > 0)]
    if len(own) < 2:
        return 0.0
    return float(np.log(own.max() / own.min())) / math.sqrt(12)


def _key(name: str) -> str:
    """A name that a parameter can have."""
    return "".join(letter if letter.isalnum() else "_" for letter in name)
