"""Struts of one picture found and their stations placed: what every figure of them rests on."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.images import Micrograph
from surfscan.measurement.stations import Stations, place_stations
from surfscan.measurement.strut_edges import EdgeMoves, MovedEdges, move_edges, px_axes
from surfscan.measurement.strut_faults import Fault, find_faults
from surfscan.measurement.strut_widths import StrutWidths, measure_widths
from surfscan.preparation.region import specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.settings import StrutSettings
from surfscan.segmentation.centrelines import Centrelines, find_centrelines
from surfscan.segmentation.silhouette import Silhouette, find_silhouette


@dataclass(frozen=True)
class FoundStruts:
    """Everything measured on one picture of struts; lengths in px.

    Attributes
    ----------
    silhouette : Silhouette
    centrelines : Centrelines
    stations : Stations
    widths : StrutWidths
        With the scale's uncertainty in the intervals.
    widths_px : StrutWidths
        Without it.
    faults : list of Fault
    drawn_ends : int
        Free ends inside the field that were taken as drawn.
    frame : (row0, row1, col0, col1)
    region : ndarray of shape (M, N), bool
    """

    silhouette: Silhouette
    centrelines: Centrelines
    stations: Stations
    widths: StrutWidths
    widths_px: StrutWidths
    faults: list[Fault]
    drawn_ends: int
    frame: tuple[int, int, int, int]
    region: np.ndarray


def strut_field(
    image: Micrograph, settings: StrutSettings, region: np.ndarray | None
) -> tuple[tuple[int, int, int, int], np.ndarray]:
    """Frame without the data strip, and what may be looked at.

    Parameters
    ----------
    image : Micrograph
    settings : StrutSettings
    region : ndarray of shape (M, N) or None

    Returns
    -------
    frame : (row0, row1, col0, col1)
    mask : ndarray of shape (M, N), bool

    Raises
    ------
    InputError
        If the region does not fit or leaves nothing.
    """
    automatic = settings.data_strip == "auto"
    found = specimen_region(
        image.grey,
        mode="everything",
        given=region,
        strip=find_data_strip(image.grey) if automatic else None,
        overlays=image.overlays if automatic else (),
        path=image.source.path,
    )
    return found.frame, found.full_mask(image.shape)


def find_struts(
    image: Micrograph, settings: StrutSettings, frame: tuple[int, int, int, int], mask: np.ndarray
) -> FoundStruts:
    """Struts of a picture with their stations and widths.

    Parameters
    ----------
    image : Micrograph
    settings : StrutSettings
    frame : (row0, row1, col0, col1)
    mask : ndarray of shape (M, N), bool
        As `strut_field` gives them.

    Returns
    -------
    FoundStruts

    Raises
    ------
    NoStrutError
        Where there is none.
    """
    silhouette = find_silhouette(
        image.pixels,
        valid=None if mask.all() else mask,
        polarity=settings.polarity,
        holes=settings.holes,
    )
    centrelines = find_centrelines(silhouette.solid, frame=frame)
    stations = place_stations(
        silhouette, centrelines, calibration=image.calibration, pitch_px=settings.pitch_px, frame=frame
    )
    return _measured(image, settings, silhouette, centrelines, _clear_of(mask, stations), frame, mask)


def with_moved_edges(
    found: FoundStruts, image: Micrograph, settings: StrutSettings, moves: EdgeMoves
) -> tuple[FoundStruts, MovedEdges]:
    """The same struts with edges where a person put them, measured as those found are.

    Parameters
    ----------
    found : FoundStruts
        As the picture shows them.
    image : Micrograph
    settings : StrutSettings
    moves : EdgeMoves

    Returns
    -------
    found : FoundStruts
    moved : MovedEdges
    """
    moved = move_edges(
        found.stations,
        moves,
        axes=px_axes(image.calibration),
        silhouette=found.silhouette,
        centrelines=found.centrelines,
    )
    if moved.stations is found.stations:
        return found, moved
    own = _clear_of(found.region, moved.stations)
    whole = _measured(
        image,
        settings,
        found.silhouette,
        found.centrelines,
        own,
        found.frame,
        found.region,
        (found.widths, found.widths_px, moved.struts),
    )
    return whole, moved


def _measured(
    image: Micrograph,
    settings: StrutSettings,
    silhouette: Silhouette,
    centrelines: Centrelines,
    stations: Stations,
    frame: tuple[int, int, int, int],
    mask: np.ndarray,
    known: tuple[StrutWidths, StrutWidths, np.ndarray] | None = None,
) -> FoundStruts:
    """Widths and faults of stations, wherever their edges come from."""
    scale = image.calibration
    axes = px_axes(scale)
    edge = 0.0 if scale is None else settings.edge_uncertainty_um / stations.unit_um
    known_um, known_px, changed = known or (None, None, None)
    widths = measure_widths(
        stations,
        axes=axes,
        edge_uncertainty=edge,
        relative_scale_uncertainty=0.0 if scale is None else scale.relative_uncertainty,
        known=known_um,
        changed=changed,
    )
    widths_px = measure_widths(stations, axes=axes, edge_uncertainty=edge, known=known_px, changed=changed)
    faults, drawn_ends = find_faults(
        silhouette, centrelines, stations, widths.mean, region=mask, free_ends=settings.free_ends
    )
    return FoundStruts(silhouette, centrelines, stations, widths, widths_px, faults, drawn_ends, frame, mask)


def strut_labels(mask: np.ndarray, stations: Stations) -> np.ndarray:
    """Number of the strut that each metal pixel belongs to, by the nearest station.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool
    stations : Stations

    Returns
    -------
    ndarray of shape (M, N), int32
        0 off the metal, and everywhere where there are no stations.
    """
    import cv2

    labels = np.zeros(mask.shape, np.int32)
    if not len(stations.row):
        return labels
    row = np.clip(np.rint(stations.row), 0, mask.shape[0] - 1).astype(int)
    col = np.clip(np.rint(stations.col), 0, mask.shape[1] - 1).astype(int)
    free = np.ones(mask.shape, np.uint8)
    free[row, col] = 0
    _, nearest = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    strut = np.zeros(int(nearest.max()) + 1, np.int32)
    strut[nearest[row, col]] = stations.strut
    labels[mask] = strut[nearest[mask]]
    return labels


def _clear_of(region: np.ndarray, stations: Stations) -> Stations:
    """Stations with those left out whose edges lie where nothing may be looked at (a scale bar)."""
    import cv2

    if region.all() or not len(stations.s):
        return stations
    barred = cv2.dilate((~region).view(np.uint8), np.ones((7, 7), np.uint8), borderValue=0) > 0
    hit = np.zeros(len(stations.s), bool)
    for row, col in ((stations.left_row, stations.left_col), (stations.right_row, stations.right_col)):
        there = np.isfinite(row) & np.isfinite(col)
        r = np.clip(np.rint(np.where(there, row, 0)), 0, region.shape[0] - 1).astype(int)
        c = np.clip(np.rint(np.where(there, col, 0)), 0, region.shape[1] - 1).astype(int)
        hit |= there & barred[r, c]
    return replace(stations, fault=np.where(hit & (stations.fault == ""), "frame", stations.fault))
