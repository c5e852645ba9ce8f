"""Starting values of a polarization fit, from the data alone."""

from __future__ import annotations

import numpy as np

from surfscan.electrochemistry.mixed_control import MixedControl

SLOPES_V = (0.033, 0.041, 0.051, 0.063, 0.078, 0.097, 0.121, 0.15, 0.186, 0.231, 0.287, 0.356, 0.442)
"""Tafel slopes tried on either side, V/decade."""

RATIOS = (0.0, 0.05, 0.12, 0.25, 0.5, 0.9)
"""Ratios of corrosion to limiting current tried."""

_LN10 = np.log(10.0)
_POINTS = 40
_CLOSEST_V = 0.008


def start_of(potential_V: np.ndarray, density_uA_per_cm2: np.ndarray, zero_V: float) -> MixedControl:
    """Best of a grid of curves, each at its own best corrosion current.

    Parameters
    ----------
    potential_V, density_uA_per_cm2 : ndarray of shape (n,)
        Potential rising, free of ohmic drop.
    zero_V : float
        Zero-current potential.

    Notes
    -----
    For a given shape the corrosion current that fits ln|i| best is a mean, so only shapes are tried: about
    40 points a side, equally spaced in potential, 8 mV and more from zero current.

    Raises
    ------
    ValueError
        If one side holds no point of the right sign.
    """
    over = potential_V - zero_V
    chosen = []
    for sign in (1, -1):
        side = np.flatnonzero((sign * over > _CLOSEST_V) & (sign * density_uA_per_cm2 > 0))
        if len(side) == 0:
            raise ValueError("no current of the right sign on one side of the zero-current potential")
        chosen.append(side[np.linspace(0, len(side) - 1, min(_POINTS, len(side))).astype(int)])
    points = np.concatenate(chosen)
    h, size = over[points], np.log(np.abs(density_uA_per_cm2[points]))
    weight = np.concatenate([np.full(len(c), 1 / len(c)) for c in chosen])
    slopes, ratios = np.array(SLOPES_V), np.array(RATIOS)
    anodic = np.exp(np.clip(_LN10 * h / slopes[:, np.newaxis], -200, 200))
    steep = anodic[:, np.newaxis]
    cathodic = 1 / ((1 - ratios[:, np.newaxis]) * steep + ratios[:, np.newaxis])
    shape = anodic[:, np.newaxis, np.newaxis] - cathodic[np.newaxis]
    gap = size - np.log(np.maximum(np.abs(shape), 1e-300))
    level = (gap * weight).sum(axis=-1) / weight.sum()
    loss = ((gap - level[..., np.newaxis]) ** 2 * weight).sum(axis=-1)
    a, c, r = (int(k) for k in np.unravel_index(int(np.argmin(loss)), loss.shape))
    return MixedControl(
        zero_V, float(np.exp(level[a, c, r])), float(slopes[a]), float(slopes[c]), float(ratios[r])
    )


def largest_resistance_ohm_cm2(potential_V: np.ndarray, density_uA_per_cm2: np.ndarray) -> float:
    """Upper bound of a series resistance: the smallest slope dE/di over stretches of a tenth of the sweep.

    Raises
    ------
    ValueError
        If the current rises nowhere.
    """
    stretch = max(2, len(potential_V) // 10)
    rise = density_uA_per_cm2[stretch:] - density_uA_per_cm2[:-stretch]
    width = potential_V[stretch:] - potential_V[:-stretch]
    rising = rise > 0
    if not rising.any():
        raise ValueError("the current rises nowhere with the potential")
    return float(1e6 * np.min(width[rising] / rise[rising]))
