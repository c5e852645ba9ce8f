"""Agreement of two people against published worked examples, closed forms and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
from statsmodels.stats.inter_rater import cohens_kappa as reference_kappa

from surfscan.corrections.agreement import agree, bland_altman, cohens_kappa

# J. M. Bland and D. G. Altman, Lancet i (1986) 307, table 1: peak expiratory flow (l/min) of 17 people, first
# reading by each of two meters. Read in three public test suites that quote the table and agree on it (the R
# packages presize and blandr among them); presize's test quotes the interval of the lower limit, too.
LARGE_METER = [494, 395, 516, 434, 476, 557, 413, 442, 650, 433, 417, 656, 267, 478, 178, 423, 427]
MINI_METER = [512, 430, 520, 428, 500, 600, 364, 380, 658, 445, 432, 626, 260, 477, 259, 350, 451]

# J. Cohen's table of 200 cases under two judges, as proportions; it and his kappa of .492 are quoted in the
# examples of function cohen.kappa of the R package psych ("cohen reports .492").
COHEN = np.array([[0.44, 0.07, 0.09], [0.05, 0.20, 0.05], [0.01, 0.03, 0.06]])


def _verdicts(table: np.ndarray) -> tuple[list[int], list[int]]:
    """One verdict a case, from a table of counts."""
    rows, cols = np.nonzero(table)
    counts = table[rows, cols]
    return list(np.repeat(rows, counts)), list(np.repeat(cols, counts))


def test_kappa_is_that_of_cohens_example() -> None:
    """Printed with three digits."""
    kappa = cohens_kappa(*_verdicts(np.rint(200 * COHEN).astype(int)))
    assert kappa.count == 200
    assert kappa.value == pytest.approx(0.492, abs=5e-4)


@pytest.mark.parametrize("seed", range(12))
@pytest.mark.parametrize("kinds", [2, 3, 5])
def test_kappa_and_its_interval_are_those_of_statsmodels(seed: int, kinds: int) -> None:
    """Tables drawn at random; statsmodels (BSD) follows Fleiss, Cohen and Everitt (1969) too."""
    table = np.random.default_rng(seed).integers(1, 30, (kinds, kinds)) + 20 * np.eye(kinds, dtype=int)
    ours, reference = cohens_kappa(*_verdicts(table)), reference_kappa(table)
    assert ours.value == pytest.approx(reference.kappa, rel=1e-12)
    assert ours.ci95 == pytest.approx((reference.kappa_low, reference.kappa_upp), rel=1e-9)


def test_limits_are_those_of_bland_and_altman() -> None:
    """Mean -2.1, standard deviation 38.8, limits -79.7 and 75.5 l/min with two standard deviations.

    The interval of the lower limit, -114.3 to -45.1 l/min, is in the paper too. Those of the mean
    difference (-22.0 to 17.8) and of the upper limit (40.9 to 110.1) are known from memory only.
    """
    found = bland_altman(LARGE_METER, MINI_METER, times=2)
    assert found.count == 17
    assert found.bias == pytest.approx(-2.1, abs=0.05)
    assert found.sd == pytest.approx(38.8, abs=0.05)
    assert (found.low, found.high) == pytest.approx((-79.7, 75.5), abs=0.1)
    assert found.low_ci95 == pytest.approx((-114.3, -45.1), abs=0.3)
    assert found.bias_ci95 == pytest.approx((-22.0, 17.8), abs=0.15)
    assert found.high_ci95 == pytest.approx((40.9, 110.1), abs=0.3)


@pytest.mark.parametrize("shift", [0, 1, 7, 19, 20, 45])
def test_dice_of_shifted_squares_is_the_closed_form(shift: int) -> None:
    """Two squares of side 20 px, shifted by s: Dice is 1 - s/20 down to 0; one object where overlap is wide.

    Common pixels over those of both together are (20 - s) / (20 + s), which passes one half at s = 20/3.
    """
    first, second = np.zeros((40, 80), np.uint8), np.zeros((40, 80), np.uint16)
    first[10:30, 10:30] = 3
    second[10:30, 10 + shift : 30 + shift] = 900
    found = agree(first, second)
    assert found.dice == pytest.approx(max(0, 1 - shift / 20), abs=1e-15)
    assert found.matched_count == (shift < 20 / 3)
