"""Loss of a whole mesh: with lost metal as zero width, and over what survives."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from surfscan.measurement.strut_matching import StrutMatch


@dataclass(frozen=True)
class MeshLoss:
    """Widths of a mesh against what it was; lengths in the unit of the widths.

    Attributes
    ----------
    width_before : float
        Mean over the compared length.
    width_with_lost : float
        Mean after, lost metal as zero.
    width_of_survivors : float
        Mean after, over metal that is left; not-a-number where none is.
    loss_with_lost, loss_of_survivors : float
        1 - after/before over the same places, 0 to 1.
    lost_fraction : float
        Share of the compared length without metal.
    struts_before, struts_missing : int
        Struts that could be compared, and those of them that are missing.
    """

    width_before: float
    width_with_lost: float
    width_of_survivors: float
    loss_with_lost: float
    loss_of_survivors: float
    lost_fraction: float
    struts_before: int
    struts_missing: int


def mesh_loss(match: StrutMatch) -> MeshLoss:
    """Loss of all compared places together.

    Parameters
    ----------
    match : StrutMatch

    Returns
    -------
    MeshLoss
        Not-a-number throughout where nothing was compared. Every place counts for its length.
    """
    nothing = float("nan")
    before, after, left, length = match.width_before, match.width_after, ~match.lost, match.length
    if not before.size:
        return MeshLoss(nothing, nothing, nothing, nothing, nothing, nothing, 0, 0)
    some = bool(left.any())
    return MeshLoss(
        width_before=float(np.average(before, weights=length)),
        width_with_lost=float(np.average(after, weights=length)),
        width_of_survivors=float(np.average(after[left], weights=length[left])) if some else nothing,
        loss_with_lost=1 - float((length @ after) / (length @ before)),
        loss_of_survivors=(
            1 - float((length[left] @ after[left]) / (length[left] @ before[left])) if some else nothing
        ),
        lost_fraction=float(length[~left].sum() / length.sum()),
        struts_before=len(np.unique(match.strut_before)),
        struts_missing=len(match.missing),
    )


def mean_with_gaps(mean_width: np.ndarray, length: np.ndarray, gaps: np.ndarray) -> float:
    """Mean width over length where gaps between ends that face each other count as zero width.

    Parameters
    ----------
    mean_width, length : ndarray of shape (S,)
        Of every strut; struts without a mean do not count.
    gaps : ndarray of shape (G,)
        Lengths of the gaps.

    Returns
    -------
    float
        Not-a-number where no strut has a mean.
    """
    known = np.isfinite(mean_width) & (length > 0)
    total = float(length[known].sum()) + float(np.sum(gaps))
    if not known.any() or total <= 0:
        return float("nan")
    return float((mean_width[known] * length[known]).sum()) / total
