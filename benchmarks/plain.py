"""The plain scikit-image way of finding pits: what surfscan is measured against.

Large-Gaussian background, Otsu threshold, opening, hole filling, small objects removed, distance
transform, `peak_local_max` markers, watershed, ten properties per pit. Nothing is tuned to any
image. Run as a whole command: python benchmarks/plain.py IMAGE.tif OUT.csv
"""

from __future__ import annotations

import csv
import sys

import numpy as np
from scipy import ndimage
from skimage import feature, filters, io, measure, morphology, segmentation

PROPERTIES = (
    "label",
    "area",
    "centroid",
    "equivalent_diameter_area",
    "perimeter",
    "axis_major_length",
    "axis_minor_length",
    "orientation",
    "eccentricity",
    "intensity_mean",
    "solidity",
)


def label_pits(image: np.ndarray, *, sigma: float = 64.0, min_area_px: int = 20) -> np.ndarray:
    """Pit labels of a grey image of shape (M, N), int32."""
    grey = image.astype(np.float32)
    flat = grey / np.maximum(filters.gaussian(grey, sigma, preserve_range=True), 1e-6)
    dark = flat < filters.threshold_otsu(flat)
    dark = ndimage.binary_opening(dark, morphology.disk(2))
    dark = ndimage.binary_fill_holes(dark)
    dark = morphology.remove_small_objects(dark, max_size=min_area_px - 1)
    distance = ndimage.distance_transform_edt(dark)
    parts, _ = ndimage.label(dark)
    peaks = feature.peak_local_max(distance, min_distance=5, labels=parts, exclude_border=False)
    markers = np.zeros(image.shape, np.int32)
    markers[tuple(peaks.T)] = np.arange(1, len(peaks) + 1)
    return segmentation.watershed(-distance, markers, mask=dark).astype(np.int32)


def measure_pits(labels: np.ndarray, image: np.ndarray) -> dict[str, np.ndarray]:
    """Ten properties per pit, and its label."""
    return measure.regionprops_table(labels, image, properties=PROPERTIES)


def main(image_path: str, table_path: str) -> None:
    """Image in, CSV out."""
    image = io.imread(image_path)
    table = measure_pits(label_pits(image), image)
    with open(table_path, "w", newline="") as stream:  # noqa: PTH123
        writer = csv.writer(stream)
        writer.writerow(table)
        writer.writerows(zip(*table.values(), strict=True))


if __name__ == "__main__":
    main(*sys.argv[1:3])
