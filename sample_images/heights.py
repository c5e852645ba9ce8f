"""Height maps of the demo specimens' surfaces, from the same true rate and the same pits as the micrographs.

A map covers a part of a field that was also photographed: its pits lie where the micrograph shows them. How
deep they are is invented: a share of their radius that grows with the loss. What a microscope adds comes on
top: tilt and round strut tops, noise, points that were not measured, spikes.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

import synthetic
from specimens import REFERENCE, Specimen, stream
from surfaces import SMALLEST_VISIBLE_PX, Field, outlines_of

STRIPE_SHARE = 0.22  # of the map's width: what the covered stripe takes where there is one
SMALLEST_DEPTH_TO_ROUGHNESS = 5.0  # a shallower pit is not counted as seen
GAPS = 0.02
NOISE_UM = 0.006
STEEPEST = 2.0  # slope above which a third of the points are lost


@dataclass(frozen=True)
class HeightField:
    """One height map to be measured.

    Attributes
    ----------
    picture : Field
        The micrograph's field that it covers a part of.
    letter : str
        Which map of the specimen: "h", or "h1", "h2", ...
    top, left : int
        Its first pixel in the picture; it has the picture's pixel size.
    shape : (int, int)
        Rows and columns.
    round_top : bool
        On the round top of a strut, else on a flat one.
    has_datum : bool
        A stripe along its left edge was covered and never corroded.
    has_unexposed : bool
        It was also measured before exposure, on the same grid.
    """

    picture: Field
    letter: str
    top: int
    left: int
    shape: tuple[int, int]
    round_top: bool = False
    has_datum: bool = False
    has_unexposed: bool = False

    @property
    def specimen(self) -> Specimen:
        """Whose surface it is."""
        return self.picture.specimen

    @property
    def pixel_size_um(self) -> float:
        """Pitch along rows and columns."""
        return self.picture.pixel_size_um


@dataclass(frozen=True)
class Measured:
    """What the microscope gives, and what is true.

    Attributes
    ----------
    heights_um : ndarray of shape (M, N), float64
        Up positive; not-a-number where not measured.
    unexposed_um : ndarray of shape (M, N), float64, or None
        The same surface before exposure.
    datum : ndarray of shape (M, N), bool, or None
    truth : dict of str to float
        True figures of the map.
    """

    heights_um: np.ndarray
    unexposed_um: np.ndarray | None
    datum: np.ndarray | None
    truth: dict[str, float]


def roughness_um(specimen: Specimen) -> float:
    """Sq of the surface between pits: it grows with the loss."""
    return float(0.05 + 0.11 * (1 - np.exp(-specimen.loss_um / 30)))


def depth_to_radius(specimen: Specimen) -> float:
    """Typical depth of a pit over its radius: it grows with the loss."""
    return float(0.32 + 0.33 * (1 - np.exp(-specimen.loss_um / 40)))


def measure(field: HeightField) -> Measured:
    """The height map of a field with its true figures."""
    specimen = field.specimen
    rng = stream(specimen.id, "heights", field.letter)
    outlines = outlines_of(field.picture)
    depth, labels = _pits(field, outlines)
    datum = _stripe(field) if field.has_datum else None
    if datum is not None:
        depth[datum], labels[datum] = 0.0, 0
    exposed = np.ones(field.shape, bool) if datum is None else ~datum
    recession_um = max(0.0, specimen.loss_um - float(depth[exposed].mean()))
    sq_um = roughness_um(specimen)
    form = _form(rng, field)
    rough = _roughness(rng, field, sq_um)
    surface = form + rough - depth
    if datum is not None:
        surface[datum] += recession_um
    unexposed = None
    if field.has_unexposed:
        surface -= recession_um
        before = form + _roughness(rng, field, roughness_um(Specimen("", specimen.series, 0, 0.0)))
        unexposed = _sense(rng, before, np.zeros(field.shape, bool), field.pixel_size_um)
    hidden = _hidden_floors(rng, depth, labels, field.pixel_size_um)
    heights = _sense(rng, surface, hidden, field.pixel_size_um)
    truth = _truth(field, outlines, depth, labels, exposed, sq_um)
    if datum is None:
        truth["Sq_um"] = float((rough - depth).std())
    if datum is not None or unexposed is not None:
        truth["mean_penetration_um"] = recession_um + float(depth[exposed].mean())
        truth["max_penetration_um"] = recession_um + float(depth.max())
    return Measured(heights, unexposed, datum, truth)


def _pits(field: HeightField, outlines: list[synthetic.Outline]) -> tuple[np.ndarray, np.ndarray]:
    """Depth of the smooth pits below the surface round them, µm, and labels that count from 1."""
    depth, labels = np.zeros(field.shape), np.zeros(field.shape, np.int32)
    rows, cols = np.mgrid[: field.shape[0], : field.shape[1]].astype(np.float64)
    rows, cols = rows + field.top, cols + field.left
    for number, outline in enumerate(outlines, start=1):
        rng = stream(field.specimen.id, "depth", field.picture.letter, str(number))
        ratio = depth_to_radius(field.specimen) * float(np.exp(0.18 * rng.standard_normal()))
        deepest_um = min(ratio, 0.9) * outline.radius * field.pixel_size_um
        flatness = rng.choice([2.0, 2.0, 3.0, 4.0])  # of the floor: 2 is a paraboloid
        near = np.hypot(rows - outline.row, cols - outline.col) < outline.reach()
        if not near.any():
            continue
        share = _share_of_radius(outline, rows[near], cols[near])
        own = deepest_um * (1 - np.clip(share, 0, 1) ** flatness)
        wins = own > depth[near]
        depth[near], labels[near] = np.where(wins, own, depth[near]), np.where(wins, number, labels[near])
    return depth, labels


def _share_of_radius(outline: synthetic.Outline, rows: np.ndarray, cols: np.ndarray) -> np.ndarray:
    """Distance from the centre over that of the outline in the same direction."""
    theta = np.arctan2(rows - outline.row, cols - outline.col)
    waves = zip(outline.amplitudes, outline.phases, strict=True)
    wave = sum(a * np.cos(k * theta + p) for k, (a, p) in enumerate(waves, start=2))
    return np.hypot(rows - outline.row, cols - outline.col) / (outline.radius * (1 + wave))


def _stripe(field: HeightField) -> np.ndarray:
    """The surface that was covered: a stripe along the left edge."""
    covered = np.zeros(field.shape, bool)
    covered[:, : round(STRIPE_SHARE * field.shape[1])] = True
    return covered


def _form(rng: np.random.Generator, field: HeightField) -> np.ndarray:
    """Tilt, and the round top of a strut."""
    middle = [(s - 1) / 2 for s in field.shape]
    y, x = (
        np.mgrid[: field.shape[0], : field.shape[1]] - np.reshape(middle, (2, 1, 1))
    ) * field.pixel_size_um
    slope_x, slope_y = np.tan(np.radians(rng.uniform(-0.4, 0.4, 2)))
    form = slope_x * x + slope_y * y
    radius_um, angle = rng.uniform(1000, 4000), rng.uniform(0, np.pi)
    if field.round_top:
        across = x * np.cos(angle) + y * np.sin(angle) - rng.uniform(-15, 15)
        form += np.sqrt(radius_um**2 - across**2) - radius_um
    return form


def _roughness(rng: np.random.Generator, field: HeightField, sq_um: float) -> np.ndarray:
    """Fine and coarse texture, and on the reference the lay of grinding; Sq as asked."""
    rough = 0.8 * synthetic.smooth_noise(rng, field.shape, 1.5, 1.0).astype(np.float64)
    rough += 0.5 * synthetic.smooth_noise(rng, field.shape, 6.0, 1.0)
    rough += (1.2 if field.specimen.series is REFERENCE else 0.3) * synthetic.machining_lines(
        rng, field.shape, 0.4
    )
    rough -= rough.mean()
    return rough * (sq_um / rough.std())


def _hidden_floors(
    rng: np.random.Generator, depth: np.ndarray, labels: np.ndarray, pixel_size_um: float
) -> np.ndarray:
    """Floors that no light came back from: of some of the pits that are deep for their width."""
    hidden = np.zeros(depth.shape, bool)
    for number in np.unique(labels[labels > 0]):
        inside = labels == number
        deepest = depth[inside].max()
        is_narrow = deepest > 0.66 * np.sqrt(inside.sum() / np.pi) * pixel_size_um
        if is_narrow and rng.random() < 0.025:
            hidden |= inside & (depth > 0.75 * deepest)
    return hidden


def _sense(
    rng: np.random.Generator, surface: np.ndarray, hidden: np.ndarray, pixel_size_um: float
) -> np.ndarray:
    """Noise, spikes, and points that are not measured: scattered, on steep walls, and where hidden."""
    heights = surface + NOISE_UM * rng.standard_normal(surface.shape)
    for _ in range(int(rng.integers(3, 8))):
        row, col = (int(rng.integers(0, s - 1)) for s in surface.shape)
        size = int(rng.integers(1, 3))
        heights[row : row + size, col : col + size] += rng.choice([-1, 1]) * rng.uniform(3, 8)
    lost = rng.random(surface.shape) < GAPS
    slopes = np.gradient(cv2.GaussianBlur(surface, (0, 0), 1.0), pixel_size_um)
    lost |= (np.hypot(*slopes) > STEEPEST) & (rng.random(surface.shape) < 1 / 3)
    return np.where(lost | hidden, np.nan, heights)


def _truth(
    field: HeightField,
    outlines: list[synthetic.Outline],
    depth: np.ndarray,
    labels: np.ndarray,
    exposed: np.ndarray,
    sq_um: float,
) -> dict[str, float]:
    """Figures of the smooth pits inside the map, all of them for volume, those that show for the rest."""
    numbers = np.unique(labels[labels > 0])
    deepest = np.array([depth[labels == n].max() for n in numbers])
    areas_px = np.array([np.count_nonzero(labels == n) for n in numbers])
    shown = (areas_px >= SMALLEST_VISIBLE_PX) & (deepest >= SMALLEST_DEPTH_TO_ROUGHNESS * sq_um)
    pixel_um2 = field.pixel_size_um**2
    area_um2 = np.count_nonzero(exposed) * pixel_um2
    positions = [(round(o.row) - field.top, round(o.col) - field.left) for o in outlines]
    inside = [(r, c) for r, c in positions if 0 <= r < field.shape[0] and 0 <= c < field.shape[1]]
    truth = {
        "pit_count": float(shown.sum()),
        "pit_density_per_mm2": 1e6 * sum(bool(exposed[r, c]) for r, c in inside) / area_um2,
        "pitted_area_fraction": float(areas_px[shown].sum()) * pixel_um2 / area_um2,
        "volume_per_area_um": float(depth.sum()) * pixel_um2 / area_um2,
    }
    if shown.any():
        truth["max_depth_um"] = float(deepest[shown].max())
        truth["mean_depth_10_deepest_um"] = float(np.sort(deepest[shown])[-10:].mean())
    return truth
