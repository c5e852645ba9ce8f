"""Pixel size from a picture of a stage micrometer: the pitch of all its divisions, along x, y or both."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.calibration.division_lines import FEWEST_LINES, LineFit, fit_lines, line_strength
from surfscan.calibration.uncertainty import (
    ANISOTROPY_ALLOWANCE,
    ScaleUncertainty,
    combine,
    instrument_uncertainty,
)
from surfscan.images import Calibration

_FARTHEST_DEG = 45.0
_SAME_DEG = 20.0
_AROUND_DEG = 20.0  # gradients so far from the main direction still tell of its lines
_SQUARE_DEG = 5.0  # two sets of lines so near to a right angle make a grid
_FAINT = 0.08  # gradients of the second direction, as a share of those of the first, below which it is none


@dataclass(frozen=True)
class MicrometerFit:
    """Pixel size from the divisions of a stage micrometer.

    Attributes
    ----------
    division_um : float
        Distance between neighbouring lines, as stated.
    x, y : LineFit or None
        Lines whose normal lies nearest to the row direction (x) and to the column direction (y); None where
        the picture shows none.
    pixel_size_x_um, pixel_size_y_um : float
        µm; where only one direction has lines, the other is taken as the same.
    uncertainty : ScaleUncertainty
        "ends" is the standard error of the pitch with the variation of the local pitch over the picture
        (rectangular), the larger of both directions.
    """

    division_um: float
    x: LineFit | None
    y: LineFit | None
    pixel_size_x_um: float
    pixel_size_y_um: float
    uncertainty: ScaleUncertainty

    @property
    def calibration(self) -> Calibration:
        """Pixel size, its uncertainty and where it comes from."""
        return Calibration(
            self.pixel_size_x_um,
            self.pixel_size_y_um,
            self.uncertainty.combined,
            f"stage micrometer, divisions of {self.division_um:g} µm",
        )


def fit_divisions(
    grey: np.ndarray, division_um: float, *, certificate_relative_uncertainty: float | None = None
) -> MicrometerFit | None:
    """Pixel size from a picture of a stage micrometer.

    Parameters
    ----------
    grey : ndarray of shape (M, N)
        Luminance; lines may be dark or light, turned by up to 45 degrees, some missing, bold or longer.
    division_um : float
        Distance between neighbouring lines, µm.
    certificate_relative_uncertainty : float, optional
        Relative standard uncertainty (k = 1) of the micrometer; the declared allowance where not given.

    Returns
    -------
    MicrometerFit or None
        None where no five lines at one pitch are found along either direction.

    Raises
    ------
    ValueError
        If the picture is not two-dimensional, or a number is out of range.

    Notes
    -----
    The pitch is measured along the lines' normal. Where pixels are not square, a normal at the angle θ to the
    row direction measures a mixture: 1 / pitch² = (cos θ / pitch of x)² + (sin θ / pitch of y)², with which
    both pixel sizes are found where both directions have lines.
    """
    if grey.ndim != 2:
        raise ValueError(f"a grey picture has two dimensions, not {grey.ndim}")
    if not (math.isfinite(division_um) and division_um > 0):
        raise ValueError(f"a division must be above 0 µm, got {division_um!r}")
    instrument = instrument_uncertainty(certificate_relative_uncertainty)
    level = np.ascontiguousarray(grey, np.float32)
    level = np.where(np.isfinite(level), level, np.float32(np.nanmedian(level)))
    angles = _not_diagonal(level, *_directions(level))
    x = None if angles[0] is None else fit_lines(level, angles[0])
    y = None if angles[1] is None else fit_lines(np.ascontiguousarray(level.T), angles[1])
    if x is not None and y is not None and abs(90 - x.angle_deg - y.angle_deg) < _SAME_DEG:
        x, y = (x, None) if x.line_count >= y.line_count else (None, y)  # one set of lines, met twice
    if x is None and y is None:
        return None
    size_x, size_y = _pixel_sizes(x, y, division_um)
    fits = [fit for fit in (x, y) if fit is not None]
    uncertainty = ScaleUncertainty(
        ends=max(
            combine(fit.pitch_uncertainty_px / fit.pitch_px, fit.pitch_variation / math.sqrt(3))
            for fit in fits
        ),
        label=0.0,
        instrument=instrument,
        anisotropy=0.0 if len(fits) == 2 else ANISOTROPY_ALLOWANCE,
        is_certified=certificate_relative_uncertainty is not None,
    )
    return MicrometerFit(division_um, x, y, size_x, size_y, uncertainty)


def _pixel_sizes(x: LineFit | None, y: LineFit | None, division_um: float) -> tuple[float, float]:
    if x is None or y is None:
        fit = x or y
        assert fit is not None
        return division_um / fit.pitch_px, division_um / fit.pitch_px
    # 1/p² = cos²θ sx²/D² + sin²θ sy²/D² for both, linear in sx², sy²
    cos_x, cos_y = (math.cos(math.radians(fit.angle_deg)) ** 2 for fit in (x, y))
    weights = np.array([[cos_x, 1 - cos_x], [1 - cos_y, cos_y]])
    squares = np.array([(division_um / fit.pitch_px) ** 2 for fit in (x, y)])
    if abs(np.linalg.det(weights)) < 0.1:
        return division_um / x.pitch_px, division_um / y.pitch_px
    solved = np.linalg.solve(weights, squares)
    return float(math.sqrt(solved[0])), float(math.sqrt(solved[1]))


def _directions(level: np.ndarray) -> tuple[float | None, float | None]:
    """Angle of the lines' normal from the row direction, and of another set's from the column direction."""
    import cv2

    step = max(1, round(max(level.shape) / 1500))
    small = cv2.resize(level, None, fx=1 / step, fy=1 / step, interpolation=cv2.INTER_AREA)
    small = cv2.GaussianBlur(small, (0, 0), 1.0)
    across = cv2.Scharr(small, cv2.CV_32F, 1, 0)
    down = cv2.Scharr(small, cv2.CV_32F, 0, 1)
    strength = across**2 + down**2
    strength[strength < np.percentile(strength, 60)] = 0
    angle = np.degrees(np.arctan2(down, across)) % 180
    counts, _ = np.histogram(angle, bins=720, range=(0, 180), weights=strength)
    smooth = np.convolve(np.tile(counts, 3), np.hanning(13), mode="same")[720:1440]
    centres = (np.arange(720) + 0.5) * 0.25
    near_x = (centres <= _FARTHEST_DEG) | (centres > 180 - _FARTHEST_DEG)
    peaks = []
    for side in (near_x, ~near_x):
        k = int(np.argmax(np.where(side, smooth, -1)))
        peaks.append((float(smooth[k]), _mean_direction(centres, counts, float(centres[k]))))
    strongest = max(peak for peak, _ in peaks)
    if strongest <= 0:
        return None, None
    x_angle = (peaks[0][1] + 90) % 180 - 90
    # On the transposed picture the normal's angle is measured from the column direction towards the rows.
    y_angle = 90 - peaks[1][1]
    return (
        x_angle if peaks[0][0] >= _FAINT * strongest else None,
        y_angle if peaks[1][0] >= _FAINT * strongest else None,
    )


def _not_diagonal(
    level: np.ndarray, x_deg: float | None, y_deg: float | None
) -> tuple[float | None, float | None]:
    """Directions of a grid, where those found were its diagonals.

    Narrow meshes, blurred, have their steepest flanks across the diagonals, at which their knots stand in
    line too, a pitch / sqrt(2) apart; lines in line make a profile many times as strong.
    """
    if x_deg is not None and y_deg is not None and abs((x_deg + y_deg + 45) % 90 - 45) > _SQUARE_DEG:
        return x_deg, y_deg
    if x_deg is not None:
        along = x_deg
    elif y_deg is not None:
        along = -y_deg
    else:
        return None, None
    across = along - 45 if along > 0 else along + 45
    found = line_strength(level, along) if x_deg is not None else line_strength(level.T.copy(), -along)
    return (across, -across) if line_strength(level, across) > found else (x_deg, y_deg)


def _mean_direction(angles_deg: np.ndarray, strength: np.ndarray, peak_deg: float) -> float:
    """Mean direction of the gradients around a peak: the main axis of their structure tensor.

    Gradients of lines that lean a little gather at the axes of the pixels, where the edge runs along a row or
    column, and in a few far off, where it steps to the next: their peak is no measure of the lean, their mean
    square is.
    """
    for _ in range(3):
        away = (angles_deg - peak_deg + 90) % 180 - 90
        near = np.abs(away) <= _AROUND_DEG
        double = np.radians(2 * away[near])
        weight = strength[near]
        peak_deg += float(np.degrees(np.arctan2(weight @ np.sin(double), weight @ np.cos(double)))) / 2
    return peak_deg


__all__ = ["FEWEST_LINES", "LineFit", "MicrometerFit", "fit_divisions"]
