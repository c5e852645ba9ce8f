"""Where struts are broken: cracks, gaps, free ends and fragments, each in a row of its own."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from surfscan.measurement.edge_profiles import sample
from surfscan.measurement.stations import Stations
from surfscan.segmentation.centrelines import Centrelines
from surfscan.segmentation.silhouette import Silhouette

FreeEnds = Literal["auto", "broken", "drawn"]

CRACK, GAP, FREE_END, FRAGMENT = "crack", "gap", "free end", "fragment"

_FACING_DEG = 35.0  # between the way on from a free end and what it faces
_FACING_WIDTHS = 4.0  # how far an end looks for its other half, in widths ...
_ON_ONE_LINE_DEG, _OFF_LINE_WIDTHS = 12.0, 1.0  # ... and over any distance where both lie on one line
_FACING_METAL_WIDTHS = 1.5  # how far it looks for other metal it broke off
_CRACK_WIDTHS = 0.5  # a break shorter than this share of the width is a crack, a longer one a gap
_BESIDE_PX = 4.0  # how far into the metal on either side a break is looked at
_PARTLY = 0.5  # a cut is a crack part of the way across where less than this share of the width is left ...
_RIM_PX = 3  # px around a fragment's mask over which its blurred rim is summed
_FINER = 4  # its outline is drawn on a grid so much finer
_SMALL = 0.2  # a loose part is a fragment where its area is below this share of the largest part


@dataclass(frozen=True)
class Fault:
    """One place where metal that should carry does not. Lengths in px of the stations.

    Attributes
    ----------
    kind : str
        "crack", "gap", "free end" or "fragment".
    strut, other_strut : int
        Struts it belongs to, from 1; 0 for none.
    row, col : float
        Its middle.
    length : float
        Lost length along the strut (gap, crack), or largest Feret diameter of a fragment; not-a-number for a
        free end that faces nothing.
    area : float
        Of a fragment, px²; otherwise not-a-number.
    through : bool
        Whether it parts the strut; a fragment itself does not.
    """

    kind: str
    strut: int
    other_strut: int
    row: float
    col: float
    length: float
    area: float
    through: bool


def find_faults(
    silhouette: Silhouette,
    centrelines: Centrelines,
    stations: Stations,
    mean_width: np.ndarray,
    *,
    region: np.ndarray | None = None,
    free_ends: FreeEnds = "auto",
) -> tuple[list[Fault], int]:
    """Cracks, gaps, free ends and fragments.

    Parameters
    ----------
    silhouette : Silhouette
    centrelines : Centrelines
    stations : Stations
    mean_width : ndarray of shape (S,)
        Of every strut, px; not-a-number where unknown.
    region : ndarray of shape (M, N), bool, optional
        What was looked at: metal goes on beyond it. The whole picture where None.
    free_ends : {"auto", "broken", "drawn"}
        What a strut's end inside the field is that faces no other metal. "auto": a break where its part has
        junctions (a mesh), the drawn end of the strut where it has none. "broken", "drawn": always.

    Returns
    -------
    faults : list of Fault
        In the order of their rows and columns.
    drawn : int
        Free ends inside the field that face nothing and were taken as drawn.

    Notes
    -----
    Two free ends are the sides of one break where the line between them is at most four mean widths long and
    within 35 degrees of the way on at either end, or, unless ends are stated to be drawn, where they look at
    each other within 12 degrees and one width over any distance; one end alone broke off where its way on
    meets other metal within one and a half widths. A break shorter than half a width is a crack, a longer one
    a gap. A crack
    part of the way across is a run of stations, shorter than half a width, in which less than half of the
    strut's median width is left. A fragment is a part that neither reaches the frame nor has a fifth of the
    area of the largest part; its area is the sum of the grey, as a share of the contrast, over it and its
    blurred rim. Common practice, no source.
    """
    solid = silhouette.solid
    beyond = _beyond(solid.shape, region)
    loose = _fragments(silhouette, beyond)
    own = [loose.number_at(centrelines, k) for k in range(centrelines.n)]
    tips = [t for t in _tips(centrelines, mean_width) if not _at(beyond, t.row, t.col)]
    pairs = _facing(tips, own, far=free_ends != "drawn")
    taken = {k for pair in pairs for k in pair}
    found = [_break_between(silhouette, tips[i], tips[j]) for i, j in pairs]
    rest = [tip for k, tip in enumerate(tips) if k not in taken]
    in_mesh = _parts_with_junctions(centrelines)
    drawn = 0
    for tip in rest:
        if own[tip.strut - 1]:
            continue
        there = _other_metal(solid, tip, loose)
        if there is not None:
            found.append(_break_between(silhouette, tip, there))
        elif free_ends == "broken" or (free_ends == "auto" and in_mesh[centrelines.part[tip.strut - 1]]):
            found.append(Fault(FREE_END, tip.strut, 0, tip.row, tip.col, np.nan, np.nan, True))
        else:
            drawn += 1
    found += _partly_cracked(stations, solid)
    for part in loose.parts:
        inside = own.index(part.label) + 1 if part.label in own else 0
        found.append(Fault(FRAGMENT, inside, 0, part.row, part.col, part.extent, part.area, False))
    return sorted(found, key=lambda f: (f.row, f.col, f.kind)), drawn


def broken_struts(faults: list[Fault], n: int) -> np.ndarray:
    """Which struts are parted somewhere, shape (n,), bool."""
    out = np.zeros(n, bool)
    for fault in faults:
        for strut in (fault.strut, fault.other_strut):
            if fault.through and strut > 0:
                out[strut - 1] = True
    return out


@dataclass(frozen=True)
class _Tip:
    """A free end and the unit way on from it."""

    strut: int
    end: int
    row: float
    col: float
    to_row: float
    to_col: float
    width: float


def _tips(centrelines: Centrelines, mean_width: np.ndarray) -> list[_Tip]:
    usual = float(np.nanmedian(mean_width)) if np.isfinite(mean_width).any() else np.nan
    tips = []
    for k in range(centrelines.n):
        row, col = centrelines.points(k + 1)
        width = float(mean_width[k]) if np.isfinite(mean_width[k]) else usual
        if not np.isfinite(width):
            width = 2 * float(np.median(centrelines.radius[centrelines.start[k] : centrelines.start[k + 1]]))
        for end in (0, 1):
            if centrelines.end_kind[k, end] != "end" or len(row) < 2:
                continue
            r, c = (row[::-1], col[::-1]) if end == 0 else (row, col)
            # The last half width follows the shape of the broken face; the way on is that before it.
            first = max(0, len(r) - 1 - round(0.5 * width))
            back = max(0, first - max(3, round(1.5 * width)))
            if first == back:
                first, back = len(r) - 1, 0
            step = np.array([r[first] - r[back], c[first] - c[back]])
            length = float(np.hypot(*step))
            if length > 0:
                to = step / length
                tips.append(_Tip(k + 1, end, float(r[-1]), float(c[-1]), float(to[0]), float(to[1]), width))
    return tips


def _break_between(silhouette: Silhouette, tip: _Tip, other: _Tip) -> Fault:
    """The break between two ends: its length is the open share of the grey, summed along the line."""
    row, col = other.row - tip.row, other.col - tip.col
    apart = max(float(np.hypot(row, col)), 1e-9)
    to = (row / apart, col / apart) if apart > 1 else (tip.to_row, tip.to_col)
    t = np.arange(-_BESIDE_PX, apart + _BESIDE_PX, 0.25)
    at_row, at_col = tip.row + t * to[0], tip.col + t * to[1]
    inside, outside = silhouette.levels.at(at_row, at_col)
    grey = sample(silhouette.grey, at_row[None], at_col[None])[0]
    length = float(np.sum(np.clip((inside - grey) / (inside - outside), 0, 1)) * 0.25)
    kind = CRACK if length < _CRACK_WIDTHS * tip.width else GAP
    middle = (tip.row + row / 2, tip.col + col / 2)
    return Fault(kind, tip.strut, other.strut, *middle, length, np.nan, True)


def _facing(tips: list[_Tip], own: list[int], *, far: bool) -> list[tuple[int, int]]:
    """Pairs of free ends that look at each other, nearest first, each end once.

    `own` says which fragment a strut is, 0 for none: no fragment broke off itself. With `far` ends on one
    line are a pair over any distance.
    """
    pairs = []
    for i, a in enumerate(tips):
        for j in range(i + 1, len(tips)):
            b = tips[j]
            row, col = b.row - a.row, b.col - a.col
            apart = float(np.hypot(row, col))
            if own[a.strut - 1] and own[a.strut - 1] == own[b.strut - 1]:
                continue
            if apart > _FACING_WIDTHS * max(a.width, b.width):
                loose = own[a.strut - 1] or own[b.strut - 1]
                if far and not loose and _on_one_line(a, b, row, col, apart):
                    pairs.append((apart, i, j))
                continue
            least = np.cos(np.radians(_FACING_DEG))
            near = apart < _CRACK_WIDTHS * min(a.width, b.width)
            straight = a.to_row * b.to_row + a.to_col * b.to_col < -least
            looks = (a.to_row * row + a.to_col * col) > least * apart and (
                b.to_row * row + b.to_col * col
            ) < -least * apart
            if straight and (looks or near):
                pairs.append((apart, i, j))
    taken: set[int] = set()
    found = []
    for _, i, j in sorted(pairs):
        if i not in taken and j not in taken:
            taken |= {i, j}
            found.append((i, j))
    return found


def _on_one_line(a: _Tip, b: _Tip, row: float, col: float, apart: float) -> bool:
    """Whether two ends look at each other along one line, `row` and `col` being the way from a to b."""
    least = np.cos(np.radians(_ON_ONE_LINE_DEG)) * apart
    off = max(abs(a.to_row * col - a.to_col * row), abs(b.to_row * col - b.to_col * row))
    looks = a.to_row * row + a.to_col * col > least and b.to_row * row + b.to_col * col < -least
    return bool(looks and off < _OFF_LINE_WIDTHS * max(a.width, b.width))


def _other_metal(solid: np.ndarray, tip: _Tip, loose: _Loose) -> _Tip | None:
    """Where the way on from a free end meets other metal that is no loose fragment, or None."""
    t = np.arange(1.0, _FACING_METAL_WIDTHS * tip.width + 2, 0.5)
    row = np.rint(tip.row + t * tip.to_row).astype(int)
    col = np.rint(tip.col + t * tip.to_col).astype(int)
    inside = (row >= 0) & (col >= 0) & (row < solid.shape[0]) & (col < solid.shape[1])
    metal = np.zeros(len(t), bool)
    metal[inside] = solid[row[inside], col[inside]]
    opened = np.flatnonzero(~metal & inside)
    if not opened.size:
        return None
    again = np.flatnonzero(metal & (np.arange(len(t)) > opened[0]))
    if not again.size or loose.is_fragment(int(row[again[0]]), int(col[again[0]])):
        return None
    k = again[0]
    row, col = tip.row + t[k] * tip.to_row, tip.col + t[k] * tip.to_col
    return _Tip(0, 0, float(row), float(col), -tip.to_row, -tip.to_col, tip.width)


@dataclass(frozen=True)
class _Part:
    label: int
    row: float
    col: float
    extent: float
    area: float


@dataclass(frozen=True)
class _Loose:
    """Connected parts of the silhouette, and those of them that are fragments."""

    labels: np.ndarray
    parts: list[_Part]

    def is_fragment(self, row: int, col: int) -> bool:
        return int(self.labels[row, col]) in {part.label for part in self.parts}

    def number_at(self, centrelines: Centrelines, k: int) -> int:
        """Label of the fragment that the middle of a strut lies in, 0 for none."""
        row, col = centrelines.points(k + 1)
        middle = len(row) // 2
        r = min(max(round(float(row[middle])), 0), self.labels.shape[0] - 1)
        c = min(max(round(float(col[middle])), 0), self.labels.shape[1] - 1)
        return int(self.labels[r, c]) if self.is_fragment(r, c) else 0


def _beyond(shape: tuple[int, ...], region: np.ndarray | None) -> np.ndarray:
    """Pixels within 3 px of what was not looked at, and the outermost ones."""
    import cv2

    barred = np.zeros(shape, np.uint8) if region is None else (~np.asarray(region, bool)).view(np.uint8)
    out = np.asarray(cv2.dilate(barred, np.ones((7, 7), np.uint8), borderValue=0) > 0)
    out[0], out[-1], out[:, 0], out[:, -1] = True, True, True, True
    return out


def _at(mask: np.ndarray, row: float, col: float) -> bool:
    r = min(max(round(row), 0), mask.shape[0] - 1)
    return bool(mask[r, min(max(round(col), 0), mask.shape[1] - 1)])


def _fragments(silhouette: Silhouette, beyond: np.ndarray) -> _Loose:
    import cv2

    solid = silhouette.solid
    _, labels, stats, centres = cv2.connectedComponentsWithStats(solid.view(np.uint8), connectivity=8)
    area = stats[1:, cv2.CC_STAT_AREA]
    if not area.size:
        return _Loose(labels, [])
    reaches = np.zeros(len(stats), bool)
    reaches[np.unique(labels[beyond])] = True
    small = (area < _SMALL * area.max()) & ~reaches[1:]
    return _Loose(
        labels,
        [
            _Part(
                int(k) + 1,
                float(centres[k + 1, 1]),
                float(centres[k + 1, 0]),
                *_extent_and_area(silhouette, labels, int(k) + 1, stats[k + 1]),
            )
            for k in np.flatnonzero(small)
        ],
    )


def _extent_and_area(
    silhouette: Silhouette, labels: np.ndarray, label: int, box: np.ndarray
) -> tuple[float, float]:
    """Largest Feret diameter of a part's outline at half level, and its area from the grey."""
    import cv2

    left, top, width, height = (int(v) for v in box[:4])
    rows = slice(max(0, top - _RIM_PX), top + height + _RIM_PX)
    cols = slice(max(0, left - _RIM_PX), left + width + _RIM_PX)
    own = labels[rows, cols] == label
    others = (labels[rows, cols] > 0) & ~own
    reach = np.ones((2 * _RIM_PX + 1,) * 2, np.uint8)
    summed = (cv2.dilate(own.view(np.uint8), reach) > 0) & ~(cv2.dilate(others.view(np.uint8), reach) > 0)
    r, c = np.nonzero(summed | own)
    inside, outside = silhouette.levels.at(r + rows.start, c + cols.start)
    share = (silhouette.grey[rows, cols][r, c] - outside) / (inside - outside)
    patch = np.zeros(own.shape, np.float32)
    patch[r, c] = share
    finer = cv2.resize(patch, None, fx=_FINER, fy=_FINER, interpolation=cv2.INTER_LINEAR)
    row, col = np.nonzero(finer > 0.5)
    hull = cv2.convexHull(np.column_stack([col, row]).astype(np.float32))[:, 0].astype(float) / _FINER
    across = np.hypot(hull[:, None, 0] - hull[None, :, 0], hull[:, None, 1] - hull[None, :, 1])
    return float(across.max()) + 1 / _FINER, float(share.sum())


def _parts_with_junctions(centrelines: Centrelines) -> np.ndarray:
    """Whether each connected part has a junction, by part number."""
    out = np.zeros(int(centrelines.part.max()) + 1 if centrelines.n else 1, bool)
    if centrelines.n:
        out[centrelines.part[(centrelines.end_kind == "junction").any(axis=1)]] = True
    return out


def _partly_cracked(stations: Stations, solid: np.ndarray) -> list[Fault]:
    """Short runs of stations in which a strut is cut to less than half of its width."""
    found = []
    for strut in range(1, stations.n_struts + 1):
        part = stations.of(strut)
        counts = (stations.fault[part] == "") & np.isfinite(stations.width[part])
        if np.count_nonzero(counts) < 5:
            continue
        usual = float(np.median(stations.width[part][counts]))
        # Where a cut passes the centreline, the line across starts in the open and finds one edge only.
        row, col = np.rint(stations.row[part]), np.rint(stations.col[part])
        row = np.clip(row, 0, solid.shape[0] - 1).astype(int)
        col = np.clip(col, 0, solid.shape[1] - 1).astype(int)
        opened = (stations.fault[part] == "no edge") & ~solid[row, col]
        good = np.flatnonzero(counts | opened) + part.start
        width = np.where(stations.fault[good] == "", stations.width[good], 0.0)
        narrow = (width < _PARTLY * usual) & (stations.open_width[good] == 0)
        change = np.flatnonzero(np.diff(np.concatenate([[False], narrow, [False]]).astype(int)))
        step = float(stations.length[strut - 1]) / (part.stop - part.start)
        for first, end in zip(change[::2], change[1::2], strict=True):
            length = (end - first) * step
            if length < _CRACK_WIDTHS * usual:
                lowest = np.flatnonzero(width[first:end] == width[first:end].min())
                at = good[first + int(lowest[len(lowest) // 2])]
                found.append(
                    Fault(
                        CRACK,
                        strut,
                        0,
                        float(stations.row[at]),
                        float(stations.col[at]),
                        length,
                        np.nan,
                        False,
                    )
                )
    return found
