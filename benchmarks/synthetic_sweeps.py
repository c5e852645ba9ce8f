"""Potential sweeps of known corrosion current, as practitioners record them, with seeded noise."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2


@dataclass(frozen=True)
class Family:
    """How the sweeps of one family are drawn: ranges are uniform, those of icorr and resistance in the log.

    Attributes
    ----------
    icorr_uA_per_cm2, slope_V, limiting_over_icorr : tuple of float
        Range of corrosion current, of either Tafel slope, of the limiting current over the corrosion current
        (None: no limit).
    resistance_ohm_cm2 : tuple of float or None
    drop_over_slope : tuple of float or None
        Instead of a resistance: its drop at the corrosion current over the anodic slope.
    second_cathodic : float
        A cathodic reaction of 120 mV/decade beside the limited one, its share of the current at the
        rest potential without it. The corrosion current is that at the rest potential of both.
    reach_V : float
        The sweep runs this far either side of the corrosion potential.
    step_V : tuple of float
    noise : float
        Relative noise of the current.
    floor : float
        Noise at zero current, as a fraction of the corrosion current.
    memory : float
        First-order autoregression of the noise.
    passivates_V : float or None
        Above this overpotential the anodic current falls off.
    down : bool
        Recorded from high to low potential.
    """

    icorr_uA_per_cm2: tuple[float, float] = (0.005, 1000.0)
    slope_V: tuple[float, float] = (0.05, 0.3)
    limiting_over_icorr: tuple[float, float] | None = (4.0, 15.0)
    resistance_ohm_cm2: tuple[float, float] | None = None
    drop_over_slope: tuple[float, float] | None = None
    second_cathodic: float = 0.0
    reach_V: float = 0.25
    step_V: tuple[float, float] = (0.0005, 0.002)
    noise: float = 0.01
    floor: float = 0.0
    memory: float = 0.0
    passivates_V: float | None = None
    down: bool = False


@dataclass(frozen=True)
class TrueSweep:
    """A made sweep and what it was made from."""

    potential_V: np.ndarray
    density_uA_per_cm2: np.ndarray
    truth: MixedControl


_SECOND_SLOPE_V = 0.12

FAMILIES = {
    "1 % noise": Family(),
    "1 % noise and floor": Family(floor=0.01),
    "no limiting current": Family(limiting_over_icorr=None),
    "correlated noise": Family(memory=0.8),
    "downwards": Family(down=True),
    "resistance": Family(resistance_ohm_cm2=(5.0, 50.0)),
    "drop not stated": Family(drop_over_slope=(0.001, 0.2)),
    "second cathodic": Family(second_cathodic=0.05),
    "passivating": Family(passivates_V=0.1),
    "-100 to +100 mV": Family(reach_V=0.1),
}
"""Families by name; the first is the promised one."""


def draw(family: Family, seed: int) -> TrueSweep:
    """One sweep of a family."""
    rng = np.random.default_rng((seed, 5))

    def log_uniform(limits: tuple[float, float]) -> float:
        return float(np.exp(rng.uniform(*np.log(limits))))

    ratio = 0.0 if family.limiting_over_icorr is None else 1 / rng.uniform(*family.limiting_over_icorr)
    truth = MixedControl(
        float(rng.uniform(-0.9, 0.2)),
        log_uniform(family.icorr_uA_per_cm2),
        float(rng.uniform(*family.slope_V)),
        float(rng.uniform(*family.slope_V)),
        ratio,
        log_uniform(family.resistance_ohm_cm2) if family.resistance_ohm_cm2 else 0.0,
    )
    if family.drop_over_slope:
        drop_V = log_uniform(family.drop_over_slope) * truth.anodic_slope_V
        truth = replace(truth, series_resistance_ohm_cm2=1e6 * drop_V / truth.icorr_uA_per_cm2)
    step = float(rng.uniform(*family.step_V))
    offset = float(rng.uniform(0, step))
    over = np.arange(-family.reach_V + offset, family.reach_V, step)
    potential = truth.Ecorr_V + over
    current = current_density_uA_per_cm2(potential, truth)
    if family.second_cathodic:
        second = family.second_cathodic * truth.icorr_uA_per_cm2 * 10 ** (-over / _SECOND_SLOPE_V)
        current = current - second
        rest_V = float(np.interp(0, current, over))  # the metal dissolves faster at the higher rest potential
        faster = truth.icorr_uA_per_cm2 * 10 ** (rest_V / truth.anodic_slope_V)
        truth = replace(truth, Ecorr_V=truth.Ecorr_V + rest_V, icorr_uA_per_cm2=faster)
    if family.passivates_V is not None:
        current = np.where(current > 0, current / (1 + np.exp((over - family.passivates_V) / 0.012)), current)
    white = rng.standard_normal(len(over))
    noise = white.copy()
    for k in range(1, len(over)):
        noise[k] = family.memory * noise[k - 1] + np.sqrt(1 - family.memory**2) * white[k]
    measured = current * (1 + family.noise * noise)
    measured = measured + family.floor * truth.icorr_uA_per_cm2 * rng.standard_normal(len(over))
    order = slice(None, None, -1) if family.down else slice(None)
    return TrueSweep(potential[order], measured[order], replace(truth))
