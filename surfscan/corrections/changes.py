"""What a person changed on a mask: how many objects, how much area, and how much of the result is by hand."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields
from typing import Any

import numpy as np

_BELONGS = 0.5


@dataclass(frozen=True)
class Changes:
    """A corrected mask against the automatic one.

    An automatic and a corrected object belong together where they share half of the smaller one or more. Of
    what belongs together, one with one is the same object, redrawn or not; one automatic with several
    corrected ones was split; several with one were merged; several with several were both.

    Attributes
    ----------
    rejected_count : int
        Automatic objects that belong to no corrected one.
    added_count : int
        Corrected objects that belong to no automatic one.
    split_count : int
        Automatic objects that were split.
    merged_count : int
        Corrected objects that were merged.
    outline_moved_count : int
        Objects whose outline is another now.
    unsure_count : int
        Corrected objects that the person was not sure of.
    rejected_area_px, added_area_px : int
        Area of objects rejected and added.
    moved_area_px : int
        Area taken away from, and given to, all objects that stayed, were split or merged.
    automatic_area_px, corrected_area_px : int
    touched_fraction : float
        Share of the objects, automatic and added ones, that were rejected, added, split, merged or redrawn; 0
        where there are none. On class masks: share of the specimen that changed its class.
    area_by_hand_fraction : float
        Share of the corrected area that lies in objects that were added, split, merged or redrawn; 0 where
        there is none. On class masks: area given to the class by hand over the corrected area.
    """

    rejected_count: int
    added_count: int
    split_count: int
    merged_count: int
    outline_moved_count: int
    unsure_count: int
    rejected_area_px: int
    added_area_px: int
    moved_area_px: int
    automatic_area_px: int
    corrected_area_px: int
    touched_fraction: float
    area_by_hand_fraction: float

    @property
    def any(self) -> bool:
        """Whether the mask is another one than the automatic one."""
        area = self.rejected_area_px + self.added_area_px + self.moved_area_px
        return area + self.split_count + self.merged_count > 0

    def as_dict(self) -> dict[str, int | float]:
        """Plain numbers for JSON and TOML."""
        return asdict(self)

    @classmethod
    def from_dict(cls, values: Mapping[str, Any]) -> Changes:
        """The opposite of `as_dict`.

        Raises
        ------
        ValueError
            If a field is missing, unknown or no number.
        """
        names = {f.name: f.type for f in fields(cls)}
        if set(values) != set(names):
            odd = sorted(set(values) ^ set(names))
            raise ValueError(f"these are no changes of a mask: {', '.join(odd)} missing or unknown")
        plain: dict[str, Any] = {}
        for name, kind in names.items():
            value = values[name]
            if isinstance(value, bool) or not isinstance(value, int | float):
                raise ValueError(f"{name} must be a number, got {value!r}")
            plain[name] = float(value) if kind == "float" else int(value)
        return cls(**plain)


def compare_label_images(automatic: np.ndarray, corrected: np.ndarray, *, unsure_count: int = 0) -> Changes:
    """Compare two label images.

    Parameters
    ----------
    automatic, corrected : ndarray of shape (M, N), int
        Labels above 0, gaps allowed; 0 is background.
    unsure_count : int, optional
        Corrected objects that the person was not sure of.

    Raises
    ------
    ValueError
        If the shapes differ or a label is negative.
    """
    if automatic.shape != corrected.shape:
        raise ValueError(f"the masks have different shapes: {automatic.shape} and {corrected.shape}")
    at = np.flatnonzero((automatic.reshape(-1) != 0) | (corrected.reshape(-1) != 0))
    first, second = automatic.reshape(-1)[at].astype(np.int64), corrected.reshape(-1)[at].astype(np.int64)
    if at.size and min(first.min(), second.min()) < 0:
        raise ValueError("labels must be 0 or above")
    width = int(second.max(initial=0)) + 1
    pair, area = np.unique(first * width + second, return_counts=True)
    return changes_of_pairs(pair // width, pair % width, area, unsure_count=unsure_count)


def changes_of_pairs(
    first: np.ndarray, second: np.ndarray, area: np.ndarray, *, unsure_count: int
) -> Changes:
    """Changes from how much of every automatic object lies in every corrected one.

    Parameters
    ----------
    first, second : ndarray of shape (p,), int
        Automatic and corrected label of each pair, 0 for background; each pair once.
    area : ndarray of shape (p,), int
        Pixels that have both, above 0.
    unsure_count : int
    """
    a_names, a = np.unique(np.append(first, 0), return_inverse=True)
    c_names, c = np.unique(np.append(second, 0), return_inverse=True)
    a, c = a[:-1], c[:-1]
    a_area = np.bincount(a, area, len(a_names)).astype(np.int64)
    c_area = np.bincount(c, area, len(c_names)).astype(np.int64)
    a_area[0] = c_area[0] = 0
    both = (a > 0) & (c > 0)
    linked = both & (area >= _BELONGS * np.minimum(a_area[a], c_area[c]))
    group = _groups(a[linked], len(a_names) + c[linked], len(a_names) + len(c_names))
    a_group, c_group = group[: len(a_names)], group[len(a_names) :]
    n = int(group.max(initial=0)) + 1
    a_count, c_count = np.bincount(a_group[1:], minlength=n), np.bincount(c_group[1:], minlength=n)
    inside = both & (a_group[a] == c_group[c])
    shared = np.bincount(a_group[a[inside]], area[inside], n).astype(np.int64)
    a_total = np.bincount(a_group[1:], a_area[1:], n).astype(np.int64)
    c_total = np.bincount(c_group[1:], c_area[1:], n).astype(np.int64)
    moved = a_total + c_total - 2 * shared
    paired = (a_count > 0) & (c_count > 0)
    one = (a_count == 1) & (c_count == 1)
    rejected, added = (a_count > 0) & (c_count == 0), (c_count > 0) & (a_count == 0)
    redrawn = one & (moved > 0)
    parted, joined = paired & (c_count > 1), paired & (a_count > 1)
    by_hand = added | redrawn | parted | joined
    touched = int(a_count[rejected | redrawn | parted | joined].sum() + c_count[added].sum())
    there = int(a_count.sum() + c_count[added].sum())
    corrected_px = int(c_area.sum())
    return Changes(
        rejected_count=int(a_count[rejected].sum()),
        added_count=int(c_count[added].sum()),
        split_count=int(a_count[parted].sum()),
        merged_count=int(c_count[joined].sum()),
        outline_moved_count=int(np.count_nonzero(redrawn)),
        unsure_count=unsure_count,
        rejected_area_px=int(a_total[rejected].sum()),
        added_area_px=int(c_total[added].sum()),
        moved_area_px=int(moved[paired].sum()),
        automatic_area_px=int(a_area.sum()),
        corrected_area_px=corrected_px,
        touched_fraction=touched / there if there else 0.0,
        area_by_hand_fraction=int(c_total[by_hand].sum()) / corrected_px if corrected_px else 0.0,
    )


def _groups(one: np.ndarray, other: np.ndarray, n: int) -> np.ndarray:
    """Number of the connected group of each of `n` things, where pairs of them are linked."""
    group = np.arange(n)
    while one.size:
        least = np.minimum(group[one], group[other])
        before = group.copy()
        np.minimum.at(group, one, least)
        np.minimum.at(group, other, least)
        group = group[group]
        if np.array_equal(group, before):
            break
    _, number = np.unique(group, return_inverse=True)
    return np.asarray(number)


def compare_class_images(
    automatic: np.ndarray, corrected: np.ndarray, value: int, *, region: np.ndarray | None = None
) -> Changes:
    """Compare one class of two class images, as area: there are no objects, so that all counts are 0.

    Parameters
    ----------
    automatic, corrected : ndarray of shape (M, N), int
        Class images.
    value : int
        The class that is reported: degraded surface, or metal.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything if None.

    Returns
    -------
    Changes
        `rejected_area_px` is what was taken off the class, `added_area_px` what was given to it,
        `moved_area_px` what went from one of the other classes to another.

    Raises
    ------
    ValueError
        If the shapes differ.
    """
    if automatic.shape != corrected.shape or (region is not None and region.shape != automatic.shape):
        raise ValueError("class images and region must have one shape")
    inside = np.ones(automatic.shape, bool) if region is None else np.asarray(region) != 0
    before, after = (automatic == value) & inside, (corrected == value) & inside
    changed = (automatic != corrected) & inside
    taken, given = int(np.count_nonzero(before & ~after)), int(np.count_nonzero(after & ~before))
    differ, size = int(np.count_nonzero(changed)), int(np.count_nonzero(inside))
    corrected_px = int(np.count_nonzero(after))
    return Changes(
        0, 0, 0, 0, 0, 0, taken, given, differ - taken - given, int(np.count_nonzero(before)), corrected_px,
        differ / size if size else 0.0, given / corrected_px if corrected_px else 0.0,
    )  # fmt: skip
