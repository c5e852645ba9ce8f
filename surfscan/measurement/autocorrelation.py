"""Spatial parameters of ISO 25178-2: autocorrelation length, texture aspect ratio, direction of the lay."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.angular_spectrum import angular_spectrum, lay_direction
from surfscan.measurement.strips import check_heights, check_pixel_size

_FALL = 0.2  # the autocorrelation that ends the central lobe
_TAPER = 0.25  # share of the field's side over which weights rise from its edge
_FARTHEST = 0.5  # lags are followed up to this share of the field's side
_FEWEST_PAIRS = 0.02  # lags with less than this share of the weight of lag 0 are not judged
_SHORTEST_PX, _LARGEST_SHARE, _SHORT_FIELD = 2.0, 0.2, 0.1
_ISOTROPIC = 0.5  # texture aspect ratio from which a surface has no lay
_FEWEST_PX = 16  # shortest side of a field that is looked at


@dataclass(frozen=True)
class SpatialParameters:
    """Spatial parameters of one surface.

    Attributes
    ----------
    sal_um : float or None
        Autocorrelation length, µm.
    str_ratio : float or None
        Texture aspect ratio.
    std_deg : float or None
        Direction of the lay, -90 (excluded) to 90, counter-clockwise from the row direction.
    warnings : tuple of str
        Why a figure is missing or weak.
    """

    sal_um: float | None
    str_ratio: float | None
    std_deg: float | None
    warnings: tuple[str, ...] = ()


def spatial_parameters(
    heights_um: np.ndarray, *, pixel_size_um: tuple[float, float], threads: int = 2
) -> SpatialParameters:
    """Sal, Str and Std of a scale-limited surface.

    Parameters
    ----------
    heights_um : ndarray of shape (M, N), float32 or float64
        Heights in µm, not-a-number where nothing was measured. Form is taken off before; the mean is taken
        off here.
    pixel_size_um : tuple of float
        (x, y), µm.
    threads : int
        The result does not depend on it.

    Returns
    -------
    SpatialParameters

    Raises
    ------
    ValueError
        If nothing was measured, a height is infinite, or an argument makes no sense.

    Notes
    -----
    The autocorrelation at a lag is the weighted mean of the products of all pairs of measured pixels that
    lag apart, over the weighted mean square. Pairs never wrap round the field (zeros are padded) and gaps
    form no pairs. Weights are 1 inside and fall to 0 over a quarter of the field at each edge (half a
    cosine): without them, cut periods at the edges shift the autocorrelation of a wave by up to 1/(2π) over
    the number of periods. Lags of up to half the field in each axis are looked at.

    From lag 0 outwards, in all directions, the first fall to 0.2 is found between pixels by cubic
    convolution. Sal is the shortest such lag and Str the shortest over the longest. Where one direction does
    not fall to 0.2 within half the field, Str is None.

    Sal is None where it is below 2 pixels (heights of neighbours are hardly related, so the sampling set it)
    or above a fifth of the field's shorter side (too few independent parts to know it by); above a tenth
    there is a warning. Std is None where Sal is, where Str is 0.5 or more, or where no direction stands out
    (see `angular_spectrum.lay_direction`). These limits are common practice, no source.

    References
    ----------
    ISO 25178-2:2012 and 2021, spatial parameters, s = 0.2, paths from the origin straight (from memory).
    """
    pixel_size = check_pixel_size(pixel_size_um)
    heights, measured = _measured_part(check_heights(heights_um))
    if min(heights.shape) < _FEWEST_PX:
        small = f"The field is {heights.shape[0]} x {heights.shape[1]} px, too small for Sal, Str and Std."
        return SpatialParameters(None, None, None, (small,))
    transform = _Transform(heights, measured, threads)
    if transform.energy == 0:
        return SpatialParameters(
            None, None, None, ("The surface is flat, so Sal, Str and Std are undefined.",)
        )
    spectrum = angular_spectrum(
        transform.power(),
        transform.shape,
        pixel_size,
        longest_um=min(heights.shape[0] * pixel_size[1], heights.shape[1] * pixel_size[0]),
    )
    falls = _Falls(transform.autocorrelation(), transform.farthest, pixel_size)
    shortest, longest = falls.shortest(), falls.longest()
    sal, warnings = _judge_length(shortest, heights.shape, pixel_size)
    if sal is None:
        return SpatialParameters(None, None, None, tuple(warnings))
    ratio = None if longest is None else sal / longest
    if ratio is None:
        bound = sal / falls.seen_um
        warnings.append(
            f"Along one direction the surface stays alike over half the field: Str is not given (it is below "
            f"{bound:.2g}). Measure a longer field along the lay."
        )
    if ratio is not None and ratio >= _ISOTROPIC:
        warnings.append(
            f"Str is {ratio:.2f}, at or above {_ISOTROPIC:g}: the surface has no lay, and Std is not given."
        )
        return SpatialParameters(sal, ratio, None, tuple(warnings))
    lay, doubts = lay_direction(spectrum)
    return SpatialParameters(sal, ratio, lay, (*warnings, *doubts))


def _measured_part(heights: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The smallest rectangle that holds all measured heights, and which of its pixels are measured."""
    measured = ~np.isnan(heights)
    rows, cols = np.flatnonzero(measured.any(axis=1)), np.flatnonzero(measured.any(axis=0))
    if rows.size == 0:
        raise ValueError("heights_um holds no measured height")
    inside = (slice(rows[0], rows[-1] + 1), slice(cols[0], cols[-1] + 1))
    return heights[inside], measured[inside]


def _judge_length(
    sal: float | None, shape: tuple[int, ...], pixel_size: tuple[float, float]
) -> tuple[float | None, list[str]]:
    """Sal where it can be defended, and what is to be said about it."""
    side = min(shape[0] * pixel_size[1], shape[1] * pixel_size[0])
    if sal is None or sal > _LARGEST_SHARE * side:
        return None, [
            f"The autocorrelation falls to {_FALL:g} only beyond a fifth of the field's shorter side "
            f"({side:.4g} µm): Sal, Str and Std are not given. Measure a larger field, or give l_cutoff_um."
        ]
    if sal < _SHORTEST_PX * max(pixel_size):
        return None, [
            f"Heights of neighbouring pixels are hardly related (the autocorrelation falls to {_FALL:g} "
            "within 2 pixels): Sal, Str and Std are not given. Measure with a finer pitch, or give "
            "s_cutoff_um if this is noise."
        ]
    if sal > _SHORT_FIELD * side:
        return sal, [
            f"Sal is more than a tenth of the field's shorter side ({side:.4g} µm): the field holds few "
            "independent parts, and Sal and Str are rough."
        ]
    return sal, []


class _Transform:
    """Fourier transform of the weighted heights on a padded grid, for power and autocorrelation."""

    def __init__(self, heights: np.ndarray, measured: np.ndarray, threads: int) -> None:
        from scipy import fft

        self._fft, self._threads = fft, max(1, threads)
        rows, cols = heights.shape
        self.farthest = (int(rows * _FARTHEST), int(cols * _FARTHEST))
        self.shape = (
            fft.next_fast_len(rows + self.farthest[0] + 2, real=True),
            fft.next_fast_len(cols + self.farthest[1] + 2, real=True),
        )
        self._windows = (_window(rows), _window(cols))
        self._measured = measured
        self._gaps = not measured.all()
        mean = float(np.mean(heights, where=measured, dtype=np.float64))
        if not math.isfinite(mean):
            raise ValueError("heights_um holds an infinite height; mark gaps with not-a-number")
        field = np.where(measured, heights - heights.dtype.type(mean), 0).astype(np.float32, copy=False)
        self.energy = float(np.abs(field).max())
        self._spectrum = self._power_of(field) if self.energy else np.zeros((0, 0), np.complex64)

    def _power_of(self, field: np.ndarray) -> np.ndarray:
        """Squared modulus of the transform of a field, weighted in place, as a complex array."""
        field *= self._windows[0][:, None]
        field *= self._windows[1]
        out = np.zeros((self.shape[0], self.shape[1] // 2 + 1), np.complex64)
        out[: len(field)] = self._fft.rfft(field, n=self.shape[1], workers=self._threads)
        out = np.asarray(self._fft.fft(out, axis=0, workers=self._threads, overwrite_x=True))
        for row in range(0, len(out), 64):
            part = out[row : row + 64]
            part.real = part.real**2 + part.imag**2
            part.imag = 0
        return out

    def power(self) -> np.ndarray:
        """Power spectrum, shape (rows, cols // 2 + 1) of the padded grid."""
        return self._spectrum.real

    def autocorrelation(self) -> np.ndarray:
        """Autocorrelation at lags of -2 to `farthest[0]` rows and -`farthest[1]` to `farthest[1]` columns.

        Not-a-number where too few pairs are that lag apart. To be called once: it uses the spectrum up.
        """
        products = self._lags(self._spectrum)
        if self._gaps:
            pairs = self._lags(self._power_of(self._measured.astype(np.float32)))
        else:
            along = [np.correlate(w, w, "full").astype(np.float32) for w in self._windows]
            rows = along[0][len(self._windows[0]) - 3 :][: len(products)]
            cols = along[1][len(self._windows[1]) - 1 - self.farthest[1] :][: products.shape[1]]
            pairs = rows[:, None] * cols
        centre = (2, self.farthest[1])
        pairs /= pairs[centre]
        products /= products[centre]
        few = pairs < _FEWEST_PAIRS
        pairs[few] = 1
        products /= pairs
        products[few] = np.nan
        return products

    def _lags(self, spectrum: np.ndarray) -> np.ndarray:
        down, across = self.farthest
        columns = self._fft.ifft(spectrum, axis=0, workers=self._threads, overwrite_x=True)
        wanted = np.concatenate([columns[-2:], columns[: down + 1]])
        rows = self._fft.irfft(wanted, n=self.shape[1], workers=self._threads, overwrite_x=True)
        return np.concatenate([rows[:, -across:], rows[:, : across + 1]], axis=1)


def _window(n: int) -> np.ndarray:
    """Weights along one side: 1, falling to 0 as half a cosine over a quarter of the side at each end."""
    inward = np.minimum(np.arange(n), np.arange(n)[::-1]) + 0.5
    rise = np.clip(inward / (_TAPER * n), 0, 1)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * rise), np.float32)


class _Falls:
    """Where the autocorrelation first falls to 0.2, direction by direction.

    Attributes
    ----------
    seen_um : float
        Longest lag that was looked at in a direction without such a fall.
    """

    def __init__(
        self, autocorrelation: np.ndarray, farthest: tuple[int, int], pixel_size: tuple[float, float]
    ) -> None:
        self._values, self._centre = autocorrelation, (2, farthest[1])
        self._pixel_size = pixel_size
        self.seen_um = 0.0
        self._degrees = np.arange(180.0)
        self._lags = self._follow(self._degrees)

    def shortest(self) -> float | None:
        """Shortest lag, µm."""
        return None if np.isnan(self._lags).all() else float(np.nanmin(self._lags))

    def longest(self) -> float | None:
        """Longest lag, µm; None where it is not reached."""
        if np.isnan(self._lags).any():
            return None
        near = self._degrees[np.argmax(self._lags)] + np.linspace(-1, 1, 101)
        lags = self._follow(near)
        return None if np.isnan(lags).any() else float(lags.max())

    def _follow(self, degrees: np.ndarray) -> np.ndarray:
        """Lag of the first fall along each direction, µm; not-a-number where there is none."""
        step = min(self._pixel_size)
        angle = np.radians(np.mod(degrees, 180))
        per_um = np.stack([np.sin(angle) / self._pixel_size[1], np.cos(angle) / self._pixel_size[0]])
        room = np.array(
            [[len(self._values) - 5.0], [self._centre[1] - 2.0]]
        )  # px: two are left to interpolate
        end = np.min(room / np.maximum(np.abs(per_um), 1e-12), axis=0)
        lags = np.full(len(degrees), np.nan)
        open_, start, reach = np.arange(len(degrees)), 0, 32
        while open_.size:
            radii = step * np.arange(start, start + reach + 1)
            inside = np.minimum(radii, end[open_, None])
            fallen = ~(self._at(per_um[:, open_], inside) > _FALL)
            first = np.argmax(fallen, axis=1)
            found = fallen[np.arange(len(first)), first] & (first > 0)
            before = radii[first[found] - 1]
            lags[open_[found]] = self._between(per_um[:, open_[found]], before, step)
            end[open_[found]] = np.where(np.isnan(lags[open_[found]]), before, end[open_[found]])
            done = found | (end[open_] <= radii[-1])
            open_, start, reach = open_[~done], start + reach, min(2 * reach, 512)
        lags[lags > end] = np.nan
        unmet = np.isnan(lags)
        self.seen_um = max(self.seen_um, float(end[unmet].max(initial=0.0)))
        return lags

    def _between(self, per_um: np.ndarray, start: np.ndarray, step: float) -> np.ndarray:
        """The fall within one step from `start`, by sixteenths and a straight line in the last."""
        radii = start[:, None] + step * np.linspace(0, 1, 17)
        values = self._at(per_um, radii)
        below = ~(values > _FALL)
        after = np.maximum(np.argmax(below, axis=1), 1)
        which = np.arange(len(start))
        high, low = values[which, after - 1], values[which, after]
        share = (high - _FALL) / np.where(high == low, 1, high - low)
        return np.asarray(radii[which, after - 1] + share * step / 16)

    def _at(self, per_um: np.ndarray, radii: np.ndarray) -> np.ndarray:
        """Autocorrelation at `radii` (D, K) along D directions, by cubic convolution (Keys, a = -0.5)."""
        rows = self._centre[0] + per_um[0][:, None] * radii
        cols = self._centre[1] + per_um[1][:, None] * radii
        row, col = np.floor(rows).astype(np.intp), np.floor(cols).astype(np.intp)
        row_weights, col_weights = _cubic(rows - row), _cubic(cols - col)
        out = np.zeros(rows.shape)
        for i, row_weight in enumerate(row_weights):
            for j, col_weight in enumerate(col_weights):
                out += row_weight * col_weight * self._values[row + (i - 1), col + (j - 1)]
        return out


def _cubic(t: np.ndarray) -> tuple[np.ndarray, ...]:
    """Weights of four neighbours for a place `t` (0 to 1) behind the second."""
    return (
        t * (t * (1 - 0.5 * t) - 0.5),
        t * t * (1.5 * t - 2.5) + 1,
        t * (t * (2 - 1.5 * t) + 0.5),
        t * t * (0.5 * t - 0.5),
    )
