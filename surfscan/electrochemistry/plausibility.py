"""Whether a sweep can be what it says it is: units taken for others, swapped columns, areas that cannot be.

Every limit is a rule of thumb (common practice, no source), wide enough that a real cell hardly meets it.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from surfscan.electrochemistry.column_content import span, unevenness
from surfscan.electrochemistry.sweep import ColumnRead, Sweep
from surfscan.errors import InputError

LARGEST_POTENTIAL_V = 10.0
"""Beyond, water would long have been decomposed: the column is in another unit, or no potential."""

LEAST_RANGE_V = 0.002
"""A sweep over less has no use."""

LARGEST_DENSITY_A_PER_CM2 = 1.0
"""Beyond, the drop in 1 ohm cm² of solution alone is 1 V: a wall in a cell hardly carries it."""

LARGEST_CORROSION_A_PER_CM2 = 0.05
"""Estimated at the zero-current potential; for iron 0.05 A/cm² would be 580 mm/y."""

LEAST_CORROSION_A_PER_CM2 = 1e-11

LARGEST_CURRENT_A = 3.0
"""More than common cells and instruments for them carry."""

USUAL_AREA_CM2 = (0.005, 100.0)

_NEAR_ZERO_V = 0.03
_SWAP_FACTOR = 5.0


def check_columns(
    path: Path, potential: np.ndarray, current: np.ndarray, reads: tuple[ColumnRead, ColumnRead]
) -> None:
    """Refuse columns that hold each other's values.

    Parameters
    ----------
    path : Path
    potential, current : ndarray of shape (n,)
        As taken, V and A or A/cm².
    reads : (ColumnRead, ColumnRead)
        How each was told.

    Raises
    ------
    InputError
        If the current moves in even steps over a range that potentials have, and the potential does not; or
        if the potential spans next to nothing and the current what a potential spans.
    """
    voltage_like = 0.02 <= span(current) <= 2 * LARGEST_POTENTIAL_V
    uneven = unevenness(potential)
    is_swapped = voltage_like and (
        (uneven > 0.5 and _SWAP_FACTOR * unevenness(current) < uneven) or span(potential) < LEAST_RANGE_V
    )
    if is_swapped:
        first, second = reads
        raise InputError(
            path,
            f"potential and current look swapped: column {second.column} ({second.role}) moves in even steps "
            f"over {span(current):.3g}, column {first.column} (potential) spans {span(potential):.2g} "
            "unevenly",
            f'State columns = {{"potential": {second.column}, "{second.role}": {first.column}}}, or correct '
            "the "
            "headings",
        )


def check_potential(path: Path, potential_V: np.ndarray, read: ColumnRead) -> tuple[str, ...]:
    """What to say of the size of potentials.

    Raises
    ------
    InputError
        If they are beyond 10 V.
    """
    largest = float(np.abs(potential_V).max())
    if largest > LARGEST_POTENTIAL_V:
        raise InputError(
            path,
            f"potentials reach {largest:.4g} V (column {read.column}, unit {read.unit!r}): no cell has them, "
            "and mV called V would",
            'If they are mV, state units = {"potential": "mV"}; else state which column is the potential',
        )
    if span(potential_V) < LEAST_RANGE_V:
        return (
            f"The potential moves over {1000 * span(potential_V):.2g} mV only. If the file has V where mV "
            'stands, state units = {"potential": "V"}.',
        )
    return ()


def check_current(current: np.ndarray, *, is_density: bool) -> tuple[str, ...]:
    """What to say of the size and course of a current, before the area is known.

    Parameters
    ----------
    current : ndarray of shape (n,)
        A, or A/cm².
    is_density : bool

    Returns
    -------
    tuple of str
    """
    warnings: list[str] = []
    size = np.abs(current)
    largest = float(size.max())
    if not is_density and largest > LARGEST_CURRENT_A:
        warnings.append(
            f"The current reaches {largest:.3g} A, more than common cells carry: mA or µA may have been "
            "called A. "
            'If so, state units = {"current": "mA"}.'
        )
    at_limit = int(np.count_nonzero(size == largest))
    if at_limit > max(3, 0.02 * size.size):
        warnings.append(
            f"{at_limit} of {size.size} points have exactly the largest current ({largest:.3g}): the range "
            "of the instrument was overrun. Leave them out or measure again in a wider range."
        )
    return tuple(warnings)


def check_density(sweep: Sweep, area_cm2: float | None = None) -> tuple[str, ...]:
    """What to say of current densities that no wall carries, or of a corrosion rate that none has.

    Parameters
    ----------
    sweep : Sweep
    area_cm2 : float, optional
        Needed where the sweep holds currents; see `check_area`.

    Returns
    -------
    tuple of str

    Raises
    ------
    ValueError
        If the sweep holds currents and no area above 0 is given.
    """
    density = 1e-6 * sweep.density_uA_per_cm2(area_cm2)
    what = "current" if sweep.density_A_per_cm2 is None else "current density"
    unit = "mA" if what == "current" else "mA/cm²"
    remedy = f'If a unit is wrong, state units = {{"{what}": "{unit}"}}'
    remedy += " or the right area." if what == "current" else "."
    warnings: list[str] = []
    largest = float(np.abs(density).max())
    if largest > LARGEST_DENSITY_A_PER_CM2:
        warnings.append(
            f"The current density reaches {largest:.3g} A/cm², more than a wall in a cell can carry: mA may "
            f"have been called A, or the area is too small. {remedy}"
        )
    estimate = rough_corrosion_density(sweep.potential_V, density)
    if estimate is not None and estimate > LARGEST_CORROSION_A_PER_CM2 and not warnings:
        warnings.append(
            f"Near the zero-current potential the density is already of the order of {estimate:.2g} A/cm²: "
            "metal would go by more than 500 mm/y. mA or µA may have been called A, or the area is too "
            f"small. {remedy}"
        )
    if estimate is not None and 0 < estimate < LEAST_CORROSION_A_PER_CM2:
        warnings.append(
            f"Near the zero-current potential the density is of the order of {estimate:.2g} A/cm², below "
            "what cells can measure: the area may be mm² called cm², or A may have been called mA or µA. "
            f"{remedy}"
        )
    return tuple(warnings)


def impossible_density(density_uA_per_cm2: np.ndarray, icorr_uA_per_cm2: float) -> str:
    """Why a corrosion current density cannot be; empty where it can.

    Parameters
    ----------
    density_uA_per_cm2 : ndarray of shape (n,)
        Of the sweep.
    icorr_uA_per_cm2 : float
    """
    largest, corrosion = 1e-6 * float(np.nanmax(np.abs(density_uA_per_cm2))), 1e-6 * icorr_uA_per_cm2
    if largest <= LARGEST_DENSITY_A_PER_CM2 or corrosion <= LARGEST_CORROSION_A_PER_CM2:
        return ""
    return (
        f"the densities reach {largest:.3g} A/cm², and a corrosion current of {corrosion:.3g} A/cm² would "
        "follow: no wall in a cell carries that, so unit or area are wrong"
    )


def rough_corrosion_density(potential_V: np.ndarray, density: np.ndarray) -> float | None:
    """Order of magnitude of a corrosion current density: the median size within 30 mV of the zero-current
    potential.

    Returns
    -------
    float or None
        In the unit of `density`; None where the current does not change its sign or no point is near.
    """
    if density.min() >= 0 or density.max() <= 0:
        return None
    zero = float(potential_V[int(np.argmin(np.abs(density)))])
    near = np.abs(potential_V - zero) <= _NEAR_ZERO_V
    return float(np.median(np.abs(density[near])))


def check_area(area_cm2: float | None, path: Path | str | None = None) -> tuple[str, ...]:
    """What to say of the area of a specimen.

    Parameters
    ----------
    area_cm2 : float or None
    path : Path or str, optional
        The file it was stated for.

    Returns
    -------
    tuple of str

    Raises
    ------
    InputError
        If it is missing, not a number, zero or negative.
    """
    remedy = "State the wetted area in cm² (mm² / 100)"
    if area_cm2 is None:
        raise InputError(
            path, "the area of the specimen is missing: a current gives no rate without it", remedy
        )
    if not math.isfinite(area_cm2) or area_cm2 <= 0:
        raise InputError(path, f"an area of {area_cm2:g} cm² cannot be", remedy)
    low, high = USUAL_AREA_CM2
    if area_cm2 > high:
        return (
            f"An area of {area_cm2:g} cm² is large for a cell: if it is mm², state {area_cm2 / 100:g} cm².",
        )
    if area_cm2 < low:
        return (f"An area of {area_cm2:g} cm² is small for a cell: check that it is cm², not dm² or m².",)
    return ()
