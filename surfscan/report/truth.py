"""Measured against true, where a study holds true values in truth.csv beside study.toml."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.estimates.groups import t_factor
from surfscan.report.records import FieldRecord
from surfscan.study.entries import Shows
from surfscan.study.rate_entries import RateProcedure

FILE_NAME = "truth.csv"
FIGURES: dict[Shows, dict[str, str]] = {
    "surface": {
        "pit_count": "pits",
        "pit_density_per_mm2": "pits",
        "pitted_area_fraction": "pits",
        "degraded_area_fraction": "degraded",
    },
    "heights": {
        "pit_count": "pits",
        "pit_density_per_mm2": "pits",
        "pitted_area_fraction": "pits",
        "max_depth_um": "pits",
        "mean_depth_10_deepest_um": "pits",
        "volume_per_area_um": "pits",
        "mean_penetration_um": "pits",
        "max_penetration_um": "pits",
        "Sq_um": "texture",
    },
    "strut": {
        "mean_width_um": "struts",
        "min_width_um": "struts",
        "loss_fraction": "struts",
        "least_section_equal_loss_fraction": "struts",
    },
    "section": {
        "metal_area_um2": "section",
        "original_area_um2": "section",
        "remaining_fraction": "section",
        "mean_penetration_um": "section",
        "max_penetration_um": "section",
    },
}
"""What an image shows -> figures that truth.csv may hold of it -> the procedure that measures them."""

_LOWER_BOUND = {
    "max_depth_um": "max_depth_is_lower_bound",
    "mean_depth_10_deepest_um": "mean_depth_10_deepest_is_lower_bound",
}


@dataclass(frozen=True)
class TruthComparison:
    """One figure, measured against true over the images or entries of one kind that have both.

    Attributes
    ----------
    figure : str
    kind : str
        What the images show, or the procedure of sweeps, weighings, gas or logs; figures of different kinds
        are never pooled.
    images : tuple of str
    true, measured : ndarray of shape (n,)
    bias : float
        Mean of measured - true.
    bias_ci95 : tuple of float or None
        t-interval of the bias over images; None below three images.
    relative_bias : float
        Summed measured over summed true, less 1; not-a-number where the true sum is 0, and for potentials,
        whose zero is that of an electrode.
    covered, with_interval : int
        Images whose 95 % interval holds the true value, of those that have an interval.
    lower_bounds : int
        Images left out because what was measured is a lower bound, which no bias can be told from.
    limits : tuple of (float, float)
        95 % interval of each; not-a-numbers where there is none.
    """

    figure: str
    kind: Shows | RateProcedure
    images: tuple[str, ...]
    true: np.ndarray
    measured: np.ndarray
    bias: float
    bias_ci95: tuple[float, float] | None
    relative_bias: float
    covered: int
    with_interval: int
    lower_bounds: int = 0
    limits: tuple[tuple[float, float], ...] = ()


def compare_with_truth(folder: Path, records: Sequence[FieldRecord]) -> list[TruthComparison]:
    """Compare stored results with `truth.csv`; empty where the study has none.

    Parameters
    ----------
    folder : Path
        Folder of the study.
    records : sequence of FieldRecord

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or names an unknown image or figure.
    """
    path = folder / FILE_NAME
    if not path.exists():
        return []
    by_id = {r.image_id: r for r in records}
    rows = read_truth(path, "image", {r.image_id: _allowed(r) for r in records})
    out = []
    for kind, figures in FIGURES.items():
        for figure, procedure in figures.items():
            pairs = [
                (by_id[image], true)
                for image, name, true in rows
                if name == figure
                and by_id[image].kind == kind
                and not math.isnan(by_id[image].figure(procedure, figure))
            ]
            known = [(record, true) for record, true in pairs if not _is_lower_bound(record, figure)]
            if known:
                out.append(
                    compare(
                        figure,
                        kind,
                        [r.image_id for r, _ in known],
                        np.array([t for _, t in known]),
                        np.array([r.figure(procedure, figure) for r, _ in known]),
                        [r.interval(procedure, figure) for r, _ in known],
                        len(pairs) - len(known),
                    )
                )
    return out


def _allowed(record: FieldRecord) -> tuple[str, Sequence[str]]:
    return f"an image that shows {record.kind!r}", list(FIGURES[record.kind])


def _is_lower_bound(record: FieldRecord, figure: str) -> bool:
    """Whether the measured figure is one: a floor that mattered for it was not measured."""
    stored = record.done(FIGURES[record.kind][figure])
    return bool(stored and figure in _LOWER_BOUND and stored.summary.get(_LOWER_BOUND[figure]))


def read_truth(
    path: Path, key: str, known: Mapping[str, tuple[str, Sequence[str]]]
) -> list[tuple[str, str, float]]:
    """Rows of a file of true values: (name, figure, true value).

    Parameters
    ----------
    path : Path
    key : str
        Heading of the column of names.
    known : mapping of str to (str, sequence of str)
        Name -> what it is in words, and the figures that may stand of it.

    Raises
    ------
    InputError
        If the file cannot be read, lacks a column, or names what is not known.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(path, f"cannot be read ({error})", "Save it as a UTF-8 CSV file.") from error
    reader = csv.DictReader(io.StringIO(text, newline=""))
    missing = {key, "figure", "true_value"} - set(reader.fieldnames or ())
    if missing:
        raise InputError(
            path,
            f"lacks the column(s) {', '.join(sorted(missing))}",
            f"Give it a header line: {key},figure,true_value",
        )
    rows = []
    for row in reader:
        where = f"{path}:{reader.line_num}"
        if row[key] not in known:
            raise InputError(where, f"{key} {row[key]!r} is not in study.toml", "Correct the name.")
        what, figures = known[row[key]]
        if row["figure"] not in figures:
            raise InputError(
                where, f"unknown figure {row['figure']!r} of {what}", f"Use one of: {', '.join(figures)}"
            )
        try:
            true = float(row["true_value"])
        except (TypeError, ValueError):
            true = math.nan
        if not math.isfinite(true):
            raise InputError(where, f"true_value {row['true_value']!r} is not a number", "Write a number.")
        rows.append((row[key], row["figure"], true))
    return rows


def compare(
    figure: str,
    kind: Shows | RateProcedure,
    names: Sequence[str],
    true: np.ndarray,
    measured: np.ndarray,
    limits: Sequence[tuple[float, float]],
    lower_bounds: int = 0,
) -> TruthComparison:
    """One figure over all that have it; `limits` are 95 % intervals, not-a-numbers where none."""
    difference = measured - true
    n, is_potential = len(names), figure.endswith("_V")
    bias, interval = float(difference.mean()), None
    if n >= 3:
        half = t_factor(n - 1) * float(difference.std(ddof=1)) / math.sqrt(n)
        interval = (bias - half, bias + half)
    known = [(low, high, t) for (low, high), t in zip(limits, true, strict=True) if not math.isnan(low)]
    return TruthComparison(
        figure,
        kind,
        tuple(names),
        true,
        measured,
        bias,
        interval,
        float(measured.sum() / true.sum() - 1) if true.sum() > 0 and not is_potential else math.nan,
        sum(bool(low <= t <= high) for low, high, t in known),
        len(known),
        lower_bounds,
        tuple((float(low), float(high)) for low, high in limits),
    )
