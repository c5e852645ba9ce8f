"""Pits as a person outlined them: measured on what the search found out about the picture.

An outline that stands as it was found keeps the figures that were found with it. Any other is measured by
itself, so that its figures do not depend on what was drawn elsewhere. A viewer that measures again only what
was touched and a batch that takes the whole mask therefore come to the same figures.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table
from surfscan.errors import InputError
from surfscan.measurement.depths import measure_depths
from surfscan.measurement.objects import measure_objects
from surfscan.segmentation.dark_ground import DarkGround
from surfscan.segmentation.deep_ground import NEAR, DeepGround

MeasureOne = Callable[[np.ndarray, np.ndarray], Table]
"""Rows and columns of an outline's pixels in the picture -> its columns, each of shape (1,)."""


@dataclass(frozen=True)
class DrawnPits:
    """A person's label image made ready.

    Attributes
    ----------
    labels : ndarray of shape (M, N), int32
        1 to n in the order of the labels given; nothing off the specimen.
    warnings : tuple of str
    """

    labels: np.ndarray
    warnings: tuple[str, ...]


def drawn_pits(
    corrected: np.ndarray, region: np.ndarray | None, path: str, shape: tuple[int, int]
) -> DrawnPits:
    """Check a person's label image and number its objects without gaps.

    Parameters
    ----------
    corrected : ndarray of shape (M, N), int
        Any labels above 0, gaps allowed; 0 is background.
    region : ndarray of shape (M, N), bool, optional
        The specimen; everything if None.
    path : str
        Image file, for messages.
    shape : (int, int)
        Of the picture.

    Raises
    ------
    InputError
        If the mask has another shape than the picture, holds no whole numbers, or a negative one.
    """
    if corrected.shape != shape:
        raise InputError(
            path,
            f"the corrected mask is {' x '.join(map(str, corrected.shape))} px, the picture "
            f"{shape[0]} x {shape[1]} px (rows x columns)",
            "Correct the mask of this very picture, at its full size",
        )
    if corrected.dtype.kind not in "iu":
        raise InputError(
            path, f"the corrected mask holds {corrected.dtype} values", "Give labels as whole numbers"
        )
    flat = corrected.reshape(-1)
    at = np.flatnonzero(flat)
    value = flat[at]
    if value.size and int(value.min()) < 0:
        raise InputError(path, "the corrected mask holds labels below 0", "Give labels of 0 and above")
    warnings = []
    if region is not None:
        inside = region.reshape(-1)[at]
        lost = int(at.size - np.count_nonzero(inside))
        if lost:
            at, value = at[inside], value[inside]
            warnings.append(
                f"{lost} px of the corrected outlines lie off the specimen and are left out: was the region "
                "or the data strip changed since?"
            )
    labels = np.zeros(shape, np.int32)
    if value.size:
        _, number = np.unique(value, return_inverse=True)
        labels.reshape(-1)[at] = number.reshape(-1) + 1
    return DrawnPits(labels, tuple(warnings))


def columns_of_drawn(labels: np.ndarray, found: np.ndarray, columns: Table, measure_one: MeasureOne) -> Table:
    """Columns of drawn pits: taken over where the outline is one that was found, else measured.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Drawn pits, 1 to n.
    found : ndarray of shape (M, N), int32
        Pits of the search, 1 to m.
    columns : Table
        Of those, arrays of shape (m,).
    measure_one : callable

    Returns
    -------
    Table
        The same columns, arrays of shape (n,).
    """
    flat = labels.reshape(-1)
    at = np.flatnonzero(flat)
    own, other = flat[at] - 1, found.reshape(-1)[at]
    n = int(own.max(initial=-1)) + 1
    area = np.bincount(own, minlength=n)
    same = np.zeros(n, np.intp)
    same[own] = other
    agree = np.bincount(own, other == same[own], n) == area
    its_area = np.bincount(found.reshape(-1)[np.flatnonzero(found.reshape(-1))], minlength=found.max() + 1)
    kept = agree & (same > 0) & (its_area[same] == area)
    out = {name: np.zeros(n, values.dtype) for name, values in columns.items()}
    for name, values in columns.items():
        out[name][kept] = values[same[kept] - 1]
    changed = np.flatnonzero(~kept)
    if changed.size == 0:
        return out
    order = np.argsort(own, kind="stable")
    starts = np.concatenate([[0], np.cumsum(area)])
    parts = []
    for k in changed.tolist():
        parts.append(measure_one(*np.divmod(at[order[starts[k] : starts[k + 1]]], labels.shape[1])))
    for name in columns:
        values = np.concatenate([part[name] for part in parts])
        if values.dtype.kind == "U":
            out[name] = out[name].astype(np.promote_types(out[name].dtype, values.dtype))
        out[name][changed] = values
    return out


def measure_dark_one(ground: DarkGround, row: np.ndarray, col: np.ndarray) -> Table:
    """Contrast of one outline on a micrograph; `row` and `col` are its pixels in the picture."""
    judged = ground.judge_outlined(row, col)
    return {
        "contrast": judged.contrast,
        "contrast_to_noise": judged.contrast_to_noise,
        "near_limit": judged.near_limit(),
    }


def measure_deep_one(
    ground: DeepGround,
    row: np.ndarray,
    col: np.ndarray,
    *,
    pixel_size_um: tuple[float, float] | None,
    objective_aperture: float | None,
) -> Table:
    """Depth of one outline on a height map.

    Parameters
    ----------
    ground : DeepGround
    row, col : ndarray of shape (n,), int
        Its pixels in the map.
    pixel_size_um : (float, float) or None
    objective_aperture : float or None

    Returns
    -------
    Table
        Columns of table "pits", arrays of shape (1,). The prominence is not-a-number: it belongs to a basin
        that was found, not to an outline that was drawn.
    """
    shape = ground.depth_below_reference_um.shape
    rows = slice(max(int(row.min()) - 1, 0), int(row.max()) + 2)
    cols = slice(max(int(col.min()) - 1, 0), int(col.max()) + 2)
    depth = ground.depth_below_reference_um[rows, cols]
    own = np.zeros(depth.shape, np.int32)
    own[row - rows.start, col - cols.start] = 1
    middle = np.array([row.mean()]), np.array([col.mean()])
    area = np.array([len(row)])
    width = measure_objects(own, pixel_size_um=pixel_size_um, origin=(rows.start, cols.start))
    sq = ground.surface.roughness_at(*middle)
    measured = measure_depths(
        own,
        depth,
        pixel_size_um=pixel_size_um,
        roughness_um=sq,
        level_uncertainty_um=ground.surface.level_uncertainty(*middle, area),
        width_um=width.columns["width_um"],
        objective_aperture=objective_aperture,
    )
    measured["deepest_row_px"] = measured["deepest_row_px"] + rows.start
    measured["deepest_col_px"] = measured["deepest_col_px"] + cols.start
    measured["depth_is_lower_bound"] |= deepest_on_frame(measured, (shape[0], shape[1]))
    ratios = ground.ratios(np.nan_to_num(measured["depth_um"]), sq, area)
    return measured | {
        "prominence_um": np.array([np.nan]),
        "near_limit": np.array([ground.limit_names(ratios[:, 0] < NEAR)], dtype=str),
    }


def doubtful_depths(depth_um: np.ndarray) -> tuple[str, ...]:
    """What is to be said of outlines, shape (n,), that no search would call pits by their depth, µm."""
    said = []
    unseen, above = int(np.count_nonzero(np.isnan(depth_um))), int(np.count_nonzero(depth_um <= 0))
    if unseen:
        said.append(
            f"{unseen} of {len(depth_um)} pits {'was' if unseen == 1 else 'were'} drawn where nothing was "
            "measured: counted, with an area, but without a depth and with no part in the volume, which is a "
            "lower bound."
        )
    if above:
        said.append(
            f"{above} of {len(depth_um)} pits {'was' if above == 1 else 'were'} drawn where the surface lies "
            "no deeper than round about: the depth is not above 0. Look at the outline again."
        )
    return tuple(said)


def deepest_on_frame(depths: Table, shape: tuple[int, int]) -> np.ndarray:
    """Pits whose deepest reading lies in the outermost rows or columns: they may go on deeper beyond."""
    row, col = depths["deepest_row_px"], depths["deepest_col_px"]
    return (row == 0) | (col == 0) | (row == shape[0] - 1) | (col == shape[1] - 1)
