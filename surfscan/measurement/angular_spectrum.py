"""Power of a surface by direction, and the direction of its lay."""

from __future__ import annotations

import numpy as np

_BLOCK = 256  # rows of the spectrum summed at a time
_SMOOTH_DEG = 2.0  # standard deviation of the smoothing over directions
_STANDS_OUT = 2.0  # a lay's direction has this many times the mean power
_SECOND, _APART_DEG = 0.8, 20  # a second direction is told of from this share of the first, so far from it


def angular_spectrum(
    power: np.ndarray, shape: tuple[int, int], pixel_size_um: tuple[float, float], *, longest_um: float
) -> np.ndarray:
    """Power by direction, in whole degrees.

    Parameters
    ----------
    power : ndarray of shape (S, T // 2 + 1)
        Squared modulus of the real two-dimensional Fourier transform on a grid of S by T, rows in the order
        of the transform.
    shape : tuple of int
        (S, T).
    pixel_size_um : tuple of float
        (x, y), µm: directions are physical ones.
    longest_um : float
        Longer waves are left out, and so are those shorter than two of the larger pixel pitch, so that every
        direction is summed over the same range of frequencies.

    Returns
    -------
    ndarray of shape (180,)
        Power of the waves that run within half a degree of each direction, counter-clockwise from the row
        direction (0, 1, ... 179), the sum scaled to 180.

    Notes
    -----
    In every row of the spectrum the power between two directions is taken from its running sum, so that
    frequency cells are shared among the directions they lie in.
    """
    rows, half = power.shape
    fx, fy = 1 / (shape[1] * pixel_size_um[0]), 1 / (shape[0] * pixel_size_um[1])  # per µm and grid step
    limit = 0.5 / max(pixel_size_um)
    bounds = 1 / np.tan(np.radians(np.arange(90) + 0.5))  # |fx / fy| at half degrees, from 0.5 up
    out = np.zeros(180)
    signed = np.arange(rows)
    signed[signed > rows // 2] -= rows
    for start in range(0, rows, _BLOCK):
        f_row = signed[start : start + _BLOCK] * fy
        block = power[start : start + _BLOCK].astype(np.float64)
        block[:, 0] /= 2  # the other half of this column is its own mirror image
        low = int(np.ceil(1 / longest_um / fx)) + 1
        too_long = np.hypot(f_row[:, None], np.arange(min(low, half)) * fx) * longest_um < 1 - 1e-9
        block[:, : too_long.shape[1]][too_long] = 0
        running = np.concatenate([np.zeros((len(block), 1)), np.cumsum(block, axis=1)], axis=1)
        last = np.sqrt(np.maximum(limit**2 - f_row**2, 0)) / fx
        edge = np.minimum(np.abs(f_row)[:, None] * bounds / fx, last[:, None])
        edge = np.concatenate([last[:, None], edge, np.full((len(block), 1), -0.5)], axis=1)
        place = np.minimum(edge + 0.5, half)
        whole = np.minimum(place.astype(np.intp), half - 1)
        which = np.arange(len(block))[:, None]
        upto = running[which, whole] + (place - whole) * block[which, whole]
        share = upto[:, :-1] - upto[:, 1:]  # degrees 0 to 90 from the row axis
        share[np.abs(f_row) > limit] = 0
        down, up = share[f_row > 0].sum(axis=0), share[f_row <= 0].sum(axis=0)
        # A row below the first has its frequency pointing down the picture: clockwise.
        out[:91] += up
        out[-np.arange(91) % 180] += down
    total = out.sum()
    return out * (180 / total) if total > 0 else np.zeros(180)


def lay_direction(spectrum: np.ndarray) -> tuple[float | None, tuple[str, ...]]:
    """Std: the direction of the lay, across the direction in which most power runs.

    Parameters
    ----------
    spectrum : ndarray of shape (180,)
        From `angular_spectrum`.

    Returns
    -------
    lay : float or None
        Degrees, -90 (excluded) to 90, counter-clockwise from the row direction. None where, after smoothing
        with a standard deviation of 2°, no direction has twice the mean power (common practice, no source).
    warnings : tuple of str

    Notes
    -----
    ISO 25178-2 gives Std as the direction in which the angular spectrum is largest, and its angular spectrum,
    with sine and cosine exchanged, belongs to the lay (from memory); here it is the lay by definition.
    """
    away = np.minimum(np.arange(180), 180 - np.arange(180))
    kernel = np.exp(-0.5 * (away / _SMOOTH_DEG) ** 2)
    smooth = np.fft.irfft(np.fft.rfft(spectrum) * np.fft.rfft(kernel / kernel.sum()), 180)
    peak = int(np.argmax(smooth))
    if smooth[peak] < _STANDS_OUT:
        return None, (
            f"No direction stands out (the strongest has {smooth[peak]:.1f} times the mean power, a lay at "
            f"least {_STANDS_OUT:g}): Std is not given.",
        )
    before, at, after = np.log(np.maximum(smooth[[peak - 1, peak, (peak + 1) % 180]], 1e-12))
    bend = 2 * at - before - after
    across = peak + (0.5 * float((after - before) / bend) if bend > 0 else 0.0)
    lay = _wrapped(across + 90)
    apart = np.minimum(np.abs(np.arange(180) - peak), 180 - np.abs(np.arange(180) - peak)) > _APART_DEG
    second = int(np.argmax(np.where(apart, smooth, 0)))
    if smooth[second] >= _SECOND * smooth[peak]:
        return lay, (
            f"A second direction, {_wrapped(second + 90.0):.0f}°, is almost as strong as the lay at "
            f"{lay:.0f}°: Std tells only half of it.",
        )
    return lay, ()


def _wrapped(degrees: float) -> float:
    """Into -90 (excluded) to 90, to a tenth: no peak is known better."""
    return 90.0 - (90.0 - round(degrees, 1)) % 180.0
