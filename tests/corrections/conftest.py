"""Two small pictures with their automatic results, to be corrected."""

from functools import cache

import cv2
import numpy as np
import pytest

from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.procedures import Result, measure_pits

SCALE = Calibration(0.5, 0.8, 0.01, "stated")
SPOTS = (
    (30, 40, 11), (34, 110, 8), (90, 30, 9), (96, 112, 12), (120, 70, 7), (0, 75, 9),
    (60, 150, 6), (118, 150, 9), (60, 66, 8), (60, 80, 8),
)  # fmt: skip
SHAPE = (140, 170)


def draw(spots=SPOTS, shape=SHAPE):
    """1 inside round spots (row, column, radius), blurred by the optics."""
    mask = np.zeros(shape, np.float32)
    for row, col, radius in spots:
        cv2.circle(mask, (col, row), radius, 1.0, -1, cv2.LINE_AA)
    return cv2.GaussianBlur(mask, (0, 0), 1.0)


@cache
def micrograph(scale=SCALE) -> Micrograph:
    noise = np.random.default_rng(3).normal(0, 3, SHAPE)
    grey = np.clip(np.rint(180 * (1 - 0.5 * draw()) + noise), 0, 255).astype(np.uint8)
    return Micrograph(grey, scale, Source("plate.png"))


@cache
def height_map() -> HeightMap:
    """Pits of which one has an unseen floor, and a gap where no pit is."""
    rough = cv2.GaussianBlur(np.random.default_rng(5).standard_normal(SHAPE), (0, 0), 1.2)
    heights = 0.1 * rough / rough.std() - 5 * cv2.GaussianBlur(draw(), (0, 0), 2.0)
    row, col = np.mgrid[: SHAPE[0], : SHAPE[1]]
    heights[np.hypot(row - 96, col - 112) < 5] = np.nan
    heights[20:30, 140:152] = np.nan
    return HeightMap(heights.astype(np.float32), SCALE, Source("plate.x3p"))


@cache
def measured(kind: str) -> tuple[Micrograph | HeightMap, Result]:
    image = {"micrograph": micrograph, "no scale": lambda: micrograph(None), "heights": height_map}[kind]()
    return image, measure_pits(image)


@pytest.fixture(params=["micrograph", "no scale", "heights"])
def pitted_field(request):
    """(image, automatic result) of each kind."""
    return measured(request.param)


@pytest.fixture
def plate():
    """(micrograph, automatic result)."""
    return measured("micrograph")


@pytest.fixture
def rough_plate():
    """(height map, automatic result)."""
    return measured("heights")
