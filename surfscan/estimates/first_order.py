"""From a measurement model to a budget, by the law of propagation of uncertainty (JCGM 100)."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.estimates.uncertainty import Budget, Contribution, Evaluation, check_source

Distribution = Literal["normal", "rectangular", "triangular", "arcsine"]
Model = Callable[..., np.ndarray | float]


@dataclass(frozen=True)
class Input:
    """A quantity that a measurement model starts from.

    Attributes
    ----------
    name : str
        As the model's parameter is called.
    value : float
        Best estimate.
    standard_uncertainty : float
        0 or above, unit of the value.
    degrees_of_freedom : float
        Infinite where the standard uncertainty is taken as known. A normal input with finite degrees of
        freedom is drawn from the scaled and shifted t distribution (JCGM 101, 6.4.9).
    distribution : str
        "normal", "rectangular", "triangular" or "arcsine", all symmetric about the value.
    source : str
        One of `SOURCES`.
    evaluation : str
        "A" by statistics of readings, "B" by other means.
    note : str
    """

    name: str
    value: float
    standard_uncertainty: float
    degrees_of_freedom: float = math.inf
    distribution: Distribution = "normal"
    source: str = "other"
    evaluation: Evaluation = "B"
    note: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"{self.name}: the value must be finite, got {self.value!r}")
        check_source(self.name, self.source, self.standard_uncertainty, self.degrees_of_freedom)


def sensitivities(model: Model, inputs: Sequence[Input]) -> np.ndarray:
    """Derivatives of a model at the estimates, by central differences one standard uncertainty wide.

    Parameters
    ----------
    model : callable
        Takes every input by name and returns the figure.
    inputs : sequence of Input

    Returns
    -------
    ndarray of shape (n,)
        0 for inputs without uncertainty, which need none.

    References
    ----------
    JCGM 100:2008, 5.1.3 note 2: [f(x + u) - f(x - u)] / 2 gives the part itself.
    """
    at = {i.name: i.value for i in inputs}
    out = np.zeros(len(inputs))
    for k, one in enumerate(inputs):
        if one.standard_uncertainty == 0:
            continue
        low, high = one.value - one.standard_uncertainty, one.value + one.standard_uncertainty
        out[k] = (float(model(**at | {one.name: high})) - float(model(**at | {one.name: low}))) / (high - low)
    return out


def first_order(
    figure: str,
    unit: str,
    model: Model,
    inputs: Sequence[Input],
    correlations: Mapping[tuple[str, str], float] | None = None,
) -> Budget:
    """Budget of a figure from its model, by the law of propagation of uncertainty.

    Parameters
    ----------
    figure, unit : str
    model : callable
        Takes every input by name and returns the figure.
    inputs : sequence of Input
    correlations : mapping of (name, name) to float, optional

    Returns
    -------
    Budget

    Raises
    ------
    ValueError
        If the model gives nothing finite at the estimates or beside them.

    References
    ----------
    JCGM 100:2008, 5.1.2 and 5.2.2.
    """
    value = float(model(**{i.name: i.value for i in inputs}))
    slopes = sensitivities(model, inputs)
    if not (math.isfinite(value) and np.isfinite(slopes).all()):
        raise ValueError(
            f"{figure}: the model gives no finite figure at its inputs, or one standard uncertainty beside "
            "them"
        )
    contributions = tuple(
        Contribution(
            i.name, i.source, float(c), i.standard_uncertainty, i.degrees_of_freedom, i.evaluation, i.note
        )
        for i, c in zip(inputs, slopes, strict=True)
    )
    return Budget(figure, unit, value, contributions, correlations or {})


def second_order_variance(model: Model, inputs: Sequence[Input]) -> float:
    """What the next terms of the Taylor series add to the variance of a figure, for independent inputs.

    Parameters
    ----------
    model : callable
        Takes every input by name and returns the figure.
    inputs : sequence of Input

    Returns
    -------
    float
        Sum over all pairs of [½ f_ij² + f_i f_ijj] u_i² u_j², unit of the figure squared; may be below 0.

    References
    ----------
    JCGM 100:2008, 5.1.2 note (for inputs that are normal).
    """
    at = {i.name: i.value for i in inputs}
    active = [i for i in inputs if i.standard_uncertainty > 0]
    slopes = dict(zip([i.name for i in inputs], sensitivities(model, inputs), strict=True))

    def moved(**steps: float) -> float:
        shifted = {
            i.name: i.value + steps[i.name] * i.standard_uncertainty for i in active if i.name in steps
        }
        return float(model(**at | shifted))

    def third(i: Input, j: Input) -> float:
        """u_i u_j² times the derivative once by i and twice by j."""
        if i is j:
            a = i.name
            return (moved(**{a: 2}) - 2 * moved(**{a: 1}) + 2 * moved(**{a: -1}) - moved(**{a: -2})) / 2
        a, b = i.name, j.name
        rows = [moved(**{a: s, b: 1}) - 2 * moved(**{a: s}) + moved(**{a: s, b: -1}) for s in (1.0, -1.0)]
        return (rows[0] - rows[1]) / 2

    total = 0.0
    for i in active:
        for j in active:
            if i is j:
                second = moved(**{i.name: 1}) - 2 * moved() + moved(**{i.name: -1})
            else:
                a, b = i.name, j.name
                second = (
                    moved(**{a: 1, b: 1})
                    - moved(**{a: 1, b: -1})
                    - moved(**{a: -1, b: 1})
                    + moved(**{a: -1, b: -1})
                ) / 4
            total += second**2 / 2 + slopes[i.name] * i.standard_uncertainty * third(i, j)
    return total
