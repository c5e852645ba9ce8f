"""Sweeps, weighings, gas and logs against true values, where a study holds them in truth_rates.csv."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from surfscan.report.rate_records import NOUNS, RateRecord
from surfscan.report.truth import TruthComparison, compare, read_truth
from surfscan.study.rate_entries import RateProcedure

FILE_NAME = "truth_rates.csv"

RATE_FIGURES: dict[RateProcedure, dict[str, tuple[str, ...]]] = {
    "sweep": {
        "Ecorr_V": ("Ecorr_V",),
        "icorr_uA_per_cm2": ("icorr_uA_per_cm2",),
        "anodic_slope_mV_per_decade": ("anodic_slope_mV_per_decade",),
        "cathodic_slope_mV_per_decade": ("cathodic_slope_mV_per_decade",),
        "polarization_resistance_ohm_cm2": ("polarization_resistance_ohm_cm2",),
        "breakdown_V": ("breakdown_V",),
        "breakdown_at_least_V": ("breakdown_at_least_V",),
        "protection_V": ("protection_V",),
        "rate_mm_per_y": ("rate_mm_per_y",),
    },
    "mass_loss": {"loss_mg": ("loss_mg",), "rate_mm_per_y": ("rate_mm_per_y",)},
    "gas": {"rate_mm_per_y": ("rate_mm_per_y",)},
    "exposure": {
        "immersed_h": ("immersed_h",),
        "in_range_h": ("in_range_h",),
        "acid_rate_mm_per_y": ("acid_balance", "rate", "rate_mm_per_y"),
        "resistance_rise_fraction": ("hydraulic_resistance", "rise_fraction"),
    },
}
"""Procedure -> figures that truth_rates.csv may hold of an entry -> the way to them in its summary."""


def compare_rates_with_truth(folder: Path, records: Sequence[RateRecord]) -> list[TruthComparison]:
    """Compare stored results with `truth_rates.csv`; empty where the study has none.

    Its columns are entry (a file, or a name such as "weighing of P1"), figure and true_value.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or names an unknown entry or figure.
    """
    path = folder / FILE_NAME
    if not path.exists():
        return []
    by_id = {r.entry_id: r for r in records}
    known = {name: (f"a {NOUNS[r.procedure]}", list(RATE_FIGURES[r.procedure])) for name, r in by_id.items()}
    rows = read_truth(path, "entry", known)
    out = []
    for procedure, figures in RATE_FIGURES.items():
        for figure, way in figures.items():
            pairs = [
                (by_id[name], true)
                for name, what, true in rows
                if what == figure
                and by_id[name].procedure == procedure
                and not math.isnan(by_id[name].figure(*way))
            ]
            if pairs:
                out.append(
                    compare(
                        figure,
                        procedure,
                        [r.entry_id for r, _ in pairs],
                        np.array([true for _, true in pairs]),
                        np.array([r.figure(*way) for r, _ in pairs]),
                        [r.interval(*way) for r, _ in pairs],
                    )
                )
    return out
