"""Conformity with a limit: examples of JCGM 106:2012 and the arithmetic of guard bands.

The examples of JCGM 106:2012, clause 7, are from memory (the document could not be read): the breakdown
voltage of a diode against an upper limit, the bursting strength of a container against a lower one, the
viscosity of an oil between two. Each figure follows from the normal distribution, which is checked against
SciPy. Guard bands: clause 8.3, and a guide that was read in extracts (ILAC-G8:09/2019, 4.2, and services that
apply it): with a guard band of the expanded uncertainty a false acceptance has a probability below 2.5 %, by
simple acceptance below 50 %.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from surfscan.comparison.acceptance import Limits, conformance_probability, judge


@pytest.mark.parametrize(
    ("value", "u", "limits", "printed"),
    [
        (-5.47, 0.05, Limits(at_most=-5.40), 0.92),  # diode: V
        (509.7, 8.6, Limits(at_least=490.0), 0.989),  # container: kPa
        (13.6, 1.8, Limits(12.5, 16.3), 0.66),  # oil: mm²/s
    ],
)
def test_probability_of_conformity(value: float, u: float, limits: Limits, printed: float) -> None:
    found = conformance_probability(value, u, limits)
    assert found == pytest.approx(printed, abs=0.5 * 10 ** -len(str(printed).split(".")[1]))
    low = -np.inf if limits.at_least is None else limits.at_least
    high = np.inf if limits.at_most is None else limits.at_most
    normal = stats.norm(value, u)
    assert found == pytest.approx(normal.cdf(high) - normal.cdf(low), abs=1e-12)


@pytest.mark.parametrize("limits", [Limits(at_most=10.0), Limits(at_least=10.0)])
def test_false_acceptance_at_the_end_of_the_guard_band(limits: Limits) -> None:
    """A figure just accepted with a guard band of U conforms with 97.5 %; of simple acceptance with 50 %."""
    u, side = 0.3, 1 if limits.at_least is not None else -1
    for rule, factor, risk in (("guarded", 1.0, 0.025), ("simple", 0.0, 0.5)):
        at = 10.0 + side * factor * stats.norm.ppf(0.975) * u
        accepted = judge(at + side * 1e-9, limits, standard_uncertainty=u, rule=rule)  # type: ignore[arg-type]
        beyond = judge(at - side * 1e-6, limits, standard_uncertainty=u, rule=rule)  # type: ignore[arg-type]
        assert accepted.outcome == "pass" and beyond.outcome != "pass"
        assert accepted.probability is not None
        assert 1 - accepted.probability == pytest.approx(risk, abs=1e-6)


def test_risk_of_both_rules_by_simulation() -> None:
    """True values at the limit: guarded acceptance lets 2.5 % of the readings pass and 2.5 % fail."""
    rng = np.random.default_rng(1)
    readings = 10.0 + 0.3 * rng.standard_normal(20_000)
    outcomes = [judge(float(y), Limits(at_most=10.0), standard_uncertainty=0.3).outcome for y in readings]
    for outcome in ("pass", "fail"):
        assert outcomes.count(outcome) / 20_000 == pytest.approx(0.025, abs=0.004)  # 3.6 standard errors
