"""Micrographs of the demo specimens' surfaces, painted from each specimen's true rate.

A field is cut from a larger painted surface, so that pits cross its border as they do under a
microscope. What is drawn with comes from the benchmarks' synthetic micrographs.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

import synthetic
from specimens import COATED, REFERENCE, Specimen, stream

SMALLEST_VISIBLE_PX = 13  # area of a disk 4 px across: less of a pit than this is not counted as seen
MARGIN_PX = 60


@dataclass(frozen=True)
class Field:
    """One picture to be taken.

    Attributes
    ----------
    specimen : Specimen
    letter : str
        Which field of the specimen: "a", "b", ...
    shape : (int, int)
        Rows and columns.
    pixel_size_um : float
    colour : bool
    condition : str
        "as_received", "cleaned" or "with_product".
    worst_seen : bool
        Chosen because it looked worst: pits crowd here.
    """

    specimen: Specimen
    letter: str
    shape: tuple[int, int]
    pixel_size_um: float
    colour: bool = False
    condition: str = "cleaned"
    worst_seen: bool = False

    @property
    def area_mm2(self) -> float:
        """Area of the field."""
        return self.shape[0] * self.shape[1] * self.pixel_size_um**2 / 1e6


def paint(field: Field) -> tuple[np.ndarray, dict[str, float]]:
    """The picture, uint8 of shape (M, N) or (M, N, 3) as RGB, and the true figures of the field."""
    shape = field.shape
    rng, product, outlines = _surface(field)
    depth, rim, labels = synthetic.paint_pits(rng, shape, outlines, (0.35, 0.62), 0.12)
    if field.condition == "with_product":  # whatever lies under product is not seen
        buried = product > 0.5
        depth[buried], rim[buried], labels[buried] = 0, 0, 0
    areas = np.bincount(labels.ravel())
    seen = np.flatnonzero(areas[1:] >= SMALLEST_VISIBLE_PX) + 1

    centres = sum(0 <= o.row <= shape[0] - 1 and 0 <= o.col <= shape[1] - 1 for o in outlines)
    truth: dict[str, float] = {"pit_count": len(seen)}
    if field.condition != "with_product":
        truth["pit_density_per_mm2"] = centres / field.area_mm2
    truth["pitted_area_fraction"] = float(np.isin(labels, seen).mean())
    truth["degraded_area_fraction"] = float(((product > 0.5) | (labels > 0)).mean())
    return _expose(rng, field, product, depth, rim), truth


def outlines_of(field: Field) -> list[synthetic.Outline]:
    """Outlines of the pits on a field, in its pixels, those that reach in from outside too."""
    return _surface(field)[2]


def _surface(field: Field) -> tuple[np.random.Generator, np.ndarray, list[synthetic.Outline]]:
    """Cover by product and pits of a field, and the random numbers that go on from there."""
    rng = stream(field.specimen.id, "surface", field.letter)
    product = _product(rng, field)
    crowd = 2.2 if field.worst_seen else 1.0
    return rng, product, _pits(rng, field, crowd * field.specimen.pit_density_per_mm2)


def _pits(rng: np.random.Generator, field: Field, density_per_mm2: float) -> list[synthetic.Outline]:
    """A Poisson number of pits on a surface wider than the field, moved to the field's coordinates."""
    wide = (field.shape[0] + 2 * MARGIN_PX, field.shape[1] + 2 * MARGIN_PX)
    number = rng.poisson(density_per_mm2 * wide[0] * wide[1] * field.pixel_size_um**2 / 1e6)
    limits = (1.6 / field.pixel_size_um, 14 / field.pixel_size_um)
    median = field.specimen.median_pit_radius_um / field.pixel_size_um
    outlines = [
        synthetic.Outline(o.row - MARGIN_PX, o.col - MARGIN_PX, o.radius, o.amplitudes, o.phases)
        for o in synthetic.place_pits(rng, wide, int(number), limits, median, 0.08, 0.09)
    ]
    return [
        o
        for o in outlines
        if -o.reach() < o.row < field.shape[0] + o.reach() and -o.reach() < o.col < field.shape[1] + o.reach()
    ]


def _product(rng: np.random.Generator, field: Field) -> np.ndarray:
    """Cover by product, 0 to 1, with a soft edge two pixels wide; half cover is the edge."""
    share = field.specimen.degraded_fraction * float(np.exp(0.2 * rng.standard_normal()))
    share = min(share * (1.8 if field.condition == "with_product" else 1.0), 0.7)
    cover = np.zeros(field.shape)
    rows, cols = np.mgrid[: field.shape[0], : field.shape[1]].astype(np.float64)
    ragged = synthetic.smooth_noise(rng, field.shape, 3.0, 2.0) + synthetic.smooth_noise(
        rng, field.shape, 10.0, 4.0
    )
    while share > 0.004 and (cover > 0.5).mean() < share:
        missing = (share - (cover > 0.5).mean()) * cover.size
        radius = min(float(rng.uniform(12, 75)), max(8.0, float(np.sqrt(missing / np.pi))))
        row, col = (float(rng.uniform(0, s)) for s in field.shape)
        patch = synthetic.lumpy_outline(rng, row, col, radius, 0.22)
        distance = np.clip((patch.signed_distance(rows, cols) + ragged) / 0.8, -30, 30)
        cover = np.maximum(cover, 1 / (1 + np.exp(distance)))
    return cover


def _drying_cracks(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Fine net of lines, 0 to 1, as in a dried film."""
    cells = synthetic.grain_pattern(rng, shape, 0.5)
    edges = cv2.morphologyEx(cells, cv2.MORPH_GRADIENT, np.ones((2, 2), np.uint8)) > 0
    return cv2.GaussianBlur(edges.astype(np.float32), (0, 0), 0.7)


def _expose(
    rng: np.random.Generator, field: Field, product: np.ndarray, depth: np.ndarray, rim: np.ndarray
) -> np.ndarray:
    """Light, optics and camera."""
    series, shape = field.specimen.series, field.shape
    metal = 1 + synthetic.smooth_noise(rng, shape, 1.5, 0.006)
    metal *= synthetic.grain_pattern(rng, shape, 0.012 if series is REFERENCE else 0.025)
    metal *= synthetic.stain_pattern(rng, shape, int(rng.integers(0, 3)))
    metal *= 1 + synthetic.machining_lines(rng, shape, 0.008 if series is COATED else 0.015)
    if series is COATED:
        metal *= 1 + synthetic.smooth_noise(rng, shape, 2.5, 0.012)
    scratches = int(rng.integers(2, 5) if series is COATED else rng.integers(5, 14))
    marks = synthetic.scratch_marks(rng, shape, scratches, 0.14)
    film = rng.uniform(1.38, 1.6) * (1 + synthetic.smooth_noise(rng, shape, 2.0, 0.04))
    film = film * (1 + synthetic.smooth_noise(rng, shape, 7.0, 0.05))
    film = film * (1 - 0.09 * _drying_cracks(rng, shape))
    product = product * (1 - np.clip(depth / 0.3, 0, 1))  # a pit's floor shows through the film
    surface = metal * (1 + marks) * (1 - product) + film * product
    surface = surface * (1 + rim) * (1 - depth)
    light = synthetic.light_field(rng, shape, rng.uniform(0.12, 0.3))
    grey = (112 if series is COATED else 122) * rng.uniform(0.94, 1.06)
    picture = cv2.GaussianBlur((grey * surface * light).astype(np.float32), (0, 0), rng.uniform(0.7, 1.0))
    if field.colour:
        metal_tint = (0.98, 1.0, 0.94) if series is COATED else (1.02, 1.0, 0.97)
        tint = metal_tint + (np.array((0.97, 1.0, 1.06)) - metal_tint) * product[..., None]
        picture = picture[..., None] * tint.astype(np.float32)
    noise = 1.3 * rng.standard_normal(shape, dtype=np.float32)
    picture = picture + (noise[..., None] if field.colour else noise)
    return np.clip(np.rint(picture), 0, 255).astype(np.uint8)
