"""Fields nested in specimens: how much of the scatter lies between specimens, and how much between fields.

The specimen stays the replicate: a mean over fields of k specimens has k - 1 degrees of freedom, however many
fields there are.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from surfscan.estimates.groups import MIN_SPECIMENS, t_factor

_SAME = 1e-9
_LOG_RATIOS = (-14.0, 40.0)
"""Range of the logarithm of σ_s² / σ_f² that is searched."""


@dataclass(frozen=True)
class NestedMean:
    """Mean of a group from several fields on each of its specimens.

    Attributes
    ----------
    mean : float or None
        None where refused.
    ci95 : (float, float) or None
        t-interval with one degree of freedom fewer than specimens.
    standard_uncertainty : float or None
    degrees_of_freedom : float or None
    between_specimens, between_fields : float or None
        Standard deviations of true specimens, and of fields about their specimen.
    correlation : float or None
        Intraclass correlation σ_s² / (σ_s² + σ_f²): 0 where specimens do not differ, 1 where fields do not.
    specimens, fields : int
    effective_fields : float or None
        Independent fields that would give the same mean as surely.
    refused : str
        Why there is no mean; empty where there is one.
    warnings : tuple of str
    """

    mean: float | None
    ci95: tuple[float, float] | None
    standard_uncertainty: float | None
    degrees_of_freedom: float | None
    between_specimens: float | None
    between_fields: float | None
    correlation: float | None
    specimens: int
    fields: int
    effective_fields: float | None
    refused: str
    warnings: tuple[str, ...] = ()


def nested_mean(
    values: ArrayLike,
    specimens: Sequence[str],
    *,
    lowest: float = -math.inf,
    highest: float = math.inf,
) -> NestedMean:
    """Mean over specimens from a mixed model: specimen as random effect, field as residual, by REML.

    Parameters
    ----------
    values : array_like of shape (n,)
        One figure a field; not-a-number means the field has none and is left out.
    specimens : sequence of str, length n
        Whose field it is.
    lowest, highest : float, optional
        Limits of what the figure can be: the interval is cut there.

    Returns
    -------
    NestedMean
        Refused below three specimens, where no specimen has two fields, and where nothing scatters.

    Raises
    ------
    ValueError
        If lengths differ or a value is infinite.

    Notes
    -----
    Specimens with many fields count for more only as far as fields scatter: that of one with m fields is
    1 / (σ_s² + σ_f² / m). With the same number of fields on each the mean is the mean of specimen means and,
    while specimens differ beyond what fields explain, the interval that of `specimen_mean`.

    References
    ----------
    Laird & Ware, Biometrics 38 (1982) 963, https://doi.org/10.2307/2529876 (mixed model). Searle, Casella &
    McCulloch (1992) Variance Components, ch. 3-4 (one-way random model).
    """
    x = np.asarray(values, dtype=np.float64).ravel()
    if len(x) != len(specimens):
        raise ValueError(f"{len(x)} values but {len(specimens)} specimens; name the specimen of every field")
    if np.isinf(x).any():
        raise ValueError("values must be finite; leave out fields that could not be measured")
    known = ~np.isnan(x)
    x, owners = x[known], [s for s, there in zip(specimens, known, strict=True) if there]
    names = list(dict.fromkeys(owners))
    place = np.array([names.index(s) for s in owners], dtype=int)
    counts = np.bincount(place, minlength=len(names))
    refused = _refusal(x, counts)
    if refused:
        return NestedMean(None, None, None, None, None, None, None, len(names), len(x), None, refused)
    unit = float(np.abs(x).max())
    between, within, remarks = _variances(x / unit, place, counts)
    between, within = between * unit**2, within * unit**2
    variance_of_mean = between + within / counts
    weight = 1 / variance_of_mean
    own = np.bincount(place, x) / counts
    mean = float(weight @ own / weight.sum())
    u = math.sqrt(1 / float(weight.sum()))
    freedom = len(names) - 1.0
    half = t_factor(freedom) * u
    total = between + within
    return NestedMean(
        mean,
        (max(mean - half, lowest), min(mean + half, highest)),
        u,
        freedom,
        math.sqrt(between),
        math.sqrt(within),
        between / total,
        len(names),
        len(x),
        total / u**2,
        "",
        remarks,
    )


def _refusal(x: np.ndarray, counts: np.ndarray) -> str:
    k = len(counts)
    if k < MIN_SPECIMENS:
        return f"{k} specimen{'' if k == 1 else 's'}, at least {MIN_SPECIMENS} are needed"
    if int(counts.max()) < 2:
        return (
            "one field on each specimen, so fields cannot be told from specimens: use the mean over specimens"
        )
    if float(np.ptp(x)) == 0:
        return "all fields gave the same value: their scatter is unknown"
    return ""


def _variances(x: np.ndarray, place: np.ndarray, counts: np.ndarray) -> tuple[float, float, tuple[str, ...]]:
    """Variances between specimens and between fields of one specimen, by REML, and what limits them."""
    own = np.bincount(place, x) / counts
    inside = float(np.sum((x - own[place]) ** 2))
    if inside <= _SAME**2 * float(np.sum((x - x.mean()) ** 2)):
        return (
            float(own.var(ddof=1)),
            0.0,
            ("Fields of one specimen do not differ: all scatter is between specimens.",),
        )
    if _score_at_nothing(x, place, counts) <= 0:
        text = (
            "Specimens do not differ beyond what their fields explain. With so few specimens that may be "
            "chance: the interval keeps the degrees of freedom of specimens."
        )
        return 0.0, float(x.var(ddof=1)), (text,)
    return *_reml(x, place, counts), ()


def _score_at_nothing(x: np.ndarray, place: np.ndarray, counts: np.ndarray) -> float:
    """Slope of the restricted likelihood at σ_s = 0, up to a factor above 0: from there it rises or falls.

    Σ m_i² (own_i - mean)² / s² - (N - Σ m_i² / N) with s² = Σ (x - mean)² / (N - 1): the score of the one-way
    model, ½ [y' P Z Z' P y - tr(P Z Z')].
    """
    own, n = np.bincount(place, x) / counts, len(x)
    mean = float(x.mean())
    s2 = float(np.sum((x - mean) ** 2)) / (n - 1)
    return float(np.sum((counts * (own - mean)) ** 2)) / s2 - (n - float(np.sum(counts**2)) / n)


def _reml(x: np.ndarray, place: np.ndarray, counts: np.ndarray) -> tuple[float, float]:
    """Variances between specimens and between fields, by statsmodels from the best ratio on.

    Left to itself its descent in several parameters may run off a narrow ridge; from `_best_ratio` it has
    nowhere better to go. What it warns of is a boundary, which has been ruled out by then.
    """
    from statsmodels.regression.mixed_linear_model import MixedLM, MixedLMParams

    spread = float(x.std())
    scaled = (x - x.mean()) / spread
    ratio, mean = _best_ratio(scaled, place, counts)
    start = MixedLMParams.from_components(np.array([mean]), np.array([[ratio]]), vcomp=np.empty(0))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fitted = MixedLM(scaled, np.ones((len(x), 1)), groups=place).fit(
            reml=True, start_params=start, method=["bfgs"]
        )
    return float(np.ravel(fitted.cov_re)[0]) * spread**2, float(fitted.scale) * spread**2


def _best_ratio(x: np.ndarray, place: np.ndarray, counts: np.ndarray) -> tuple[float, float]:
    """σ_s² / σ_f² at the greatest restricted likelihood, and the mean there.

    With σ_f² put in at its best for each ratio only one unknown is left, and a search along it always ends.
    """
    from scipy.optimize import minimize_scalar

    own, n = np.bincount(place, x) / counts, len(x)
    inside = float(np.sum((x - own[place]) ** 2))

    def weights(log_ratio: float) -> np.ndarray:
        return counts / (1 + math.exp(log_ratio) * counts)

    def minus_likelihood(log_ratio: float) -> float:
        weight = weights(log_ratio)
        mean = float(weight @ own / weight.sum())
        residual = inside + float(weight @ (own - mean) ** 2)
        determinant = float(np.log(counts / weight).sum()) + math.log(float(weight.sum()))
        return 0.5 * ((n - 1) * math.log(residual) + determinant)

    found = minimize_scalar(minus_likelihood, bounds=_LOG_RATIOS, method="bounded", options={"xatol": 1e-9})
    weight = weights(float(found.x))
    return math.exp(float(found.x)), float(weight @ own / weight.sum())
