"""Centrelines of struts: the graph of a silhouette, pruned, with junctions, ends and the struts between."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np

from surfscan.segmentation.grouped import distance_inside
from surfscan.segmentation.skeleton_graph import Branch, SkeletonGraph, graph_of
from surfscan.segmentation.thinning import thin
from surfscan.segmentation.through_pits import strut_width

_STANDS_OUT = 1.0  # a side branch stands out of its junction's circle by this many of the circle's radii
_STANDS_OUT_PX = 4.0  # ... and by this much, or it is a spur
_SMOOTHING = 0.5  # standard deviation along the line, as a share of the half width
_LEAST_SMOOTHING_PX = 1.5
_PAD_WIDTHS = 1.5  # half widths by which the picture is continued beyond its frame
_LARGEST_PAD = 0.5  # ... at most this share of its longer side
_PRUNINGS = 25
_SHORTEST_PX = 3.0
_COARSEST, _WIDTH_LEFT_PX = 4, 12  # wide struts are thinned on a grid coarser by at most so much
_CROSSING, _OFF = 3.0, 0.6  # links of at most so many radii of both ends; arms' lines pass its middle by less
_FROM, _TO = 1.0, 3.0  # radii from the junction between which the direction of an arm is read
_STRAIGHT = 0.94  # cosine of the angle by which two arms may differ and be one strut
_NECK = 0.5  # a branch narrower than this share of its junctions' circles is a strut, however short

END_KINDS = ("junction", "end", "frame", "closed")
"""How a strut can end: where it meets others, freely, where it leaves the field; a ring has no end."""


@dataclass(frozen=True)
class Centrelines:
    """Struts as lines; P points in all, S struts, J junctions. All lengths in px.

    Attributes
    ----------
    row, col : ndarray of shape (P,)
        Points of the smoothed centrelines, strut after strut, 1 to 6 px apart.
    radius : ndarray of shape (P,)
        Distance to the nearest edge of the mask.
    start : ndarray of shape (S + 1,), int
        Points of strut k (numbered from 1) are `start[k - 1]:start[k]`.
    end_kind : ndarray of shape (S, 2), str
        How each strut starts and ends, see `END_KINDS`.
    end_node : ndarray of shape (S, 2), int
        Junction at its start and end, numbered from 0; -1 where it has none.
    junction_row, junction_col, junction_radius : ndarray of shape (J,)
        Junctions and the radius of the largest circle inscribed there.
    part : ndarray of shape (S,), int
        Connected piece of metal that the strut belongs to, numbered from 1.
    """

    row: np.ndarray
    col: np.ndarray
    radius: np.ndarray
    start: np.ndarray
    end_kind: np.ndarray
    end_node: np.ndarray
    junction_row: np.ndarray
    junction_col: np.ndarray
    junction_radius: np.ndarray
    part: np.ndarray

    @property
    def n(self) -> int:
        """Number of struts."""
        return len(self.start) - 1

    def points(self, strut: int) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns of strut `strut` (numbered from 1)."""
        part = slice(self.start[strut - 1], self.start[strut])
        return self.row[part], self.col[part]


def find_centrelines(solid: np.ndarray, *, frame: tuple[int, int, int, int] | None = None) -> Centrelines:
    """Graph of the struts in a mask.

    Parameters
    ----------
    solid : ndarray of shape (M, N), bool
        Struts with through-pits closed.
    frame : (row0, row1, col0, col1), optional
        Part of the picture that was looked at, ends excluded; metal that reaches it goes on beyond.

    Returns
    -------
    Centrelines
        Numbered by the rows, then the columns of their middles. Each strut between two nodes once.

    Notes
    -----
    The mask is continued beyond the frame by its outermost pixels, thinned, and pruned: a branch with a free
    end is a spur unless it stands out of the circle inscribed at its junction by the radius of that circle
    and 4 px; where all branches at a junction are spurs (a fragment), the shortest goes first. Junctions
    whose inscribed circles touch along a branch are one, for there is no strut between; so are two between
    which struts cross at a small angle, each going straight on through the middle of the link. A free end is
    continued to the edge of the mask. The rules are common practice, no source.
    """
    row0, row1, col0, col1 = frame or (0, solid.shape[0], 0, solid.shape[1])
    view = np.ascontiguousarray(solid[row0:row1, col0:col1])
    if view.ndim != 2 or not view.size:
        raise ValueError(f"a mask with pixels is needed, got shape {solid.shape} and frame {frame}")
    if not view.any() or view.all():
        return _assembled(None, _Field(np.zeros((3, 3), np.float32), 0, (0, 0), (0, 0), 1), None)
    view, reduced = _reduced(view)
    reach = float(distance_inside(view).max())
    pad = int(min(_PAD_WIDTHS * reach, _LARGEST_PAD * max(view.shape))) + 4
    padded = np.zeros((view.shape[0] + 2 * pad, view.shape[1] + 2 * pad), np.uint8)
    padded[1:-1, 1:-1] = cv2.copyMakeBorder(
        view.view(np.uint8), pad - 1, pad - 1, pad - 1, pad - 1, cv2.BORDER_REPLICATE
    )
    distance = distance_inside(padded)
    graph = _pruned(thin(padded.view(bool)), distance)
    field = _Field(distance, pad, view.shape, (row0, col0), reduced)
    _, parts = cv2.connectedComponents(padded, connectivity=8)
    return _assembled(_lines(graph, field), field, parts)


def _reduced(view: np.ndarray) -> tuple[np.ndarray, int]:
    """The mask on a coarser grid, and how much coarser: as far as struts stay 12 px wide, and no further than
    it keeps as many parts and as many openings."""
    coarser = int(min(_COARSEST, strut_width(view) // _WIDTH_LEFT_PX))
    known = _topology(view) if coarser > 1 else (0, 0)
    for by in range(coarser, 1, -1):
        shape = (-(-view.shape[1] // by), -(-view.shape[0] // by))
        whole = cv2.copyMakeBorder(
            view.view(np.uint8) * np.uint8(255),
            0,
            shape[1] * by - view.shape[0],
            0,
            shape[0] * by - view.shape[1],
            cv2.BORDER_REPLICATE,
        )
        small = cv2.resize(whole, shape, interpolation=cv2.INTER_AREA) > 127
        if _topology(small) == known:
            return small, by
    return view, 1


def _topology(mask: np.ndarray) -> tuple[int, int]:
    """Parts of a mask and parts of its background."""
    return (
        cv2.connectedComponents(mask.view(np.uint8), connectivity=8)[0],
        cv2.connectedComponents((~mask).view(np.uint8), connectivity=4)[0],
    )


@dataclass(frozen=True)
class _Field:
    """Distances over the continued picture, where the picture lies in it, and how much coarser it is."""

    distance: np.ndarray
    pad: int
    shape: tuple[int, int]
    corner: tuple[int, int]
    reduced: int

    def inside(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Whether points (of the continued picture) lie in the picture."""
        r, c = row - self.pad, col - self.pad
        return (r >= -0.5) & (r <= self.shape[0] - 0.5) & (c >= -0.5) & (c <= self.shape[1] - 0.5)

    def full(self, row: np.ndarray, col: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Rows and columns of the picture itself."""
        return (
            (row - self.pad + 0.5) * self.reduced - 0.5 + self.corner[0],
            (col - self.pad + 0.5) * self.reduced - 0.5 + self.corner[1],
        )

    def radius(self, row: np.ndarray, col: np.ndarray) -> np.ndarray:
        """Distance to the edge of the mask at points: bilinear, less the half pixel to the edge."""
        x, y = np.asarray(col, np.float32)[None], np.asarray(row, np.float32)[None]
        out = np.empty(x.shape[1], np.float32)
        for a in range(0, len(out), 30_000):
            part = slice(a, a + 30_000)
            out[part] = cv2.remap(
                self.distance, x[:, part], y[:, part], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
            )[0]
        return np.maximum(out - 0.5, 0.0)


@dataclass
class _Line:
    """One strut before numbering."""

    row: np.ndarray
    col: np.ndarray
    kinds: tuple[str, str]
    nodes: tuple[int, int]


def _length(graph: SkeletonGraph, branch: Branch) -> float:
    """Length of the pixel path of a branch, px."""
    at = graph.flat[branch.pixels]
    row, col = np.divmod(at, graph.shape[1])
    return float(np.hypot(np.diff(row), np.diff(col)).sum())


def _pruned(skeleton: np.ndarray, distance: np.ndarray) -> SkeletonGraph:
    """Graph of the skeleton without its spurs."""
    flat = np.flatnonzero(skeleton)
    depth = distance.ravel()
    for _ in range(_PRUNINGS):
        graph = graph_of(flat, skeleton.shape)
        radius = _node_radius(graph, depth)
        spurs: dict[int, list[tuple[float, Branch]]] = {}
        degree = np.zeros(graph.n_nodes, int)
        for branch in graph.branches:
            for node in branch.nodes:
                if node >= 0:
                    degree[node] += 1
            free = [k for k in (0, 1) if branch.nodes[k] < 0]
            if len(free) == 1 and not branch.closed:
                node = branch.nodes[1 - free[0]]
                tip = branch.pixels[0] if free[0] == 0 else branch.pixels[-1]
                out = _length(graph, branch) + 1 + float(depth[flat[tip]]) - radius[node]
                if out < max(_STANDS_OUT * radius[node], _STANDS_OUT_PX):
                    spurs.setdefault(node, []).append((out, branch))
        gone: list[int] = []
        for node, found in spurs.items():
            found.sort(key=lambda item: (item[0], item[1].pixels[0]))
            all_of_them = len(found) == degree[node]
            for _, branch in found[:1] if all_of_them else found:
                gone += branch.pixels
        if not gone:
            return graph
        left = np.zeros(skeleton.shape, bool)
        keep = np.ones(len(flat), bool)
        keep[gone] = False
        left.ravel()[flat[keep]] = True
        flat = np.flatnonzero(thin(left))
    return graph_of(flat, skeleton.shape)


def _node_radius(graph: SkeletonGraph, depth: np.ndarray) -> np.ndarray:
    """Largest distance to the edge among the pixels of each junction, shape (J,)."""
    out = np.zeros(graph.n_nodes)
    member = graph.node >= 0
    np.maximum.at(out, graph.node[member], depth[graph.flat[member]])
    return out


def _merged(graph: SkeletonGraph, depth: np.ndarray) -> tuple[np.ndarray, np.ndarray, list[Branch]]:
    """Junctions made one where their circles touch: number and radius, and the branches that are left."""
    radius = _node_radius(graph, depth)
    parent = list(range(graph.n_nodes))

    def root(node: int) -> int:
        while parent[node] != node:
            node = parent[node]
        return node

    left = []
    for branch in graph.branches:
        a, b = branch.nodes
        if a < 0 or b < 0 or _length(graph, branch) + 2 > radius[a] + radius[b]:
            left.append(branch)
            continue
        narrowest = float(depth[graph.flat[branch.pixels]].min()) if branch.pixels else np.inf
        if a != b and narrowest < _NECK * min(radius[a], radius[b]):
            left.append(branch)
        elif a != b:
            parent[max(root(a), root(b))] = min(root(a), root(b))
    node = [root(k) for k in range(graph.n_nodes)]
    left = [branch for branch in left if not _is_slit(graph, branch, node, radius)]
    arms = _arms(left, node)
    for branch in list(left):
        a, b = branch.nodes
        if min(a, b) < 0 or root(a) == root(b):
            continue
        if _length(graph, branch) <= _CROSSING * (radius[a] + radius[b]) and _is_crossing(
            graph, branch, arms, node, radius
        ):
            parent[max(root(a), root(b))] = min(root(a), root(b))
            left.remove(branch)
    roots, number = np.unique([root(k) for k in range(graph.n_nodes)], return_inverse=True)
    largest = np.zeros(len(roots))
    np.maximum.at(largest, number, radius)
    return number, largest, left


def _is_slit(graph: SkeletonGraph, branch: Branch, node: list[int], radius: np.ndarray) -> bool:
    """Whether a branch leads from a junction made one back to it within its circle: round a wedge's tip."""
    a, b = branch.nodes
    if min(a, b) < 0 or a == b or node[a] != node[b]:
        return False
    return _length(graph, branch) <= 2 * max(radius[k] for k in range(len(node)) if node[k] == node[a])


def _arms(branches: list[Branch], node: list[int]) -> list[list[tuple[Branch, bool]]]:
    """Branches at each junction, and whether they start there; `node` says which junctions are one."""
    arms: list[list[tuple[Branch, bool]]] = [[] for _ in node]
    for branch in branches:
        for end, starts in zip(branch.nodes, (True, False), strict=True):
            if end >= 0:
                arms[node[end]].append((branch, starts))
    return arms


def _is_crossing(
    graph: SkeletonGraph,
    link: Branch,
    arms: list[list[tuple[Branch, bool]]],
    node: list[int],
    radius: np.ndarray,
) -> bool:
    """Whether a link is where two straight struts cross at a small angle: of the two arms at either end each
    goes on as one of the other end, straight and through the middle of the link."""
    if not link.pixels:
        return False
    middle = np.array(np.divmod(graph.flat[link.pixels[len(link.pixels) // 2]], graph.shape[1]), float)
    ways = []
    for end in link.nodes:
        others = [arm for arm in arms[node[end]] if arm[0] is not link]
        if len(others) != 2:
            return False
        found = [_way(graph, *arm, float(radius[end])) for arm in others]
        for at, way in found:
            off = abs((middle[0] - at[0]) * way[1] - (middle[1] - at[1]) * way[0])
            if not off < _OFF * radius[end]:
                return False
        ways.append([way for _, way in found])
    first, second = ways
    pairs = [-float(one @ other) for one in first for other in second]
    return min(pairs[0], pairs[3]) > _STRAIGHT or min(pairs[1], pairs[2]) > _STRAIGHT


def _way(graph: SkeletonGraph, arm: Branch, starts: bool, radius: float) -> tuple[np.ndarray, np.ndarray]:
    """A point of an arm beside its junction, and its direction away from there (row, col)."""
    pixels = arm.pixels if starts else arm.pixels[::-1]
    if len(pixels) < 2:
        return np.full(2, np.nan), np.full(2, np.nan)
    last = min(round(_TO * radius), len(pixels) - 1)
    first = min(round(_FROM * radius), last // 2)
    ends = np.column_stack(np.divmod(graph.flat[[pixels[first], pixels[last]]], graph.shape[1])).astype(float)
    way = ends[1] - ends[0]
    return ends[0], way / max(float(np.hypot(*way)), 1e-9)


def _lines(graph: SkeletonGraph, field: _Field) -> tuple[list[_Line], np.ndarray, np.ndarray, np.ndarray]:
    """Struts inside the picture, in its coordinates; row, column and radius of the junctions."""
    depth = field.distance.ravel()
    number, radius, branches = _merged(graph, depth)
    member = graph.node >= 0
    size = np.maximum(np.bincount(graph.node[member], minlength=graph.n_nodes), 1)
    node_row = np.bincount(graph.node[member], graph.row[member], graph.n_nodes) / size
    node_col = np.bincount(graph.node[member], graph.col[member], graph.n_nodes) / size
    lines: list[_Line] = []
    for branch in branches:
        row, col = (part.astype(float) for part in np.divmod(graph.flat[branch.pixels], graph.shape[1]))
        ends = [
            (node_row[n : n + 1], node_col[n : n + 1]) if n >= 0 else (row[:0], col[:0]) for n in branch.nodes
        ]
        row = np.concatenate([ends[0][0], row, ends[1][0]])
        col = np.concatenate([ends[0][1], col, ends[1][1]])
        if branch.closed:
            kinds = ("closed", "closed")
        else:
            kinds = (
                "junction" if branch.nodes[0] >= 0 else "end",
                "junction" if branch.nodes[1] >= 0 else "end",
            )
        a, b = (int(number[n]) if n >= 0 else -1 for n in branch.nodes)
        lines += _inside(row, col, kinds, (a, b), field)
    merged_size = np.maximum(np.bincount(number, minlength=len(radius)), 1)
    middle_row = np.bincount(number, node_row, len(radius)) / merged_size
    middle_col = np.bincount(number, node_col, len(radius)) / merged_size
    return lines, middle_row, middle_col, radius


def _inside(
    row: np.ndarray, col: np.ndarray, kinds: tuple[str, str], nodes: tuple[int, int], field: _Field
) -> list[_Line]:
    """The runs of a line that lie in the picture, smoothed; free ends continued to the edge of the mask."""
    half_width = float(np.median(field.radius(row, col))) if len(row) else 0.0
    row, col = _smooth_line(row, col, half_width, kinds[0] == "closed")
    within = field.inside(row, col)
    if within.all():
        runs = [(0, len(row))]
    else:
        change = np.flatnonzero(np.diff(np.concatenate([[False], within, [False]]).astype(int)))
        runs = list(zip(change[::2].tolist(), change[1::2].tolist(), strict=True))
    out = []
    for first, end in runs:
        whole = first == 0, end == len(row)
        kind = [kinds[k] if whole[k] else "frame" for k in (0, 1)]
        node = [nodes[k] if whole[k] else -1 for k in (0, 1)]
        if kind[0] == "closed" and kind[1] == "frame":
            kind[0] = "frame"
        r, c = row[first:end], col[first:end]
        for k in (0, 1):
            if kind[k] == "end":
                r, c, kind[k] = _to_the_edge(r, c, k, field)
        if np.hypot(np.diff(r), np.diff(c)).sum() >= _SHORTEST_PX or "junction" in kind:
            out.append(_Line(r, c, (kind[0], kind[1]), (node[0], node[1])))
    return out


def _smooth_line(
    row: np.ndarray, col: np.ndarray, half_width: float, closed: bool
) -> tuple[np.ndarray, np.ndarray]:
    """Gaussian along the line; its ends stay where they are (reflection through the end point)."""
    sigma = min(max(_SMOOTHING * half_width, _LEAST_SMOOTHING_PX), len(row) / 6)
    if len(row) < 5 or sigma < 0.5:
        return row, col
    reach = min(int(4 * sigma + 1), len(row) - 1)
    t = np.arange(-reach, reach + 1)
    kernel = np.exp(-0.5 * (t / sigma) ** 2)
    kernel /= kernel.sum()
    out = []
    for a in (row, col):
        if closed:
            wide = np.concatenate([a[-reach:], a, a[:reach]])
        else:
            before, after = 2 * a[0] - a[reach:0:-1], 2 * a[-1] - a[-2 : -reach - 2 : -1]
            wide = np.concatenate([before, a, after])
        out.append(np.convolve(wide, kernel, mode="valid"))
    return out[0], out[1]


def _to_the_edge(
    row: np.ndarray, col: np.ndarray, end: int, field: _Field
) -> tuple[np.ndarray, np.ndarray, str]:
    """A line continued straight from a free end until it leaves the metal or the picture."""
    r, c = (row[::-1], col[::-1]) if end == 0 else (row, col)
    back = min(len(r) - 1, max(4, round(float(field.radius(r[-1:], c[-1:])[0]))))
    step = np.array([r[-1] - r[-1 - back], c[-1] - c[-1 - back]]) if back > 0 else np.zeros(2)
    length = float(np.hypot(*step))
    kind = "end"
    if length > 0:
        farthest = int(3 * field.distance[round(float(r[-1])), round(float(c[-1]))]) + 2
        t = np.arange(1, farthest + 1) / length
        rr, cc = r[-1] + t * step[0], c[-1] + t * step[1]
        metal = field.radius(rr, cc) > 0
        stop = int(np.argmin(metal)) if not metal.all() else farthest
        within = field.inside(rr[:stop], cc[:stop])
        if not within.all():
            stop, kind = int(np.argmin(within)), "frame"
        r, c = np.concatenate([r, rr[:stop]]), np.concatenate([c, cc[:stop]])
    return (r[::-1], c[::-1], kind) if end == 0 else (r, c, kind)


def _assembled(
    found: tuple[list[_Line], np.ndarray, np.ndarray, np.ndarray] | None,
    field: _Field,
    parts: np.ndarray | None,
) -> Centrelines:
    """Lines numbered and put one after another, in coordinates of the picture."""
    lines, node_row, node_col, node_radius = found or ([], np.zeros(0), np.zeros(0), np.zeros(0))
    lines = sorted(lines, key=lambda line: (line.row[len(line.row) // 2], line.col[len(line.col) // 2]))
    row = np.concatenate([line.row for line in lines]) if lines else np.zeros(0)
    col = np.concatenate([line.col for line in lines]) if lines else np.zeros(0)
    used = sorted({node for line in lines for node in line.nodes if node >= 0})
    renumbered = {node: k for k, node in enumerate(used)} | {-1: -1}
    part = np.zeros(len(lines), int)
    if parts is not None and lines:
        middles = [(round(x.row[len(x.row) // 2]), round(x.col[len(x.col) // 2])) for x in lines]
        _, number = np.unique([parts[m] for m in middles], return_inverse=True)
        part = number + 1
    radius = field.radius(row, col) * field.reduced if lines else np.zeros(0)
    row, col = field.full(row, col)
    junction_row, junction_col = field.full(node_row[used], node_col[used])
    return Centrelines(
        row=row,
        col=col,
        radius=radius,
        start=np.concatenate([[0], np.cumsum([len(line.row) for line in lines])]).astype(int),
        end_kind=np.array([line.kinds for line in lines], dtype=str).reshape(-1, 2),
        end_node=np.array([[renumbered[n] for n in line.nodes] for line in lines], int).reshape(-1, 2),
        junction_row=junction_row,
        junction_col=junction_col,
        junction_radius=node_radius[used] * field.reduced,
        part=part,
    )
