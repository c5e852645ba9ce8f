"""Solution resistance taken off a potential: E - I·R, and whether that can be right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from surfscan.electrochemistry.scans import noise_V
from surfscan.electrochemistry.sweep import Scan, Sweep

_BACKWARDS_SHARE = 0.05


class CorrectedPotential(NamedTuple):
    """Potentials without the drop in the solution.

    Attributes
    ----------
    potential_V : ndarray of shape (n,)
    largest_drop_V : float
        Largest size of current times resistance.
    warnings : tuple of str
    """

    potential_V: np.ndarray
    largest_drop_V: float
    warnings: tuple[str, ...]


def correct_potential(
    potential_V: np.ndarray, current: np.ndarray, resistance: float, scans: Sequence[Scan] | None = None
) -> CorrectedPotential:
    """Potential less current times resistance.

    Parameters
    ----------
    potential_V : ndarray of shape (n,)
    current : ndarray of shape (n,)
        Anodic positive: A with a resistance in ohm, or A/cm² with one in ohm cm².
    resistance : float
        0 or above.
    scans : sequence of Scan, optional
        Where the potential runs in one direction; None takes all points as one run.

    Returns
    -------
    CorrectedPotential
        With a warning where the drop is larger than the polarization, or where the corrected potential runs
        backwards: either says that the resistance is too large, or its unit another.

    Raises
    ------
    ValueError
        If the resistance is negative or no number, or shapes differ.
    """
    potential, flow = np.asarray(potential_V, np.float64), np.asarray(current, np.float64)
    if potential.shape != flow.shape or potential.ndim != 1 or not potential.size:
        raise ValueError("potential and current must be as many points, one at least")
    if not (np.isfinite(resistance) and resistance >= 0):
        raise ValueError(f"a solution resistance of {resistance} is not 0 or above")
    drop = flow * resistance
    corrected = potential - drop
    worst = int(np.argmax(np.abs(drop)))
    largest = float(abs(drop[worst]))
    warnings: list[str] = []
    polarization = float(abs(potential[worst] - potential[int(np.argmin(np.abs(flow)))]))
    if largest > polarization and resistance > 0:
        warnings.append(
            f"The drop in the solution ({largest:.3g} V at {potential[worst]:.3f} V) is larger than the "
            f"polarization there ({polarization:.3g} V): the resistance is too large, or in another unit "
            "than thought."
        )
    else:
        runs = (
            scans
            if scans is not None
            else (Scan(0, potential.size, 1 if potential[-1] > potential[0] else -1),)
        )
        backwards = sum(
            _backwards(potential[run.points], corrected[run.points], run.direction) for run in runs
        )
        if backwards > _BACKWARDS_SHARE * sum(run.stop - run.start for run in runs):
            warnings.append(
                "Less the drop in the solution, the potential runs backwards over part of a scan: the "
                "resistance is too large."
            )
    return CorrectedPotential(corrected, largest, tuple(warnings))


def _backwards(potential: np.ndarray, corrected: np.ndarray, direction: int) -> int:
    """Steps that run against the scan, by more than noise, only since the drop was taken off."""
    noise = 2 * noise_V(potential)
    return int(
        np.count_nonzero((direction * np.diff(corrected) < -noise) & (direction * np.diff(potential) > 0))
    )


def correct_sweep(
    sweep: Sweep,
    *,
    resistance_ohm: float | None = None,
    resistance_ohm_cm2: float | None = None,
    area_cm2: float | None = None,
) -> Sweep:
    """A sweep whose potential is without the drop in the solution; its warnings are carried on.

    Parameters
    ----------
    sweep : Sweep
    resistance_ohm : float, optional
        Of the cell; needs currents, or a density and `area_cm2`.
    resistance_ohm_cm2 : float, optional
        Times the area of the specimen; needs a density, or currents and `area_cm2`.
    area_cm2 : float, optional

    Raises
    ------
    ValueError
        If not exactly one resistance is given, it is negative, or the area that it needs is missing.
    """
    if (resistance_ohm is None) == (resistance_ohm_cm2 is None):
        raise ValueError("give the resistance either in ohm or in ohm cm²")
    if area_cm2 is not None and not (np.isfinite(area_cm2) and area_cm2 > 0):
        raise ValueError(f"an area of {area_cm2} cm² is not above 0")
    per_area = sweep.density_A_per_cm2 is not None
    if per_area != (resistance_ohm is None) and area_cm2 is None:
        raise ValueError("the area is needed to bring the resistance and the current together")
    if resistance_ohm_cm2 is not None:
        resistance = resistance_ohm_cm2 if per_area else resistance_ohm_cm2 / (area_cm2 or 1.0)
    else:
        assert resistance_ohm is not None
        resistance = resistance_ohm * (area_cm2 or 1.0) if per_area else resistance_ohm
    current = sweep.density_A_per_cm2 if per_area else sweep.current_A
    assert current is not None
    done = correct_potential(sweep.potential_V, current, resistance, sweep.scans)
    return replace(sweep, potential_V=done.potential_V, warnings=sweep.warnings + done.warnings)
