"""How two pictures of the same struts lie on each other, by their centrelines.

Outlines recede where metal is lost, and a scale fitted to them takes that for shrinkage. Centrelines stay
where they are while both edges lose alike.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from surfscan.measurement.stations import Stations
from surfscan.preparation.registration import Registration

_PRIOR = 0.05  # standard uncertainty of the logarithm of a scale that outlines alone were fitted by
_ROUNDS = 4
_NEAR_WIDTHS, _NEAR_PX = 0.5, 3.0  # stations after this near are looked at
_ROBUST = 2.5  # residuals beyond so many of their spreads count little
_LEAST = 12  # stations
_TOGETHER_WIDTHS = 2.0  # length along a strut, in widths, over which its centreline shifts as one
_LEAST_SPREAD_PX = 0.02


def placed_by_centrelines(
    place: Registration, before: Stations, after: Stations, shape_before: tuple[int, ...]
) -> Registration:
    """A position whose scale was fitted to outlines, fitted anew to centrelines.

    Parameters
    ----------
    place : Registration
    before, after : Stations
        Those that count are used.
    shape_before : tuple of int
        Rows and columns of the picture before.

    Returns
    -------
    Registration
        With rotation, shift and scale such that centrelines before lie on those after, by least squares of
        the distances across (robust weights), and the standard uncertainty of the scale from their scatter;
        stations within two widths of each other count as one. What centrelines do not say of the scale (of
        one straight strut nothing) is held to 5 % of that of the outlines, the uncertainty that is then
        given. Common practice, no source.
    """
    was, now = (np.flatnonzero((s.fault == "") & np.isfinite(s.width)) for s in (before, after))
    if min(len(was), len(now)) < _LEAST:
        return replace(place, scale_uncertainty=max(place.scale_uncertainty, _PRIOR))
    points = np.column_stack([before.col[was], before.row[was]])
    angle = np.radians(after.normal_deg[now])
    normals = np.column_stack([np.cos(angle), -np.sin(angle)])
    lines = np.column_stack([after.col[now], after.row[now]])
    from scipy.spatial import cKDTree

    tree = cKDTree(lines)
    width = float(np.median(after.width[now]))
    matrix, grown, turned = place.matrix.copy(), 0.0, 0.0
    information = np.zeros((4, 4))
    for _ in range(_ROUNDS):
        at = points @ matrix[:, :2].T + matrix[:, 2]
        away, nearest = tree.query(at)
        near = away < max(_NEAR_WIDTHS * width, _NEAR_PX)
        if np.count_nonzero(near) < _LEAST:
            return replace(place, scale_uncertainty=max(place.scale_uncertainty, _PRIOR))
        x, n = at[near], normals[nearest[near]]
        centre = x.mean(axis=0)
        off = np.sum(n * (lines[nearest[near]] - x), axis=1)
        out = x - centre
        effects = np.column_stack([np.sum(n * out, axis=1), n[:, 1] * out[:, 0] - n[:, 0] * out[:, 1], n])
        spread = max(1.4826 * float(np.median(np.abs(off - np.median(off)))), _LEAST_SPREAD_PX)
        weight = 1 / (1 + ((off - np.median(off)) / (_ROBUST * spread)) ** 2)
        variance = max(float(np.sum(weight * off**2) / weight.sum()), _LEAST_SPREAD_PX**2)
        together = max(1.0, _TOGETHER_WIDTHS * width * len(now) / max(float(after.length.sum()), 1.0))
        information = effects.T @ (weight[:, None] * effects) / (variance * together)
        pull = effects.T @ (weight * off) / (variance * together)
        information[0, 0] += 1 / _PRIOR**2
        pull[0] -= grown / _PRIOR**2
        # A direction that nothing speaks of (along parallel struts) stays.
        step = np.linalg.pinv(information, rcond=1e-9, hermitian=True) @ pull
        grown, turned = grown + float(step[0]), turned + float(step[1])
        c, s = math.exp(step[0]) * math.cos(step[1]), math.exp(step[0]) * math.sin(step[1])
        by = np.array([[c, -s], [s, c]])
        matrix = np.column_stack([by @ matrix[:, :2], by @ (matrix[:, 2] - centre) + centre + step[2:]])
    middle = (np.array(shape_before[1::-1]) - 1) / 2
    moved = matrix[:, :2] @ middle + matrix[:, 2] - middle
    known = float(np.linalg.pinv(information, rcond=1e-9, hermitian=True)[0, 0])
    return replace(
        place,
        matrix=matrix,
        rotation_deg=place.rotation_deg - math.degrees(turned),
        scale=place.scale * math.exp(grown),
        shift_px=(float(moved[1]), float(moved[0])),
        scale_uncertainty=math.sqrt(known),
    )
