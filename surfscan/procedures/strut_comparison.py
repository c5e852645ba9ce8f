"""Struts before and after: the pictures laid over each other, strut matched to strut."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from surfscan.images import Calibration
from surfscan.measurement.mesh_loss import MeshLoss, mesh_loss
from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_matching import StrutMatch, match_struts
from surfscan.measurement.strut_placing import placed_by_centrelines
from surfscan.measurement.strut_sliding import (
    common_direction,
    free_direction,
    match_sliding,
    stretch_uncertainty,
)
from surfscan.preparation.registration import Registration, register

_LEVELS_APART = 1.0  # per cent of the contrast by which each picture's half level may be off
_DOUBTFUL_SCALE = 0.005  # relative standard uncertainty of a fitted scale from which on it is worth a warning
_LITTLE_COMPARED = 0.8  # share of the counted length below which it is worth a warning
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
    levels_apart : ndarray of shape (S,)
        Standard uncertainty of the difference of a strut's mean widths that comes from focus and light, which
        two pictures never share: each half level off by 1 per cent of the contrast, independently (declared,
        common practice, no source).
    stretches_apart : ndarray of shape (S,)
        Standard uncertainty of the difference of a strut's mean widths from their being of two stretches:
        above 0 only where a straight strut can slide along itself.
    """

    registration: Registration
    match: StrutMatch
    loss: MeshLoss
    scale_uncertainty: float
    lengths_before: np.ndarray
    width_before: np.ndarray
    width_before_uncertainty: np.ndarray
    levels_apart: np.ndarray
    stretches_apart: np.ndarray

    @property
    def places(self) -> np.ndarray:
        """Places compared on each strut after, shape (S,), int."""
        return np.bincount(self.match.strut_after, minlength=len(self.levels_apart) + 1)[1:]

    def with_widths(self, after: Stations) -> Comparison:
        """The same places with widths after that have changed, those that no longer count left out.

        Parameters
        ----------
        after : Stations
            Of the same struts; where none changed, the comparison stays as it is.

        Returns
        -------
        Comparison
        """
        there = self.match.station_after >= 0
        station = self.match.station_after[there]
        counts = (after.fault[station] == "") & np.isfinite(after.width[station])
        if counts.all() and np.array_equal(after.width[station], self.match.width_after[there]):
            return self
        width = self.match.width_after.copy()
        width[there] = after.width[station]
        keep = ~there
        keep[there] = counts
        along = (name for name in self.match.__dataclass_fields__ if name not in ("missing", "outside"))
        changed = {name: getattr(self.match, name)[keep] for name in along}
        match = replace(self.match, **changed | {"width_after": width[keep]})
        sliding = not self.loss.struts_before
        return replace(self, match=match, loss=mesh_loss(match.of_none() if sliding else match))


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
        Where both are known the scale is held; otherwise it is fitted to the centrelines and widths before
        are brought to px after by it.
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
        None where the position is not to be relied on. Of one straight strut that can slide along itself the
        mean widths are compared (`surfscan.measurement.strut_sliding`); widths before of stations and lost
        metal are then not known.
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
    free = free_direction(place, before, after)
    if free is None and not place.accepted:
        return None, [f"Nothing is compared with {path}: {_refusal(place, after)}"]
    if sizes is None:
        place = placed_by_centrelines(place, before, after, solid_before.shape)
    grown = float(np.sqrt(abs(np.linalg.det(place.matrix[:, :2]))))
    warnings = []
    stretches = np.zeros(after.n_struts)
    if free is None:
        match = match_struts(
            before,
            after,
            place.to_after,
            solid_after,
            units=(grown, 1.0),
            frame=frame,
            uncertainty_px=place.worst_uncertainty_px,
        )
        loss = mesh_loss(match)
        warnings += _little_compared(match, after, path)
    else:
        match = match_sliding(before, after, units=(grown, 1.0))
        loss = mesh_loss(match.of_none())
        stretches[0] = np.hypot(stretch_uncertainty(before) * grown, stretch_uncertainty(after))
        warnings.append(
            f"The strut is straight, or nearly, and may lie anywhere along itself on {path} "
            f"({round(free)} degrees, counter-clockwise from the image row direction): its mean widths on "
            "the two pictures are compared, not place by place, and what the two stretches may differ by is "
            "in the interval. For loss at every place take both pictures with an end, a junction or a mark "
            "in the field."
        )
    if len(match.outside):
        some = "1 strut" if len(match.outside) == 1 else f"{len(match.outside)} struts"
        warnings.append(f"Outside this field, or mostly so, and not compared: {some} of {path}.")
    if sizes is None and place.scale_uncertainty > _DOUBTFUL_SCALE:
        warnings.append(
            f"How large {path} is beside this picture was fitted to the centrelines, to "
            f"{100 * place.scale_uncertainty:.1f} % only, and loss is no surer: give both pixel sizes."
        )
    width_before = np.full(len(after.s), np.nan)
    there = (match.station_after >= 0) & (free is None)
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
            loss=loss,
            scale_uncertainty=scale_uncertainty,
            lengths_before=before.length * grown,
            width_before=width_before,
            width_before_uncertainty=_uncertainty_before(before, after.n_struts, match) * grown,
            levels_apart=_levels_apart(before, after, match, grown),
            stretches_apart=stretches,
        ),
        warnings,
    )


def _refusal(place: Registration, after: Stations) -> str:
    """Why a position is not relied on, and what helps."""
    direction = common_direction(after)
    if place.rivals and direction is not None:
        return (
            f"all struts run one way ({round(direction)} degrees, counter-clockwise from the image row "
            "direction) and fit anywhere along it. Take both pictures with an end, a junction or a mark in "
            "the field."
        )
    return (
        f"{place.fault}. Set before_max_rotation_deg and before_max_shift_fraction in a settings file, or "
        "check that both show the same part."
    )


def _little_compared(match: StrutMatch, after: Stations, path: str) -> list[str]:
    """Says where much of the length that counts could not be compared."""
    counted = int(np.count_nonzero((after.fault == "") & np.isfinite(after.width)))
    share = int(np.count_nonzero(~match.lost)) / max(counted, 1)
    if share >= _LITTLE_COMPARED:
        return []
    return [
        f"Only {100 * share:.0f} % of the length that counts on this picture counts on {path} too, and loss "
        "is over that (compared_length_um in the table struts): take both pictures of the same field, and "
        "as sharp."
    ]


def _same_scale(one: Calibration, other: Calibration) -> bool:
    return one.origin == other.origin and all(
        abs(a / b - 1) < _ONE_SCALE
        for a, b in (
            (one.pixel_size_x_um, other.pixel_size_x_um),
            (one.pixel_size_y_um, other.pixel_size_y_um),
        )
    )


def _levels_apart(before: Stations, after: Stations, match: StrutMatch, grown: float) -> np.ndarray:
    """Of the difference of mean widths of each strut after, px after."""
    shift = np.full(len(after.s), np.nan)
    usable = after.fault == ""
    shift[usable] = after.common_uncertainty[usable]
    known = (before.fault == "") & np.isfinite(before.common_uncertainty)
    was = float(np.median(before.common_uncertainty[known])) * grown if known.any() else 0.0
    out = np.full(after.n_struts, np.nan)
    for k in range(after.n_struts):
        own = shift[after.of(k + 1)]
        if np.isfinite(own).any() and match.of_after(k + 1).any():
            out[k] = _LEVELS_APART * np.hypot(float(np.nanmean(own)), was)
    return out


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
