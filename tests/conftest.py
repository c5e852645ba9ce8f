"""What tests of several rooms share: a small picture with known pits."""

from collections.abc import Callable, Iterable

import cv2
import numpy as np
import pytest

PITS = ((60, 70, 12), (60, 180, 9), (150, 100, 15), (170, 220, 11))
"""Centre row, centre column and radius of each pit, px."""


@pytest.fixture(scope="session")
def pitted() -> np.ndarray:
    """A grey plate of 240 x 300 px with four clear dark pits and a little noise, uint8."""
    rows, cols = np.mgrid[:240, :300]
    grey = np.full(rows.shape, 180.0)
    for row, col, radius in PITS:
        distance = np.hypot(rows - row, cols - col)
        grey -= 120 / (1 + np.exp(2 * (distance - radius)))
    noise = np.random.default_rng(7).normal(0, 3, grey.shape)
    return np.clip(np.rint(grey + noise), 0, 255).astype(np.uint8)


@pytest.fixture(scope="session")
def draw_discs() -> Callable[..., np.ndarray]:
    """Function that draws round dark spots (row, col, radius, contrast) as a contrast image, float32.

    Pixels on a rim are covered in part; then the optics blur everything by `blur` px.
    """

    def draw(
        shape: tuple[int, int], spots: Iterable[tuple[float, float, float, float]], blur: float = 1.0
    ) -> np.ndarray:
        rows, cols = np.mgrid[: shape[0], : shape[1]]
        contrast = np.zeros(shape, np.float32)
        for row, col, radius, strength in spots:
            covered = np.clip(radius - np.hypot(rows - row, cols - col) + 0.5, 0, 1)
            contrast = np.maximum(contrast, strength * covered.astype(np.float32))
        if blur == 0:
            return contrast
        return np.asarray(cv2.GaussianBlur(contrast, (0, 0), blur, borderType=cv2.BORDER_REPLICATE))

    return draw
