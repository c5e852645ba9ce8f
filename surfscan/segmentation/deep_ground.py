"""What a search for deep pits found out about the surface, by which any outlined mouth can be judged."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.segmentation.chance import Patchiness, deepest_by_chance
from surfscan.segmentation.dark_ground import NEAR as NEAR
from surfscan.segmentation.local_reference import LocalReference

_CHANCE_FINDS, _CHANCE_SHARE = 0.3, 0.02


@dataclass(frozen=True)
class Surface:
    """What is known of the surface round the pits.

    Attributes
    ----------
    reference : LocalReference
    raw_sq_um : float
        Sq of the whole surface at full resolution.
    patchiness : Patchiness
    dips : int
        Separate dips beyond 2.5 Sq.
    tail : float
        How much further the far dips go than a normal surface's.
    """

    reference: LocalReference
    raw_sq_um: float
    patchiness: Patchiness
    dips: int
    tail: float

    def level_uncertainty(self, row: np.ndarray, col: np.ndarray, area_px: np.ndarray) -> np.ndarray:
        """Standard uncertainty of the level: that of a mean over the surface that the level rests on.

        Means over patches as large as were looked at scatter by so much; the level at a place rests on a
        Gaussian of one tile, as large as 4 pi square tiles of even weight, less what the pit takes of it.
        """
        widest, spread = self.patchiness.size_px[-1], self.patchiness.spread_um[-1]
        rests_on = 4 * np.pi * self.reference.level.tile_px**2
        local = self.roughness_at(row, col) / max(self.raw_sq_um, 1e-12)
        return np.asarray(spread * widest * local * np.sqrt((1 + area_px / rests_on) / rests_on))

    def deepest_by_chance(self, strength: np.ndarray) -> float:
        """Depth in Sq that so few chance dips pass as may pass, for finds of these strengths in Sq."""
        few = self.tail * deepest_by_chance(self.dips, _CHANCE_FINDS)
        clear = int(np.count_nonzero(strength > few))
        return self.tail * deepest_by_chance(self.dips, max(_CHANCE_FINDS, _CHANCE_SHARE * clear))

    def roughness_at(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Sq at full resolution: the local one at the working resolution, scaled."""
        scale = self.raw_sq_um / max(self.reference.sq_um, 1e-12)
        return np.maximum(scale * self.reference.roughness.at(row, col), 1e-12)


@dataclass(frozen=True)
class DeepGround:
    """The surface of one height map, and the limits in force.

    Attributes
    ----------
    depth_below_reference_um : ndarray of shape (M, N), float32
        Positive downwards; not-a-number where not measured.
    surface : Surface
    limits : (float, float or None, float)
        Smallest depth over Sq, depth (µm; None: no such limit) and diameter (px).
    """

    depth_below_reference_um: np.ndarray
    surface: Surface
    limits: tuple[float, float | None, float]

    def ratios(self, greatest_um: np.ndarray, sq_um: np.ndarray, area_px: np.ndarray) -> np.ndarray:
        """Mouths over each limit, shape (2 or 3, n); 1 or more passes.

        Parameters
        ----------
        greatest_um : ndarray of shape (n,)
            Greatest depth.
        sq_um : ndarray of shape (n,)
            Sq round about.
        area_px : ndarray of shape (n,)
        """
        parts = [greatest_um / sq_um / self.limits[0], np.sqrt(4 * area_px / np.pi) / self.limits[2]]
        if self.limits[1] is not None:
            parts.append(greatest_um / self.limits[1])
        return np.stack(parts)

    def limit_names(self, chosen: np.ndarray) -> str:
        """Names of the chosen limits, as `ratios` orders them."""
        names = ("depth to roughness", "diameter", "depth")[: len(chosen)]
        return ", ".join(name for name, yes in zip(names, chosen.tolist(), strict=True) if yes)
