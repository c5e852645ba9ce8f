"""Which corrections hold for an image as it is now, and what is to be said of those that do not."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from surfscan.errors import InputError
from surfscan.images import Calibration
from surfscan.store.corrections import Correction, Corrections, corrections_of, in_force, mask_fault
from surfscan.store.reviewers import plain_name

if TYPE_CHECKING:
    from surfscan.study.entries import ImageEntry, Study

SCALE = "scale"
REJECTED = "rejected"
"""Word for `decision` in the edits of a scale that nobody should go by."""

REVIEWABLE = ("pits", "degraded", "struts", "section")
"""Procedures whose result a person can correct."""


@dataclass(frozen=True)
class ImageReviews:
    """Corrections that hold for one image.

    Attributes
    ----------
    results : mapping of str to Correction
        By procedure, those of its result.
    scale : Calibration or None
        A scale that somebody confirmed, where study.toml states no pixel size.
    scale_from : Correction or None
        Who confirmed it, or who would not.
    bar_rejected : bool
        Whether somebody looked at the scale bar and would not have it: a scale read from it does not count.
    warnings : tuple of str
        What is on record and does not hold, and why.
    lost : tuple of str
        What of it was corrected and must be looked at again: the file changed, or the mask is gone.
    """

    results: Mapping[str, Correction] = field(default_factory=dict)
    scale: Calibration | None = None
    scale_from: Correction | None = None
    bar_rejected: bool = False
    warnings: tuple[str, ...] = ()
    lost: tuple[str, ...] = ()

    def decisive(self) -> dict[str, Any]:
        """What of the scale enters a fingerprint; empty where nobody looked at it."""
        if self.bar_rejected:
            return {"scale": "bar rejected"}
        return {} if self.scale is None else {"scale": self.scale.as_dict()}


def study_corrections(study: Study) -> Corrections:
    """Every correction of a study: see `surfscan.store.corrections.corrections_of`."""
    return corrections_of(study.folder, (image.image_id for image in study.images))


def reviews_on(
    study: Study,
    corrections: Corrections,
    image: ImageEntry,
    image_sha256: str | None,
    *,
    verify: bool = True,
) -> ImageReviews:
    """Corrections that hold for an image of this content.

    Parameters
    ----------
    study : Study
        Its table `review` says whose corrections count.
    corrections : Corrections
    image : ImageEntry
    image_sha256 : str or None
        SHA-256 of its file as it is, hex; None where that is not known, and taken to be as it was.
    verify : bool
        Whether masks are read to see that they are as saved, not only whether they are there.

    Returns
    -------
    ImageReviews
    """
    own = corrections.of_file(image.image_id, image_sha256)
    if not own:
        return ImageReviews()
    results: dict[str, Correction] = {}
    scale_from = None
    warnings: list[str] = []
    lost = []
    for procedure, saved in own.items():
        if procedure != SCALE and procedure not in image.procedures:
            warnings.append(
                f"{saved[-1].said} corrected {procedure}, which study.toml does not ask for here; the "
                "correction is kept and not used."
            )
            continue
        found = in_force(
            corrections,
            image.image_id,
            procedure,
            reviewer=study.review.in_force,
            image_sha256=image_sha256,
        )
        fault = mask_fault(found, verify=verify) if found else None
        if fault is not None:
            warnings.append(str(InputError(None, fault.fault, f"It is not used. {fault.remedy}")))
            lost.append(procedure)
        elif found is None:
            text, is_lost = _why_not(study, saved)
            warnings.append(text)
            lost += [procedure] if is_lost else []
        elif procedure == SCALE:
            scale_from = found
        else:
            results[procedure] = found
    scale, is_rejected = None, False
    if scale_from is not None:
        try:
            scale = confirmed_scale(scale_from)
        except InputError as error:
            warnings.append(str(InputError(scale_from.name, error.fault, error.remedy)))
            scale_from = None
        else:
            is_rejected = scale is None
    if image.pixel_size_um is not None and scale_from is not None:
        warnings += [] if scale is None else _stated_otherwise(image.pixel_size_um, scale)
        scale, scale_from, is_rejected = None, None, False
    return ImageReviews(results, scale, scale_from, is_rejected, tuple(warnings), tuple(lost))


def _why_not(study: Study, saved: tuple[Correction, ...]) -> tuple[str, bool]:
    """Why none of these saves holds, and whether it did once."""
    latest = saved[-1]
    what = "scale" if latest.procedure == SCALE else latest.procedure
    name = None if study.review.in_force is None else plain_name(study.review.in_force)
    if name is not None and all(each.reviewer != name for each in saved):
        text = (
            f"{what} was corrected by {latest.said}, and study.toml lets only corrections by {name} count; "
        )
        return f"{text}the automatic result is used.", False
    latest = [each for each in saved if name is None or each.reviewer == name][-1]
    text = (
        f"the file changed since {latest.said} corrected {what} ({latest.name}); the correction is kept and "
    )
    return f"{text}not used. Correct it again, or bring the old file back.", True


def _stated_otherwise(stated: tuple[float, float], confirmed: Calibration) -> list[str]:
    sizes = (confirmed.pixel_size_x_um, confirmed.pixel_size_y_um)
    if all(math.isclose(a, b, rel_tol=1e-3) for a, b in zip(stated, sizes, strict=True)):
        return []
    said, own = (" x ".join(f"{v:.5g}" for v in dict.fromkeys(pair)) for pair in (stated, sizes))
    return [
        f"study.toml states pixels of {said} µm, and the scale {confirmed.origin} is {own} µm; that of "
        "study.toml is used. Take pixel_size_um out where the confirmed scale is right."
    ]


def confirmed_scale(correction: Correction) -> Calibration | None:
    """The scale that a correction confirms; None where it rejects the one read from the bar.

    Raises
    ------
    InputError
        If it holds none.
    """
    edits = correction.edits
    if edits.get("decision") == REJECTED:
        return None
    try:
        return Calibration(
            float(edits["pixel_size_x_um"]),
            float(edits["pixel_size_y_um"]),
            float(edits["relative_uncertainty"]),
            f"confirmed by {correction.reviewer}",
        )
    except (KeyError, TypeError, ValueError) as error:
        raise InputError(
            correction.path, f"this confirmed scale cannot be used ({error})", "Confirm the scale again"
        ) from error


def with_scale(image: ImageEntry, scale: Calibration | None) -> ImageEntry:
    """The entry as if it stated the confirmed pixel size, so that all that goes with the image follows."""
    if scale is None:
        return image
    return image.model_copy(update={"pixel_size_um": (scale.pixel_size_x_um, scale.pixel_size_y_um)})


def told(correction: Correction) -> dict[str, Any]:
    """What the summary of a reviewed result says of its correction."""
    return {
        "file": correction.name,
        "sha256": correction.sha256,
        "reviewer": correction.reviewer,
        "saved_at": correction.saved_at,
        "reason": correction.reason,
    }


def is_of(summary: Mapping[str, Any], correction: Correction) -> bool:
    """Whether a result with this summary was made with this correction."""
    own = summary.get("correction")
    return isinstance(own, Mapping) and own.get("sha256") == correction.sha256
