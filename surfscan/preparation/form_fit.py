"""Fitting a form to a surface of which up to about 40 % is pits.

Pits only go down, and they hang together; roughness goes both ways. So a start that most of the surface
agrees on is found first, then whole pits, rims included, are left out by place rather than by height, and
least squares over the rest gives a reference that shallow rims do not pull.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from surfscan.preparation.form_models import Cylinder, Frame, Polynomial
from surfscan.preparation.robust import densest

_START_POINTS = 4096
_MAJORITY = 0.55  # share of the points that a start must agree with
_REACH = 4.2  # 1.75 standard deviations of roughness, in root mean squares of its middle 55 % (0.42 of one)
_UPWARD = 10.0  # something far above the surface is this many times less likely than something far below it
_STARTS = 24
_FINALISTS = 8
_CYLINDERS = 4
_CYLINDER_POINTS = 2048
_STEPS = 3
_LAST_STEPS = 12
_GAIN = 1e-3  # concentration ends where a step gains less than this share
_CELLS = 8
_LIMIT = 3.25  # residuals beyond this many standard deviations are no roughness
_WINDOWS = ((3, 1), (5, 1), (7, 3), (11, 3), (15, 5), (23, 7), (31, 11), (47, 15), (63, 21))
# widths of openings that tell how wide a pit is, each with the width of the means it works on, samples
_LEAST_KEPT = 0.15  # where less of the surface would be left, rims stay in
_BLOCKS = 64  # residuals are averaged in about this many blocks a side
_FEWEST_BLOCKS = 16

Model = Polynomial | Cylinder


@dataclass(frozen=True)
class Sample:
    """Every few pixels of a height map, less a constant.

    Attributes
    ----------
    rows, cols : ndarray
        Where, px.
    heights : ndarray of shape (len(rows), len(cols)), float32
        Not-a-number where not measured or outside the region.
    """

    rows: np.ndarray
    cols: np.ndarray
    heights: np.ndarray


@dataclass(frozen=True)
class Spread:
    """What is left of the sample beside the form.

    Attributes
    ----------
    sq_um : float
        Standard deviation of what was kept.
    uncertainty_um : float
        Standard uncertainty of the form, root mean square over the field; the roughness may be correlated
        over any distance up to about an eighth of the field.
    kept_fraction : float
        Share of the measured samples that the form rests on.
    """

    sq_um: float
    uncertainty_um: float
    kept_fraction: float


def take_sample(heights: np.ndarray, region: np.ndarray | None, side: int, level: float) -> Sample:
    """Sample about `side` by `side` pixels, evenly, less a level.

    More where fewer than an eighth of them would be measured and inside the region, up to all pixels.
    """
    step = max(1, min(-int(-np.sqrt(heights.size) // side), min(heights.shape) // 16))
    while True:
        first = tuple((n - 1) % step // 2 for n in heights.shape)
        where = (slice(first[0], None, step), slice(first[1], None, step))
        values = np.subtract(heights[where], heights.dtype.type(level)).astype(np.float32, copy=False)
        if region is not None:
            values[~region[where]] = np.nan
        if step == 1 or np.count_nonzero(np.isfinite(values)) >= side * side // 8:
            break
        step = step // 2
    rows = np.arange(first[0], heights.shape[0], step)
    return Sample(rows, np.arange(first[1], heights.shape[1], step), values)


def start_polynomials(sample: Sample, frame: Frame, size: int) -> list[Polynomial]:
    """Polynomials of `size` terms that most of the surface agrees on, the likeliest first.

    Least trimmed squares (Rousseeuw, J Am Stat Assoc 79 (1984) 871, doi 10.1080/01621459.1984.10477105, from
    memory) with concentration steps, from fits to the whole field, its halves and quarters, sets of
    cells, and from above (residuals below count a hundredth). Of the eight best, the one that leaves least
    above itself and not least below is the likeliest, since pits only go down.
    """
    x, y, z = _points(sample, frame)
    terms = Polynomial(frame, np.zeros(size)).slopes(x, y)
    if len(z) <= 2 * size:
        return [Polynomial(frame, _solve(terms, z))]
    few = slice(None, None, 4) if len(z) == _START_POINTS else slice(None)
    starts = _starts(terms[few], x[few], y[few], z[few])
    tried = [_concentrated(terms[few], z[few], start, _STEPS) for start in starts]
    tried.sort(key=lambda pair: pair[0])
    finished = [
        _concentrated(terms, z, coefficients, _LAST_STEPS)[1] for _, coefficients in tried[:_FINALISTS]
    ]
    order = _by_likelihood([z - terms @ coefficients for coefficients in finished])
    return [Polynomial(frame, finished[i]) for i in order]


def start_cylinder(sample: Sample, frame: Frame, bent: list[Polynomial]) -> Cylinder:
    """The cylinder that most of the surface agrees on, from second-order polynomials near it."""
    x, y, z = _points(sample, frame, _CYLINDER_POINTS)
    count = int(_MAJORITY * len(z))
    tried = []
    for start in bent[:_CYLINDERS]:
        model = Cylinder.near(start)
        for _ in range(_LAST_STEPS):
            residual = z - model.at(x, y)
            centre = float(densest(residual[None])[0][0])
            near = np.argpartition(np.abs(residual - centre), count)[:count]
            model = model.moved(_solve(model.slopes(x[near], y[near]), residual[near]))
        tried.append(model)
    return tried[_by_likelihood([z - model.at(x, y) for model in tried])[0]]


def _by_likelihood(residuals: list[np.ndarray]) -> list[int]:
    """Order of fits by how well their residuals fit a surface whose pits only go down."""
    count = int(_MAJORITY * len(residuals[0]))
    squares = [float(np.partition(r * r, count)[:count].sum()) for r in residuals]
    reach = max(_REACH * float(np.sqrt(min(squares) / count)), 1e-12)
    losses = []
    for residual in residuals:
        square = (residual / reach) ** 2
        losses.append(float(np.sum(np.minimum(square, np.where(residual < 0, 1, _UPWARD)))))
    return [int(i) for i in np.argsort(losses, kind="stable")]


def refine(
    sample: Sample, model: Model, spread: float | None = None, rounds: int = 2
) -> tuple[Model, Spread]:
    """Least squares over what is neither pit nor spike, by place.

    Parameters
    ----------
    sample : Sample
    model : Polynomial or Cylinder
        A start.
    spread : float, optional
        Standard deviation of the roughness; estimated where not given.
    rounds : int
        How often to tell pits from surface anew.

    Returns
    -------
    model : Polynomial or Cylinder
    spread : Spread
    """
    frame = model.frame
    valid = np.isfinite(sample.heights)
    measured = int(np.count_nonzero(valid))
    x, y = frame.x(sample.cols), frame.y(sample.rows)
    result = Spread(float("nan"), float("nan"), 0.0)
    for _ in range(rounds):
        residual = sample.heights - model.grid(sample.rows, sample.cols)
        if spread is None:
            centre, spread = _centre_and_spread(residual)
        else:
            centre = _centre_and_spread(residual)[0]
        keep = _surface(residual, valid, centre, spread)
        kept = int(np.count_nonzero(keep))
        if kept < 2 * model.size:
            break
        residual[~keep] = 0
        blocks = _blocks(residual, keep, x, y)
        change = _change(model, blocks)
        moved = model.slopes(blocks.x.ravel(), blocks.y.ravel()) @ change
        left = replace(blocks, total=blocks.total - blocks.count * moved.reshape(blocks.count.shape))
        mean = float(residual.sum(dtype=np.float64)) / kept
        spread = max(float(np.sqrt(max(_mean_square(residual, kept) - mean**2, 0.0))), 1e-12)
        model = model.moved(change)
        result = Spread(spread, _uncertainty(model, left), kept / measured)
    return model, result


def _points(
    sample: Sample, frame: Frame, most: int = _START_POINTS
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Places and heights of at most `most` measured samples, evenly chosen."""
    place = np.flatnonzero(np.isfinite(sample.heights))
    if len(place) > most:
        place = place[(np.arange(most) * len(place)) // most]
    row, col = np.divmod(place, len(sample.cols))
    z = sample.heights.ravel()[place].astype(np.float64)
    return frame.x(sample.cols[col]), frame.y(sample.rows[row]), z


def _starts(terms: np.ndarray, x: np.ndarray, y: np.ndarray, z: np.ndarray) -> Iterable[np.ndarray]:
    """Coefficients to begin from."""
    yield _solve(terms, z)
    yield _from_above(terms, z)
    middle_x, middle_y = np.median(x), np.median(y)
    left, low = x < middle_x, y < middle_y
    parts = [left, ~left, low, ~low, left & low, left & ~low, ~left & low, ~left & ~low]
    span_x, span_y = np.ptp(x) or 1.0, np.ptp(y) or 1.0
    column = np.minimum(((x - x.min()) / span_x * _CELLS).astype(int), _CELLS - 1)
    row = np.minimum(((y - y.min()) / span_y * _CELLS).astype(int), _CELLS - 1)
    cell = row * _CELLS + column
    draws = np.random.Generator(np.random.PCG64(20)).random((_STARTS, _CELLS * _CELLS))
    chosen = draws <= np.sort(draws, axis=1)[:, [2 * terms.shape[1]]]
    parts += [pick[cell] for pick in chosen]
    for part in parts:
        if np.count_nonzero(part) > 2 * terms.shape[1]:
            yield _solve(terms[part], z[part])


def _from_above(terms: np.ndarray, z: np.ndarray) -> np.ndarray:
    """Fit with residuals below it at a hundredth of the weight of those above."""
    coefficients = _solve(terms, z)
    for _ in range(_LAST_STEPS):
        weight = np.where(z > terms @ coefficients, 1.0, 0.01)
        coefficients = _solve(terms, z, weight)
    return coefficients


def _concentrated(
    terms: np.ndarray, z: np.ndarray, coefficients: np.ndarray, steps: int
) -> tuple[float, np.ndarray]:
    """Concentration steps: fit again to the majority that fits best; its sum of squares, and the fit."""
    count = int(_MAJORITY * len(z))
    cost = np.inf
    for _ in range(steps):
        square = (z - terms @ coefficients) ** 2
        near = np.argpartition(square, count)[:count]
        now = float(square[near].sum())
        if now >= (1 - _GAIN) * cost:
            break
        cost = now
        coefficients = _solve(terms[near], z[near])
    return cost, coefficients


def _solve(terms: np.ndarray, z: np.ndarray, weight: np.ndarray | None = None) -> np.ndarray:
    """Weighted least squares by normal equations; the smallest solution where they are singular.

    Sums run in one order whatever the number of threads.
    """
    weighted = terms if weight is None else terms * weight[:, None]
    matrix = np.einsum("ij,ik->jk", weighted, terms)
    right = np.einsum("ij,i->j", weighted, z)
    scale = np.sqrt(np.maximum(np.diag(matrix), 1e-300))
    solution = np.linalg.lstsq(matrix / np.outer(scale, scale), right / scale, rcond=1e-12)[0]
    return np.asarray(solution / scale)


def _centre_and_spread(residual: np.ndarray) -> tuple[float, float]:
    """Centre and spread of the densest class of residuals."""
    values = residual.ravel()[:: max(1, residual.size // 20_000)]
    centre, spread = densest(values[np.isfinite(values)][None].astype(np.float64))
    return float(centre[0]), max(float(spread[0]), 1e-12)


def _mean_square(residual: np.ndarray, count: int) -> float:
    """Mean square over `count` samples, the others being 0; summed in one order."""
    return float(np.sum(np.square(residual, dtype=np.float32).sum(axis=1, dtype=np.float64))) / count


def _surface(residual: np.ndarray, valid: np.ndarray, centre: float, spread: float) -> np.ndarray:
    """Samples that are surface: not in a pit, nor on its rim, nor beside a spike.

    What lies deeper than the limit is taken for pit, and with it what lies within half the width of the
    widest square that fits into that pit: rims too shallow to be told by height. For wide squares the heights
    are averaged over about a third of the width, and the limit is that of such means. Upwards the same limit
    holds for single heights, so that roughness is cut evenly.
    """
    with np.errstate(invalid="ignore"):
        deep = (residual < centre - _LIMIT * spread).view(np.uint8)
        high = (residual > centre + _LIMIT * spread).view(np.uint8)
    outside = cv2.bitwise_or(deep, high)
    beside = cv2.dilate(outside, np.ones((3, 3), np.uint8))
    beyond = beside
    for width, window in _WINDOWS:
        if width > min(residual.shape):
            break
        if window > 1:
            deep = _deep_means(residual, valid, centre, spread, window)
        core = cv2.erode(deep, np.ones((width, width), np.uint8), borderValue=1)
        if not core.any():
            break
        beyond = cv2.bitwise_or(beyond, cv2.dilate(core, np.ones((2 * width - 1, 2 * width - 1), np.uint8)))
    measured = np.count_nonzero(valid)
    for out in (beyond, beside, outside):
        keep = valid & (out == 0)
        if np.count_nonzero(keep) >= _LEAST_KEPT * measured:
            break
    return np.asarray(keep)


def _deep_means(
    residual: np.ndarray, valid: np.ndarray, centre: float, spread: float, window: int
) -> np.ndarray:
    """Where means over a square window lie deeper than such means of the surface do, uint8."""
    near = np.clip(residual - np.float32(centre), -2 * _LIMIT * spread, 2 * _LIMIT * spread)
    near[~valid] = 0
    total = cv2.boxFilter(near, -1, (window, window), normalize=False, borderType=cv2.BORDER_CONSTANT)
    count = cv2.boxFilter(
        valid.astype(np.float32), -1, (window, window), normalize=False, borderType=cv2.BORDER_CONSTANT
    )
    total /= np.maximum(count, 1)
    middle, width = _centre_and_spread(np.where(valid, total, np.nan))
    return np.asarray(total < middle - _LIMIT * width).view(np.uint8)


@dataclass(frozen=True)
class _Blocks:
    """Sums over blocks of samples: places (m, n), number of samples kept and their total (m, n)."""

    x: np.ndarray
    y: np.ndarray
    count: np.ndarray
    total: np.ndarray

    def joined(self) -> _Blocks:
        """Blocks of twice the side; an odd last row or column joins nothing and is left out."""
        m, n = self.count.shape[0] // 2, self.count.shape[1] // 2

        def four(a: np.ndarray) -> np.ndarray:
            return np.asarray(a[: 2 * m, : 2 * n].reshape(m, 2, n, 2).sum(axis=(1, 3)))

        return _Blocks(four(self.x) / 4, four(self.y) / 4, four(self.count), four(self.total))


def _blocks(residual: np.ndarray, keep: np.ndarray, x: np.ndarray, y: np.ndarray) -> _Blocks:
    """Blocks of residuals, `residual` being 0 where it is not kept."""
    size = max(1, min(residual.shape) // _BLOCKS)
    m, n = (-(-length // size) for length in residual.shape)

    def sums(a: np.ndarray) -> np.ndarray:
        whole = np.zeros((m * size, n * size), np.float32)
        whole[: a.shape[0], : a.shape[1]] = a
        rows = whole.reshape(m, size, n * size).sum(axis=1)
        return np.asarray(rows.reshape(m, n, size).sum(axis=2, dtype=np.float64))

    by, bx = (
        np.add.reduceat(place, edge) / np.diff(edge, append=len(place))
        for place, edge in ((y, np.arange(m) * size), (x, np.arange(n) * size))
    )
    count = sums(keep)
    return _Blocks(
        np.broadcast_to(bx, count.shape), np.broadcast_to(by[:, None], count.shape), count, sums(residual)
    )


def _change(model: Model, blocks: _Blocks) -> np.ndarray:
    """Least-squares change of the model's parameters."""
    inside = blocks.count > 0
    count = blocks.count[inside]
    slopes = model.slopes(blocks.x[inside], blocks.y[inside])
    return _solve(slopes, blocks.total[inside] / count, count)


def _uncertainty(model: Model, blocks: _Blocks) -> float:
    """Standard uncertainty of the fit, root mean square over the field.

    From the scatter of block sums (sandwich estimate), over blocks of growing size, since only blocks wider
    than the roughness is correlated scatter independently; the largest holds.
    """
    field = model.slopes(blocks.x.ravel(), blocks.y.ravel())
    inside = blocks.count > 0
    inner = model.slopes(blocks.x[inside], blocks.y[inside])
    scale = np.sqrt(np.maximum(np.einsum("ij,ij->j", field, field) / len(field), 1e-300))
    field, inner = field / scale, inner / scale
    inverse = np.linalg.pinv(np.einsum("ij,i,ik->jk", inner, blocks.count[inside], inner), rcond=1e-12)
    over_field = inverse @ (np.einsum("ij,ik->jk", field, field) / len(field)) @ inverse
    largest = 0.0
    while True:
        used = blocks.count > 0
        number = int(np.count_nonzero(used))
        if number < max(_FEWEST_BLOCKS, 2 * model.size):
            break
        score = model.slopes(blocks.x[used], blocks.y[used]) / scale * blocks.total[used][:, None]
        spread = np.einsum("ij,ik->jk", score, score) * number / (number - model.size)
        largest = max(largest, float(np.sum(over_field * spread)))
        blocks = blocks.joined()
    return float(np.sqrt(largest))
