"""A review as it begins: from the automatic result, or as somebody left it. No Qt; may run in a worker."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from surfscan.images import HeightMap
from surfscan.store.corrections import read_correction_mask

if TYPE_CHECKING:
    from surfscan.store.corrections import Correction
    from surfscan.study.reviews import OpenedImage


def start_review(
    opened: OpenedImage, procedure: str, result: Any, correction: Correction | None = None
) -> Any:
    """Begin a review of a result.

    Parameters
    ----------
    opened : OpenedImage
    procedure : "pits", "degraded" or "section"
    result : Result or StoredResult
        The automatic one.
    correction : Correction, optional
        A save to go on from: its mask and its marks are taken over as edits, which can be taken back.

    Returns
    -------
    PitReview or ClassReview
        On a height map prepared, so that depths follow the first edit at once.

    Raises
    ------
    InputError
        If a mask is missing or was changed.
    ValueError
        If result, correction and image do not belong together.
    """
    given = {role: opened.companions.get(role) for role in ("region", "datum")}
    if procedure == "pits":
        from surfscan.corrections.pit_review import PitReview

        review = PitReview.start(opened.image, result, region=given["region"], datum=given["datum"])
        if isinstance(opened.image, HeightMap):
            review.prepare()
    else:
        from surfscan.corrections.class_review import ClassReview

        review = ClassReview.start(opened.image, result)
    if correction is not None:
        _take_over(review, procedure, correction)
    return review


def _take_over(review: Any, procedure: str, correction: Correction) -> None:
    """Bring a review to where a save left it."""
    mask = read_correction_mask(correction).astype(review.labels.dtype)
    rows, cols = review.labels.shape
    if procedure == "pits":
        for mark, take in (("rejected", review.reject), ("unsure", review.mark_unsure)):
            pits = [pit for pit, said in correction.marks.items() if said == mark and pit in review.status]
            if pits:
                take(pits)
        before = review.corrected_labels()
    else:
        before = review.labels.copy()
    if (before != mask).any():
        review.paint_over(before, mask, (0, rows, 0, cols))
