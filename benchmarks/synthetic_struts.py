"""Seeded pictures of struts and meshes with exactly known widths.

Every pixel has the area covered there, worked out from the polygon of the outline. Then come blur (the
optics), uneven light, and noise (the sensor).
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np

FINER = 32
DARK_STRUT, LIGHT_BACKGROUND = 40.0, 200.0
LIGHT_STRUT, DARK_BACKGROUND = 170.0, 45.0


@dataclass(frozen=True)
class SyntheticStrut:
    """A picture of one strut and its true widths.

    Attributes
    ----------
    pixels : ndarray of shape (M, N), uint8
    row, col : ndarray of shape (n,)
        The true centreline (before notches), px; the centre of the first pixel is 0.
    s_px, width_px : ndarray of shape (n,)
        Position along it and true width across it.
    polarity : str
    """

    pixels: np.ndarray
    row: np.ndarray
    col: np.ndarray
    s_px: np.ndarray
    width_px: np.ndarray
    polarity: str


@dataclass(frozen=True)
class SyntheticMesh:
    """A picture of a mesh: its struts as segments between nodes.

    Attributes
    ----------
    pixels : ndarray of shape (M, N), uint8
    ends : ndarray of shape (S, 4)
        Row and column of both ends of each strut that lies between two junctions inside the field.
    width_px : ndarray of shape (S,)
    """

    pixels: np.ndarray
    ends: np.ndarray
    width_px: np.ndarray
    removed: np.ndarray = field(default_factory=lambda: np.zeros((0, 4)))


def coverage(polygons: list[np.ndarray], shape: tuple[int, int]) -> np.ndarray:
    """Share of every pixel covered by polygons of (row, col) corners, (M, N), float32.

    Exact along rows, with `FINER` lines a pixel across them. Where polygons overlap the larger share counts.
    """
    out = np.zeros(shape, np.float32)
    for corners in polygons:
        low = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 1, 0)
        high = np.minimum(np.ceil(corners.max(axis=0)).astype(int) + 2, shape)
        if (high > low).all():
            part = out[low[0] : high[0], low[1] : high[1]]
            np.maximum(part, _covered(corners - low, part.shape), out=part)
    return out


def _covered(corners: np.ndarray, shape: tuple[int, ...]) -> np.ndarray:
    """Share of every pixel covered by one polygon."""
    rows, cols = shape
    start, end = corners, np.roll(corners, -1, axis=0)
    up = start[:, 0] > end[:, 0]
    top, bottom = np.where(up[:, None], end, start), np.where(up[:, None], start, end)
    first = np.clip(np.ceil((top[:, 0] + 0.5) * FINER - 0.5), 0, rows * FINER).astype(int)
    stop = np.clip(np.ceil((bottom[:, 0] + 0.5) * FINER - 0.5), 0, rows * FINER).astype(int)
    count = np.maximum(stop - first, 0)
    edge = np.repeat(np.arange(len(corners)), count)
    line = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count) + first[edge]
    y = (line + 0.5) / FINER - 0.5
    along = (y - top[edge, 0]) / (bottom[edge, 0] - top[edge, 0])
    x = np.clip(top[edge, 1] + along * (bottom[edge, 1] - top[edge, 1]) + 0.5, 0, cols)
    sign = np.where(up[edge], 1.0, -1.0) / FINER
    col = np.minimum(x.astype(int), cols - 1)
    share = np.zeros((rows, cols + 1))
    np.add.at(share, (line // FINER, col), sign * (col + 1 - x))
    np.add.at(share, (line // FINER, col + 1), sign * (x - col))
    return np.clip(np.abs(np.cumsum(share, axis=1)[:, :cols]), 0, 1).astype(np.float32)


def developed(
    share: np.ndarray,
    rng: np.random.Generator,
    *,
    inside: float,
    outside: float,
    blur: float,
    noise: float,
    uneven: float = 0.0,
    finishing: np.ndarray | None = None,
) -> np.ndarray:
    """Picture of a coverage: levels, blur (px), uneven light (share), noise (share of contrast), 8 bit."""
    grey = outside + (inside - outside) * share
    if finishing is not None:
        grey = grey + finishing
    if blur > 0:
        grey = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), blur)
    rows, cols = grey.shape
    y, x = np.mgrid[:rows, :cols]
    direction = rng.uniform(0, 2 * np.pi)
    slope = (x / cols - 0.5) * np.cos(direction) + (y / rows - 0.5) * np.sin(direction)
    bowl = (x / cols - 0.5) ** 2 + (y / rows - 0.5) ** 2
    grey = grey * (1 + uneven * slope - uneven * bowl)
    grey = grey + rng.normal(0, noise * abs(inside - outside), grey.shape)
    return np.clip(np.round(grey), 0, 255).astype(np.uint8)


def curved_strut(
    seed: int,
    *,
    shape: tuple[int, int] = (360, 480),
    blur: float | None = None,
    noise: float | None = None,
    notches: int | None = None,
    deep_notch: float = 0.0,
    polarity: str | None = None,
    uneven: float | None = None,
    ragged_px: float = 0.0,
    glints: int = 0,
    product_px: float = 0.0,
    product_level: float = 0.3,
) -> SyntheticStrut:
    """One curved strut that leaves the field on both sides, with notches; what is not given is drawn.

    `deep_notch` is the depth of one more notch from one side, as a share of the width.
    """
    rng = np.random.default_rng(seed)
    blur = rng.uniform(0.5, 2.0) if blur is None else blur
    noise = rng.uniform(0.0, 0.05) if noise is None else noise
    notches = int(rng.integers(0, 5)) if notches is None else notches
    polarity = str(rng.choice(["dark", "light"])) if polarity is None else polarity
    uneven = rng.uniform(0, 0.3) if uneven is None else uneven
    rows, cols = shape
    width = rng.uniform(18, 70)
    length = 1.5 * np.hypot(rows, cols)
    s = np.arange(-length / 2, length / 2, 0.25)
    bend = rng.uniform(-1, 1) / rng.uniform(250, 600)
    wave, period = rng.uniform(0, 0.25), rng.uniform(250, 500)
    angle = rng.uniform(0, np.pi) + bend * s + wave * np.sin(2 * np.pi * s / period + rng.uniform(0, 6))
    col = np.cumsum(np.cos(angle)) * 0.25
    row = np.cumsum(np.sin(angle)) * 0.25
    middle = len(s) // 2
    col += cols / 2 + rng.uniform(-20, 20) - col[middle]
    row += rows / 2 + rng.uniform(-20, 20) - row[middle]
    taper = rng.uniform(-0.1, 0.1)
    halves = []
    for _ in range(2):
        half = width / 2 * (1 + taper * s / length)
        for _ in range(notches):
            at, deep, long = rng.uniform(-140, 140), rng.uniform(0.1, 0.3) * width, rng.uniform(4, 15)
            half = half - deep * np.exp(-0.5 * ((s - at) / long) ** 2)
        if ragged_px:
            half = half + ragged_px * _rough(rng, len(s), 5 / 0.25)
        halves.append(np.maximum(half, 0.12 * width))
    if deep_notch:
        at, long = rng.uniform(-100, 100), rng.uniform(6, 20)
        halves[0] = halves[0] - deep_notch * width * np.exp(-0.5 * ((s - at) / long) ** 2)
    normal = np.array([np.cos(angle), -np.sin(angle)])  # (row, col), to the left of the way
    left = np.column_stack([row + halves[0] * normal[0], col + halves[0] * normal[1]])
    right = np.column_stack([row - halves[1] * normal[0], col - halves[1] * normal[1]])
    share = coverage([np.concatenate([left, right[::-1]])], shape)
    inside, outside = (DARK_STRUT, LIGHT_BACKGROUND) if polarity == "dark" else (LIGHT_STRUT, DARK_BACKGROUND)
    extra = np.zeros(shape, np.float32)
    for _ in range(glints):
        k = middle + int(rng.integers(-400, 400))
        spot = np.zeros(shape, np.float32)
        axes = (int(rng.integers(3, 12)), max(2, int(width * 0.12)))
        cv2.ellipse(spot, (round(col[k]), round(row[k])), axes, np.degrees(angle[k]), 0, 360, 1.0, -1)
        extra += spot * (245 - inside) * (share > 0.99)
    if product_px:
        rim = [
            np.column_stack(
                [row + sign * (h + product_px) * normal[0], col + sign * (h + product_px) * normal[1]]
            )
            for sign, h in ((1, halves[0]), (-1, halves[1]))
        ]
        cover = coverage([np.concatenate([rim[0], rim[1][::-1]])], shape)
        extra += product_level * (inside - outside) * (cover - share)
    pixels = developed(
        share, rng, inside=inside, outside=outside, blur=blur, noise=noise, uneven=uneven, finishing=extra
    )
    return SyntheticStrut(pixels, row, col, s - s[0], halves[0] + halves[1], polarity)


def _rough(rng: np.random.Generator, n: int, sigma: float) -> np.ndarray:
    """Random profile of unit standard deviation, smooth over `sigma` samples."""
    values = cv2.GaussianBlur(rng.normal(size=(1, n)), (0, 0), sigma)[0]
    return values / values.std()


def bar(p: np.ndarray, q: np.ndarray, width: float) -> np.ndarray:
    """Corners of a straight strut from `p` to `q`, (4, 2), row and column."""
    along = (q - p) / np.hypot(*(q - p))
    across = np.array([-along[1], along[0]]) * width / 2
    return np.array([p + across, q + across, q - across, p - across])


def mesh(
    seed: int,
    *,
    shape: tuple[int, int] = (700, 900),
    angle_deg: float | None = None,
    cell_px: float = 150.0,
    width_px: tuple[float, float] = (16.0, 40.0),
    crossing_deg: float = 90.0,
    blur: float = 1.0,
    noise: float = 0.02,
    polarity: str = "dark",
    uneven: float = 0.15,
) -> SyntheticMesh:
    """A mesh of straight struts, each of its own width, turned by any angle; nodes are rounded by discs."""
    rng = np.random.default_rng(seed)
    angle = np.radians(rng.uniform(0, 180) if angle_deg is None else angle_deg)
    u = cell_px * np.array([np.sin(angle), np.cos(angle)])
    other = angle + np.radians(crossing_deg)
    v = cell_px * np.array([np.sin(other), np.cos(other)])
    rows, cols = shape
    origin = np.array([rows / 2, cols / 2]) + rng.uniform(-0.5, 0.5, 2) * cell_px
    n = int(np.hypot(rows, cols) / cell_px / abs(np.sin(np.radians(crossing_deg)))) + 2
    polygons, ends, widths = [], [], []
    margin = 1.5 * width_px[1]

    def clear(p: np.ndarray) -> bool:
        return bool(margin < p[0] < rows - margin and margin < p[1] < cols - margin)

    for i in range(-n, n + 1):
        for j in range(-n, n + 1):
            p = origin + i * u + j * v
            for step in (u, v):
                q = p + step
                low, high = np.minimum(p, q), np.maximum(p, q)
                if (
                    high[0] < -cell_px
                    or high[1] < -cell_px
                    or low[0] > rows + cell_px
                    or low[1] > cols + cell_px
                ):
                    continue
                width = rng.uniform(*width_px)
                polygons.append(bar(p, q, width))
                turns = np.linspace(0, 2 * np.pi, 48)
                polygons.append(p + width_px[1] / 2 * np.column_stack([np.sin(turns), np.cos(turns)]))
                if clear(p) and clear(q):
                    ends.append([*p, *q])
                    widths.append(width)
    share = coverage(polygons, shape)
    levels = (DARK_STRUT, LIGHT_BACKGROUND) if polarity == "dark" else (LIGHT_STRUT, DARK_BACKGROUND)
    pixels = developed(share, rng, inside=levels[0], outside=levels[1], blur=blur, noise=noise, uneven=uneven)
    return SyntheticMesh(pixels, np.array(ends).reshape(-1, 4), np.array(widths))
