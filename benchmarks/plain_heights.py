"""The plain numpy, scipy and scikit-image way with height maps: what surfscan is measured against.

Each step as a competent person writes it in an afternoon, in float64 and at full size: a second-order
polynomial by iterated reweighted least squares, a Gaussian mean of data with gaps, pits by a threshold below
the mean line, small objects removed, holes filled, a watershed on the distance transform, a table by
`regionprops_table`. Nothing is tuned to any map. Run as a whole command:
python benchmarks/plain_heights.py HEIGHTS.npy OUT.csv [PIXEL_SIZE_UM]
"""

from __future__ import annotations

import csv
import sys

import numpy as np
from scipy import ndimage
from skimage import feature, measure, morphology, segmentation

PROPERTIES = (
    "label",
    "area",
    "centroid",
    "equivalent_diameter_area",
    "axis_major_length",
    "axis_minor_length",
    "orientation",
    "eccentricity",
    "solidity",
    "intensity_mean",
    "intensity_max",
)


def polynomial_terms(shape: tuple[int, int]) -> np.ndarray:
    """The six terms of a second-order polynomial at every pixel, shape (M * N, 6)."""
    y, x = np.mgrid[-1 : 1 : shape[0] * 1j, -1 : 1 : shape[1] * 1j]
    x, y = x.ravel(), y.ravel()
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)


def robust_form(heights_um: np.ndarray, *, iterations: int = 5) -> np.ndarray:
    """Second-order form by iterated reweighted least squares (Tukey weights), shape (M, N), float64."""
    terms = polynomial_terms(heights_um.shape)
    z = heights_um.ravel().astype(np.float64)
    measured = np.isfinite(z)
    inner, values = terms[measured], z[measured]
    weight = np.ones_like(values)
    for _ in range(iterations):
        weighted = inner * weight[:, None]
        coefficients = np.linalg.solve(weighted.T @ inner, weighted.T @ values)
        residual = values - inner @ coefficients
        limit = 4.4478 * np.median(np.abs(residual))
        weight = np.where(np.abs(residual) < limit, (1 - (residual / limit) ** 2) ** 2, 0.0)
    return (terms @ coefficients).reshape(heights_um.shape)


def gaussian_mean(heights_um: np.ndarray, sigma_px: float, *, truncate: float = 4.0) -> np.ndarray:
    """Gaussian mean of what was measured: filtered data over filtered weights, float64."""
    measured = np.isfinite(heights_um)
    data = ndimage.gaussian_filter(
        np.where(measured, heights_um, 0.0).astype(np.float64), sigma_px, mode="constant", truncate=truncate
    )
    weight = ndimage.gaussian_filter(
        measured.astype(np.float64), sigma_px, mode="constant", truncate=truncate
    )
    return data / np.maximum(weight, 1e-12)


def robust_spread(values: np.ndarray) -> float:
    """Standard deviation from the median absolute deviation."""
    finite = values[np.isfinite(values)]
    return 1.4826 * float(np.median(np.abs(finite - np.median(finite))))


def label_pits(
    heights_um: np.ndarray, *, sigma_px: float = 60.0, times_sq: float = 4.0, min_area_px: int = 12
) -> tuple[np.ndarray, np.ndarray]:
    """Pit labels (M, N), int32, and depth below the reference (M, N), float64."""
    residual = heights_um - robust_form(heights_um)
    spread = robust_spread(residual)
    surface = np.where(residual > -times_sq * spread, residual, np.nan)
    depth = gaussian_mean(surface, sigma_px) - residual
    pits = depth > times_sq * robust_spread(depth)
    pits = morphology.remove_small_objects(pits, max_size=min_area_px - 1)
    pits = ndimage.binary_fill_holes(pits)
    distance = ndimage.distance_transform_edt(pits)
    parts, _ = ndimage.label(pits)
    peaks = feature.peak_local_max(distance, min_distance=4, labels=parts, exclude_border=False)
    markers = np.zeros(heights_um.shape, np.int32)
    markers[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    return segmentation.watershed(-distance, markers, mask=pits).astype(np.int32), depth


def measure_pits(labels: np.ndarray, depth_um: np.ndarray, pixel_area_um2: float) -> dict[str, np.ndarray]:
    """Shape, depth and volume per pit, and its label; gaps count as depth 0."""
    table = measure.regionprops_table(labels, np.nan_to_num(depth_um), properties=PROPERTIES)
    table["area_um2"] = table["area"] * pixel_area_um2
    table["volume_um3"] = table["intensity_mean"] * table["area_um2"]
    return table


def main(heights_path: str, table_path: str, pixel_size_um: str = "1") -> None:
    """Heights in µm (NPY) in, CSV out."""
    labels, depth = label_pits(np.load(heights_path))
    table = measure_pits(labels, depth, float(pixel_size_um) ** 2)
    with open(table_path, "w", newline="") as stream:  # noqa: PTH123
        writer = csv.writer(stream)
        writer.writerow(table)
        writer.writerows(zip(*table.values(), strict=True))


if __name__ == "__main__":
    main(*sys.argv[1:4])
