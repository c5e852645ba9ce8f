"""Likelihood of block maxima under the generalised extreme value family, many sets at once.

The engine behind fits, profile likelihoods and their calibration. It works on S sets of n values in one go,
so that a calibration on thousands of simulated sets costs a fraction of a second. A location is always
expressed by a quantile: with reduced variate y (y = -ln(-ln p)) the parameters are the quantile of
probability p, the logarithm of the scale, and the shape; y = 0 makes it the usual location. A profile
likelihood of a return level is then a fit with the quantile held.

Shape sign as in Coles (2001): above 0 a heavy tail, 0 Gumbel, below 0 an upper limit. (scipy's c is minus
this.)
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

SHAPE_LIMITS = (-0.5, 0.5)
"""Range the shape is sought in. Below -0.5 likelihood loses its usual properties (Smith 1985, Biometrika 72,
67-90); above 0.5 the maxima would have no variance, which no depth in a wall of metal has."""

MEASURED, AT_LEAST, AT_MOST = 0, 1, -1
"""What a value is: the maximum itself, a lower bound of it, or an upper bound of it."""

_MOST_STEPS = 200
_VALUES_AT_ONCE = 16_384
_DECREMENT = 1e-12
_ROUNDING = 1e-14
_SMALL = 2e-3
_MOST_EXPONENT = 250.0


@dataclass(frozen=True)
class BatchFit:
    """Fits of S sets.

    Attributes
    ----------
    level : ndarray of shape (S,)
        Quantile whose reduced variate was asked for.
    scale, shape : ndarray of shape (S,)
    log_likelihood : ndarray of shape (S,)
    level_error : ndarray of shape (S,)
        Standard error of `level` from the observed information; not-a-number where the level was held or the
        information is not positive.
    converged : ndarray of shape (S,), bool
    """

    level: np.ndarray
    scale: np.ndarray
    shape: np.ndarray
    log_likelihood: np.ndarray
    level_error: np.ndarray
    converged: np.ndarray

    def part(self, sets: np.ndarray | slice) -> BatchFit:
        """Fits of some of the sets."""
        return BatchFit(*(getattr(self, field.name)[sets] for field in fields(self)))


def level_factor(variate: np.ndarray | float, shape: np.ndarray | float) -> np.ndarray:
    """(quantile - location) / scale: expm1(shape y) / shape, y where the shape is 0.

    Parameters
    ----------
    variate : ndarray or float
        Reduced variate y = -ln(-ln p).
    shape : ndarray or float
    """
    y, xi = np.broadcast_arrays(np.asarray(variate, dtype=np.float64), np.asarray(shape, dtype=np.float64))
    safe = np.where(xi == 0, 1.0, xi)
    return np.where(xi == 0, y, np.expm1(safe * y) / safe)


def log_likelihood(
    values: np.ndarray, kinds: np.ndarray, location: np.ndarray, scale: np.ndarray, shape: np.ndarray
) -> np.ndarray:
    """Log-likelihood of S sets at given parameters.

    Parameters
    ----------
    values, kinds : ndarray of shape (S, n)
    location, scale, shape : ndarray of shape (S,)

    Returns
    -------
    ndarray of shape (S,)
        Density for measured maxima, survival for lower bounds, distribution for upper bounds; minus infinity
        where a value lies outside the support.
    """
    theta = np.column_stack([location, np.log(scale), shape])
    return _derivatives(values, kinds, theta, np.zeros(len(theta)), gumbel=False)[0]


def fit_batch(
    values: np.ndarray,
    kinds: np.ndarray,
    variate: np.ndarray | float = 0.0,
    *,
    gumbel: bool,
    level: np.ndarray | None = None,
    near: BatchFit | None = None,
) -> BatchFit:
    """Maximum likelihood for S sets.

    Parameters
    ----------
    values, kinds : ndarray of shape (S, n)
        Maxima and what each is (`MEASURED`, `AT_LEAST`, `AT_MOST`).
    variate : ndarray of shape (S,) or float
        Reduced variate of the quantile that stands for the location.
    gumbel : bool
        Hold the shape at 0.
    level : ndarray of shape (S,), optional
        Hold the quantile at these values: one point of its profile likelihood.
    near : BatchFit, optional
        Unrestricted fits of the same sets with the same variate: with a held level the climb starts there.

    Notes
    -----
    Newton's method with analytic derivatives, damped after Levenberg and Marquardt until the likelihood
    rises; the shape is kept within `SHAPE_LIMITS`. For Gumbel the likelihood, censored or not, is log-concave
    in 1/scale and location/scale, so that its maximum is the only one. Sets are taken a few at a time, so
    that the work stays in the processor's cache.
    """
    sets, size = values.shape
    y = np.broadcast_to(np.asarray(variate, dtype=np.float64), (sets,))
    step = max(1, _VALUES_AT_ONCE // size)
    parts = [
        _fit_part(
            values[at : at + step],
            kinds[at : at + step],
            y[at : at + step],
            gumbel,
            None if level is None else level[at : at + step],
            None if near is None else near.part(slice(at, at + step)),
        )
        for at in range(0, sets, step)
    ]
    return BatchFit(*(np.concatenate(columns) for columns in zip(*parts, strict=True)))


def _fit_part(
    values: np.ndarray,
    kinds: np.ndarray,
    y: np.ndarray,
    gumbel: bool,
    level: np.ndarray | None,
    near: BatchFit | None,
) -> tuple[np.ndarray, ...]:
    """The fields of a `BatchFit`; values are brought to mean 0 and standard deviation 1 for the climb."""
    sets = len(values)
    centre, spread = values.mean(axis=1), values.std(axis=1)
    x = (values - centre[:, None]) / spread[:, None]
    free = np.array([level is None, True, False])
    theta = np.zeros((sets, 3))
    theta[:, 1] = np.log(np.sqrt(6) / np.pi)
    if level is None:
        theta[:, 0] = -np.exp(theta[:, 1]) * np.euler_gamma
    else:
        theta[:, 0] = (level - centre) / spread
    held = np.zeros(sets) if level is None else y
    if near is not None and level is not None:
        theta = _best_start(
            x, kinds, theta, y, gumbel, (near.level - centre) / spread, near.scale / spread, near.shape
        )
    if near is None or gumbel:
        theta, converged = _climb(x, kinds, theta, held, free)
    if not gumbel:
        free[2] = True
        theta, converged = _climb(x, kinds, theta, held, free)
    if level is None:
        theta[:, 0] += np.exp(theta[:, 1]) * level_factor(y, theta[:, 2])
    value, _, hessian = _derivatives(x, kinds, theta, y, gumbel)
    error = np.full(sets, np.nan)
    if level is None:
        information = -hessian[:, :2, :2] if gumbel else -hessian
        error = _level_error(information) * spread
    return (
        theta[:, 0] * spread + centre,
        np.exp(theta[:, 1]) * spread,
        theta[:, 2],
        value - (kinds == MEASURED).sum(axis=1) * np.log(spread),
        error,
        converged,
    )


def _best_start(
    x: np.ndarray,
    kinds: np.ndarray,
    theta: np.ndarray,
    y: np.ndarray,
    gumbel: bool,
    best_level: np.ndarray,
    best_scale: np.ndarray,
    best_shape: np.ndarray,
) -> np.ndarray:
    """The likeliest of a cold start and two that keep the best fit's quantile in the midst of the data.

    Of these one also keeps the best fit's shape and alters the scale, the other the reverse.
    """
    distance = theta[:, 0] - best_level + best_scale * _distance(y, best_shape)[0]
    starts = [theta]
    shapes = [best_shape]
    if not gumbel:
        low, high = (np.full(len(x), limit) for limit in SHAPE_LIMITS)
        for _ in range(20):
            middle = (low + high) / 2
            under = np.abs(best_scale * _distance(y, middle)[0]) < np.abs(distance)
            low, high = np.where(under, middle, low), np.where(under, high, middle)
        shapes.append((low + high) / 2)
    for shape in shapes:
        scale = distance / _distance(y, shape)[0]
        starts.append(np.column_stack([theta[:, 0], np.log(np.maximum(scale, 1e-6)), shape]))
    likely = np.array([_derivatives(x, kinds, start, y, gumbel)[0] for start in starts])
    return np.array(starts)[likely.argmax(axis=0), np.arange(len(x))]


def covariance(
    values: np.ndarray, kinds: np.ndarray, location: float, scale: float, shape: float, *, gumbel: bool
) -> np.ndarray | None:
    """Covariance of location, scale and shape (Gumbel: location and scale) from the observed information.

    Parameters
    ----------
    values, kinds : ndarray of shape (n,)
    location, scale, shape : float
        At the maximum of the likelihood.
    gumbel : bool

    Returns
    -------
    ndarray of shape (3, 3) or (2, 2), or None
        None where the shape lies on a limit of its range, or the information is not positive definite.
    """
    if not gumbel and not SHAPE_LIMITS[0] < shape < SHAPE_LIMITS[1]:
        return None
    theta = np.array([[location, np.log(scale), shape]])
    size = 2 if gumbel else 3
    information = -_derivatives(values[None], kinds[None], theta, np.zeros(1), gumbel)[2][0, :size, :size]
    if not (np.linalg.eigvalsh(information) > 0).all():
        return None
    rescale = np.array([1.0, scale, 1.0])[:size]
    return np.linalg.inv(information) * np.outer(rescale, rescale)


def _level_error(information: np.ndarray) -> np.ndarray:
    """Square root of the first diagonal element of the inverse; not-a-number where it is not positive."""
    whole, rest = np.linalg.det(information), np.linalg.det(information[:, 1:, 1:])
    fit = (whole > 0) & (rest > 0)
    return np.sqrt(np.divide(rest, whole, out=np.full(len(whole), np.nan), where=fit))


def _climb(
    x: np.ndarray, kinds: np.ndarray, theta: np.ndarray, y: np.ndarray, free: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Damped Newton from `theta`, only over the free parameters; sets that have arrived drop out.

    Where the level is held and the shape free, the climb would follow a narrow bent ridge: a change of shape
    asks for a change of scale. It is straightened by going along the shape at a fixed distance between the
    held level and a quantile in the midst of the data.
    """
    theta = theta.copy()
    converged = np.zeros(len(theta), dtype=bool)
    left = np.arange(len(theta))
    gumbel = not free[2]
    bent = not free[0] and not gumbel

    def ascent(at: np.ndarray, sets: np.ndarray) -> tuple[np.ndarray, ...]:
        found = _derivatives(x[sets], kinds[sets], at, y[sets], gumbel)
        return _straightened(found, at, y[sets]) if bent else found

    value, slope, curve = ascent(theta, left)
    damping = np.full(len(theta), 1e-3)
    low, high = SHAPE_LIMITS
    for _ in range(_MOST_STEPS):
        here = theta[left]
        moving = np.broadcast_to(free, here.shape).copy()
        moving[:, 2] &= ~((here[:, 2] >= high) & (slope[:, 2] > 0) | (here[:, 2] <= low) & (slope[:, 2] < 0))
        pull = np.where(moving, slope, 0.0)
        bend = np.where(moving[:, :, None] & moving[:, None, :], -curve, 0.0)
        diagonal = np.abs(np.einsum("sii->si", bend))
        bend[:, range(3), range(3)] += np.where(moving, damping[:, None] * np.maximum(diagonal, 1e-3), 1.0)
        step = np.linalg.solve(bend, pull[:, :, None])[:, :, 0]
        step /= np.maximum(1.0, np.abs(step[:, 1:]).max(axis=1, keepdims=True))
        gain = np.einsum("si,si->s", step, pull)
        new = here + step
        new[:, 2] = np.clip(new[:, 2], low, high)
        if bent:
            new[:, 1] += np.log(_distance(y[left], here[:, 2])[0] / _distance(y[left], new[:, 2])[0])
        new_value, new_slope, new_curve = ascent(new, left)
        up = new_value >= value - _ROUNDING * np.abs(value)
        theta[left[up]] = new[up]
        value, slope = np.where(up, new_value, value), np.where(up[:, None], new_slope, slope)
        curve = np.where(up[:, None, None], new_curve, curve)
        arrived = (np.abs(gain) < _DECREMENT) & (up | (damping > 1e6))
        stuck = damping > 1e12
        converged[left[arrived]] = True
        damping = np.where(up, np.maximum(damping / 10, 1e-12), damping * 8)
        keep = ~(arrived | stuck)
        if not keep.any():
            break
        left, value, slope, curve, damping = left[keep], value[keep], slope[keep], curve[keep], damping[keep]
    return theta, converged


def _distance(y: np.ndarray, xi: np.ndarray) -> tuple[np.ndarray, ...]:
    """From a quantile in the midst of the data to the held one, per scale; with two derivatives by shape."""
    middle = np.where(y > 0.75, 0.0, 1.5)
    far, near = _factor_derivatives(y, xi), _factor_derivatives(middle, xi)
    return tuple(a - b for a, b in zip(far, near, strict=True))


def _straightened(
    found: tuple[np.ndarray, np.ndarray, np.ndarray], theta: np.ndarray, y: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Gradient and Hessian with that distance in place of the scale."""
    value, slope, curve = found
    h, h1, h2 = _distance(y, theta[:, 2])
    d1, d2 = h1 / h, h2 / h - (h1 / h) ** 2
    slope, curve = slope.copy(), curve.copy()
    curve[:, 2, 2] += d1**2 * curve[:, 1, 1] - 2 * d1 * curve[:, 1, 2] - d2 * slope[:, 1]
    curve[:, 1, 2] -= d1 * curve[:, 1, 1]
    curve[:, 2, 1] = curve[:, 1, 2]
    slope[:, 2] -= d1 * slope[:, 1]
    return value, slope, curve


def _derivatives(
    x: np.ndarray, kinds: np.ndarray, theta: np.ndarray, y: np.ndarray, gumbel: bool
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log-likelihood (S,), its gradient (S, 3) and Hessian (S, 3, 3) in (level, log scale, shape).

    For Gumbel the derivatives by the shape are left at 0.
    """
    if gumbel:
        return _gumbel_derivatives(x, kinds, theta, y)
    level, log_scale, xi = theta[:, 0:1], theta[:, 1:2], theta[:, 2:3]
    inverse = np.exp(-log_scale)
    offset = (x - level) * inverse
    g, g1, g2 = _factor_derivatives(y[:, None], xi)
    z = offset + g
    s, s_z, s_xi, s_zz, s_zxi, s_xixi, inside = _standardised(z, xi)

    f, f_s, f_ss = _terms(s, kinds, xi)
    exact, upper, lower = kinds == MEASURED, kinds == AT_LEAST, kinds == AT_MOST
    direct = exact.astype(np.float64)
    counted = exact.sum(axis=1)
    if not inside.all():
        above = ~inside & (xi < 0)
        below = ~inside & (xi > 0)
        certain = (lower & above) | (upper & below)
        impossible = ~inside & ~certain
        f = np.where(certain, 0.0, np.where(impossible, -np.inf, f))
        f_s, f_ss = np.where(inside, f_s, 0.0), np.where(inside, f_ss, 0.0)
        direct = np.where(inside, direct, 0.0)

    # Derivatives of z: by level -1/scale, by log scale -offset, by shape g'.
    a_level, a_scale = -s_z * inverse, -s_z * offset
    a_shape = s_z * g1 + s_xi
    first = np.stack([f_s * a_level, f_s * a_scale, f_s * a_shape - direct * s], axis=1).sum(axis=2)
    first[:, 1] -= counted
    b_ll = s_zz * inverse**2
    b_ls = s_zz * inverse * offset + s_z * inverse
    b_ss = s_zz * offset**2 + s_z * offset
    mixed = s_zz * g1 + s_zxi
    b_lx, b_sx = -mixed * inverse, -mixed * offset
    b_xx = s_zz * g1**2 + 2 * s_zxi * g1 + s_z * g2 + s_xixi
    second = np.empty((len(theta), 3, 3))
    second[:, 0, 0] = (f_ss * a_level**2 + f_s * b_ll).sum(axis=1)
    second[:, 0, 1] = second[:, 1, 0] = (f_ss * a_level * a_scale + f_s * b_ls).sum(axis=1)
    second[:, 1, 1] = (f_ss * a_scale**2 + f_s * b_ss).sum(axis=1)
    second[:, 0, 2] = second[:, 2, 0] = (f_ss * a_level * a_shape + f_s * b_lx - direct * a_level).sum(axis=1)
    second[:, 1, 2] = second[:, 2, 1] = (f_ss * a_scale * a_shape + f_s * b_sx - direct * a_scale).sum(axis=1)
    second[:, 2, 2] = (f_ss * a_shape**2 + f_s * b_xx - 2 * direct * a_shape).sum(axis=1)
    return f.sum(axis=1) - counted * theta[:, 1], first, second


def _gumbel_derivatives(
    x: np.ndarray, kinds: np.ndarray, theta: np.ndarray, y: np.ndarray
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The same at shape 0, where much falls away."""
    inverse = np.exp(-theta[:, 1])
    offset = (x - theta[:, 0:1]) * inverse[:, None]
    f, f_s, f_ss = _terms(offset + y[:, None], kinds, 0.0)
    counted = (kinds == MEASURED).sum(axis=1)
    pull, bend = f_s * offset, f_ss * offset
    first, second = np.zeros((len(theta), 3)), np.zeros((len(theta), 3, 3))
    total, curve, mixed = f_s.sum(axis=1), f_ss.sum(axis=1), bend.sum(axis=1)
    first[:, 0], first[:, 1] = -total * inverse, -pull.sum(axis=1) - counted
    second[:, 0, 0] = curve * inverse**2
    second[:, 0, 1] = second[:, 1, 0] = (mixed + total) * inverse
    second[:, 1, 1] = (bend * offset + pull).sum(axis=1)
    return f.sum(axis=1) - counted * theta[:, 1], first, second


def _terms(
    s: np.ndarray, kinds: np.ndarray, xi: np.ndarray | float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log-likelihood of each value but for -log scale, and its first two derivatives by s."""
    v = np.exp(np.minimum(-s, _MOST_EXPONENT))
    f, f_s, f_ss = -(1 + xi) * s - v, v - (1 + xi), -v
    upper, lower = kinds == AT_LEAST, kinds == AT_MOST
    if upper.any():
        safe = np.clip(v, 1e-100, _MOST_EXPONENT)
        k = 1 / np.expm1(safe)
        f = np.where(upper, np.log(-np.expm1(-safe)), f)
        f_s = np.where(upper, -safe * k, f_s)
        f_ss = np.where(upper, safe * k - safe * safe * k * (1 + k), f_ss)
    if lower.any():
        f, f_s, f_ss = np.where(lower, -v, f), np.where(lower, v, f_s), np.where(lower, -v, f_ss)
    return f, f_s, f_ss


def _standardised(z: np.ndarray, xi: np.ndarray) -> tuple[np.ndarray, ...]:
    """s = ln(1 + xi z) / xi, its derivatives by z and xi up to the second, and where it is defined."""
    w = xi * z
    inside = w > -1
    w = np.where(inside, w, 0.0)
    z = np.where(inside, z, 0.0)
    t = 1 + w
    small = np.abs(w) < _SMALL
    safe = np.where(small, 1.0, xi)
    log_t = np.log1p(w)
    s, s_xi = log_t / safe, (z / t - log_t / safe) / safe
    s_xixi = (-((z / t) ** 2) - 2 * s_xi) / safe
    if small.any():
        # ln(1 + w) / xi = z (1 - w/2 + w²/3 - ...), term by term.
        sum0, sum1, sum2 = np.zeros_like(w), np.zeros_like(w), np.zeros_like(w)
        clipped = np.where(small, w, 0.0)
        for k in range(5, -1, -1):
            sign = -1.0 if k % 2 else 1.0
            sum0 = sum0 * clipped + sign / (k + 1)
            sum1 = sum1 * clipped - sign * (k + 1) / (k + 2)
            sum2 = sum2 * clipped + sign * (k + 1) * (k + 2) / (k + 3)
        s = np.where(small, z * sum0, s)
        s_xi = np.where(small, z * z * sum1, s_xi)
        s_xixi = np.where(small, z**3 * sum2, s_xixi)
    return s, 1 / t, s_xi, -xi / t**2, -z / t**2, s_xixi, inside


def _factor_derivatives(y: np.ndarray, xi: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """expm1(xi y) / xi and its first two derivatives by xi."""
    w = xi * y
    small = np.abs(w) < 0.1
    safe = np.where(small, 1.0, xi)
    grown = np.exp(w)
    g = np.expm1(w) / safe
    g1 = (y * grown - g) / safe
    g2 = (y * y * grown - 2 * g1) / safe
    if small.any():
        clipped = np.where(small, w, 0.0)
        sum0, sum1, sum2 = np.zeros_like(w), np.zeros_like(w), np.zeros_like(w)
        for k in range(11, -1, -1):
            sum0 = sum0 * clipped + _RECIPROCAL_FACTORIAL[k + 1]
            sum1 = sum1 * clipped + (k + 1) * _RECIPROCAL_FACTORIAL[k + 2]
            sum2 = sum2 * clipped + (k + 1) * (k + 2) * _RECIPROCAL_FACTORIAL[k + 3]
        g = np.where(small, y * sum0, g)
        g1 = np.where(small, y**2 * sum1, g1)
        g2 = np.where(small, y**3 * sum2, g2)
    return g, g1, g2


_RECIPROCAL_FACTORIAL = 1 / np.cumprod(np.array([1.0, *range(1, 16)]))
