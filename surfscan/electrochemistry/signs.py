"""The sign of a current, told from physics: over a scan it rises with the potential, anodic positive."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from surfscan.electrochemistry.sweep import Scan

_FEWEST = 3
_LEAST_SHARE = 0.1
_LOWEST_LOGARITHM, _LEAST_DECADES = -20.0, 1.0
_LEAST_LIKENESS = 0.98  # common practice, no source: tried on cathodic peaks with noise
_WINDOWS = ((4, 0.01), (8, 0.02))  # points to each side at least, V to each side at least
_LEAST_DIP, _SMOOTHER = 3.0, 0.8  # common practice, no source: tried on passive and on noisy currents


class SignedCurrent(NamedTuple):
    """A current with anodic positive.

    Attributes
    ----------
    current : ndarray of shape (n,)
    sign : str
        How the sign was told, in words.
    warnings : tuple of str
        Empty where the file is as it should be.
    """

    current: np.ndarray
    sign: str
    warnings: tuple[str, ...]


def give_sign(
    potential_V: np.ndarray, current: np.ndarray, scans: Sequence[Scan], *, is_absolute: bool = False
) -> SignedCurrent:
    """Turn a current so that anodic is positive, or restore a sign that was dropped.

    Where the current has both signs, its positive part must lie at the higher potentials (one or two points
    of a sign count only where they are a tenth of all, and as noise elsewhere). Where it has one,
    and falls to a sharp minimum inside a scan with a rise towards lower potentials, it is the absolute
    current: below the minimum it is taken as cathodic. A sharp minimum is one where the current runs more
    smoothly with its sign changed there than without. A current of one sign and no such minimum is one
    branch: cathodic if it is largest at the lowest potentials, anodic if it is small there (further up it may
    fall again, where the metal passivates).

    Parameters
    ----------
    potential_V, current : ndarray of shape (n,)
        Finite.
    scans : sequence of Scan
    is_absolute : bool
        Whether the file says that the sign was dropped, or holds logarithms.

    Returns
    -------
    SignedCurrent
    """
    inside = _inside(potential_V.size, scans)
    potential, values = potential_V[inside], current[inside]
    positive, negative = values > 0, values < 0
    counts = int(np.count_nonzero(positive)), int(np.count_nonzero(negative))
    is_few = 0 < min(counts) < _FEWEST and min(counts) >= _LEAST_SHARE * values.size
    if is_few and not is_absolute and not _is_apart(potential[positive], potential[negative]):
        return SignedCurrent(
            current,
            "as in the file: too few points of either sign to tell",
            (
                f"{min(counts)} of {values.size} points have the other sign, among the rest: the sign of the "
                "current could not be checked.",
            ),
        )
    if (min(counts) >= _FEWEST or is_few) and not is_absolute:
        above, below = float(np.median(potential[positive])), float(np.median(potential[negative]))
        if above >= below:
            return SignedCurrent(
                current,
                "as in the file: the current is positive at the higher potentials, anodic positive",
                (),
            )
        return SignedCurrent(
            -current,
            "turned: in the file the current is positive at the lower potentials",
            (
                "In the file cathodic current is positive (it is positive at the lower potentials): the sign "
                "was turned, anodic is positive here.",
            ),
        )
    magnitude = np.abs(current)
    zeros = [_zero_current(potential_V, magnitude, scan, is_absolute) for scan in scans]
    if any(zero is not None for zero in zeros):
        return _restored(potential_V, magnitude, scans, zeros)
    if is_absolute and counts[1] == 0:
        current = magnitude
    return _one_branch(potential_V, current, scans, is_absolute=is_absolute)


def _is_apart(one: np.ndarray, other: np.ndarray) -> bool:
    return bool(one.min() > other.max() or other.min() > one.max())


def looks_logarithmic(potential_V: np.ndarray, values: np.ndarray, scans: Sequence[Scan]) -> bool:
    """Whether values taken for currents are decimal logarithms by their course.

    Logarithms of currents below 1 are all negative, and fall to a cusp where the current changes its sign;
    with their sign restored there, the currents rise with the potential throughout. A current itself has no
    such cusp at its most negative value.

    Parameters
    ----------
    potential_V, values : ndarray of shape (n,)
        Finite; the numbers of the file.
    scans : sequence of Scan

    Returns
    -------
    bool
    """
    inside = values[_inside(values.size, scans)]
    if not inside.size or inside.max() >= 0 or inside.min() < _LOWEST_LOGARITHM:
        return False
    if inside.max() - inside.min() < _LEAST_DECADES:
        return False
    magnitude = 10.0**values
    for scan in scans:
        zero = _zero_current(potential_V, magnitude, scan, is_absolute=False)
        if zero is not None:
            potential, size = potential_V[scan.points], magnitude[scan.points]
            if _likeness_of_order(potential, np.where(potential < zero, -size, size)) > _LEAST_LIKENESS:
                return True
    return False


def _likeness_of_order(one: np.ndarray, other: np.ndarray) -> float:
    """Correlation of ranks."""
    first, second = (np.argsort(np.argsort(values, kind="stable")) for values in (one, other))
    return float(np.corrcoef(first, second)[0, 1])


def _inside(count: int, scans: Sequence[Scan]) -> np.ndarray:
    inside = np.zeros(count, bool)
    for scan in scans:
        inside[scan.points] = True
    return inside


def _zero_current(
    potential_V: np.ndarray, magnitude: np.ndarray, scan: Scan, is_absolute: bool
) -> float | None:
    """Where an absolute current changes its sign in a scan, between two points; None where it does not."""
    potential, values = potential_V[scan.points][:: scan.direction], magnitude[scan.points][:: scan.direction]
    low = int(np.argmin(values))
    if low < 2 or low > values.size - 3:
        return None
    floor = max(float(values[low]), 1e-300)
    if float(values[:low].max()) < _LEAST_DIP * floor or float(values[low + 1 :].max()) < _LEAST_DIP * floor:
        return None
    best, other = np.inf, low
    for points, reach in _WINDOWS:
        close = np.flatnonzero(np.abs(potential - potential[low]) <= reach)
        near = slice(max(min(low - points, int(close[0])), 0), max(low + points, int(close[-1])) + 1)
        x = potential[near] - potential[low]
        scale = float(np.median(values[near]))
        if scale == 0:
            return None
        y = np.arcsinh(values[near] / scale)
        kept = _roughness(x, y)
        for last, neighbour in ((low - 1, low - 1), (low, low + 1)):
            turned = _roughness(x, np.where(np.arange(y.size) <= last - near.start, -y, y))
            if turned < best * kept:
                best, other = turned / kept, neighbour
    if best >= (1.0 if is_absolute else _SMOOTHER):
        return None
    return 0.5 * float(potential[low] + potential[other])


def _roughness(x: np.ndarray, y: np.ndarray) -> float:
    """Residual of a parabola through points."""
    scale = float(np.abs(x).max()) or 1.0
    design = np.vander(x / scale, 3)
    fit = np.linalg.lstsq(design, y, rcond=None)[0]
    return float(np.linalg.norm(y - design @ fit))


def _restored(
    potential_V: np.ndarray, magnitude: np.ndarray, scans: Sequence[Scan], zeros: Sequence[float | None]
) -> SignedCurrent:
    known = [zero for zero in zeros if zero is not None]
    usual = float(np.median(known))
    current = np.where(potential_V < usual, -magnitude, magnitude)
    for scan, zero in zip(scans, zeros, strict=True):
        at = usual if zero is None else zero
        current[scan.points] = np.where(
            potential_V[scan.points] < at, -magnitude[scan.points], magnitude[scan.points]
        )
    where = ", ".join(f"{zero:.3f} V" for zero in known[:4]) + (", ..." if len(known) > 4 else "")
    return SignedCurrent(
        current,
        f"restored: the file holds absolute currents; below the smallest current ({where}) they are cathodic",
        (
            f"The file holds currents without sign: below the potential of the smallest current ({where}) "
            "they are taken as cathodic, above it as anodic. Export signed currents to be sure.",
        ),
    )


def _one_branch(
    potential_V: np.ndarray, current: np.ndarray, scans: Sequence[Scan], *, is_absolute: bool
) -> SignedCurrent:
    """A current of one sign: turned where its size says that it is the other branch."""
    inside = _inside(potential_V.size, scans)
    x, size = potential_V[inside], np.abs(current[inside])
    order = np.argsort(x, kind="stable")
    end = max(1, order.size // 20)
    lower, upper = float(np.median(size[order[:end]])), float(np.median(size[order[-end:]]))
    has = float(np.sign(np.median(current[inside])))
    is_anodic = lower < 0.5 * float(size.max())
    if not is_anodic and upper >= 0.5 * lower:
        return SignedCurrent(
            current,
            "as in the file: one branch only, and its size does not tell which",
            ("The current has one sign and hardly changes with potential: its sign could not be checked.",),
        )
    branch = "anodic" if is_anodic else "cathodic"
    wanted = 1.0 if is_anodic else -1.0
    at_start = "small" if is_anodic else "largest"
    how = f"one branch only, {branch}: its size is {at_start} at the lowest potentials"
    if has == wanted or has == 0:
        return SignedCurrent(current, f"as in the file: {how}", ())
    if is_absolute:
        return SignedCurrent(-current, f"restored: {how}", (f"The file holds currents without sign: {how}.",))
    return SignedCurrent(
        -current,
        f"turned: {how}",
        (f"The sign of the current was turned, anodic is positive here: {how}.",),
    )
