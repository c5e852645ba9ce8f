"""What a column of numbers may be, told from the numbers alone.

The potential of a sweep moves in even steps; time never runs backwards; a current changes over decades or in
sign.
"""

from __future__ import annotations

import numpy as np

_JUDGED = 400
_UNEVEN = 1e3


def unevenness(values: np.ndarray) -> float:
    """How far steps of a column differ from each other: 0 for a ramp, above 0.5 for a typical current.

    Steps are taken over about 1/200 of the column, so that noise of single readings hardly counts; turning
    points and holds are a few steps of many.

    Parameters
    ----------
    values : ndarray of shape (n,)
        Not-a-number is left out.

    Returns
    -------
    float
        Spread of the steps over their median; 1000 where the column is constant or has fewer than 3 values.
    """
    values = values[np.isfinite(values)]
    stride = max(1, values.size // (_JUDGED // 2))
    steps = np.abs(np.diff(values[::stride]))
    steps = steps[steps > 0]
    if steps.size < 2:
        return _UNEVEN
    middle = float(np.median(steps))
    return float(np.median(np.abs(steps - middle)) / middle) + float(
        np.mean((steps < 0.3 * middle) | (steps > 3 * middle))
    )


def is_constant(values: np.ndarray) -> bool:
    """Whether a column has no two different values."""
    values = values[np.isfinite(values)]
    return values.size == 0 or bool(values.min() == values.max())


def is_increasing(values: np.ndarray) -> bool:
    """Whether a column never falls and hardly ever stands still."""
    steps = np.diff(values[np.isfinite(values)])
    return steps.size > 1 and bool((steps >= 0).all()) and float(np.mean(steps > 0)) > 0.95


def is_count(values: np.ndarray) -> bool:
    """Whether a column counts its rows from 0 or 1 (or any whole number) on."""
    if values.size < 3 or not np.isfinite(values).all() or values[0] != np.rint(values[0]):
        return False
    return bool((np.diff(values) == 1).all()) and 0 <= values[0] <= 1


def is_scan_number(values: np.ndarray) -> bool:
    """Whether a column holds a few whole numbers, one for each run of rows, that never fall."""
    if values.size < 4 or not np.isfinite(values).all() or (values != np.rint(values)).any():
        return False
    steps = np.diff(values)
    changes = int(np.count_nonzero(steps))
    return bool((steps >= 0).all()) and 0 < changes <= values.size // 5 and values.min() >= 0


def span(values: np.ndarray) -> float:
    """Largest less smallest value; 0 where there is none."""
    values = values[np.isfinite(values)]
    return float(values.max() - values.min()) if values.size else 0.0
