"""Drawn pictures of stage micrometers."""

from collections.abc import Callable

import cv2
import numpy as np
import pytest


@pytest.fixture(scope="session")
def draw_divisions() -> Callable[..., np.ndarray]:
    """Function that draws a ruler (one pitch) or a grid (two) with uneven light and noise, uint8.

    Every fifth line is bolder and, on a ruler, longer. `pitch_px` is (x, y), None where there is none;
    `angle_deg` turns the lines, `bend` moves them outwards with the cube of the distance from the middle.
    """

    def draw(
        pitch_px=(17.3, None), *, angle_deg=0.0, width_px=3.0, blur_px=1.0, noise=3.0, missing=(), dark=True,
        bend=0.0, shape=(400, 700), seed=0,
    ):  # fmt: skip
        rows, cols = np.mgrid[: shape[0], : shape[1]].astype(np.float32)
        down, across = rows - (shape[0] - 1) / 2, cols - (shape[1] - 1) / 2
        outwards = 1 + bend * (across**2 + down**2) / (shape[1] / 2) ** 2
        cos, sin = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
        x, y = outwards * (across * cos + down * sin), outwards * (down * cos - across * sin)
        covered = np.zeros(shape, np.float32)
        for pitch, along, other in ((pitch_px[0], x, y), (pitch_px[1], y, x)):
            if pitch is None:
                continue
            number = np.rint(along / pitch)
            width = np.where(number % 5 == 0, 1.6 * width_px, width_px)
            line = np.clip(width / 2 - np.abs(along - number * pitch) + 0.5, 0, 1)
            line *= ~np.isin(number, missing)
            if None in pitch_px:
                reach = np.where(number % 5 == 0, 0.28, 0.18) * shape[0]
                line *= np.clip(reach - np.abs(other) + 0.5, 0, 1)
            covered = np.maximum(covered, line)
        covered = cv2.GaussianBlur(covered, (0, 0), blur_px)
        light = 1 - 0.2 * cols / shape[1]
        grey = 200 * light - 140 * covered if dark else 50 * light + 140 * covered
        grey = grey + np.random.default_rng(seed).normal(0, noise, shape)
        return np.clip(np.rint(grey), 0, 255).astype(np.uint8)

    return draw
