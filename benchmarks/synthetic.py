"""Synthetic micrographs of pitted metal with known truth.

What is drawn, in this order: metal with grains, fine texture, faint stains, machining lines and
scratches; pits as dark patches with lumpy outlines, textured floors and, on some, a bright rim;
then uneven light, glare, the blur of the optics, and the noise of the camera. The truth is the set
of pixels whose centre lies inside a pit's outline before the blur; where two pits overlap, the
truth is split along the line through the two points where their outlines cross.

Everything comes from the seed: the same call gives the same bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

Range = tuple[float, float]


@dataclass(frozen=True)
class Outline:
    """A pit's outline in polar form round its centre: radius * (1 + sum of low-order waves)."""

    row: float
    col: float
    radius: float
    amplitudes: np.ndarray  # waves of order 2, 3, ...
    phases: np.ndarray

    def reach(self) -> float:
        """Largest radius that the outline can have."""
        return float(self.radius * (1 + np.abs(self.amplitudes).sum()))

    def signed_distance(self, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
        """First-order distance from the outline in px, negative inside."""
        y, x = rows - self.row, cols - self.col
        rho, theta = np.hypot(y, x), np.arctan2(y, x)
        wave, slope = np.zeros_like(theta), np.zeros_like(theta)
        for order, (amplitude, phase) in enumerate(zip(self.amplitudes, self.phases, strict=True), start=2):
            wave += amplitude * np.cos(order * theta + phase)
            slope -= amplitude * order * np.sin(order * theta + phase)
        return (rho - self.radius * (1 + wave)) / np.hypot(1.0, slope / (1 + wave))


def make_micrograph(
    seed: int,
    shape: tuple[int, int] = (1024, 1024),
    *,
    n_pits: int = 120,
    contrast: Range = (0.12, 0.6),
    radius_px: Range = (3.0, 40.0),
    median_radius_px: float = 7.0,
    touching_fraction: float = 0.12,
    lumpiness: float = 0.10,
    rims: float = 0.2,
    noise: float = 0.02,
    light: float = 0.3,
    grains: float = 0.02,
    stains: int = 4,
    scratches: int = 15,
    scratch_depth: float = 0.3,
    glare: int = 1,
    machining: float = 0.0,
    blur_sigma: float = 0.9,
    metal_grey: float = 165.0,
) -> tuple[np.ndarray, np.ndarray]:
    """One micrograph and its truth.

    Parameters
    ----------
    seed : int
        Everything random follows from it.
    shape : (int, int)
        Rows and columns.
    n_pits : int
        Pits asked for; fewer where they no longer fit without covering one another.
    contrast : (float, float)
        Range of 1 minus floor grey over metal grey, uniform.
    radius_px : (float, float)
        Limits of the pit radius; lognormal with spread 0.6 round `median_radius_px` between them.
    touching_fraction : float
        Share of pits drawn as one of a touching or overlapping pair.
    lumpiness : float
        Relative size of the waves of the outline.
    rims : float
        Share of pits with a bright rim.
    noise : float
        Standard deviation of the camera noise over metal grey; 0.4 of its variance is constant, the
        rest grows with the signal as photon noise does.
    light : float
        How far the light falls over the field (gradient and vignetting), as a fraction.
    grains : float
        Grey difference between grains (half range, fraction).
    stains, scratches, glare : int
        How many of each.
    scratch_depth : float
        Darkening by the deepest scratch; bright ones reach two thirds of it.
    machining : float
        Standard deviation of parallel machining lines, fraction of metal grey.
    blur_sigma : float
        Blur of the optics, px.
    metal_grey : float
        Grey level of sound metal before the light falls off.

    Returns
    -------
    image : ndarray of shape (M, N), uint8
    truth : ndarray of shape (M, N), int32
        0 is metal; pits count from 1 without gaps.
    """
    place, paint, camera = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    outlines = place_pits(place, shape, n_pits, radius_px, median_radius_px, touching_fraction, lumpiness)

    metal = 1 + smooth_noise(paint, shape, 1.5, 0.006)
    metal *= grain_pattern(paint, shape, grains)
    metal *= stain_pattern(paint, shape, stains)
    if machining > 0:
        metal *= 1 + machining_lines(paint, shape, machining)
    marks = scratch_marks(paint, shape, scratches, scratch_depth)

    depth, rim, truth = paint_pits(paint, shape, outlines, contrast, rims)
    surface = metal * (1 + rim) * (1 + marks * np.where(depth > 0, 0.4, 1.0)) * (1 - depth)
    lit = surface * light_field(paint, shape, light) + glare_veils(paint, shape, glare)
    lit = cv2.GaussianBlur(lit.astype(np.float32), (0, 0), blur_sigma) if blur_sigma > 0 else lit
    spread = noise * np.sqrt(0.4 + 0.6 * np.clip(lit, 0, None))
    lit = lit + spread * camera.standard_normal(shape, dtype=np.float32)
    image = np.clip(np.rint(lit * metal_grey), 0, 255).astype(np.uint8)
    return image, truth


def place_pits(
    rng: np.random.Generator,
    shape: tuple[int, int],
    n_pits: int,
    radius_px: Range,
    median_radius_px: float,
    touching_fraction: float,
    lumpiness: float,
) -> list[Outline]:
    """Outlines that keep clear of one another but for the pairs made to touch."""
    outlines: list[Outline] = []
    centres, reaches = np.empty((n_pits, 2)), np.empty(n_pits)

    def add(outline: Outline, but: int = -1) -> bool:
        n = len(outlines)
        gaps = np.hypot(*(centres[:n] - (outline.row, outline.col)).T) - reaches[:n] - outline.reach()
        if but >= 0:
            gaps[but] = np.inf
        inside = 0 <= outline.row <= shape[0] - 1 and 0 <= outline.col <= shape[1] - 1
        if not inside or n == n_pits or (n and gaps.min() < 3):
            return False
        outlines.append(outline)
        centres[n], reaches[n] = (outline.row, outline.col), outline.reach()
        return True

    for _ in range(20 * n_pits):
        if len(outlines) >= n_pits:
            break
        radius = _radius(rng, radius_px, median_radius_px)
        first = lumpy_outline(rng, *(rng.uniform(0, s - 1) for s in shape), radius, lumpiness)
        if not add(first) or rng.random() > touching_fraction / (2 - touching_fraction):
            continue
        for _ in range(10):
            other = float(np.clip(radius * rng.uniform(0.6, 1.4), *radius_px))
            angle, apart = rng.uniform(0, 2 * np.pi), (radius + other) * rng.uniform(0.7, 1.0)
            row, col = first.row + apart * np.sin(angle), first.col + apart * np.cos(angle)
            if add(lumpy_outline(rng, row, col, other, lumpiness), but=len(outlines) - 1):
                break
    return outlines


def _radius(rng: np.random.Generator, radius_px: Range, median: float) -> float:
    while True:
        radius = float(median * np.exp(0.6 * rng.standard_normal()))
        if radius_px[0] <= radius <= radius_px[1]:
            return radius


def lumpy_outline(
    rng: np.random.Generator, row: float, col: float, radius: float, lumpiness: float
) -> Outline:
    """A random outline; its waves of order 2 to 6 weaken with their order."""
    orders = np.arange(2, 7)
    amplitudes = lumpiness * rng.standard_normal(len(orders)) * (2 / orders) ** 1.3
    amplitudes *= min(1.0, 0.4 / max(float(np.abs(amplitudes).sum()), 1e-9))
    return Outline(row, col, radius, amplitudes, rng.uniform(0, 2 * np.pi, len(orders)))


def paint_pits(
    rng: np.random.Generator,
    shape: tuple[int, int],
    outlines: list[Outline],
    contrast: Range,
    rims: float,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Darkening (0 to 1), brightening round pits, and truth labels."""
    depth, rim = np.zeros(shape, np.float32), np.zeros(shape, np.float32)
    nearest, truth = np.zeros(shape, np.float32), np.zeros(shape, np.int32)
    for number, outline in enumerate(outlines, start=1):
        own_contrast = rng.uniform(*contrast)
        rim_width, rim_height = rng.uniform(1.2, 3.0), rng.uniform(0.06, 0.25) * (rng.random() < rims)
        reach = outline.reach() + 3 * rim_width + 2
        top, left = max(0, int(outline.row - reach)), max(0, int(outline.col - reach))
        bottom = min(shape[0], int(outline.row + reach) + 2)
        right = min(shape[1], int(outline.col + reach) + 2)
        window = np.s_[top:bottom, left:right]
        rows, cols = np.mgrid[window].astype(np.float64)
        distance = outline.signed_distance(rows, cols)
        # away from the wall a floor is a little darker or brighter, and it carries its own texture
        dish = rng.uniform(-0.15, 0.15)
        floor = own_contrast * (1 + dish * np.clip(-distance / outline.radius - 0.35, -0.35, 0.65))
        floor = floor * (1 + smooth_noise(rng, distance.shape, max(1.0, outline.radius / 5), 0.08))
        covered = np.clip(0.5 - distance, 0, 1)
        depth[window] = np.maximum(depth[window], np.clip(floor, 0, 0.97) * covered)
        glow = rim_height * np.exp(-((np.clip(distance, 0, None) / rim_width) ** 2)) * (1 - covered)
        rim[window] = np.maximum(rim[window], glow)
        wins = (distance < 0) & (distance < nearest[window])
        truth[window][wins] = number
        nearest[window][wins] = distance[wins]
    rim[depth > 0] = 0
    kept = np.unique(truth)
    return depth, rim, np.searchsorted(kept, truth).astype(np.int32)


def smooth_noise(rng: np.random.Generator, shape: tuple[int, ...], sigma: float, amount: float) -> np.ndarray:
    """Noise of standard deviation `amount`, smooth over `sigma` px."""
    field = cv2.GaussianBlur(rng.standard_normal(shape, dtype=np.float32), (0, 0), sigma)
    return field * np.float32(amount / max(float(field.std()), 1e-9))


def grain_pattern(rng: np.random.Generator, shape: tuple[int, int], half_range: float) -> np.ndarray:
    """Voronoi patches of slightly different grey."""
    size = rng.uniform(40, 120)
    n = max(4, int(shape[0] * shape[1] / size**2))
    seeds = np.full(shape, 255, np.uint8)
    seeds[rng.integers(0, shape[0], n), rng.integers(0, shape[1], n)] = 0
    _, cells = cv2.distanceTransformWithLabels(seeds, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
    grey = 1 + rng.uniform(-half_range, half_range, int(cells.max()) + 1).astype(np.float32)
    return grey[cells]


def stain_pattern(rng: np.random.Generator, shape: tuple[int, int], n: int) -> np.ndarray:
    """Large, faint, soft-edged patches, 3 to 8 % darker."""
    stain = np.ones(shape, np.float32)
    for _ in range(n):
        size = rng.uniform(60, 200)
        outline = lumpy_outline(rng, *(rng.uniform(0, s) for s in shape), size, 0.25)
        rows, cols = np.mgrid[0 : shape[0] : 4, 0 : shape[1] : 4].astype(np.float64)
        inside = 1 / (1 + np.exp(np.clip(outline.signed_distance(rows, cols) / rng.uniform(6, 25), -30, 30)))
        inside = cv2.resize(inside.astype(np.float32), shape[::-1], interpolation=cv2.INTER_LINEAR)
        stain *= 1 - np.float32(rng.uniform(0.03, 0.08)) * inside
    return stain


def scratch_marks(rng: np.random.Generator, shape: tuple[int, int], n: int, deepest: float) -> np.ndarray:
    """Thin dark and bright lines, most of them along one polishing direction."""
    marks = np.zeros(shape, np.float32)
    direction = rng.uniform(0, np.pi)
    for _ in range(n):
        angle = direction + rng.normal(0, 0.06) if rng.random() < 0.75 else rng.uniform(0, np.pi)
        middle = np.array([rng.uniform(0, s) for s in shape[::-1]])
        half = 0.5 * max(shape) * rng.uniform(0.15, 1.2) * np.array([np.cos(angle), np.sin(angle)])
        ends = [tuple(int(v) for v in np.rint(16 * p)) for p in (middle - half, middle + half)]
        canvas = np.zeros(shape, np.uint8)
        cv2.line(canvas, ends[0], ends[1], 255, int(rng.choice([1, 1, 2, 2, 3, 4])), cv2.LINE_AA, 4)
        dark = rng.random() < 0.6
        marks += np.float32(deepest * (rng.uniform(-1, -0.15) if dark else rng.uniform(0.15, 0.67))) * (
            canvas / 255
        )
    return np.clip(marks, -0.5, 0.4).astype(np.float32)


def machining_lines(rng: np.random.Generator, shape: tuple[int, int], amount: float) -> np.ndarray:
    """Parallel lines of several widths that fade in and out along their length."""
    side = int(np.ceil(np.hypot(*shape))) + 8
    field = np.zeros((side, side), np.float32)
    for across, along, share in ((0.8, 120.0, 0.6), (2.0, 250.0, 0.6), (8.0, 400.0, 0.5)):
        noise = rng.standard_normal((side, side // 8 + 1), dtype=np.float32)
        noise = cv2.GaussianBlur(noise, (0, 0), sigmaX=along / 8, sigmaY=across)
        field += share * cv2.resize(noise / noise.std(), (side, side), interpolation=cv2.INTER_LINEAR)
    turn = rng.choice([0.0, 90.0]) + rng.normal(0, 4)
    matrix = cv2.getRotationMatrix2D((side / 2, side / 2), turn, 1.0)
    field = cv2.warpAffine(field, matrix, (side, side), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    top, left = (side - shape[0]) // 2, (side - shape[1]) // 2
    field = field[top : top + shape[0], left : left + shape[1]]
    return np.clip(amount * field / field.std(), -0.6, 1.2)


def light_field(rng: np.random.Generator, shape: tuple[int, int], fall: float) -> np.ndarray:
    """A slope in a random direction, and vignetting round a centre that is off the middle."""
    y = np.linspace(-1, 1, shape[0], dtype=np.float32)[:, None]
    x = np.linspace(-1, 1, shape[1], dtype=np.float32)[None, :]
    angle, share = rng.uniform(0, 2 * np.pi), rng.uniform(0.3, 0.7)
    slope = (1 + np.cos(angle) * x + np.sin(angle) * y) / 2
    distance2 = (y - rng.uniform(-0.3, 0.3)) ** 2 + (x - rng.uniform(-0.3, 0.3)) ** 2
    return (1 - fall * (share * np.clip(slope, 0, 1) + (1 - share) * distance2 / 2)).astype(np.float32)


def glare_veils(rng: np.random.Generator, shape: tuple[int, int], n: int) -> np.ndarray:
    """Soft veils of stray light."""
    glare = np.zeros(shape, np.float32)
    y = np.arange(shape[0], dtype=np.float32)[:, None]
    x = np.arange(shape[1], dtype=np.float32)[None, :]
    for _ in range(n):
        row, col = (rng.uniform(0, s) for s in shape)
        height, width = rng.uniform(40, 160, 2)
        veil = np.exp(-(((y - row) / height) ** 2)) * np.exp(-(((x - col) / width) ** 2))
        glare += np.float32(rng.uniform(0.1, 0.35)) * veil
    return glare


def _density(per_mpx: float, shape: tuple[int, int]) -> int:
    return max(1, round(per_mpx * shape[0] * shape[1] / 1e6))


FAMILIES = ("clear", "low_contrast_noisy", "machined", "mixed")


def family_settings(family: str, seed: int, shape: tuple[int, int] = (1024, 1024)) -> dict[str, Any]:
    """Settings of `make_micrograph` for one picture of a family; they vary with the seed.

    "clear": contrast 0.3 to 0.6, little noise. "low_contrast_noisy": contrast 0.12 to 0.22, much
    noise. "machined": strong parallel lines, few pits. "mixed": anything between.
    """
    if family not in FAMILIES:
        raise ValueError(f"family must be one of {FAMILIES}, got {family!r}")
    rng = np.random.default_rng([seed, FAMILIES.index(family)])
    common: dict[str, Any] = {
        "light": rng.uniform(0.1, 0.45),
        "grains": rng.uniform(0.02, 0.04),
        "stains": int(rng.integers(2, 8)),
        "glare": int(rng.integers(0, 3)),
        "blur_sigma": rng.uniform(0.7, 1.2),
        "lumpiness": rng.uniform(0.05, 0.16),
        "rims": rng.uniform(0.1, 0.4),
        "metal_grey": rng.uniform(130, 185),
    }
    if family == "clear":
        own: dict[str, Any] = {
            "n_pits": _density(rng.uniform(150, 300), shape),
            "contrast": (0.3, 0.6),
            "median_radius_px": 6.0,
            "noise": rng.uniform(0.015, 0.03),
            "scratches": int(rng.integers(10, 30)),
            "touching_fraction": rng.uniform(0.25, 0.45),
        }
    elif family == "low_contrast_noisy":
        own = {
            "n_pits": _density(rng.uniform(200, 350), shape),
            "contrast": (0.12, 0.22),
            "median_radius_px": 8.0,
            "noise": rng.uniform(0.034, 0.052),
            "scratches": int(rng.integers(5, 20)),
            "scratch_depth": 0.16,
            "touching_fraction": rng.uniform(0.05, 0.2),
        }
    elif family == "machined":
        own = {
            "n_pits": _density(rng.uniform(4, 25), shape),
            "contrast": (0.4, 0.75),
            "median_radius_px": 9.0,
            "noise": rng.uniform(0.02, 0.04),
            "scratches": int(rng.integers(5, 25)),
            "touching_fraction": 0.05,
            "machining": rng.uniform(0.07, 0.14),
        }
    else:
        low = rng.uniform(0.12, 0.3)
        own = {
            "n_pits": _density(np.exp(rng.uniform(np.log(30), np.log(300))), shape),
            "contrast": (low, rng.uniform(low + 0.1, 0.6)),
            "median_radius_px": rng.uniform(5, 12),
            "noise": rng.uniform(0.01, 0.05),
            "scratches": int(rng.integers(0, 40)),
            "scratch_depth": rng.uniform(0.5, 1.0) * low,
            "touching_fraction": rng.uniform(0, 0.3),
            "machining": rng.uniform(0.01, 0.04) if rng.random() < 0.3 else 0.0,
        }
    return common | own


def make_family(
    family: str, seed: int, shape: tuple[int, int] = (1024, 1024)
) -> tuple[np.ndarray, np.ndarray]:
    """One micrograph of a family and its truth, as `make_micrograph` gives them."""
    settings = family_settings(family, seed, shape)
    return make_micrograph(1000 * seed + FAMILIES.index(family), shape, **settings)
