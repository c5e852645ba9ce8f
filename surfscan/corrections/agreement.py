"""How far two people who corrected the same image, or two sets of figures, agree."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

MATCH_OVER = 0.5
"""Two objects are one and the same where their common pixels are more than this share of the pixels of both
together. Above one half no object can have two partners, so nothing has to be chosen."""

KEPT_FROM = 0.5
"""Without marks, an automatic object counts as accepted where a mask holds at least this share of it."""

_Z95 = 1.959963984540054


@dataclass(frozen=True)
class Kappa:
    """Agreement of two judges beyond chance.

    Attributes
    ----------
    value : float or None
        Cohen's kappa: 1 for full agreement, 0 for what chance gives; None where it is not defined.
    ci95 : (float, float) or None
        None where it is not defined, or where the judges differ nowhere or one of them always says the same,
        which leaves no spread to go by.
    count : int
        What was judged.
    observed, expected : float
        Share judged alike, and what chance would give at how often each says what.
    why_none : str
        Why there is no value.
    """

    value: float | None
    ci95: tuple[float, float] | None
    count: int
    observed: float
    expected: float
    why_none: str = ""


@dataclass(frozen=True)
class LimitsOfAgreement:
    """Differences of pairs, after Bland and Altman.

    Attributes
    ----------
    count : int
        Pairs with two numbers.
    bias, sd : float or None
        Mean and standard deviation of first minus second; None for fewer than 2 pairs.
    bias_ci95 : (float, float) or None
        t interval of the mean difference.
    low, high : float or None
        Limits of agreement: bias minus and plus `times` standard deviations.
    low_ci95, high_ci95 : (float, float) or None
        t intervals of the limits, standard error sqrt(3 / n) standard deviations.
    """

    count: int
    bias: float | None
    sd: float | None
    bias_ci95: tuple[float, float] | None
    low: float | None
    high: float | None
    low_ci95: tuple[float, float] | None
    high_ci95: tuple[float, float] | None


@dataclass(frozen=True)
class ReviewAgreement:
    """Two corrected masks of one image side by side.

    Attributes
    ----------
    dice : float or None
        Twice the common area over the sum of both; None where both masks are empty.
    first_count, second_count : int
        Objects of each.
    matched_count : int
        Objects that both have: see `MATCH_OVER`.
    matched_fraction : float or None
        Twice those over the objects of both together; None where neither has any.
    kappa : Kappa or None
        On accepting and rejecting the automatic objects; None where no automatic result is given.
    pairs : ndarray of shape (matched_count, 2), int
        Labels of matched objects, first and second.
    """

    dice: float | None
    first_count: int
    second_count: int
    matched_count: int
    matched_fraction: float | None
    kappa: Kappa | None
    pairs: np.ndarray


def agree(
    first: np.ndarray,
    second: np.ndarray,
    automatic: np.ndarray | None = None,
    *,
    first_marks: Mapping[int, str] | None = None,
    second_marks: Mapping[int, str] | None = None,
) -> ReviewAgreement:
    """Compare two label images of one picture.

    Parameters
    ----------
    first, second : ndarray of shape (M, N), integer
        Labels as each person left them; 0 is background.
    automatic : ndarray of shape (M, N), integer, optional
        Labels that both started from.
    first_marks, second_marks : mapping of int to str, optional
        Automatic label -> "accepted", "unsure" (counts as accepted) or "rejected". What is not marked is
        judged by the mask: see `KEPT_FROM`.

    Returns
    -------
    ReviewAgreement

    Raises
    ------
    ValueError
        If the images differ in shape, or one is no label image.
    """
    images = [first, second, *([] if automatic is None else [automatic])]
    for image in images:
        if image.ndim != 2 or image.dtype.kind not in "iub" or image.shape != first.shape:
            raise ValueError("label images of one shape (M, N) are compared, of whole numbers")
        if image.size and int(image.min()) < 0:
            raise ValueError("a label image has no negative labels")
    areas, other_areas = _areas(first), _areas(second)
    both = (first > 0) & (second > 0)
    common = int(np.count_nonzero(both))
    whole = sum(areas.values()) + sum(other_areas.values())
    keys, shared = np.unique(np.stack([first[both], second[both]], 1), axis=0, return_counts=True)
    pairs = [
        (int(a), int(b))
        for (a, b), n in zip(keys, shared, strict=True)
        if n > MATCH_OVER * (areas[int(a)] + other_areas[int(b)] - n)
    ]
    objects = len(areas) + len(other_areas)
    kappa = None
    if automatic is not None:
        kappa = cohens_kappa(
            verdicts(automatic, first, first_marks), verdicts(automatic, second, second_marks)
        )
    return ReviewAgreement(
        dice=2 * common / whole if whole else None,
        first_count=len(areas),
        second_count=len(other_areas),
        matched_count=len(pairs),
        matched_fraction=2 * len(pairs) / objects if objects else None,
        kappa=kappa,
        pairs=np.array(pairs, dtype=np.int64).reshape(-1, 2),
    )


def _areas(labels: np.ndarray) -> dict[int, int]:
    """Pixels of each label."""
    found, counts = np.unique(labels[labels > 0], return_counts=True)
    return {int(label): int(n) for label, n in zip(found, counts, strict=True)}


def verdicts(automatic: np.ndarray, mask: np.ndarray, marks: Mapping[int, str] | None = None) -> list[bool]:
    """Whether a person accepted each automatic object, in the order of their labels.

    Parameters
    ----------
    automatic, mask : ndarray of shape (M, N), integer
        Labels as found, and as the person left them.
    marks : mapping of int to str, optional
        As in `agree`.
    """
    marks = marks or {}
    kept = _areas(np.where(mask > 0, automatic, 0))
    return [
        marks[label] != "rejected" if label in marks else kept.get(label, 0) >= KEPT_FROM * area
        for label, area in sorted(_areas(automatic).items())
    ]


def cohens_kappa(first: Sequence[object], second: Sequence[object]) -> Kappa:
    """Cohen's kappa of two judges, each with one verdict on every thing.

    Parameters
    ----------
    first, second : sequence of length n
        Verdicts, in the same order.

    Returns
    -------
    Kappa

    Raises
    ------
    ValueError
        If they differ in length.

    Notes
    -----
    J. Cohen, "A coefficient of agreement for nominal scales", Educ. Psychol. Meas. 20 (1960) 37. The
    interval rests on the large-sample variance of J. L. Fleiss, J. Cohen and B. S. Everitt, "Large sample
    standard errors of kappa and weighted kappa", Psychol. Bull. 72 (1969) 323, cut at -1 and 1; with few
    things judged it is only a guide.
    """
    if len(first) != len(second):
        raise ValueError(f"{len(first)} verdicts cannot be compared with {len(second)}")
    n = len(first)
    if n == 0:
        return Kappa(None, None, 0, math.nan, math.nan, "nothing was judged")
    verdicts = sorted({*first, *second}, key=repr)
    place = {verdict: k for k, verdict in enumerate(verdicts)}
    table = np.zeros((len(verdicts), len(verdicts)))
    for a, b in zip(first, second, strict=True):
        table[place[a], place[b]] += 1 / n
    rows, cols = table.sum(1), table.sum(0)
    observed, expected = float(np.trace(table)), float(rows @ cols)
    if len(verdicts) == 1:
        said = "both gave the same verdict on everything, so chance cannot be told from agreement"
        return Kappa(None, None, n, observed, expected, said)
    value = (observed - expected) / (1 - expected)
    differ_nowhere = np.count_nonzero(table - np.diag(np.diag(table))) == 0
    if differ_nowhere or np.count_nonzero(rows) == 1 or np.count_nonzero(cols) == 1:
        return Kappa(value, None, n, observed, expected)
    on = np.diag(table) @ (1 - (rows + cols) * (1 - value)) ** 2
    squares = (cols[:, None] + rows[None, :]) ** 2 * table
    off = (1 - value) ** 2 * (squares.sum() - np.trace(squares))
    rest = (value - expected * (1 - value)) ** 2
    error = math.sqrt(max(float(on + off) - rest, 0.0) / n) / (1 - expected)
    return Kappa(
        value,
        (max(value - _Z95 * error, -1.0), min(value + _Z95 * error, 1.0)),
        n,
        observed,
        expected,
    )


def bland_altman(
    first: Sequence[float] | np.ndarray, second: Sequence[float] | np.ndarray, *, times: float = _Z95
) -> LimitsOfAgreement:
    """Limits within which 95 % of differences between two measurements of one thing lie.

    Parameters
    ----------
    first, second : array of shape (n,)
        A figure of n images as each of two people corrected them; pairs with a not-a-number are left out.
    times : float
        Standard deviations from the mean difference to each limit.

    Returns
    -------
    LimitsOfAgreement

    Raises
    ------
    ValueError
        If they differ in length.

    Notes
    -----
    J. M. Bland and D. G. Altman, "Statistical methods for assessing agreement between two methods of
    clinical measurement", Lancet i (1986) 307, who take 2 standard deviations for 1.96.
    """
    a, b = np.asarray(first, dtype=np.float64), np.asarray(second, dtype=np.float64)
    if a.shape != b.shape or a.ndim != 1:
        raise ValueError(f"figures of shape {a.shape} cannot be compared with those of shape {b.shape}")
    difference = (a - b)[np.isfinite(a) & np.isfinite(b)]
    n = len(difference)
    if n < 2:
        return LimitsOfAgreement(n, None, None, None, None, None, None, None)
    from scipy.special import stdtrit

    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    t = float(stdtrit(n - 1, 0.975))

    def around(value: float, error: float) -> tuple[float, float]:
        return (value - t * error, value + t * error)

    low, high = bias - times * sd, bias + times * sd
    limit_error = math.sqrt(3 / n) * sd
    return LimitsOfAgreement(
        n,
        bias,
        sd,
        around(bias, sd / math.sqrt(n)),
        low,
        high,
        around(low, limit_error),
        around(high, limit_error),
    )
