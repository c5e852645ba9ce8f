"""How far a surface went back since it was new, where a map shows its original level."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.errors import InputError
from surfscan.images import HeightMap
from surfscan.preparation.heights import PreparedHeights
from surfscan.preparation.spikes import find_spikes
from surfscan.segmentation.deep_pits import DeepPits

PRESENT, DATUM, UNEXPOSED = "present surface", "masked datum", "unexposed surface"
FEWEST_DATUM_PX = 100
"""A datum of fewer measured pixels gives no level that could be defended (common practice, no source)."""

_BLOCKS = 8


@dataclass(frozen=True)
class OriginalLevel:
    """Penetration from the original surface.

    Attributes
    ----------
    origin : {"present surface", "masked datum", "unexposed surface"}
        What the original level is known from; "present surface" where it is not known.
    mean_penetration_um : float or None
        Mean over the exposed field, pits included, µm; None where the original level is not known.
    max_penetration_um : float or None
        Greatest inside a pit, µm; None also where there is no pit.
    uncertainty_um : float
        Standard uncertainty of both levels, µm.
    warnings : tuple of str
    """

    origin: str
    mean_penetration_um: float | None
    max_penetration_um: float | None
    uncertainty_um: float
    warnings: tuple[str, ...] = ()


def find_original_level(
    image: HeightMap,
    ready: PreparedHeights,
    found: DeepPits,
    exposed: np.ndarray | None,
    *,
    datum: np.ndarray | None,
    unexposed: HeightMap | None,
) -> OriginalLevel:
    """Mean and greatest penetration from the original level.

    Parameters
    ----------
    image : HeightMap
    ready : PreparedHeights
        Its heights without form, fitted to the exposed surface alone.
    found : DeepPits
    exposed : ndarray of shape (M, N), bool, or None
        Surface that corroded; the whole map if None.
    datum : ndarray of shape (M, N), bool, optional
        Surface that kept the original level.
    unexposed : HeightMap, optional
        The same field before exposure.

    Returns
    -------
    OriginalLevel
        With the datum alone, the original surface is taken as the form of the exposed one, moved to the
        median level of the datum. With the unexposed map it is that map, moved to agree on the datum where
        there is one. Unmeasured pixels of a pit count with the mean of its measured ones.

    Raises
    ------
    InputError
        If fewer than `FEWEST_DATUM_PX` heights were measured on the datum, or the grids differ.
    """
    if datum is None and unexposed is None:
        return OriginalLevel(PRESENT, None, None, 0.0)
    warnings: list[str] = []
    level, doubt = 0.0, 0.0
    if unexposed is None:
        penetration = -ready.residual_um
        doubt = ready.form.level_uncertainty_um
    else:
        penetration = _loss(image, unexposed, ready)
    if datum is not None:
        level, spread = _datum_level(penetration, datum, image.source.path)
        doubt = math.hypot(doubt, spread)
    else:
        warnings.append(
            "The unexposed map is compared as it stands: both maps must have one zero of height. A datum "
            "mask would set it."
        )
    mean = _mean_over_field(penetration, found.labels, exposed) - level
    in_pits = penetration[found.labels > 0]
    in_pits = in_pits[~np.isnan(in_pits)]
    greatest = float(in_pits.max()) - level if in_pits.size else None
    if mean < -2 * doubt:
        warnings.append(
            f"The surface stands {-mean:.3g} µm above its original level on average: product was not "
            "removed, or the datum or the unexposed map does not belong to it. There is no pitting factor."
        )
    origin = DATUM if unexposed is None else UNEXPOSED
    return OriginalLevel(origin, mean, greatest, doubt, tuple(warnings))


def _loss(image: HeightMap, unexposed: HeightMap, ready: PreparedHeights) -> np.ndarray:
    """Height before less height now, µm; not-a-number where either is missing or a spike."""
    if unexposed.shape != image.shape or not _same_pixels(image, unexposed):
        raise InputError(
            unexposed.source.path,
            f"the unexposed map has another grid ({_grid(unexposed)}) than the exposed one ({_grid(image)})",
            "Register it to the exposed map and resample it to the same pixels",
        )
    before = np.where(find_spikes(unexposed.heights_um), np.nan, unexposed.heights_um)
    loss = before - image.heights_um
    loss[np.isnan(ready.residual_um)] = np.nan
    if np.isnan(loss).all():
        raise InputError(
            unexposed.source.path, "no pixel is measured on both maps", "Check that they show one field"
        )
    return np.asarray(loss)


def _same_pixels(a: HeightMap, b: HeightMap) -> bool:
    if a.calibration is None or b.calibration is None:
        return a.calibration is b.calibration
    return math.isclose(
        a.calibration.pixel_size_x_um, b.calibration.pixel_size_x_um, rel_tol=1e-3
    ) and math.isclose(a.calibration.pixel_size_y_um, b.calibration.pixel_size_y_um, rel_tol=1e-3)


def _grid(heights: HeightMap) -> str:
    size = f"{heights.shape[0]} x {heights.shape[1]} px"
    scale = heights.calibration
    if scale is None:
        return f"{size}, no scale"
    return f"{size} of {scale.pixel_size_x_um:.4g} x {scale.pixel_size_y_um:.4g} µm"


def _datum_level(penetration: np.ndarray, datum: np.ndarray, path: str) -> tuple[float, float]:
    """Median over the datum and its standard uncertainty, from how parts of the datum differ."""
    row, col = np.nonzero(datum & ~np.isnan(penetration))
    if len(row) < FEWEST_DATUM_PX:
        raise InputError(
            path,
            f"only {len(row)} heights were measured on the datum, fewer than {FEWEST_DATUM_PX}",
            "Draw a larger datum, or measure it again",
        )
    values = penetration[row, col]
    order = np.argsort(row if np.ptp(row) > np.ptp(col) else col, kind="stable")
    parts = [float(np.median(part)) for part in np.array_split(values[order], _BLOCKS)]
    return float(np.median(values)), float(np.std(parts, ddof=1) / math.sqrt(_BLOCKS))


def _mean_over_field(penetration: np.ndarray, labels: np.ndarray, exposed: np.ndarray | None) -> float:
    """Mean over the exposed surface; each pit with the mean of its measured pixels, metal with its own."""
    measured = ~np.isnan(penetration)
    inside = measured if exposed is None else measured & exposed
    metal = penetration[inside & (labels == 0)]
    pitted = labels > 0
    total, area = 0.0, 0
    if pitted.any():
        label = labels[pitted]
        value = penetration[pitted]
        seen = ~np.isnan(value)
        count = np.bincount(label[seen], minlength=int(label.max()) + 1)
        summed = np.bincount(label[seen], value[seen], len(count))
        size = np.bincount(label, minlength=len(count))
        some = count > 0
        total = float((summed[some] / count[some] * size[some]).sum())
        area = int(size[some].sum())
    return (float(np.sum(metal, dtype=np.float64)) + total) / (metal.size + area)
