"""Spikes: single heights and small clusters that stand out of their neighbourhood like no surface does.

They come from the instrument (reflections, noise where little light returns), not from the specimen.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import cv2
import numpy as np

_REACH = 3  # a pixel is judged within 7 x 7
_STRIP_BYTES = 1 << 19
_THREADS = 2
_SCREEN = 3.5  # a candidate differs from its neighbours by this many robust spreads of such differences ...
_SIDE = 3  # rows and columns that a cluster takes up at most
_BETWEEN = (0.3, 0.5)  # levels between surface (0) and spike (1) that a gradual flank passes through
_BETWEEN_PX = 2  # more than this many pixels there are a flank
_TIMES_RANGE = 1.4  # a spike stands out by this many times the span of what surrounds it
_TRIMMED = 2  # highest and lowest values of the surroundings that may be other spikes
_LEAST_AROUND = 10  # measured pixels around, below which nothing can be judged
_PASSES = 4
_PAIRS = ((0, 2), (2, 0), (2, 2), (2, -2))
_CHUNK = 8_000
_MAD_TO_SIGMA = 1.4826

_WIDTH = 2 * _REACH + 1
_CENTRE = _WIDTH * _WIDTH // 2
_DY, _DX = (a.ravel().astype(np.float32) for a in np.mgrid[-_REACH : _REACH + 1, -_REACH : _REACH + 1])
_RING = np.flatnonzero(np.maximum(np.abs(_DY), np.abs(_DX)) == _REACH)


def find_spikes(heights_um: np.ndarray, region: np.ndarray | None = None) -> np.ndarray:
    """Find spikes, up or down, of one pixel to clusters of 3 by 3.

    A pixel is a candidate where it lies above (below) the mean of both neighbours at a distance of 2 px in
    all of four directions, by 3.5 robust spreads of such differences over the map. It is a spike where,
    within 7 by 7 pixels, and relative either to their slope or to their level,

    - what reaches at least half its height hangs together in at most 3 by 3 pixels: pits and asperities from
      6 px across on are none (down to 4 px where walls are gradual, and holes of 3 px are taken for spikes);
    - at most 2 pixels lie at 0.3 to 0.5 of it: it rises at once, where a small cone or cap has a flank;
    - it stands out of the others by 1.4 times their span (twice the distance of the third highest, or lowest,
      from the median, so that two more spikes do no harm). Edges and walls of pits and rough places thereby
      raise the limit: on a wall a spike must stand out of the wall.

    What was found is taken away and its neighbours are judged again, four times at most.
    The limits are common practice, no source.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float
        Heights, µm, form removed or not; not-a-number where not measured. Gaps and edges are no neighbours:
        with fewer than 10 measured pixels around nothing is judged.
    region : ndarray of shape (M, N), bool, optional
        Where to look; everywhere where not given.

    Returns
    -------
    ndarray of shape (M, N), bool

    Raises
    ------
    ValueError
        If heights are not a floating-point matrix or the region has another shape.
    """
    if heights_um.ndim != 2 or not np.issubdtype(heights_um.dtype, np.floating):
        raise ValueError(f"heights must be a floating-point matrix, got {heights_um.dtype}")
    if region is not None and region.shape != heights_um.shape:
        raise ValueError(f"the region is {region.shape}, the heights are {heights_um.shape}")
    spikes = np.zeros(heights_um.shape, bool)
    spread = _difference_spread(heights_um)
    places = _candidates(heights_um, _SCREEN * spread)
    if region is not None:
        places = places[region.ravel()[places]]
    flat = spikes.ravel()
    for _ in range(_PASSES):
        judged, beside = _judged(heights_um, spikes if flat.any() else None, places, spread)
        if not judged.any():
            break
        flat[places[judged]] = True
        near = cv2.dilate(spikes.view(np.uint8), np.ones((_WIDTH, _WIDTH), np.uint8)).ravel() != 0
        again = places[~judged]
        places = np.union1d(again[near[again]], beside)
        places = places[~flat[places]]
        if region is not None:
            places = places[region.ravel()[places]]
        if places.size == 0:
            break
    return spikes


def _difference_spread(heights: np.ndarray) -> float:
    """Robust standard deviation of second differences along rows, those that are exactly 0 left out."""
    step = max(1, heights.shape[0] // 256), max(1, heights.shape[1] // 1024)
    lines = heights[:: step[0]]
    second = 2 * lines[:, 2:-2] - lines[:, :-4] - lines[:, 4:]
    values = np.abs(second[:, :: step[1]])
    values = values[values > 0]
    return float(np.median(values)) * _MAD_TO_SIGMA if values.size else 0.0


def _candidates(heights: np.ndarray, limit: float) -> np.ndarray:
    """Flat indices of pixels beyond the mean of both neighbours in all directions; a missing neighbour is
    replaced by the opposite one.
    """
    rows, cols = heights.shape
    step = max(1, _STRIP_BYTES // (4 * cols))

    def work(first: int) -> np.ndarray:
        end = min(first + step, rows)
        low, high = max(first - 2, 0), min(end + 2, rows)
        block = np.full((end - first + 4, cols + 4), np.nan, np.float32)
        block[low - first + 2 : high - first + 2, 2:-2] = heights[low:high]
        m, n = end - first, cols
        centre = block[2 : 2 + m, 2 : 2 + n]
        highest = lowest = None
        for down, right in _PAIRS:
            one = block[2 + down : 2 + down + m, 2 + right : 2 + right + n]
            other = block[2 - down : 2 - down + m, 2 - right : 2 - right + n]
            total = np.fmin(one, other)
            total += np.fmax(one, other)
            highest = total if highest is None else np.fmax(highest, total)
            lowest = total if lowest is None else np.fmin(lowest, total)
        twice = centre + centre
        beyond = (twice - highest > np.float32(limit)) | (lowest - twice > np.float32(limit))
        return np.flatnonzero(beyond) + first * cols

    with ThreadPoolExecutor(_THREADS) as pool:
        found = list(pool.map(work, range(0, rows, step)))
    return np.concatenate(found) if found else np.zeros(0, np.int64)


def _judged(
    heights: np.ndarray, spikes: np.ndarray | None, places: np.ndarray, spread: float
) -> tuple[np.ndarray, np.ndarray]:
    """Which of the places are spikes, and the places beside those that stand out with them."""
    chunks = [places[i : i + _CHUNK] for i in range(0, len(places), _CHUNK)]
    with ThreadPoolExecutor(_THREADS) as pool:
        answers = list(pool.map(lambda chunk: _judge_some(heights, spikes, chunk, spread), chunks))
    if not answers:
        return np.zeros(0, bool), np.zeros(0, np.int64)
    return np.concatenate([a for a, _ in answers]), np.unique(np.concatenate([b for _, b in answers]))


def _judge_some(
    heights: np.ndarray, spikes: np.ndarray | None, places: np.ndarray, spread: float
) -> tuple[np.ndarray, np.ndarray]:
    """As `_judged`, for a few: relative to the slope around, then relative to the level."""
    patch, index = _patches(heights, spikes, places)
    square = patch.reshape(-1, _WIDTH, _WIDTH)
    slope_x = _median(square[:, :, -1] - square[:, :, 0]) / (2 * _REACH)
    slope_y = _median(square[:, -1, :] - square[:, 0, :]) / (2 * _REACH)
    judged, beside = _stands_out(patch - (slope_x[:, None] * _DX + slope_y[:, None] * _DY), spread)
    rest = np.flatnonzero(~judged)
    judged[rest], beside[rest] = _stands_out(patch[rest], spread)
    return judged, np.asarray(index[beside & judged[:, None]])


def _stands_out(patch: np.ndarray, spread: float) -> tuple[np.ndarray, np.ndarray]:
    """Which patches have a spike in the middle, and which of their inner pixels stand out with it."""
    height = -_median(patch[:, _RING])
    sign = np.where(height < 0, np.float32(-1), np.float32(1))
    patch = patch * sign[:, None]
    level = 1 + patch / np.maximum(np.abs(height), np.float32(1e-30))[:, None]
    cluster = _connected((level >= _BETWEEN[1]).reshape(-1, _WIDTH, _WIDTH))
    small = _is_small(cluster)
    cluster = cluster.reshape(patch.shape)
    between = (level >= _BETWEEN[0]) & (level < _BETWEEN[1])
    patch[cluster] = np.nan
    patch.sort(axis=1)
    count = np.count_nonzero(np.isfinite(patch), axis=1)
    enough = count >= _LEAST_AROUND
    each = np.arange(len(patch))
    top = patch[each, np.maximum(count - 1 - _TRIMMED, 0)]
    middle = (patch[each, count // 2 * enough] + patch[each, np.maximum(count - 1, 0) // 2]) / 2
    with np.errstate(invalid="ignore"):
        apart = (-top > 2 * _TIMES_RANGE * (top - middle)) & (-top > spread)
    judged = small & enough & apart & (np.count_nonzero(between, axis=1) <= _BETWEEN_PX)
    beside = cluster | between
    beside[:, _CENTRE] = False
    beside[:, _RING] = False
    return np.asarray(judged), np.asarray(beside)


def _patches(
    heights: np.ndarray, spikes: np.ndarray | None, places: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Heights within 7 by 7 pixels of the places, less the places' own, (k, 49), float32; flat indices."""
    rows, cols = heights.shape
    row, col = np.divmod(places, cols)
    dy, dx = _DY.astype(np.int64), _DX.astype(np.int64)
    index = places[:, None] + (dy * cols + dx)
    edge = np.flatnonzero((row < _REACH) | (row >= rows - _REACH) | (col < _REACH) | (col >= cols - _REACH))
    r, c = row[edge, None] + dy, col[edge, None] + dx
    outside = (r < 0) | (r >= rows) | (c < 0) | (c >= cols)
    index[edge] = np.where(outside, places[edge, None], index[edge])
    flat = heights.ravel()
    patch = (flat[index] - flat[places][:, None]).astype(np.float32)
    if spikes is not None:
        patch[spikes.ravel()[index]] = np.nan
    patch[edge] = np.where(outside, np.float32(np.nan), patch[edge])
    return patch, index


def _median(values: np.ndarray) -> np.ndarray:
    """Median of each row without the gaps; 0 where there is nothing."""
    ordered = np.sort(values, axis=1)
    count = np.count_nonzero(~np.isnan(ordered), axis=1)
    each = np.arange(len(ordered))
    upper = ordered[each, np.maximum(count // 2, 0) * (count > 0)]
    lower = ordered[each, np.maximum((count - 1) // 2, 0)]
    return np.where(count > 0, (upper + lower) / 2, np.float32(0)).astype(np.float32)


def _connected(standing: np.ndarray) -> np.ndarray:
    """What of each 7 by 7 mask hangs together with its centre, within three steps."""
    reached = np.zeros_like(standing)
    reached[:, _REACH, _REACH] = True
    for _ in range(_REACH):
        wider = reached.copy()
        wider[:, 1:] |= reached[:, :-1]
        wider[:, :-1] |= reached[:, 1:]
        across = wider.copy()
        across[:, :, 1:] |= wider[:, :, :-1]
        across[:, :, :-1] |= wider[:, :, 1:]
        reached = across & standing
    return reached


def _is_small(cluster: np.ndarray) -> np.ndarray:
    """Whether each cluster fits into 3 by 3 pixels."""
    fits = np.ones(len(cluster), bool)
    for axis in (1, 2):
        seen = np.asarray(np.any(cluster, axis=axis))
        first = seen.argmax(axis=1)
        last = _WIDTH - 1 - seen[:, ::-1].argmax(axis=1)
        fits &= last - first < _SIDE
    return fits
