"""Fields nested in specimens against closed forms and statsmodels.

Sources: one-way random model, balanced: expected mean squares σ_f² + m σ_s² and σ_f² (Searle, Casella &
McCulloch (1992) Variance Components, ch. 3, from memory; any text on analysis of variance). Where the
estimate from mean squares is above 0, restricted maximum likelihood equals it. Unbalanced: MixedLM of
statsmodels with an optimiser and start of its own, and the restricted likelihood written out. Data are
invented.
"""

import math

import numpy as np
import pytest

from surfscan.estimates.groups import specimen_mean, t_factor
from surfscan.estimates.nested import nested_mean

BALANCED = {
    "A": [12.1, 13.4, 11.8, 12.9],
    "B": [15.2, 14.1, 15.9, 14.8],
    "C": [10.2, 11.1, 9.7, 10.9],
    "D": [13.0, 12.2, 14.1, 13.3],
}
UNBALANCED = {"A": [12.1, 13.4], "B": [15.2, 14.1, 15.9, 14.8, 16.0], "C": [10.2], "D": [13.0, 12.2, 14.1]}


def flat(by_specimen):
    return (
        [x for values in by_specimen.values() for x in values],
        [name for name, values in by_specimen.items() for _ in values],
    )


def mean_squares(by_specimen):
    table = np.array(list(by_specimen.values()))
    k, m = table.shape
    own = table.mean(axis=1)
    among = m * float(np.sum((own - own.mean()) ** 2)) / (k - 1)
    within = float(np.sum((table - own[:, None]) ** 2)) / (k * (m - 1))
    return k, m, among, within


def test_balanced_against_mean_squares():
    k, m, among, within = mean_squares(BALANCED)
    found = nested_mean(*flat(BALANCED))
    assert found.between_fields**2 == pytest.approx(within, rel=1e-4)
    assert found.between_specimens**2 == pytest.approx((among - within) / m, rel=1e-4)
    assert found.correlation == pytest.approx((among - within) / (among + (m - 1) * within), rel=1e-4)
    assert found.mean == pytest.approx(np.mean(flat(BALANCED)[0]), rel=1e-9)
    half = t_factor(k - 1) * math.sqrt(among / (k * m))
    assert found.ci95 == pytest.approx((found.mean - half, found.mean + half), rel=1e-4)


def test_balanced_equals_the_mean_over_specimens():
    """The specimen is the replicate: fields neither narrow nor widen the interval of specimen means."""
    found = nested_mean(*flat(BALANCED))
    plain = specimen_mean([np.mean(v) for v in BALANCED.values()])
    assert found.mean == pytest.approx(plain.value, rel=1e-9)
    assert found.ci95 == pytest.approx(plain.ci95, rel=1e-4)


def test_specimens_alike_are_pooled():
    """Mean square among below that within: REML gives σ_s = 0 and the variance of all fields together."""
    alike = {"A": [1.0, 3.0, 2.0], "B": [2.5, 1.2, 2.4], "C": [2.9, 1.1, 2.1]}
    k, _, among, within = mean_squares(alike)
    assert among < within
    values, names = flat(alike)
    found = nested_mean(values, names)
    assert found.between_specimens == 0
    assert found.between_fields == pytest.approx(np.std(values, ddof=1))
    assert found.standard_uncertainty == pytest.approx(np.std(values, ddof=1) / 3)
    assert found.degrees_of_freedom == k - 1
    assert any("do not differ" in text for text in found.warnings)


def restricted_log_likelihood(between, within, by_specimen):
    """Of the one-way model, up to a constant, from the covariance matrix as it stands."""
    x, names = (np.array(part) for part in flat(by_specimen))
    same = names[:, None] == names[None, :]
    covariance = within * np.eye(len(x)) + between * same
    inverse = np.linalg.inv(covariance)
    ones = np.ones(len(x))
    information = ones @ inverse @ ones
    residual = x - ones @ inverse @ x / information
    return -0.5 * (np.linalg.slogdet(covariance)[1] + math.log(information) + residual @ inverse @ residual)


def test_unbalanced_reaches_the_greatest_restricted_likelihood():
    found = nested_mean(*flat(UNBALANCED))
    at = (found.between_specimens**2, found.between_fields**2)
    best = restricted_log_likelihood(*at, UNBALANCED)
    for step_s in (0.9, 1.0, 1.1):
        for step_f in (0.9, 1.0, 1.1):
            other = restricted_log_likelihood(step_s * at[0], step_f * at[1], UNBALANCED)
            assert other <= best + 1e-6


def test_uncertainty_of_the_unbalanced_mean():
    """Generalised least squares: u² = 1 / (1' V⁻¹ 1) with V from the estimated variances."""
    found = nested_mean(*flat(UNBALANCED))
    names = np.array(flat(UNBALANCED)[1])
    covariance = found.between_specimens**2 * (names[:, None] == names) + found.between_fields**2 * np.eye(
        len(names)
    )
    assert found.standard_uncertainty == pytest.approx(np.linalg.inv(covariance).sum() ** -0.5, rel=1e-9)


def test_unbalanced_against_statsmodels():
    import pandas as pd
    import statsmodels.formula.api as smf

    values, names = flat(UNBALANCED)
    frame = pd.DataFrame({"x": values, "specimen": names})
    theirs = smf.mixedlm("x ~ 1", frame, groups="specimen").fit(reml=True, method="powell")
    found = nested_mean(values, names)
    assert found.mean == pytest.approx(theirs.fe_params.iloc[0], rel=1e-4)
    # its standard error comes from the numerical Hessian of all parameters
    assert found.standard_uncertainty == pytest.approx(theirs.bse_fe.iloc[0], rel=0.01)
    assert found.between_fields**2 == pytest.approx(theirs.scale, rel=1e-3)
    assert found.between_specimens**2 == pytest.approx(theirs.cov_re.iloc[0, 0], rel=2e-3)


def test_effective_number_of_fields():
    """k m / (1 + (m - 1) ICC), textbook."""
    found = nested_mean(*flat(BALANCED))
    assert found.effective_fields == pytest.approx(16 / (1 + 3 * found.correlation), rel=1e-4)


@pytest.mark.parametrize("between", [0.0, 1.0, 4.0])
def test_interval_covers(between):
    """4 specimens with 3 fields: the interval holds the true mean in 95 % of simulated groups, or more."""
    rng = np.random.default_rng(7)
    held = 0
    names = [s for s in "ABCD" for _ in range(3)]
    for _ in range(100):
        true = np.repeat(rng.normal(10, between, 4), 3)
        found = nested_mean(true + rng.normal(0, 1, 12), names)
        held += found.ci95[0] <= 10 <= found.ci95[1]
    assert held >= 89
