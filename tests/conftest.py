"""What tests of several rooms share: a small picture with known pits."""

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
