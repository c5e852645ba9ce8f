"""Synthetic height maps of pitted metal with known truth.

What is drawn: form (tilt, a strut's round top), roughness with one or two correlation lengths, pits of
several shapes, measurement noise; then points that are not measured (scattered, in clusters, where the
wall is steep) and spikes. Where two pits overlap the surface is the deeper of the two, and the truth is
parted there. A pit's true depth is the greatest of its smooth floor below the smooth surface, its true
volume the integral over the part of it in the picture, both without roughness.

Everything comes from the seed: the same call gives the same bytes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

Range = tuple[float, float]

SHAPES = ("cap", "cone", "paraboloid", "ellipsoid", "flat")
_FLAT_FLOOR = 0.85
_FINE = 4


@dataclass(frozen=True)
class SyntheticHeights:
    """One height map and its truth.

    Attributes
    ----------
    heights_um : ndarray of shape (M, N), float32
        Up positive; not-a-number where not measured.
    pixel_size_um : (float, float)
        In x and y.
    labels : ndarray of shape (M, N), int32
        True pits, 1 to n.
    depth_um, deepest_um, volume_um3, radius_um : ndarray of shape (n,)
        Of each: depth of the smooth pit, depth of its deepest point with the roughness of its floor (but
        without measurement noise), volume; the radius is the geometric mean of the half axes of its mouth.
    shape : tuple of str
        Of each, from SHAPES.
    roughness_um : float
        Sq of roughness and measurement noise together.
    floor_hidden : ndarray of shape (n,), bool
        Whether the true deepest point was not measured, nor any within a pixel of it.
    """

    heights_um: np.ndarray
    pixel_size_um: tuple[float, float]
    labels: np.ndarray
    depth_um: np.ndarray
    deepest_um: np.ndarray
    volume_um3: np.ndarray
    radius_um: np.ndarray
    shape: tuple[str, ...]
    roughness_um: float
    floor_hidden: np.ndarray


@dataclass(frozen=True)
class _Pit:
    row: float
    col: float
    long_um: float
    short_um: float
    angle: float
    depth_um: float
    shape: str

    @property
    def radius_um(self) -> float:
        return math.sqrt(self.long_um * self.short_um)

    def depth(self, rows: np.ndarray, cols: np.ndarray, pixel: tuple[float, float]) -> np.ndarray:
        """Depth of the smooth pit at positions in px; 0 or below outside its mouth."""
        x, y = (cols - self.col) * pixel[0], (rows - self.row) * pixel[1]
        c, s = math.cos(self.angle), math.sin(self.angle)
        rho = np.hypot((x * c + y * s) / self.long_um, (y * c - x * s) / self.short_um)
        return self.depth_um * profile(self.shape, rho, self.depth_um / self.radius_um)


def profile(shape: str, rho: np.ndarray, slenderness: float) -> np.ndarray:
    """Depth over the greatest depth at a distance from the axis over the mouth's radius.

    Parameters
    ----------
    shape : str
        From SHAPES; 'flat' has a wall that falls from the mouth to the floor over 15 % of the radius.
    rho : ndarray
        Distance over radius, 0 or above.
    slenderness : float
        Depth over radius; only the spherical cap's profile depends on it.
    """
    inside = rho < 1
    r = np.minimum(rho, 1.0)
    if shape == "cone":
        d = 1 - r
    elif shape == "paraboloid":
        d = 1 - r * r
    elif shape == "ellipsoid":
        d = np.sqrt(1 - r * r)
    elif shape == "flat":
        d = np.minimum((1 - r) / (1 - _FLAT_FLOOR), 1.0)
    else:
        ball = (1 + slenderness**2) / (2 * slenderness)
        d = (np.sqrt(np.maximum(ball * ball - r * r, 0)) - (ball - slenderness)) / slenderness
    return np.where(inside, d, 0.0)


def make_heights(
    seed: int,
    shape: tuple[int, int] = (1024, 1024),
    *,
    pixel_size_um: tuple[float, float] = (0.5, 0.5),
    n_pits: int = 60,
    radius_um: Range = (3.0, 30.0),
    depth_to_radius: Range = (0.25, 0.9),
    least_depth_sq: float = 5.0,
    shapes: tuple[str, ...] = SHAPES,
    longest: float = 1.8,
    touching_fraction: float = 0.1,
    sq_um: float = 0.15,
    correlation_um: tuple[float, ...] = (2.0, 10.0),
    skew: float = 0.0,
    noise_share: float = 0.2,
    tilt_deg: tuple[float, float] = (0.3, -0.2),
    cylinder_radius_mm: float | None = None,
    gaps: float = 0.02,
    steepest_deg: float = 60.0,
    lost_floors: float = 0.0,
    spikes: int = 20,
) -> SyntheticHeights:
    """One height map and its truth.

    Parameters
    ----------
    seed : int
        Everything random follows from it.
    shape : (int, int)
        Rows and columns.
    pixel_size_um : (float, float)
        In x and y.
    n_pits : int
        Pits asked for; fewer where they no longer fit.
    radius_um, depth_to_radius : (float, float)
        Limits; radii are uniform in their logarithm, ratios uniform. A pit is never shallower than
        `least_depth_sq` times the roughness: a radius that could only be so is drawn again.
    shapes : tuple of str
        Drawn from these, each as likely.
    longest : float
        Largest ratio of the half axes of a mouth; 1 for round ones.
    touching_fraction : float
        Share of pits drawn so that they overlap one already there.
    sq_um : float
        Sq of roughness and noise together.
    correlation_um : tuple of float
        1/e lengths of the roughness's autocorrelation; each takes an equal share of its variance.
    skew : float
        0: normal heights. Below 0: valleys reach deeper than peaks (a smooth one-to-one change of the
        heights; -0.3 gives a skewness near -0.9). Above 0 the reverse.
    noise_share : float
        Standard deviation of the measurement noise, white, over `sq_um`.
    tilt_deg : (float, float)
        Tilt along x and y.
    cylinder_radius_mm : float or None
        Radius of a strut's round top, its axis along the columns.
    gaps : float
        Share of points not measured: a third scattered, a third in clusters, the rest where the wall is
        steeper than `steepest_deg`, as far as such walls go.
    lost_floors : float
        Share of pits of which what lies deeper than some half to nine tenths of the depth was not measured.
    spikes : int
        Single points that stand out by 10 to 40 times Sq, either way.
    """
    place, paint, gap = (np.random.default_rng(s) for s in np.random.SeedSequence(seed).spawn(3))
    px, py = pixel_size_um
    pits = _place(
        place,
        shape,
        pixel_size_um,
        n_pits,
        radius_um,
        depth_to_radius,
        least_depth_sq * sq_um,
        shapes,
        longest,
        touching_fraction,
    )
    depth, labels, true_depth, volume, deepest = _paint(pits, shape, pixel_size_um)

    rough = np.zeros(shape, np.float32)
    for length in correlation_um:
        rough += _rough(paint, shape, (length / px, length / py))
    rough = rough / max(float(np.std(rough)), 1e-12)
    if skew:
        rough = np.expm1(skew * rough) / skew
        rough = (rough - rough.mean()) / rough.std()
    white = paint.standard_normal(shape, dtype=np.float32)
    surface = sq_um * math.sqrt(1 - noise_share**2) * rough - depth
    with_floor = np.full(len(pits) + 1, -np.inf)
    np.maximum.at(with_floor, labels.ravel(), -surface.ravel())
    heights = surface + sq_um * noise_share * white
    x, y = np.arange(shape[1]) * px, np.arange(shape[0])[:, None] * py
    heights = heights + math.tan(math.radians(tilt_deg[0])) * x + math.tan(math.radians(tilt_deg[1])) * y
    if cylinder_radius_mm is not None:
        ball = 1000 * cylinder_radius_mm
        heights = heights + np.sqrt(ball**2 - (x - x.mean()) ** 2) - ball

    missing = _gaps(gap, depth, pixel_size_um, gaps, steepest_deg)
    lost = np.where(gap.random(len(pits)) < lost_floors, gap.uniform(0.5, 0.9, len(pits)), np.inf)
    missing |= depth > np.append(np.inf, lost * true_depth)[labels]
    at = gap.integers(0, heights.size, spikes)
    heights.ravel()[at] += gap.choice([-1.0, 1.0], spikes) * sq_um * gap.uniform(10, 40, spikes)
    heights[missing] = np.nan
    seen = cv2.dilate((~missing).astype(np.uint8), np.ones((3, 3), np.uint8)) > 0
    return SyntheticHeights(
        heights_um=heights.astype(np.float32),
        pixel_size_um=pixel_size_um,
        labels=labels,
        depth_um=true_depth,
        deepest_um=with_floor[1:],
        volume_um3=volume,
        radius_um=np.array([p.radius_um for p in pits]),
        shape=tuple(p.shape for p in pits),
        roughness_um=sq_um,
        floor_hidden=~seen.ravel()[deepest],
    )


def _place(
    rng: np.random.Generator,
    shape: tuple[int, int],
    pixel: tuple[float, float],
    n_pits: int,
    radius_um: Range,
    ratio: Range,
    least_um: float,
    shapes: tuple[str, ...],
    longest: float,
    touching: float,
) -> list[_Pit]:
    """Pits that stay clear of each other but for those drawn to overlap one; some are cut by the frame."""
    pits: list[_Pit] = []
    smallest = max(radius_um[0], least_um / ratio[1])
    if smallest >= radius_um[1]:
        raise ValueError(f"no pit up to {radius_um[1]} µm wide is {least_um} µm deep")
    wide, tall = shape[1] * pixel[0], shape[0] * pixel[1]
    taken = np.empty((n_pits, 3))
    for _ in range(40 * n_pits):
        if len(pits) == n_pits:
            break
        r = math.exp(rng.uniform(math.log(smallest), math.log(radius_um[1])))
        stretch = math.sqrt(rng.uniform(1, longest))
        deep = r * rng.uniform(max(ratio[0], least_um / r), ratio[1])
        near = taken[: len(pits)]
        if pits and rng.random() < touching:
            other = near[rng.integers(len(pits))]
            theta, gap = rng.uniform(0, 2 * math.pi), rng.uniform(0.8, 1.0)
            x = other[0] + gap * (other[2] + r) * math.cos(theta)
            y = other[1] + gap * (other[2] + r) * math.sin(theta)
            near = np.delete(near, np.flatnonzero((near == other).all(axis=1)), axis=0)
            stretch = 1.0
        else:
            x, y = rng.uniform(0, wide), rng.uniform(0, tall)
        margin = 0.08 * r + 2 * max(pixel)
        far = np.hypot(near[:, 0] - x, near[:, 1] - y) > near[:, 2] + r * stretch + margin
        if not far.all() or not (0 <= x < wide and 0 <= y < tall):
            continue
        taken[len(pits)] = x, y, r * stretch
        pits.append(
            _Pit(
                y / pixel[1],
                x / pixel[0],
                r * stretch,
                r / stretch,
                rng.uniform(0, math.pi),
                deep,
                str(rng.choice(shapes)),
            )
        )
    return pits


def _paint(
    pits: list[_Pit], shape: tuple[int, int], pixel: tuple[float, float]
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Depth and labels at pixel centres; true depth, volume and position of the deepest pixel of each pit."""
    depth = np.zeros(shape, np.float32)
    labels = np.zeros(shape, np.int32)
    windows = []
    for k, pit in enumerate(pits, start=1):
        high, broad = pit.long_um / pixel[1] + 1, pit.long_um / pixel[0] + 1
        r0, r1 = max(int(pit.row - high), 0), min(int(pit.row + high) + 2, shape[0])
        c0, c1 = max(int(pit.col - broad), 0), min(int(pit.col + broad) + 2, shape[1])
        window = (slice(r0, r1), slice(c0, c1))
        windows.append((r0, r1, c0, c1))
        d = pit.depth(np.arange(r0, r1)[:, None], np.arange(c0, c1), pixel)
        deeper = d > depth[window]
        depth[window][deeper] = d[deeper]
        labels[window][deeper] = k
    fine = (np.arange(_FINE) + 0.5) / _FINE - 0.5
    true_depth, volume = np.zeros(len(pits)), np.zeros(len(pits))
    deepest = np.zeros(len(pits), np.int64)
    edges = np.array(windows).reshape(-1, 4)
    for k, (pit, (r0, r1, c0, c1)) in enumerate(zip(pits, windows, strict=True)):
        rows = (np.arange(r0, r1)[:, None] + fine).reshape(-1, 1)
        cols = (np.arange(c0, c1)[:, None] + fine).ravel()
        d = pit.depth(rows, cols, pixel)
        meets = (edges[:, 0] < r1) & (edges[:, 1] > r0) & (edges[:, 2] < c1) & (edges[:, 3] > c0)
        for other in np.flatnonzero(meets).tolist():
            if other != k:
                d[pits[other].depth(rows, cols, pixel) > d] = 0
        true_depth[k] = d.max()
        volume[k] = d.sum() * pixel[0] * pixel[1] / _FINE**2
        row, col = np.unravel_index(int(np.argmax(d)), d.shape)
        deepest[k] = (r0 + row // _FINE) * shape[1] + c0 + col // _FINE
    return depth, labels, true_depth, volume, deepest


def _rough(rng: np.random.Generator, shape: tuple[int, int], length_px: tuple[float, float]) -> np.ndarray:
    """Normal heights whose autocorrelation exp(-(r/length)²) falls to 1/e at `length_px`; variance 1."""
    white = rng.standard_normal(shape, dtype=np.float32)
    sigma = (length_px[0] / 2, length_px[1] / 2)
    if max(sigma) < 0.3:
        return white
    smooth = cv2.GaussianBlur(white, (0, 0), max(sigma[0], 0.1), sigmaY=max(sigma[1], 0.1))
    return np.asarray(smooth / smooth.std(), np.float32)


def _gaps(
    rng: np.random.Generator,
    depth: np.ndarray,
    pixel: tuple[float, float],
    share: float,
    steepest_deg: float,
) -> np.ndarray:
    """Points that are not measured."""
    missing = rng.random(depth.shape, dtype=np.float32) < share / 3
    seeds = rng.random(depth.shape, dtype=np.float32) < share / 3 / 40
    blob = cv2.GaussianBlur(seeds.astype(np.float32), (0, 0), 2.5)
    blob *= 0.6 + 0.4 * rng.random(depth.shape, dtype=np.float32)
    missing |= blob > max(float(np.quantile(blob[::3, ::3], 1 - share / 3)), 1e-6)
    slope_x = cv2.Sobel(depth, cv2.CV_32F, 1, 0, scale=1 / 8) / np.float32(pixel[0])
    slope_y = cv2.Sobel(depth, cv2.CV_32F, 0, 1, scale=1 / 8) / np.float32(pixel[1])
    steep = np.hypot(slope_x, slope_y) > math.tan(math.radians(steepest_deg))
    where = np.flatnonzero(steep)
    lost = min(int(share / 3 * depth.size), where.size // 2)
    missing.ravel()[rng.choice(where, lost, replace=False) if lost else where[:0]] = True
    return missing


FAMILIES: dict[str, dict[str, Any]] = {
    "smooth": {"sq_um": 0.06, "correlation_um": (3.0,), "pixel_size_um": (0.5, 0.5), "n_pits": 60},
    "rough": {"sq_um": 0.4, "correlation_um": (1.5, 6.0), "pixel_size_um": (0.5, 0.5), "n_pits": 50},
    "coarse": {"sq_um": 0.15, "correlation_um": (4.0,), "pixel_size_um": (1.6, 1.6), "n_pits": 300},
    "oblong": {"sq_um": 0.15, "correlation_um": (2.0, 12.0), "pixel_size_um": (0.4, 0.8), "n_pits": 70},
    "dense": {"sq_um": 0.1, "correlation_um": (2.0,), "pixel_size_um": (0.7, 0.7), "n_pits": 330},
    "strut": {
        "sq_um": 0.2,
        "correlation_um": (3.0, 15.0),
        "pixel_size_um": (0.6, 0.6),
        "n_pits": 80,
        "cylinder_radius_mm": 1.5,
    },
    "fine": {"sq_um": 0.1, "correlation_um": (1.0, 8.0), "pixel_size_um": (0.3, 0.3), "n_pits": 25},
    "lost": {
        "sq_um": 0.15,
        "correlation_um": (3.0,),
        "pixel_size_um": (0.6, 0.6),
        "n_pits": 70,
        "lost_floors": 0.3,
    },
    "skewed": {
        "sq_um": 0.2,
        "correlation_um": (2.5,),
        "pixel_size_um": (0.5, 0.5),
        "n_pits": 50,
        "skew": -0.2,
    },
}
"""What the accuracy benchmark draws; the names say what is hard about each."""


def make_family(family: str, seed: int, shape: tuple[int, int] = (1024, 1024)) -> SyntheticHeights:
    """A map of one family; tilt and the strut's radius change with the seed."""
    rng = np.random.default_rng([seed, 7])
    options = dict(FAMILIES[family])
    options["tilt_deg"] = tuple(rng.uniform(-0.6, 0.6, 2))
    if options.get("cylinder_radius_mm"):
        options["cylinder_radius_mm"] = float(rng.uniform(1, 5))
    return make_heights(seed, shape, **options)
