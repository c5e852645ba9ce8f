"""What a potential sweep is, once read: points, scans, and how every column was told."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.images import Source


@dataclass(frozen=True)
class Scan:
    """One run of the potential in one direction.

    Attributes
    ----------
    start, stop : int
        Its points are ``start`` to ``stop - 1``; neighbouring scans share their turning point.
    direction : int
        1 towards more positive potential, -1 towards more negative.
    """

    start: int
    stop: int
    direction: int

    @property
    def points(self) -> slice:
        """Slice of its points."""
        return slice(self.start, self.stop)


@dataclass(frozen=True)
class ColumnRead:
    """How one column of the file was understood.

    Attributes
    ----------
    role : str
        "potential", "current", "current density", "time" or "scan".
    column : int
        Number in the file, first column 1.
    name : str
        Heading as it stands there; empty where it has none.
    unit : str
        Unit of the values in the file.
    how : str
        "name", "content" or "stated".
    """

    role: str
    column: int
    name: str
    unit: str
    how: str


@dataclass(frozen=True)
class Sweep:
    """A potential sweep as read, in SI units but for the area; anodic current is positive.

    Attributes
    ----------
    source : Source
    potential_V : ndarray of shape (n,)
        Against `reference`.
    current_A, density_A_per_cm2 : ndarray of shape (n,) or None
        One of the two: the file holds either current or current per area.
    time_s : ndarray of shape (n,) or None
    scans : tuple of Scan
        In order of time.
    reference : str or None
        Reference electrode; None where neither file nor user names it.
    scan_rate_V_per_s : float or None
        Median of the rate over the scans, above 0.
    sign : str
        How the sign of the current was told, in words.
    columns : tuple of ColumnRead
    warnings : tuple of str
    """

    source: Source
    potential_V: np.ndarray
    current_A: np.ndarray | None
    density_A_per_cm2: np.ndarray | None
    time_s: np.ndarray | None
    scans: tuple[Scan, ...]
    reference: str | None
    scan_rate_V_per_s: float | None
    sign: str
    columns: tuple[ColumnRead, ...]
    warnings: tuple[str, ...] = ()

    def density_uA_per_cm2(self, area_cm2: float | None = None) -> np.ndarray:
        """Current density, µA/cm², shape (n,).

        Raises
        ------
        ValueError
            If the file holds current and no area above 0 is given.
        """
        if self.density_A_per_cm2 is not None:
            return 1e6 * self.density_A_per_cm2
        if self.current_A is None or area_cm2 is None or not area_cm2 > 0:
            raise ValueError("a current becomes a density by an area above 0")
        return 1e6 * self.current_A / area_cm2
