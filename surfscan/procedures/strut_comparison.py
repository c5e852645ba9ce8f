"""Struts before and after: the pictures laid over each other, strut matched to strut."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.images import Calibration
from surfscan.measurement.mesh_loss import MeshLoss, mesh_loss
from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_matching import StrutMatch, match_struts
from surfscan.preparation.registration import Registration, register

_ONE_SCALE = 1e-6  # pixel sizes that agree to this share, from one origin, are one and the same scale


@dataclass(frozen=True)
class Comparison:
    """What a picture before adds; widths in px of the picture after.

    Attributes
    ----------
    registration : Registration
    match : StrutMatch
    loss : MeshLoss
    scale_uncertainty : float
        Relative standard uncertainty of a width after over a width before that comes from the scales: 0
        where both pictures have the same one.
    lengths_before : ndarray
        Length of each strut before, px of the picture after.
    width_before : ndarray
        Width before at every station after; not-a-number where it was not compared.
    width_before_uncertainty : ndarray of shape (S,)
        Standard uncertainty of the mean width before of each strut after, from noise and levels.
    """

    registration: Registration
    match: StrutMatch
    loss: MeshLoss
    scale_uncertainty: float
    lengths_before: np.ndarray
    width_before: np.ndarray
    width_before_uncertainty: np.ndarray


def compare(
    solid_before: np.ndarray,
    before: Stations,
    scale_before: Calibration | None,
    solid_after: np.ndarray,
    after: Stations,
    scale_after: Calibration | None,
    *,
    max_rotation_deg: float,
    max_shift_fraction: float,
    before_field: np.ndarray,
    after_field: np.ndarray,
    frame: tuple[int, int, int, int],
    path: str,
) -> tuple[Comparison | None, list[str]]:
    """Lay two pictures of one part over each other and compare them place by place.

    Parameters
    ----------
    solid_before, solid_after : ndarray of bool
        Silhouettes.
    before, after : Stations
    scale_before, scale_after : Calibration or None
        Where both are known the scale is held; otherwise it is fitted and widths before are brought to px
        after by it.
    max_rotation_deg, max_shift_fraction : float
        Limits of the search.
    before_field, after_field : ndarray of bool
        What was looked at.
    frame : (row0, row1, col0, col1)
        Frame of the picture after.
    path : str
        Picture before, for messages.

    Returns
    -------
    comparison : Comparison or None
        None where the position is not to be relied on.
    warnings : list of str
    """
    sizes = None
    if scale_before is not None and scale_after is not None:
        sizes = (
            (scale_before.pixel_size_x_um, scale_before.pixel_size_y_um),
            (scale_after.pixel_size_x_um, scale_after.pixel_size_y_um),
        )
    try:
        place = register(
            solid_before,
            solid_after,
            pixel_sizes_um=sizes,
            max_rotation_deg=max_rotation_deg,
            max_shift_fraction=max_shift_fraction,
            before_field=before_field,
            after_field=after_field,
        )
    except ValueError as fault:
        return None, [f"Nothing is compared with {path}: {fault}."]
    if not place.accepted:
        return None, [
            f"Nothing is compared with {path}: {place.fault}. Set before_max_rotation_deg and "
            "before_max_shift_fraction, or check that both show the same part."
        ]
    grown = float(np.sqrt(abs(np.linalg.det(place.matrix[:, :2]))))
    match = match_struts(
        before,
        after,
        place.to_after,
        solid_after,
        units=(grown, 1.0),
        frame=frame,
        uncertainty_px=place.worst_uncertainty_px,
    )
    warnings = []
    if len(match.outside):
        warnings.append(
            f"{len(match.outside)} struts of {path} lie outside this field, or mostly so: not compared."
        )
    width_before = np.full(len(after.s), np.nan)
    there = match.station_after >= 0
    width_before[match.station_after[there]] = match.width_before[there]
    if scale_before is None or scale_after is None:
        scale_uncertainty = place.scale_uncertainty
    elif _same_scale(scale_before, scale_after):
        scale_uncertainty = 0.0
    else:
        scale_uncertainty = float(
            np.hypot(scale_before.relative_uncertainty, scale_after.relative_uncertainty)
        )
    return (
        Comparison(
            registration=place,
            match=match,
            loss=mesh_loss(match),
            scale_uncertainty=scale_uncertainty,
            lengths_before=before.length * grown,
            width_before=width_before,
            width_before_uncertainty=_uncertainty_before(before, after.n_struts, match) * grown,
        ),
        warnings,
    )


def _same_scale(one: Calibration, other: Calibration) -> bool:
    return one.origin == other.origin and all(
        abs(a / b - 1) < _ONE_SCALE
        for a, b in (
            (one.pixel_size_x_um, other.pixel_size_x_um),
            (one.pixel_size_y_um, other.pixel_size_y_um),
        )
    )


def _uncertainty_before(before: Stations, n_after: int, match: StrutMatch) -> np.ndarray:
    """Of the mean width before along each strut after, px before."""
    from surfscan.measurement.strut_widths import measure_widths

    widths = measure_widths(before)
    own = np.hypot(widths.mean_random, widths.mean_common)
    out = np.full(n_after, np.nan)
    for k in range(n_after):
        struts = np.unique(match.strut_before[match.of_after(k + 1)])
        if struts.size:
            out[k] = float(np.nanmax(own[struts - 1]))
    return out
