"""Pictures of polished sections through the demo specimens' struts, after each specimen's own loss.

The drawn rectangle is eaten from all sides, unevenly and with pits, until the metal that the loss leaves
is left. What was lost is product: it swells, cracks, holds pores and islands of metal, and has spalled in
places. Everything is drawn with `FINER` points a pixel each way, where the true areas are counted.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "benchmarks"))

import synthetic
from specimens import COATED, Specimen, stream
from struts import THICKNESS_UM, WIDTH_UM

FINER = 4
STRIP_PX = 34
SMALLEST_UM2 = 60.0  # smaller pieces of metal and holes in it do not occur
GAP_UM = 6.0  # narrower gaps do not count for the greatest penetration: no picture shows their floor
DETECTORS = {
    "backscatter": {"metal": 190.0, "product": 104.0, "medium": 30.0, "crack": 14.0},
    "optical": {"metal": 205.0, "product": 48.0, "medium": 108.0, "crack": 22.0},
}


@dataclass(frozen=True)
class SectionPicture:
    """One picture of a polished section to be taken.

    Attributes
    ----------
    specimen : Specimen
    shape : (int, int)
        Rows and columns, the data strip included.
    pixel_size_um : float
    detector : str
        "backscatter" or "optical".
    cut_angle_deg : float or None
        Angle of an oblique cut, which stretches the thickness.
    has_strip : bool
        A data strip with a scale bar is burned in along the lower edge.
    """

    specimen: Specimen
    shape: tuple[int, int]
    pixel_size_um: float
    detector: str = "backscatter"
    cut_angle_deg: float | None = None
    has_strip: bool = False

    @property
    def stretch(self) -> float:
        """By how much the thickness shows longer than it is."""
        return 1 / float(np.cos(np.radians(self.cut_angle_deg or 0.0)))

    @property
    def field(self) -> tuple[int, int]:
        """Rows and columns without the data strip."""
        return self.shape[0] - STRIP_PX * self.has_strip, self.shape[1]


@dataclass(frozen=True)
class Section:
    """A section as it is, on the fine points of a picture.

    Attributes
    ----------
    metal, product, void, original : ndarray of shape (M, N), bool
        Metal with its islands; product; cracks and pores in it; inside the original outline.
    truth : dict of str to float
    """

    metal: np.ndarray
    product: np.ndarray
    void: np.ndarray
    original: np.ndarray
    truth: dict[str, float]


def paint(picture: SectionPicture) -> tuple[np.ndarray, dict[str, float]]:
    """The picture, uint8 of shape (M, N), and the true figures of the section.

    True are the areas counted on the fine points and those that follow from them: the mean penetration is by
    how much all four sides of the drawn rectangle move in to leave that much metal. The greatest penetration
    is how deep below the nearest side of the drawn rectangle metal is gone, in gaps of `GAP_UM` or more; it
    is not stated where islands stand in the lost metal or the cut is oblique. Areas of an oblique cut are
    those of a square one.
    """
    section = cut(picture)
    rng = stream(picture.specimen.id, "section", "camera")
    grey = _expose(rng, picture, section)
    return (_with_strip(grey, picture) if picture.has_strip else grey), section.truth


def cut(picture: SectionPicture) -> Section:
    """The section through a strut, drawn fine."""
    specimen = picture.specimen
    rng = stream(specimen.id, "section")
    u, v = _coordinates(rng, picture)
    depth = np.minimum(WIDTH_UM / 2 - np.abs(u), THICKNESS_UM / 2 - np.abs(v))
    outside = np.hypot(np.maximum(np.abs(u) - WIDTH_UM / 2, 0), np.maximum(np.abs(v) - THICKNESS_UM / 2, 0))
    original = depth > 0
    fine_um2 = (picture.pixel_size_um / FINER) ** 2 / picture.stretch
    loss = specimen.loss_um
    if loss == 0:
        nothing = np.zeros(depth.shape, bool)
        return Section(original, nothing, nothing, original, _truth(original, original, depth, picture))
    spread = _attack(rng, picture, depth, u, v)
    left_um2 = (WIDTH_UM - 2 * loss) * (THICKNESS_UM - 2 * loss)
    ratio = np.where(original, depth / spread, -1)
    level = np.partition(ratio[original], -round(left_um2 / fine_um2))[-round(left_um2 / fine_um2)]
    metal = _cleaned(original & (ratio >= level), SMALLEST_UM2 / fine_um2)
    swelling = loss * (0.12 if specimen.series is COATED else 0.32)
    grown = swelling * np.clip(1 + 0.45 * _noise(rng, picture, 45.0), 0.15, None)
    product = ~metal & (original | (outside < grown))
    product &= ~_spalled(rng, picture, product, depth)
    void = _cracks(rng, picture, product, depth, loss) | _pores(rng, picture, product, loss)
    void &= product
    return Section(metal, product & ~void, void, original, _truth(metal, original, depth, picture))


def mean_penetration_um(remaining_fraction: float) -> float:
    """By how much the drawn rectangle moves in on all sides to leave that share of its area."""
    half = (WIDTH_UM + THICKNESS_UM) / 4
    return half - float(np.sqrt(half**2 - WIDTH_UM * THICKNESS_UM * (1 - remaining_fraction) / 4))


def _coordinates(rng: np.random.Generator, picture: SectionPicture) -> tuple[np.ndarray, np.ndarray]:
    """Place of every fine point in the section, µm along its width and its thickness from the middle."""
    rows, cols = (FINER * n for n in picture.field)
    y, x = np.mgrid[:rows, :cols].astype(np.float32)
    pitch = picture.pixel_size_um / FINER
    y = (y - (rows - 1) / 2) * pitch + rng.uniform(-8, 8)
    x = (x - (cols - 1) / 2) * pitch + rng.uniform(-12, 12)
    turn = np.radians(rng.uniform(-6, 6))
    u, v = x * np.cos(turn) + y * np.sin(turn), y * np.cos(turn) - x * np.sin(turn)
    return u, v / np.float32(picture.stretch)


def _noise(rng: np.random.Generator, picture: SectionPicture, scale_um: float) -> np.ndarray:
    """Noise of unit spread on the fine points, smooth over `scale_um`; drawn coarse where that will do."""
    rows, cols = (FINER * n for n in picture.field)
    sigma = scale_um * FINER / picture.pixel_size_um
    step = max(1, int(sigma / 3))
    small = synthetic.smooth_noise(rng, (rows // step + 3, cols // step + 3), sigma / step, 1.0)
    grown = cv2.resize(small, None, fx=step, fy=step, interpolation=cv2.INTER_CUBIC)
    return grown[:rows, :cols]


def _attack(
    rng: np.random.Generator, picture: SectionPicture, depth: np.ndarray, u: np.ndarray, v: np.ndarray
) -> np.ndarray:
    """How fast the attack goes at every point, about 1: uneven, and faster where it pits."""
    is_coated = picture.specimen.series is COATED
    uneven = (0.16, 0.12, 0.05) if is_coated else (0.24, 0.17, 0.09)
    waves = zip(uneven, (75.0, 26.0, 9.0), strict=True)
    spread = np.exp(sum(share * _noise(rng, picture, scale) for share, scale in waves))
    edge = np.flatnonzero(np.abs(depth) < 0.4 * picture.pixel_size_um)
    pits = int(rng.poisson(2.0 if is_coated else 3.5 * (picture.specimen.loss_um / 60)))
    for at in rng.choice(edge, pits):
        size = rng.uniform(0.6, 1.1) * (22 + 0.35 * picture.specimen.loss_um)
        distance2 = (u - u.flat[at]) ** 2 + (v - v.flat[at]) ** 2
        spread *= 1 + rng.uniform(0.8, 1.8) * np.exp(-distance2 / size**2)
    return spread


def _cleaned(metal: np.ndarray, smallest: float) -> np.ndarray:
    """Without pieces, and holes, of fewer than `smallest` points."""
    out = metal.copy()
    for value in (True, False):
        _, labels, stats, _ = cv2.connectedComponentsWithStats(
            (out == value).astype(np.uint8), connectivity=4
        )
        small = stats[:, cv2.CC_STAT_AREA] < smallest
        small[0] = False
        out[small[labels]] = not value
    return out


def _spalled(
    rng: np.random.Generator, picture: SectionPicture, product: np.ndarray, depth: np.ndarray
) -> np.ndarray:
    """Where product has come off: its outer part, in a few stretches."""
    where = _noise(rng, picture, 55.0)
    share = rng.uniform(0.05, 0.2)
    bare = where > np.quantile(where[product], 1 - share)
    rest_um = np.float32(rng.uniform(0.1, 0.6)) * picture.specimen.loss_um
    return bare & (depth < rest_um + 4 * _noise(rng, picture, 10.0))


def _cracks(
    rng: np.random.Generator, picture: SectionPicture, product: np.ndarray, depth: np.ndarray, loss_um: float
) -> np.ndarray:
    """Cracks in the dried product: across it, and some along it."""
    cracks = np.zeros(product.shape, np.uint8)
    pitch = picture.pixel_size_um / FINER
    spots = np.flatnonzero(product & (np.abs(depth) < 0.4 * loss_um))
    slope = np.stack(np.gradient(cv2.GaussianBlur(depth.astype(np.float32), (0, 0), 6 / pitch)))
    for at in rng.choice(spots, int(rng.integers(16, 26))):
        point = np.array(np.unravel_index(at, product.shape), float)
        along = rng.random() < 0.3
        length = rng.uniform(0.8, 2.2) * (loss_um + 8) * (1.4 if along else 1.0)
        inwards = slope[:, int(point[0]), int(point[1])]
        way = np.arctan2(*inwards) + (rng.choice([-1, 1]) * np.pi / 2 if along else 0) + rng.normal(0, 0.3)
        point -= 0.5 * length / pitch * np.array([np.sin(way), np.cos(way)])
        points = [point]
        for _ in range(int(length / 5) + 2):
            way += rng.normal(0, 0.2)
            points.append(points[-1] + 5 / pitch * np.array([np.sin(way), np.cos(way)]))
        wide = max(1, round(rng.uniform(1.3, 3.2) / pitch))
        cv2.polylines(cracks, [np.rint(np.array(points)[:, ::-1]).astype(np.int32)], False, 1, wide)
    return cracks.view(bool)


def _pores(
    rng: np.random.Generator, picture: SectionPicture, product: np.ndarray, loss_um: float
) -> np.ndarray:
    """Round pores in the product, more of them on the worst."""
    pores = np.zeros(product.shape, np.uint8)
    pitch = picture.pixel_size_um / FINER
    for at in rng.choice(np.flatnonzero(product), int(rng.poisson(0.4 * loss_um))):
        row, col = np.unravel_index(at, product.shape)
        axes = [round(float(rng.uniform(1.2, 4.0)) / pitch) for _ in range(2)]
        cv2.ellipse(pores, (int(col), int(row)), axes, float(rng.uniform(0, 180)), 0, 360, 1, -1)
    return pores.view(bool)


def _truth(
    metal: np.ndarray, original: np.ndarray, depth: np.ndarray, picture: SectionPicture
) -> dict[str, float]:
    """Areas counted on the fine points, and what follows from them."""
    pitch = picture.pixel_size_um / FINER
    metal_um2 = float(np.count_nonzero(metal)) * pitch**2 / picture.stretch
    remaining = min(1.0, metal_um2 / (WIDTH_UM * THICKNESS_UM))
    truth = {
        "metal_area_um2": metal_um2,
        "original_area_um2": WIDTH_UM * THICKNESS_UM,
        "remaining_fraction": remaining,
        "mean_penetration_um": mean_penetration_um(remaining),
    }
    pieces = cv2.connectedComponents(metal.astype(np.uint8))[0] - 1
    if pieces == 1 and picture.specimen.loss_um > 0 and picture.cut_angle_deg is None:
        disk = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (round(GAP_UM / pitch),) * 2)
        gone = cv2.morphologyEx((~metal).astype(np.uint8), cv2.MORPH_OPEN, disk).view(bool)
        truth["max_penetration_um"] = float(depth[gone & original].max())
    return truth


def _expose(rng: np.random.Generator, picture: SectionPicture, section: Section) -> np.ndarray:
    """Contrast, optics and camera."""
    level = DETECTORS[picture.detector]
    shape = picture.field
    fine = section.metal.shape
    scene = level["medium"] * (1 + 0.05 * _noise(rng, picture, 60.0))
    rough = 1 + 0.055 * _noise(rng, picture, 18.0) + 0.035 * _noise(rng, picture, 4.0)
    scene = np.where(section.product, level["product"] * rough, scene)
    scene = np.where(section.void, level["crack"], scene)
    grains = cv2.resize(
        synthetic.grain_pattern(rng, shape, 0.025), fine[::-1], interpolation=cv2.INTER_NEAREST
    )
    scene = np.where(section.metal, level["metal"] * grains, scene)
    grey = cv2.resize(scene.astype(np.float32), shape[::-1], interpolation=cv2.INTER_AREA)
    inner = cv2.erode(section.metal.astype(np.uint8), np.ones((5 * FINER, 5 * FINER), np.uint8))
    inner = cv2.resize(inner.astype(np.float32), shape[::-1], interpolation=cv2.INTER_AREA)
    grey = grey * (1 + inner * synthetic.scratch_marks(rng, shape, int(rng.integers(4, 10)), 0.05))
    grey = grey * (1 + 0.25 * inner * _precipitates(rng, shape))
    grey = cv2.GaussianBlur(grey * synthetic.light_field(rng, shape, rng.uniform(0.05, 0.12)), (0, 0), 0.85)
    grey = grey + 0.9 * rng.standard_normal(shape, dtype=np.float32)
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8)


def _precipitates(rng: np.random.Generator, shape: tuple[int, int]) -> np.ndarray:
    """Specks of a heavier phase in the metal, 0 to 1."""
    specks = np.zeros(shape, np.float32)
    for _ in range(int(rng.integers(25, 60))):
        row, col = (rng.uniform(0, s) for s in shape)
        radius = max(8, int(16 * rng.uniform(0.5, 1.2)))
        cv2.circle(specks, (int(16 * col), int(16 * row)), radius, rng.uniform(0.3, 1.0), -1, cv2.LINE_AA, 4)
    return specks


def _with_strip(grey: np.ndarray, picture: SectionPicture) -> np.ndarray:
    """The picture above a black strip that has a scale bar of 200 µm with its label, and plain data."""
    strip = np.zeros((STRIP_PX, grey.shape[1]), np.uint8)
    length = round(200 / picture.pixel_size_um)
    left = grey.shape[1] - length - 14
    strip[22:26, left : left + length] = 255
    font = cv2.FONT_HERSHEY_SIMPLEX
    label, size = "200 um", 0.42
    (width, _), _ = cv2.getTextSize(label, font, size, 1)
    start = left + (length - width) // 2
    cv2.putText(strip, label, (start, 15), font, size, 255, 1, cv2.LINE_AA)
    (before, _), _ = cv2.getTextSize("200 ", font, size, 1)
    cv2.line(strip, (start + before + 1, 15), (start + before + 1, 19), 255, 1)  # makes the u a µ
    cv2.putText(strip, "INVENTED  BSE  15 kV", (8, 21), font, size, 255, 1, cv2.LINE_AA)
    return np.vstack([grey, strip])
