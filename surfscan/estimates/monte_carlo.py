"""Propagation of distributions by Monte Carlo (JCGM 101), and whether first order would have done.

The same seed gives the same draws, bit for bit: every input has a random stream of its own, named by seed
and place, so that what one input is does not change the draws of another.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from surfscan.estimates.first_order import Input, Model, first_order
from surfscan.estimates.uncertainty import Budget, coverage_factor

TRIALS = 200_000
"""Trials by default; JCGM 101, 7.2.2, asks for at least 10⁴ / (1 - p), which are as many at 95 %."""

SEED = 20260207


@dataclass(frozen=True)
class Propagated:
    """Distribution of a figure from many trials.

    Attributes
    ----------
    mean : float
        Of the trials.
    standard_uncertainty : float
        Likewise; not-a-number where an input has two degrees of freedom or fewer, whose draws have no
        standard deviation.
    low, high : float
        Ends of the probabilistically symmetric coverage interval.
    shortest : (float, float)
        Ends of the shortest one; the two differ where the distribution is skewed.
    probability : float
        That the intervals hold.
    trials, seed : int
    failed : int
        Trials that gave nothing finite and were left out.
    """

    mean: float
    standard_uncertainty: float
    low: float
    high: float
    shortest: tuple[float, float]
    probability: float
    trials: int
    seed: int
    failed: int


@dataclass(frozen=True)
class Evaluated:
    """A figure with its budget and the interval to print.

    Attributes
    ----------
    budget : Budget
        To first order.
    simulated : Propagated
    first_order_is_enough : bool
        Whether both agree to the digits that are stated (`is_linear_enough`).
    value : float
        From the model at its best estimates.
    ci95 : (float, float)
        To first order where that is enough, else the symmetric interval of the trials.
    method : str
        What the interval rests on, in words, with the seed where it is simulated.
    """

    budget: Budget
    simulated: Propagated
    first_order_is_enough: bool
    value: float
    ci95: tuple[float, float]
    method: str


def propagate(
    model: Model,
    inputs: Sequence[Input],
    seed: int = SEED,
    trials: int = TRIALS,
    *,
    probability: float = 0.95,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Propagated:
    """Distribution of a figure, from draws of all its inputs.

    Parameters
    ----------
    model : callable
        Takes every input by name as an array of shape (trials,) and returns such an array.
    inputs : sequence of Input
    seed : int
    trials : int
        1000 or more.
    probability : float
        Above 0 and below 1.
    correlations : mapping of (name, name) to float, optional
        Of inputs that are normal with known uncertainty.

    Returns
    -------
    Propagated

    Raises
    ------
    ValueError
        If there are too few trials, the correlations cannot be drawn, the model does not take arrays, or
        more than one trial in a hundred gives nothing finite: it is not defined where its inputs may lie.

    References
    ----------
    JCGM 101:2008, 6.4 (distributions), 7 (procedure), 7.7 (coverage intervals), Annex D.
    """
    if trials < 1000:
        raise ValueError(f"at least 1000 trials are needed for an interval, got {trials!r}")
    if not 0 < probability < 1:
        raise ValueError(f"probability must lie between 0 and 1, got {probability!r}")
    drawn = _draw(inputs, seed, trials, correlations or {})
    with np.errstate(all="ignore"):
        figures = np.asarray(model(**drawn), dtype=np.float64)
    if figures.shape != (trials,):
        raise ValueError(f"the model must return one figure a trial, shape ({trials},), got {figures.shape}")
    finite = figures[np.isfinite(figures)]
    failed = trials - len(finite)
    if failed > trials / 100:
        raise ValueError(
            f"{failed} of {trials} trials gave nothing finite: the model is not defined where its inputs may "
            "lie"
        )
    finite.sort()
    low, high = _symmetric(finite, probability)
    heavy = any(
        i.distribution == "normal" and i.degrees_of_freedom <= 2 and i.standard_uncertainty > 0
        for i in inputs
    )
    return Propagated(
        float(finite.mean()),
        math.nan if heavy else float(finite.std(ddof=1)),
        low,
        high,
        _shortest(finite, probability),
        probability,
        trials,
        seed,
        failed,
    )


def is_linear_enough(budget: Budget, simulated: Propagated, *, digits: int = 2) -> bool:
    """Whether first order gives the same interval as the trials, to the digits that are stated.

    Parameters
    ----------
    budget : Budget
        To first order.
    simulated : Propagated
    digits : int
        Significant digits of the standard uncertainty that count, 1 or 2.

    Returns
    -------
    bool
        Both ends of the intervals differ by no more than half a unit of the last digit. The ends of the
        trials scatter by themselves: three times their standard error, taken for a normal distribution,
        is allowed for, where the document asks for so many trials that it need not be.

    Raises
    ------
    ValueError
        If `digits` is below 1.

    References
    ----------
    JCGM 101:2008, 7.9.2 and 8.1.
    """
    if digits < 1:
        raise ValueError(f"digits must be 1 or more, got {digits!r}")
    u = budget.standard_uncertainty
    low, high = budget.interval(simulated.probability)
    if u == 0:
        return (low, high) == (simulated.low, simulated.high)
    allowed = numerical_tolerance(u, digits) + 3 * _end_error(u, simulated)
    return max(abs(low - simulated.low), abs(high - simulated.high)) <= allowed


def numerical_tolerance(standard_uncertainty: float, digits: int) -> float:
    """Half a unit of the last of so many significant digits (JCGM 101, 7.9.2).

    Parameters
    ----------
    standard_uncertainty : float
        Above 0.
    digits : int
        1 or more.
    """
    exponent = math.floor(math.log10(standard_uncertainty)) - digits + 1
    if round(standard_uncertainty / 10.0**exponent) >= 10**digits:
        exponent += 1
    return 0.5 * 10.0**exponent


def evaluate(
    figure: str,
    unit: str,
    model: Model,
    inputs: Sequence[Input],
    *,
    seed: int = SEED,
    trials: int = TRIALS,
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Evaluated:
    """Budget to first order, and the interval of the trials where that is poor.

    Parameters
    ----------
    figure, unit : str
    model : callable
        Takes every input by name, as numbers and as arrays.
    inputs : sequence of Input
    seed, trials : int
    correlations : mapping of (name, name) to float, optional

    Returns
    -------
    Evaluated

    Raises
    ------
    ValueError
        As `first_order` and `propagate`.
    """
    budget = first_order(figure, unit, model, inputs, correlations)
    simulated = propagate(model, inputs, seed, trials, correlations=correlations)
    enough = is_linear_enough(budget, simulated)
    if enough:
        return Evaluated(budget, simulated, True, budget.value, budget.interval(), "first order")
    method = f"Monte Carlo, {trials} trials, seed {seed}: first order is poor here"
    return Evaluated(budget, simulated, False, budget.value, (simulated.low, simulated.high), method)


def _draw(
    inputs: Sequence[Input], seed: int, trials: int, correlations: Mapping[tuple[str, str], float]
) -> dict[str, np.ndarray]:
    """Draws of every input, shape (trials,) each."""
    streams = np.random.SeedSequence(seed).spawn(len(inputs))
    standard = [
        _standardised(one, np.random.default_rng(s), trials) for one, s in zip(inputs, streams, strict=True)
    ]
    if correlations:
        standard = _correlate(inputs, standard, correlations)
    return {i.name: i.value + i.standard_uncertainty * z for i, z in zip(inputs, standard, strict=True)}


def _standardised(one: Input, rng: np.random.Generator, trials: int) -> np.ndarray:
    """Draws with mean 0 and the spread that belongs to a standard uncertainty of 1."""
    if one.distribution == "rectangular":
        return rng.uniform(-math.sqrt(3), math.sqrt(3), trials)
    if one.distribution == "triangular":
        return rng.triangular(-math.sqrt(6), 0, math.sqrt(6), trials)
    if one.distribution == "arcsine":
        return math.sqrt(2) * np.sin(rng.uniform(0, 2 * math.pi, trials))
    if math.isfinite(one.degrees_of_freedom):
        return rng.standard_t(one.degrees_of_freedom, trials)
    return rng.standard_normal(trials)


def _correlate(
    inputs: Sequence[Input], standard: list[np.ndarray], correlations: Mapping[tuple[str, str], float]
) -> list[np.ndarray]:
    """Draws of correlated normal inputs, by the Cholesky factor of their correlations."""
    place = {one.name: k for k, one in enumerate(inputs)}
    involved = sorted({place[name] for pair in correlations for name in pair})
    for k in involved:
        if inputs[k].distribution != "normal" or math.isfinite(inputs[k].degrees_of_freedom):
            raise ValueError(
                f"{inputs[k].name}: only normal inputs with known uncertainty can be drawn with a correlation"
            )
    matrix = np.eye(len(involved))
    for (first, second), r in correlations.items():
        i, j = involved.index(place[first]), involved.index(place[second])
        matrix[i, j] = matrix[j, i] = r
    values, vectors = np.linalg.eigh(matrix)
    if float(values.min()) < -1e-9:
        raise ValueError("these correlations contradict one another: no variables can have them all")
    root = vectors * np.sqrt(np.maximum(values, 0))
    mixed = np.einsum("ij,jt->it", root, np.stack([standard[k] for k in involved]))
    out = list(standard)
    for k, row in zip(involved, mixed, strict=True):
        out[k] = row
    return out


def _symmetric(ordered: np.ndarray, probability: float) -> tuple[float, float]:
    """Interval that leaves as many trials below as above (JCGM 101, 7.7.2)."""
    n = len(ordered)
    held = round(probability * n)
    first = (n - held) // 2
    return float(ordered[first]), float(ordered[min(first + held, n - 1)])


def _shortest(ordered: np.ndarray, probability: float) -> tuple[float, float]:
    """Shortest interval that holds the wanted share of trials (JCGM 101, 7.7.4)."""
    n = len(ordered)
    held = min(round(probability * n), n - 1)
    widths = ordered[held:] - ordered[: n - held]
    first = int(np.argmin(widths))
    return float(ordered[first]), float(ordered[first + held])


def _end_error(u: float, simulated: Propagated) -> float:
    """Standard error of an end of the interval: √(q (1 - q) / M) over the density there, taken as normal."""
    q = (1 - simulated.probability) / 2
    z = coverage_factor(math.inf, simulated.probability)
    at_end = math.exp(-(z**2) / 2) / math.sqrt(2 * math.pi)
    return u * math.sqrt(q * (1 - q) / simulated.trials) / at_end
