"""Comparison of groups against SciPy, statsmodels, full enumeration and closed forms.

Sources: scipy.stats and statsmodels as independent references (both open libraries); Hedges, J. Educ. Stat. 6
(1981) 107 for g; Phipson & Smyth (2010) for drawn permutations. Data are invented.
"""

import math
from itertools import combinations

import numpy as np
import pytest
from scipy import stats

from surfscan.estimates.comparing import compare_several, compare_two, holm, permutation_p, welch_anova
from surfscan.estimates.effect_size import hedges_g

PLAIN = [0.91, 1.12, 0.84, 1.30, 1.05]
COATED = [0.42, 0.37, 0.55, 0.31]
GROUPS = {
    "plain": PLAIN,
    "coated": COATED,
    "sealed": [0.33, 0.29, 0.41, 0.36, 0.30, 0.38],
    "blasted": [1.4, 2.6, 1.1, 1.9],
}


def test_welch_against_scipy():
    ours = compare_two(PLAIN, COATED)
    theirs = stats.ttest_ind(COATED, PLAIN, equal_var=False)
    assert ours.statistic == pytest.approx(theirs.statistic, rel=1e-12)
    assert ours.degrees_of_freedom == pytest.approx(theirs.df, rel=1e-12)
    assert ours.p == pytest.approx(theirs.pvalue, rel=1e-9)
    limits = theirs.confidence_interval()
    assert ours.ci95 == pytest.approx((limits.low, limits.high), rel=1e-9)


def test_welch_against_statsmodels():
    from statsmodels.stats.weightstats import CompareMeans, DescrStatsW

    theirs = CompareMeans(DescrStatsW(COATED), DescrStatsW(PLAIN))
    ours = compare_two(PLAIN, COATED)
    assert ours.p == pytest.approx(theirs.ttest_ind(usevar="unequal")[1], rel=1e-9)
    assert ours.ci95 == pytest.approx(theirs.tconfint_diff(usevar="unequal"), rel=1e-9)


def test_one_way_against_statsmodels():
    from statsmodels.stats.oneway import anova_oneway

    theirs = anova_oneway(list(GROUPS.values()), use_var="unequal", welch_correction=True)
    statistic, freedoms, p = welch_anova([np.array(x) for x in GROUPS.values()])
    assert statistic == pytest.approx(theirs.statistic, rel=1e-9)
    assert freedoms == pytest.approx(theirs.df, rel=1e-9)
    assert p == pytest.approx(theirs.pvalue, rel=1e-9)


def games_howell(first, second, groups):
    """p and half width of the simultaneous interval of a pair, from the studentized range itself."""
    a, b = np.array(first), np.array(second)
    va, vb = a.var(ddof=1) / len(a), b.var(ddof=1) / len(b)
    freedom = (va + vb) ** 2 / (va**2 / (len(a) - 1) + vb**2 / (len(b) - 1))
    q = abs(b.mean() - a.mean()) / math.sqrt((va + vb) / 2)
    half = stats.studentized_range.ppf(0.95, groups, freedom) * math.sqrt((va + vb) / 2)
    return stats.studentized_range.sf(q, groups, freedom), half


def test_games_howell_against_its_formula():
    found = compare_several(GROUPS)
    for pair in found.pairs:
        a, b = (GROUPS[name] for name in pair.names)
        p, half = games_howell(a, b, len(GROUPS))
        assert pair.p == pytest.approx(p, rel=1e-6, abs=1e-9)
        assert pair.ci95 == pytest.approx((pair.difference - half, pair.difference + half), rel=1e-4)


def test_games_howell_against_scipy():
    if not hasattr(stats, "tukey_hsd") or "equal_var" not in stats.tukey_hsd.__doc__:
        pytest.skip("this SciPy compares with equal variances only")
    theirs = stats.tukey_hsd(*GROUPS.values(), equal_var=False)
    limits = theirs.confidence_interval()
    found = compare_several(GROUPS)
    names = list(GROUPS)
    for pair in found.pairs:
        i, j = (names.index(name) for name in pair.names)
        assert pair.p == pytest.approx(theirs.pvalue[i, j], rel=1e-6, abs=1e-9)
        assert pair.ci95 == pytest.approx((limits.low[j, i], limits.high[j, i]), rel=1e-3)


def test_holm_against_statsmodels():
    from statsmodels.stats.multitest import multipletests

    p_values = [0.04, 0.001, 0.03, 0.2, 0.012]
    assert holm(p_values) == pytest.approx(multipletests(p_values, method="holm")[1], rel=1e-12)
    found = compare_several(GROUPS, correction="Holm")
    alone = [
        stats.ttest_ind(GROUPS[b], GROUPS[a], equal_var=False).pvalue for a, b in combinations(GROUPS, 2)
    ]
    assert [pair.p for pair in found.pairs] == pytest.approx(multipletests(alone, method="holm")[1], rel=1e-9)


def test_permutation_against_every_deal():
    """All 126 ways to deal nine specimens, counted one by one in plain Python."""
    pooled = PLAIN + COATED
    sums = [sum(pooled[i] for i in deal) for deal in combinations(range(9), 5)]
    below = sum(s <= sum(PLAIN) + 1e-9 for s in sums)
    above = sum(s >= sum(PLAIN) - 1e-9 for s in sums)
    assert permutation_p(PLAIN, COATED) == pytest.approx(min(1, 2 * min(below, above) / len(sums)))


@pytest.mark.parametrize("second", ["coated", "blasted", "sealed"])
def test_permutation_against_scipy(second):
    theirs = stats.permutation_test(
        (GROUPS["plain"], GROUPS[second]),
        lambda a, b, axis: a.mean(axis) - b.mean(axis),
        vectorized=True,
        n_resamples=np.inf,
    )
    assert permutation_p(GROUPS["plain"], GROUPS[second]) == pytest.approx(theirs.pvalue, rel=1e-12)


def test_drawn_permutations_agree_with_counted_ones():
    exact = permutation_p(GROUPS["plain"], GROUPS["sealed"])
    drawn = permutation_p([*PLAIN, 0.30, 0.36], [0.33, 0.29, 0.41, 0.9, 1.2, 0.38, 1.0], most_splits=1000)
    counted = permutation_p([*PLAIN, 0.30, 0.36], [0.33, 0.29, 0.41, 0.9, 1.2, 0.38, 1.0])
    assert exact == pytest.approx(2 / math.comb(11, 5))
    assert drawn == pytest.approx(counted, abs=0.05)


def test_hedges_g_in_closed_form():
    """Means 2 and 5, both with variance 1 and n = 3: d = 3; J(4) = Γ(2) / (√2 Γ(3/2)) = √(2 / π)."""
    g = hedges_g([1, 2, 3], [4, 5, 6])
    assert g.hedges_g == pytest.approx(3 * math.sqrt(2 / math.pi), rel=1e-12)
    nearly = 3 * (1 - 3 / (4 * 4 - 1))  # the usual approximation 1 - 3 / (4 ν - 1)
    assert g.hedges_g == pytest.approx(nearly, rel=0.005)


def test_interval_of_g_against_the_noncentral_t():
    """Its ends are where the observed t is the 2.5 % point of SciPy's noncentral t on either side."""
    g = hedges_g(PLAIN, COATED)
    freedom, per_t = 7, math.sqrt(1 / 5 + 1 / 4)
    bias = math.gamma(3.5) / (math.sqrt(3.5) * math.gamma(3))
    t = g.hedges_g / bias / per_t
    low, high = (end / per_t for end in g.ci95)
    assert stats.nct.cdf(t, freedom, low) == pytest.approx(0.975, abs=1e-6)
    assert stats.nct.cdf(t, freedom, high) == pytest.approx(0.025, abs=1e-6)
    assert t == pytest.approx(stats.ttest_ind(COATED, PLAIN).statistic, rel=1e-9)
