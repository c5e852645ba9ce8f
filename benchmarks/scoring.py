"""Scores of found pits against known ones: objects matched one to one at IoU 0.5.

Above an IoU of 0.5 a found object can overlap only one known object that well, and the other way
round, so the matching is unique; at exactly 0.5 or below the pairs are taken in falling order of IoU.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class Score:
    """Counts and areas of one image, or the sum over several (Scores add)."""

    matched: int
    found: int
    known: int
    found_area_px: int
    known_area_px: int

    def __add__(self, other: Score) -> Score:
        return Score(*(getattr(self, n) + getattr(other, n) for n in self.__dataclass_fields__))

    @property
    def precision(self) -> float:
        """Share of found objects that are known ones."""
        return self.matched / self.found if self.found else float(self.known == 0)

    @property
    def recall(self) -> float:
        """Share of known objects that were found."""
        return self.matched / self.known if self.known else 1.0

    @property
    def f1(self) -> float:
        """Harmonic mean of precision and recall."""
        total = self.found + self.known
        return 2 * self.matched / total if total else 1.0

    @property
    def count_error(self) -> float:
        """(found - known) / known."""
        return (self.found - self.known) / max(self.known, 1)

    @property
    def area_error(self) -> float:
        """(found area - known area) / known area."""
        return (self.found_area_px - self.known_area_px) / max(self.known_area_px, 1)


def match(found: np.ndarray, known: np.ndarray, iou: float = 0.5) -> list[tuple[int, int, float]]:
    """Pairs (found label, known label, IoU) at or above `iou`, each label in at most one pair.

    Parameters
    ----------
    found, known : ndarray of shape (M, N), int
        Labels, background 0.
    iou : float
        Smallest intersection over union of a pair.
    """
    if found.shape != known.shape:
        raise ValueError(f"label images differ in shape: {found.shape} and {known.shape}")
    width = int(known.max()) + 1
    both = (found > 0) & (known > 0)
    keys, overlap = np.unique(found[both].astype(np.int64) * width + known[both], return_counts=True)
    area_found, area_known = np.bincount(found.ravel()), np.bincount(known.ravel())
    f, k = keys // width, keys % width
    ratio = overlap / (area_found[f] + area_known[k] - overlap)
    pairs: list[tuple[int, int, float]] = []
    used_found: set[int] = set()
    used_known: set[int] = set()
    for i in np.argsort(-ratio, kind="stable"):
        if ratio[i] < iou:
            break
        a, b = int(f[i]), int(k[i])
        if a not in used_found and b not in used_known:
            used_found.add(a)
            used_known.add(b)
            pairs.append((a, b, float(ratio[i])))
    return pairs


def score(found: np.ndarray, known: np.ndarray, iou: float = 0.5) -> Score:
    """Score of one label image against the truth, both of shape (M, N)."""
    return Score(
        matched=len(match(found, known, iou)),
        found=int(np.count_nonzero(np.bincount(found.ravel())[1:])),
        known=int(np.count_nonzero(np.bincount(known.ravel())[1:])),
        found_area_px=int(np.count_nonzero(found)),
        known_area_px=int(np.count_nonzero(known)),
    )
