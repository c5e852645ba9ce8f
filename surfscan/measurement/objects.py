"""Geometry of labelled objects: size, shape, place and neighbours, all labels at once.

Everything is computed from the foreground pixels alone, in whole-array steps, so that the cost follows
the pitted area and not the picture.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table

Frame = tuple[int, int, int, int]
"""Counting frame in pixels: first row, row after the last, first column, column after the last."""


@dataclass(frozen=True)
class Objects:
    """Labelled objects measured; every array of shape (n,) runs over labels 1 to n in order.

    Attributes
    ----------
    columns : Table
        The geometric columns of table "pits": position, size, nearest pit, edge flags.
    top_px, left_px : ndarray of shape (n,), int64
        First row and first column of the bounding box.
    height_px, width_px : ndarray of shape (n,), int64
        Rows and columns of the bounding box; with the frame they decide the edge weight.
    """

    columns: Table
    top_px: np.ndarray
    left_px: np.ndarray
    height_px: np.ndarray
    width_px: np.ndarray


def measure_objects(
    labels: np.ndarray,
    *,
    pixel_size_um: tuple[float, float] | None,
    region: np.ndarray | None = None,
    frame: Frame | None = None,
    origin: tuple[int, int] = (0, 0),
) -> Objects:
    """Measure every labelled object.

    Parameters
    ----------
    labels : ndarray of shape (M, N), int32
        Label image; 0 is background and labels run from 1 to n without a gap.
    pixel_size_um : (float, float) or None
        Pixel size in x and y, µm; the two may differ. None where no scale is known: columns in µm are
        then not-a-number and their px twins are filled; with a scale it is the other way round.
    region : ndarray of shape (M, N), bool, optional
        Specimen region; everything if None.
    frame : (row0, row1, col0, col1), optional
        Counting frame, half open; all of `labels` if None.
    origin : (int, int), optional
        Row and column of the picture at which `labels` begins, where it is a part of one. Positions and
        `frame` are those of the picture; objects must keep a pixel clear of the part's sides that are not
        sides of the picture. The figures are then, to the bit, those of the whole picture.

    Returns
    -------
    Objects

    Raises
    ------
    ValueError
        If labels are not whole numbers in two dimensions, are negative or leave a gap, or `region` has
        another shape.

    Notes
    -----
    The outline of an object that reaches the picture's edge is closed along that edge. A hole's outline
    belongs to the perimeter. Length, width and orientation are those of the ellipse with the same second
    moments of area, each pixel taken as a small rectangle (its own moment is 1/12 px²), not as a point.
    Orientation is not-a-number where the two axes are equal.
    """
    _check(labels, region)
    height, width = labels.shape
    row0, col0 = origin
    frame = (row0, row0 + height, col0, col0 + width) if frame is None else frame
    flat = np.ascontiguousarray(labels).reshape(-1)
    pixels = np.flatnonzero(flat != 0)
    of = flat[pixels]
    if of.size and int(of.min()) < 0:
        raise ValueError(f"labels must be 0 or above, got {int(of.min())}")
    n = int(of.max()) if of.size else 0
    area = np.bincount(of, minlength=n + 1)[1:]
    if n and int(area.min()) == 0:
        raise ValueError(
            f"labels must run from 1 to {n} without a gap, {int(np.argmin(area)) + 1} is missing"
        )

    index = of.astype(np.intp) - 1
    row, col = np.divmod(pixels, width)
    crossings = _perimeter(flat, pixels, of, row, col, (height, width), n, *_pixel(pixel_size_um))
    touches_edge = _touches_region_edge(region, _within(frame, origin, labels.shape), pixels, index, n)
    row, col = row + row0, col + col0
    top, bottom = _extent(row, index, n, row0 + height)
    left, right = _extent(col, index, n, col0 + width)
    centre_row = np.bincount(index, row, n) / area
    centre_col = np.bincount(index, col, n) / area

    px, py = _pixel(pixel_size_um)
    length, breadth, orientation = _moment_ellipse(
        row - centre_row[index], col - centre_col[index], index, area, px, py
    )
    sizes = {
        "equivalent_diameter": np.sqrt(area * (4.0 / math.pi * px * py)),
        "perimeter": crossings,
        "length": length,
        "width": breadth,
        "nearest_pit": nearest_distance(centre_row * py, centre_col * px),
    }
    known = pixel_size_um is not None
    absent = np.full(n, np.nan)
    columns: Table = {
        "label": np.arange(1, n + 1, dtype=np.int32),
        "row_px": centre_row,
        "col_px": centre_col,
        "row_um": centre_row * py if known else absent,
        "col_um": centre_col * px if known else absent,
        "area_px": area,
        "area_um2": area * (px * py) if known else absent,
        "orientation_deg": orientation,
        "aspect": length / breadth,
        "touches_image_border": (top <= frame[0])
        | (bottom >= frame[1] - 1)
        | (left <= frame[2])
        | (right >= frame[3] - 1),
        "touches_specimen_edge": touches_edge,
    }
    for name, values in sizes.items():
        columns[f"{name}_um"], columns[f"{name}_px"] = (values, absent) if known else (absent, values)
    return Objects(columns, top, left, bottom - top + 1, right - left + 1)


def nearest_distance(row: np.ndarray, col: np.ndarray) -> np.ndarray:
    """Distance from each point to the nearest other point.

    Parameters
    ----------
    row, col : ndarray of shape (n,), float
        Coordinates in one unit.

    Returns
    -------
    ndarray of shape (n,), float64
        Distance in the same unit; not-a-number where there is no other point.

    Notes
    -----
    Points are sorted into square cells; a neighbour found within one cell's side in the 3 x 3 cells around
    a point is the nearest. Points without one are searched again with cells twice as wide. Exact.
    """
    n = len(row)
    best = np.full(n, np.inf)
    if n < 2:
        return np.full(n, np.nan)
    row, col = row - row.min(), col - col.min()
    tall, wide = float(row.max()), float(col.max())
    cell = max(math.sqrt(tall * wide / n) / 2, tall / n, wide / n) or 1.0
    left = np.arange(n)
    while left.size:
        stride = int(wide / cell) + 3
        cell_row, cell_col = (row / cell).astype(np.int64) + 1, (col / cell).astype(np.int64) + 1
        key = cell_row * stride + cell_col
        order = np.argsort(key, kind="stable")
        key = key[order]
        for step in (-1, 0, 1):
            middle = (cell_row[left] + step) * stride + cell_col[left]
            at = np.searchsorted(key, middle - 1, "left")
            end = np.searchsorted(key, middle + 1, "right")
            point = left
            while point.size:
                more = at < end
                point, at, end = point[more], at[more], end[more]
                other = order[at]
                squared = (row[point] - row[other]) ** 2 + (col[point] - col[other]) ** 2
                squared[other == point] = np.inf
                best[point] = np.minimum(best[point], squared)
                at = at + 1
        left = left[best[left] > cell * cell]
        cell *= 2
    return np.sqrt(best)


def _check(labels: np.ndarray, region: np.ndarray | None) -> None:
    if labels.ndim != 2 or labels.dtype.kind not in "iu":
        raise ValueError(
            f"labels must be a 2-D array of whole numbers, got {labels.ndim}-D {labels.dtype}; label the mask"
        )
    if region is not None and region.shape != labels.shape:
        raise ValueError(f"region has shape {region.shape}, labels {labels.shape}; they must agree")


def _pixel(size_um: tuple[float, float] | None) -> tuple[float, float]:
    """Pixel size in x and y; 1, 1 where no scale is known."""
    return (1.0, 1.0) if size_um is None else (float(size_um[0]), float(size_um[1]))


def _within(frame: Frame, origin: tuple[int, int], shape: tuple[int, ...]) -> Frame:
    """The frame on a part of the picture that begins at `origin`, as far as it lies on it."""
    rows = np.clip(np.array(frame[:2]) - origin[0], 0, shape[0])
    cols = np.clip(np.array(frame[2:]) - origin[1], 0, shape[1])
    return int(rows[0]), int(rows[1]), int(cols[0]), int(cols[1])


def _extent(position: np.ndarray, index: np.ndarray, n: int, size: int) -> tuple[np.ndarray, np.ndarray]:
    """Least and greatest position of each object."""
    least, greatest = np.full(n, size, dtype=np.int64), np.full(n, -1, dtype=np.int64)
    np.minimum.at(least, index, position)
    np.maximum.at(greatest, index, position)
    return least, greatest


def _moment_ellipse(
    d_row: np.ndarray, d_col: np.ndarray, index: np.ndarray, area: np.ndarray, px: float, py: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Major axis, minor axis and orientation (degrees) of the ellipse with the same second moments."""
    n = len(area)
    yy = (np.bincount(index, d_row * d_row, n) / area + 1 / 12) * (py * py)
    xx = (np.bincount(index, d_col * d_col, n) / area + 1 / 12) * (px * px)
    xy = np.bincount(index, d_row * d_col, n) / area * (px * py)
    mean, difference = 0.5 * (xx + yy), 0.5 * (xx - yy)
    spread = np.hypot(difference, xy)
    major = 4 * np.sqrt(mean + spread)
    minor = 4 * np.sqrt((xx * yy - xy * xy) / (mean + spread))
    # Rows run downwards, so an angle that is counter-clockwise to the eye has the opposite sign of xy;
    # adding 0.0 turns -0.0 into 0.0, which keeps -90 out.
    orientation = np.degrees(0.5 * np.arctan2(0.0 - xy, difference))
    orientation[spread <= 1e-9 * mean] = np.nan
    return major, minor, orientation


def _perimeter(
    flat: np.ndarray,
    pixels: np.ndarray,
    own: np.ndarray,
    row: np.ndarray,
    col: np.ndarray,
    shape: tuple[int, int],
    n: int,
    px: float,
    py: float,
) -> np.ndarray:
    """Cauchy-Crofton: half the sum over four directions of sector angle x line spacing x crossings.

    On a grid of px by py the lines run along rows, columns and the two diagonals at atan(py/px). Each
    direction stands for the sector of angles nearest to it, so the sectors follow the pixel's shape. A line
    leaves an object as often as it enters it, so only the exits are counted, twice.
    """
    height, width = shape
    diagonal = math.atan2(py, px)
    slant = px * py / math.hypot(px, py)
    directions = (
        (0, 1, diagonal, py),
        (1, 0, math.pi / 2 - diagonal, px),
        (1, 1, math.pi / 4, slant),
        (1, -1, math.pi / 4, slant),
    )
    bottom = np.flatnonzero(row == height - 1)
    side = {1: np.flatnonzero(col == width - 1), -1: np.flatnonzero(col == 0)}
    total = np.zeros(n)
    for d_row, d_col, sector, spacing in directions:
        exits = np.take(flat, pixels + (d_row * width + d_col), mode="clip") != own
        if d_row:
            exits[bottom] = True
        if d_col:
            exits[side[d_col]] = True
        total += sector * spacing * np.bincount(own[exits], minlength=n + 1)[1:]
    return total


def _touches_region_edge(
    region: np.ndarray | None, frame: Frame, pixels: np.ndarray, index: np.ndarray, n: int
) -> np.ndarray:
    """Whether a pixel of the object, or one of its eight neighbours in the frame, is off the specimen."""
    touches = np.zeros(n, dtype=bool)
    if region is None:
        return touches
    rows, cols = slice(frame[0], frame[1]), slice(frame[2], frame[3])
    if region[rows, cols].all():
        return touches
    import cv2

    inner = np.ones(region.shape, dtype=np.uint8)
    inner[rows, cols] = cv2.erode(region[rows, cols].astype(np.uint8), np.ones((3, 3), np.uint8))
    touches[index[inner.reshape(-1)[pixels] == 0]] = True
    return touches
