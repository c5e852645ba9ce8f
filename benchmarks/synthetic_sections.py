"""Polished cross-sections with known metal and known original outline, drawn with a seeded generator.

A strut of drawn size is attacked from its original outline inwards: unevenly, with pits; what was lost is
product, which swells beyond the outline, cracks, carries pores, spalls in places and holds islands of metal.
Everything is drawn with `OVERSAMPLING` points a pixel each way, where the truth is counted; then the picture
is averaged down, blurred, lit unevenly and given noise.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

OVERSAMPLING = 4
SHAPES = ("rectangle", "ellipse", "trapezoid")
ORDERS: dict[str, dict[str, float]] = {
    "metal_product_medium": {"metal": 0.85, "product": 0.48, "medium": 0.12},
    "metal_medium_product": {"metal": 0.88, "medium": 0.48, "product": 0.22},
    "product_metal_medium": {"product": 0.85, "metal": 0.5, "medium": 0.1},
}


@dataclass(frozen=True)
class SectionRecipe:
    """What is drawn; lengths in px, levels as shares of white."""

    seed: int = 0
    shape: str = "rectangle"
    width_px: float = 300.0
    thickness_px: float = 180.0
    remaining: float = 0.7
    unevenness: float = 0.35
    pits: int = 4
    swelling: float = 0.5
    spalled: float = 0.15
    cracks: int = 12
    pores: int = 25
    islands: int = 2
    order: str = "metal_product_medium"
    noise: float = 0.02
    blur_px: float = 1.0
    shade: float = 0.1
    turn_deg: float | None = None


@dataclass(frozen=True)
class SyntheticSection:
    """A picture and its truth.

    Attributes
    ----------
    pixels : ndarray of shape (M, N), uint8
    before : ndarray of shape (M, N), uint8
        The same section before exposure, in place.
    metal_area_px, original_area_px : float
        Areas of metal (islands included) and of the original outline.
    outline : ndarray of shape (n, 2)
        Original outline, (x, y) in px.
    max_penetration_px : float
        Greatest distance of lost metal from the original outline, where the gap is 3 px wide or more:
        narrower ones no picture shows.
    """

    pixels: np.ndarray
    before: np.ndarray
    metal_area_px: float
    original_area_px: float
    outline: np.ndarray
    max_penetration_px: float
    recipe: SectionRecipe

    @property
    def remaining_fraction(self) -> float:
        """Metal over original area."""
        return self.metal_area_px / self.original_area_px


def drawn_outline(shape: str, width: float, thickness: float, n: int = 720) -> np.ndarray:
    """Outline of a drawn strut about its middle, (x, y); a trapezoid's top is 0.8 of its foot, mean width."""
    if shape == "ellipse":
        t = np.arange(n) * 2 * np.pi / n
        return np.stack([width / 2 * np.cos(t), thickness / 2 * np.sin(t)], axis=1)
    top, foot = (width, width) if shape == "rectangle" else (width * 0.8 / 0.9, width / 0.9)
    h = thickness / 2
    return np.array([[-foot / 2, h], [foot / 2, h], [top / 2, -h], [-top / 2, -h]])


def _wave(rng: np.random.Generator, angle: np.ndarray, orders: int) -> np.ndarray:
    """A smooth periodic function of `angle` with zero mean and about unit spread."""
    k = np.arange(1, orders + 1)
    size = rng.normal(size=orders) / np.sqrt(orders / 2)
    phase = rng.uniform(0, 2 * np.pi, orders)
    table = np.arange(4096) * 2 * np.pi / 4096
    values = (size * np.cos(np.outer(table, k) + phase)).sum(axis=1)
    return values[(angle / (2 * np.pi) * 4096).astype(int) % 4096].astype(np.float32)


def _texture(rng: np.random.Generator, shape: tuple[int, int], coarse: int) -> np.ndarray:
    """Slow noise of unit spread."""
    small = rng.normal(size=(max(2, shape[0] // coarse), max(2, shape[1] // coarse))).astype(np.float32)
    return np.asarray(cv2.resize(small, shape[::-1], interpolation=cv2.INTER_CUBIC))


def _inside_drawn(shape: str, width: float, thickness: float, u: np.ndarray, v: np.ndarray) -> np.ndarray:
    """Whether points (u along the width, v along the thickness, from the middle) lie in a drawn strut."""
    if shape == "ellipse":
        return np.asarray((u / (width / 2)) ** 2 + (v / (thickness / 2)) ** 2 <= 1)
    half = width / 2 * np.ones_like(v) if shape == "rectangle" else width / 1.8 * (0.9 + 0.2 * v / thickness)
    return np.asarray((np.abs(v) <= thickness / 2) & (np.abs(u) <= half))


def make_section(recipe: SectionRecipe) -> SyntheticSection:
    """Draw one section."""
    rng = np.random.default_rng(recipe.seed)
    k = OVERSAMPLING
    margin = 0.35 * recipe.thickness_px + 30
    side = int(np.ceil(np.hypot(recipe.width_px, recipe.thickness_px) + 2 * margin))
    fine = (side * k, side * k)
    turn = np.deg2rad(rng.uniform(0, 180) if recipe.turn_deg is None else recipe.turn_deg)
    spin = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    centre = side / 2 + rng.uniform(-8, 8, 2)
    outline = drawn_outline(recipe.shape, recipe.width_px, recipe.thickness_px) @ spin.T + centre
    rows, cols = (np.mgrid[0 : fine[0], 0 : fine[1]].astype(np.float32) + 0.5) / k - 0.5
    u = (cols - centre[0]) * spin[0, 0] + (rows - centre[1]) * spin[1, 0]
    v = (cols - centre[0]) * spin[0, 1] + (rows - centre[1]) * spin[1, 1]
    original = _inside_drawn(recipe.shape, recipe.width_px, recipe.thickness_px, u, v).astype(np.uint8)
    depth = cv2.distanceTransform(original, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / k
    height = cv2.distanceTransform(1 - original, cv2.DIST_L2, cv2.DIST_MASK_PRECISE) / k
    angle = np.arctan2(rows - centre[1], cols - centre[0]) % (2 * np.pi)
    spread = np.maximum(0.15, 1 + recipe.unevenness * _wave(rng, angle, 12))
    for _ in range(recipe.pits):
        off = (angle - rng.uniform(0, 2 * np.pi) + np.pi) % (2 * np.pi) - np.pi
        spread += rng.uniform(0.5, 1.5) * np.exp(-0.5 * (off / rng.uniform(0.04, 0.12)) ** 2)
    ratio = depth / spread
    inside = original.view(bool)
    cut = float(np.quantile(ratio[inside], 1 - recipe.remaining))
    core = inside & (ratio > cut)
    lost = inside & ~core
    metal = core.copy()
    size = cut + 0.0
    grown = np.maximum(0.1, 1 + 0.5 * _wave(rng, angle, 10)) * recipe.swelling * size
    product = lost | (~inside & (height <= grown) & (recipe.swelling > 0))
    if recipe.spalled > 0 and cut > 0:
        gone = _wave(rng, angle, 6)
        bare = gone > np.quantile(gone[lost], 1 - recipe.spalled) if lost.any() else np.zeros(fine, bool)
        product &= ~bare
    void = np.zeros(fine, np.uint8)
    spots = np.flatnonzero(product)
    for _ in range(recipe.cracks if spots.size else 0):
        y, x = np.divmod(int(rng.choice(spots)), fine[1])
        way = (
            np.arctan2(y / k - centre[1], x / k - centre[0]) + rng.normal(0, 0.3) + rng.choice([0, np.pi / 2])
        )
        half = rng.uniform(0.3, 1.0) * max(size, 4) * k
        ends = [(int(x + f * half * np.cos(way)), int(y + f * half * np.sin(way))) for f in (-1, 1)]
        cv2.line(void, *ends, 1, thickness=int(rng.uniform(1, 2.5) * k))
    for _ in range(recipe.pores if spots.size else 0):
        y, x = np.divmod(int(rng.choice(spots)), fine[1])
        cv2.circle(void, (int(x), int(y)), int(rng.uniform(1, 3.5) * k), 1, -1)
    void &= product
    flecks = np.zeros(fine, np.uint8)
    room = np.flatnonzero(lost & product & (depth > 6) & (cut * spread - depth > 6))
    for _ in range(recipe.islands if room.size else 0):
        y, x = np.divmod(int(rng.choice(room)), fine[1])
        cv2.ellipse(
            flecks,
            (int(x), int(y)),
            (int(rng.uniform(3, 5) * k), int(rng.uniform(3, 5) * k)),
            0,
            0,
            360,
            1,
            -1,
        )
    metal |= flecks.view(bool) & product & ~core
    levels = ORDERS[recipe.order]
    scene = np.full(fine, levels["medium"], np.float32) * (1 + 0.03 * _texture(rng, fine, 60 * k))
    grey = levels["product"] * (1 + 0.06 * _texture(rng, fine, 25 * k) + 0.04 * _texture(rng, fine, 4 * k))
    scene[product] = grey[product]
    scene[void > 0] = 0.6 * min(levels["medium"], levels["product"])
    bright = levels["metal"] * (1 + 0.015 * _texture(rng, fine, 12 * k))
    scene[metal] = bright[metal]
    fresh = np.full(fine, levels["medium"], np.float32)
    fresh[inside] = bright[inside]
    light = _light(rng, side, recipe.shade)
    return SyntheticSection(
        _photograph(scene, light, recipe, rng),
        _photograph(fresh, light, recipe, rng),
        float(np.count_nonzero(metal)) / k**2,
        float(np.count_nonzero(inside)) / k**2,
        outline,
        _deepest(depth, lost),
        recipe,
    )


def _deepest(depth: np.ndarray, lost: np.ndarray) -> float:
    """Greatest depth of lost metal in gaps at least 3 px wide, fine points to px; from outside as well."""
    round_ = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (3 * OVERSAMPLING, 3 * OVERSAMPLING))
    open_ = cv2.morphologyEx((lost | (depth <= 0)).astype(np.uint8), cv2.MORPH_OPEN, round_).view(bool)
    return float(depth[open_].max())


def _light(rng: np.random.Generator, side: int, shade: float) -> np.ndarray:
    """Light that falls off to one side and to the corners, by at most about `shade` either way."""
    y, x = np.mgrid[-1 : 1 : side * 1j, -1 : 1 : side * 1j]
    way = rng.uniform(0, 2 * np.pi)
    return (1 + shade * (x * np.cos(way) + y * np.sin(way)) * 0.7 - 0.4 * shade * (x**2 + y**2)).astype(
        np.float32
    )


def _photograph(
    scene: np.ndarray, light: np.ndarray, recipe: SectionRecipe, rng: np.random.Generator
) -> np.ndarray:
    """Average down, blur, light and noise; uint8."""
    side = scene.shape[0] // OVERSAMPLING
    picture = cv2.resize(scene, (side, side), interpolation=cv2.INTER_AREA)
    if recipe.blur_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), recipe.blur_px)
    picture = picture * light + recipe.noise * rng.normal(size=picture.shape)
    return np.clip(np.round(picture * 255), 0, 255).astype(np.uint8)


def random_recipe(seed: int) -> SectionRecipe:
    """A recipe over the whole range of shapes, losses, contrasts and image faults."""
    rng = np.random.default_rng([seed, 7])
    return SectionRecipe(
        seed=seed,
        shape=str(rng.choice(SHAPES)),
        width_px=float(rng.uniform(200, 420)),
        thickness_px=float(rng.uniform(150, 240)),
        remaining=1 - float(rng.uniform(0.05, 0.6)),
        unevenness=float(rng.uniform(0.1, 0.5)),
        pits=int(rng.integers(0, 8)),
        swelling=float(rng.uniform(0.1, 1.0)),
        spalled=float(rng.choice([0.0, rng.uniform(0.05, 0.4)])),
        cracks=int(rng.integers(0, 25)),
        pores=int(rng.integers(0, 40)),
        islands=int(rng.integers(0, 4)),
        order=str(rng.choice(list(ORDERS))),
        noise=float(rng.uniform(0.005, 0.05)),
        blur_px=float(rng.uniform(0.5, 2.0)),
        shade=float(rng.uniform(0, 0.2)),
    )
