"""Stations along struts: position, direction, both edges to sub-pixel, and the metal width between them."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from surfscan.columns import Table, conform
from surfscan.images import Calibration
from surfscan.measurement.edge_profiles import (
    BAND,
    Edges,
    Rays,
    find_edges,
    mask_edges,
    metal_on_line,
    sample,
)
from surfscan.measurement.edge_softness import hidden_layers
from surfscan.measurement.strut_lines import StrutLines
from surfscan.segmentation.centrelines import Centrelines
from surfscan.segmentation.silhouette import NoStrutError, Silhouette

PITCH_PX = 2.0
"""Distance between stations by default."""

LARGEST_PITCH_PX = 3.0

FAULTS = ("", "junction", "end", "frame", "no edge")
"""Why a station does not count towards a strut's widths; "" where it does."""

_REFINEMENTS = 3
_RISES = 1.02  # a width this much above the strut's own in the middle belongs to the fillet
_FARTHEST_FILLET = 2.5  # in radii of the circle inscribed at the junction
_FLARES, _CUT_FILLET_WIDTHS = 1.15, 1.5  # of a fillet that the frame cuts: widest over own width; its reach
_GLINT, _GLINT_PX = -0.12, 1  # share of the contrast beyond the background, mean over so far around, px
_GLINT_STATIONS = 3  # so many beside it are left out
_CORNER = 1.8  # radii of that circle within which corners look like product
_END_HALF_WIDTHS = 1.0  # a free end rounds off over this many half widths


@dataclass(frozen=True)
class Stations:
    """All stations of all struts, strut after strut; arrays of shape (n,).

    Lengths are in px; where pixels are not square, in px of the same area (side: root of the product of both
    sizes), so that `unit_um` turns every one of them into µm.

    Attributes
    ----------
    strut : ndarray, int
        Number of the strut, from 1.
    s : ndarray
        Distance along the centreline from the strut's start.
    row, col : ndarray
        Half-way between the edges; on the smoothed centreline where an edge is missing. Rows and columns.
    normal_deg : ndarray
        Direction of the line across, -90 (excluded) to 90, counter-clockwise from the row direction.
    left_row, left_col, right_row, right_col : ndarray
        Edges, to the left and right of the way along the strut; not-a-number where missing.
    width : ndarray
        Metal between the edges: their distance less what is open; not-a-number where an edge is missing.
    open_width : ndarray
        Width of through-pits between the edges.
    uncertainty : ndarray
        Standard uncertainty of `width` from noise and edge slope, independent from station to station beyond
        `correlation_length`.
    common_uncertainty : ndarray
        Standard uncertainty of `width` that all stations of a strut share: the levels on both sides.
    fault : ndarray, str
        See `FAULTS`.
    length : ndarray of shape (S,)
        Length of each strut's centreline, from node to node or to where it ends.
    pitch : float
    correlation_length : float
        Distance along a strut over which the uncertainties of stations are one, for its independent part.
    unit_um : float
        µm of one px; not-a-number where the scale is unknown.
    product : ndarray, bool
        Something of a grey of its own clings to an edge there; the width is that of the metal under it.
    mask_width : ndarray
        Width of the silhouette on the line across, 0 where that passes no metal; not-a-number where it has no
        edge near. What bounds the width where no edge was located.
    hidden : ndarray
        How much of the width may be a thin layer that blur hides (`surfscan.measurement.edge_softness`): 0
        where the edges are as sharp as the picture's sharper ones.
    warnings : tuple of str
    """

    strut: np.ndarray
    s: np.ndarray
    row: np.ndarray
    col: np.ndarray
    normal_deg: np.ndarray
    left_row: np.ndarray
    left_col: np.ndarray
    right_row: np.ndarray
    right_col: np.ndarray
    width: np.ndarray
    open_width: np.ndarray
    uncertainty: np.ndarray
    common_uncertainty: np.ndarray
    fault: np.ndarray
    length: np.ndarray
    pitch: float
    correlation_length: float
    unit_um: float
    product: np.ndarray = field(default_factory=lambda: np.zeros(0, bool))
    mask_width: np.ndarray = field(default_factory=lambda: np.zeros(0))
    hidden: np.ndarray = field(default_factory=lambda: np.zeros(0))
    hand_uncertainty: np.ndarray = field(default_factory=lambda: np.zeros(0))
    warnings: tuple[str, ...] = ()

    @property
    def n_struts(self) -> int:
        """Number of struts, those without any station included."""
        return len(self.length)

    def of(self, strut: int) -> slice:
        """Where the stations of a strut are."""
        first, end = np.searchsorted(self.strut, [strut, strut + 1])
        return slice(int(first), int(end))

    def table(self) -> Table:
        """The table "stations"."""
        unit = self.unit_um
        uncertainty = np.hypot(self.uncertainty, self.common_uncertainty)
        if len(self.hand_uncertainty):
            uncertainty = np.hypot(uncertainty, self.hand_uncertainty)
        return conform(
            "stations",
            {
                "strut": self.strut,
                "s_um": self.s * unit,
                "row_px": self.row,
                "col_px": self.col,
                "width_um": self.width * unit,
                "width_uncertainty_um": uncertainty * unit,
                "open_width_um": self.open_width * unit,
                "normal_deg": self.normal_deg,
                "left_row_px": self.left_row,
                "left_col_px": self.left_col,
                "right_row_px": self.right_row,
                "right_col_px": self.right_col,
                "near_junction": self.fault == "junction",
                "through_pit": self.open_width > 0,
                "product": self.product if len(self.product) else np.zeros(len(self.s), bool),
                "soft_edge": self.hidden > 0 if len(self.hidden) else np.zeros(len(self.s), bool),
                "fault": self.fault,
                "s_px": self.s,
                "width_px": self.width,
                "width_uncertainty_px": uncertainty,
                "open_width_px": self.open_width,
            },
        )


def place_stations(
    silhouette: Silhouette,
    centrelines: Centrelines,
    *,
    calibration: Calibration | None = None,
    pitch_px: float = PITCH_PX,
    frame: tuple[int, int, int, int] | None = None,
) -> Stations:
    """Stations along every strut.

    Parameters
    ----------
    silhouette : Silhouette
    centrelines : Centrelines
        Of `silhouette.solid`.
    calibration : Calibration, optional
        Pixel sizes; widths across a direction are right also where x and y differ.
    pitch_px : float
        Greatest distance between stations, above 0 and at most 3 px; each strut is divided evenly.
    frame : (row0, row1, col0, col1), optional
        Part of the picture that was looked at; an edge outside is missing.

    Returns
    -------
    Stations

    Raises
    ------
    ValueError
        If the pitch is out of range.
    NoStrutError
        If there is no strut, or no station with two edges on any.

    Notes
    -----
    Width is measured across the normal of the centreline, from edge to edge at half level on the picture.
    The centreline is the middle between the edges, found by measuring, moving and measuring again; its
    direction is that of parabolas fitted locally (Gaussian weights, standard deviation one strut width), in
    which stations whose width differs from the strut's own count less: a notch does not turn the line across.

    Where a notch passes the centreline, the width is that of the metal beside it on the line across; where
    what is open there goes beyond the background's grey by 12 % of the contrast (a glint at the rim), no edge
    is located.

    Stations inside the circle inscribed at a junction count as fillet ("junction"), and those beyond it as
    long as the width exceeds by 2 % and two standard uncertainties the median of the strut's middle half, at
    most to 2.5 radii. Where the frame cuts a strut of a mesh beside a junction, stations from there inwards
    that are as wide without a break, over at most 1.5 widths and by 15 % at the widest, are its fillet too
    (common practice, no source). Stations within one half width of a free end are "end".
    """
    if not 0 < pitch_px <= LARGEST_PITCH_PX:
        raise ValueError(f"pitch_px must be above 0 and at most {LARGEST_PITCH_PX:g}, got {pitch_px!r}")
    if not centrelines.n:
        raise NoStrutError(
            "Nowhere are there two edges with metal between them: a strut is wider than the field, or one of "
            "its edges lies outside it.",
            "Take the picture at a lower magnification, so that both edges of the strut show.",
        )
    shape = silhouette.mask.shape
    frame = frame or (0, shape[0], 0, shape[1])
    scale, unit_um = _scale(calibration)
    lines = StrutLines.from_centrelines(centrelines, scale)
    line = lines.at_pitch(pitch_px)
    solid = silhouette.solid
    for _ in range(_REFINEMENTS):
        left, right, _ = _both_edges(silhouette, solid, line, scale, frame, (0.0,))
        line = line.moved(left.distance, right.distance, pitch_px)
    left, right, across = _both_edges(silhouette, solid, line, scale, frame)
    stations = _collected(silhouette, centrelines, line, left, right, scale, unit_um, pitch_px)
    hidden = hidden_layers(
        (left.spread, right.spread),
        (left.distance, right.distance),
        stations.fault == "",
        stations.s,
        stations.strut,
    )
    stations = replace(
        stations, mask_width=across, hidden=hidden, warnings=(*stations.warnings, *_soft(hidden > 0))
    )
    if not (stations.fault == "").any():
        raise NoStrutError(
            "No part of the metal has two edges side by side, clear of junctions, free ends and the frame: "
            "it shows no strut that a width could be measured on.",
            "Check the outline and the polarity, or take a picture that shows more of the strut.",
        )
    return stations


def _scale(calibration: Calibration | None) -> tuple[tuple[float, float], float]:
    """Lengths of one column and one row in units of equal area, and that unit in µm."""
    if calibration is None:
        return (1.0, 1.0), float("nan")
    unit = float(np.sqrt(calibration.pixel_area_um2))
    return (calibration.pixel_size_x_um / unit, calibration.pixel_size_y_um / unit), unit


def _both_edges(
    silhouette: Silhouette,
    solid: np.ndarray,
    line: StrutLines,
    scale: tuple[float, float],
    frame: tuple[int, int, int, int],
    lines: tuple[float, ...] = BAND,
) -> tuple[Edges, Edges, np.ndarray]:
    """Edges to the left and right of every station, and the mask's width there: 0 where it has no metal."""
    start_margin, end_margin = _CORNER * line.margin[line.strut - 1].T
    clear = (line.s > start_margin) & (line.length[line.strut - 1] - line.s > end_margin)
    sides = [_rays(line, side, scale) for side in (1.0, -1.0)]
    metal = metal_on_line(solid, sides[0])
    glint = _beyond_background(silhouette, sides[0], metal != 0)
    metal = np.where(glint, np.nan, metal)
    starts = [mask_edges(solid, rays, at) for rays, at in zip(sides, (metal, -metal), strict=True)]
    across = starts[0] + starts[1]
    depth = np.where(np.isfinite(across), 0.5 * across, line.radius)
    left, right = (
        find_edges(silhouette.grey, silhouette.levels, rays, at, frame, lines=lines, clear=clear, depth=depth)
        for rays, at in zip(sides, starts, strict=True)
    )
    return left, right, np.where(np.isnan(metal) & ~glint, 0.0, across)


def _beyond_background(silhouette: Silhouette, rays: Rays, off: np.ndarray) -> np.ndarray:
    """Which centres off the metal lie in a glint that opens to the edge: beyond the background's own grey."""
    out = np.zeros(len(off), bool)
    at = np.flatnonzero(off)
    if at.size:
        t = np.arange(-_GLINT_PX, _GLINT_PX + 1)
        row, col = (
            a[at, None] + t * b[at, None] + t[:, None, None] * c[at, None]
            for a, b, c in (
                (rays.row, rays.step_row, rays.along_row),
                (rays.col, rays.step_col, rays.along_col),
            )
        )
        grey = np.mean([sample(silhouette.grey, r, c) for r, c in zip(row, col, strict=True)], axis=(0, 2))
        inside, outside = silhouette.levels.at(rays.row[at], rays.col[at])
        out[at] = (grey - outside) / (inside - outside) < _GLINT
        # Its blurred rim passes through the background's grey: all of a run is glint, and what is beside it.
        runs = np.cumsum(np.diff(off, prepend=False) | (np.diff(rays.order, prepend=0) != 0))
        out = off & np.isin(runs, runs[out])
        out = np.convolve(out, np.ones(2 * _GLINT_STATIONS + 1), "same") > 0
    return out


def _rays(line: StrutLines, side: float, scale: tuple[float, float]) -> Rays:
    if line.tangent is None:
        raise ValueError("stations are needed")
    tx, ty = line.tangent
    return Rays(
        row=line.y / scale[1],
        col=line.x / scale[0],
        step_row=-side * tx / scale[1],
        step_col=side * ty / scale[0],
        along_row=ty / scale[1],
        along_col=tx / scale[0],
        radius=line.radius,
        order=line.strut,
    )


def _collected(
    silhouette: Silhouette,
    centrelines: Centrelines,
    line: StrutLines,
    left: Edges,
    right: Edges,
    scale: tuple[float, float],
    unit_um: float,
    pitch_px: float,
) -> Stations:
    """Stations from the last measurement."""
    tx, ty = line.tangent if line.tangent is not None else np.zeros((2, 0))
    nx, ny = ty, -tx
    total = left.distance + right.distance
    good = np.isfinite(total)
    middle = np.where(good, 0.5 * (left.distance - right.distance), 0.0)
    row, col = (line.y + middle * ny) / scale[1], (line.x + middle * nx) / scale[0]
    rays = _rays(line, 1.0, scale)
    open_width = open_between(silhouette, rays, left.distance, right.distance)
    normal = np.degrees(np.arctan2(-ny, nx))
    normal = np.where(normal <= -90, normal + 180, np.where(normal > 90, normal - 180, normal))
    stations = Stations(
        strut=line.strut,
        s=line.s,
        row=row,
        col=col,
        normal_deg=normal,
        left_row=(line.y + left.distance * ny) / scale[1],
        left_col=(line.x + left.distance * nx) / scale[0],
        right_row=(line.y - right.distance * ny) / scale[1],
        right_col=(line.x - right.distance * nx) / scale[0],
        width=np.maximum(total - open_width, 0.0),
        open_width=open_width,
        uncertainty=np.hypot(left.uncertainty, right.uncertainty),
        common_uncertainty=left.level_shift + right.level_shift,
        fault=np.where(good, "", np.where(left.beyond_frame | right.beyond_frame, "frame", "no edge")).astype(
            "U8"
        ),
        length=line.length,
        pitch=pitch_px,
        correlation_length=max(3.0, pitch_px),
        unit_um=unit_um,
        product=left.product | right.product,
    )
    fault = _faults(stations, centrelines)
    return replace(stations, fault=fault, warnings=_warnings(stations.product & (fault == "")))


def _warnings(product: np.ndarray) -> tuple[str, ...]:
    count = int(np.count_nonzero(product))
    if not count:
        return ()
    return (
        f"At {count} stations something of a grey between metal and background clings to an edge: widths "
        "there are of the metal under it. Product of the metal's own grey would be measured as metal.",
    )


def _soft(soft: np.ndarray) -> tuple[str, ...]:
    count = int(np.count_nonzero(soft))
    if not count:
        return ()
    return (
        f"At {count} stations an edge is softer than the sharper edges of the picture: out of focus, or "
        "under a layer of product too thin to tell, which is then measured as metal. Lower limits of widths "
        "allow for such a layer of up to 70 % of the contrast; none that clings to most edges alike is "
        "seen.",
    )


def open_between(silhouette: Silhouette, rays: Rays, left: np.ndarray, right: np.ndarray) -> np.ndarray:
    """How much of the line between the edges is open, from the grey in and around through-pits, shape (n,).

    `rays` run to the left; `left` and `right`, shape (n,), are the distances of both edges from where they
    start, not-a-number where missing. px of the stations; 0 where less than 1.
    """
    out = np.zeros(len(left))
    if not silhouette.through_pits.any():
        return out
    near = cv2.dilate(silhouette.through_pits.view(np.uint8), np.ones((7, 7), np.uint8))
    step = 0.5
    for k in np.flatnonzero(np.isfinite(left) & np.isfinite(right)):
        t = np.arange(-right[k] + 1.0, left[k] - 1.0, step)
        row, col = rays.row[k] + t * rays.step_row[k], rays.col[k] + t * rays.step_col[k]
        r, c = np.rint(row).astype(int), np.rint(col).astype(int)
        hit = near[np.clip(r, 0, near.shape[0] - 1), np.clip(c, 0, near.shape[1] - 1)] != 0
        if not hit.any():
            continue
        inside, outside = silhouette.levels.at(row, col)
        grey = sample(silhouette.grey, row[None], col[None])[0]
        share = np.clip((grey - outside) / (inside - outside), 0, 1)
        opened = float(np.sum((1 - share)[hit]) * step)
        out[k] = opened if opened >= 1.0 else 0.0
    return out


def faults_anew(stations: Stations, centrelines: Centrelines, struts: np.ndarray) -> np.ndarray:
    """Fillets and free ends told anew on some struts, numbered from 1, after their widths have changed.

    Faults of all others stay. Shape (n,); see `FAULTS`.
    """
    own = np.isin(stations.strut, struts)
    told = np.isin(stations.fault, ("junction", "end"))
    seen = np.isfinite(stations.width)
    fault = np.where(own & told, np.where(seen, "", "no edge"), stations.fault).astype(stations.fault.dtype)
    return _faults(replace(stations, fault=fault), centrelines, struts)


def _faults(stations: Stations, centrelines: Centrelines, struts: np.ndarray | None = None) -> np.ndarray:
    """Faults with fillets and free ends added, on all struts or some."""
    fault = stations.fault.copy()
    in_mesh = set(centrelines.part[(centrelines.end_node >= 0).any(axis=1)].tolist())
    for strut in range(1, stations.n_struts + 1) if struts is None else struts.tolist():
        part = stations.of(strut)
        s, width, usable = stations.s[part], stations.width[part], stations.fault[part] == ""
        length = float(stations.length[strut - 1])
        if not usable.any():
            continue
        radii = [
            float(centrelines.junction_radius[node]) if node >= 0 else 0.0
            for node in centrelines.end_node[strut - 1]
        ]
        free = usable & (s > radii[0]) & (s < length - radii[1])
        own = _own_width(s, width, free if free.any() else usable)
        wide = ~usable | (width > _RISES * own + 2 * np.nan_to_num(stations.uncertainty[part]))
        for k, radius in enumerate(radii):
            along = s if k == 0 else length - s
            kind = centrelines.end_kind[strut - 1][k]
            if kind == "junction":
                near = (along <= radius) | _run_from(along, wide, radius, _FARTHEST_FILLET * radius)
                fault[part][near] = "junction"
            elif kind == "frame" and int(centrelines.part[strut - 1]) in in_mesh:
                near = _cut_fillet(along, np.where(usable, width, np.nan), wide, own)
                fault[part][near & np.isin(fault[part], ("", "no edge"))] = "junction"
            elif kind == "end":
                near = along <= _END_HALF_WIDTHS * own / 2
                fault[part][near & (fault[part] != "junction")] = "end"
    return fault


def _cut_fillet(along: np.ndarray, width: np.ndarray, wide: np.ndarray, own: float) -> np.ndarray:
    """Stations in the fillet of a junction at or beyond the frame: wide without a break from there inwards,
    and at the widest by 15 % or more."""
    seen = along[np.isfinite(width)]
    run = _run_from(along, wide, -1.0, float(seen.min()) + _CUT_FILLET_WIDTHS * own)
    flares = np.isfinite(width[run]).any() and float(np.nanmax(width[run])) > _FLARES * own
    return run if flares else np.zeros(len(along), bool)


def _own_width(s: np.ndarray, width: np.ndarray, free: np.ndarray) -> float:
    """Median width in the middle half of the part of a strut that is free of junctions."""
    low, high = s[free].min(), s[free].max()
    middle = free & (np.abs(s - (low + high) / 2) <= (high - low) / 4 + 1e-9)
    return float(np.median(width[middle if middle.any() else free]))


def _run_from(along: np.ndarray, wide: np.ndarray, near: float, far: float) -> np.ndarray:
    """Stations from `near` outwards that are wide without a break, none beyond `far`."""
    order = np.argsort(along)
    beyond = order[along[order] > near]
    run = np.cumprod(wide[beyond] & (along[beyond] <= far)).astype(bool)
    out = np.zeros(len(along), bool)
    out[beyond[run]] = True
    return out
