"""Two reviewers of the same images side by side."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np

from surfscan.corrections.agreement import (
    Kappa,
    LimitsOfAgreement,
    ReviewAgreement,
    agree,
    bland_altman,
    cohens_kappa,
    verdicts,
)
from surfscan.errors import InputError
from surfscan.report.by_hand import CLASS_OF
from surfscan.report.records import FieldRecord
from surfscan.store.corrections import WITH_MASK, Correction, read_correction_mask


@dataclass(frozen=True)
class ImageAgreement:
    """What two people left of one image.

    Attributes
    ----------
    record : FieldRecord
    procedure : str
    first, second : Correction
    agreement : ReviewAgreement
    areas : (float, float)
        Share of the field that each left, 0 to 1; not-a-number where the field's area is not known.
    judged : (list of bool, list of bool)
        Verdicts on the automatic objects; empty where there are none.
    """

    record: FieldRecord
    procedure: str
    first: Correction
    second: Correction
    agreement: ReviewAgreement
    areas: tuple[float, float]
    judged: tuple[list[bool], list[bool]]


@dataclass(frozen=True)
class PairAgreement:
    """Two reviewers over all images of one procedure that both corrected.

    Attributes
    ----------
    procedure, first, second : str
    images : list of ImageAgreement
    kappa : Kappa or None
        Over the automatic objects of all of them; None where there are none to judge.
    limits : dict of str to LimitsOfAgreement
        By figure: "pit_count" and "area_fraction", over images; empty for one image.
    """

    procedure: str
    first: str
    second: str
    images: list[ImageAgreement]
    kappa: Kappa | None
    limits: dict[str, LimitsOfAgreement] = field(default_factory=dict)


def reviewer_agreement(
    records: Sequence[FieldRecord],
) -> tuple[list[PairAgreement], list[tuple[str, str]]]:
    """Every two reviewers who saved a mask of the same image, by procedure.

    Of each reviewer the latest save on the image counts, whether it is in force or not, as long as both
    looked at the same file.

    Returns
    -------
    pairs : list of PairAgreement
    faults : list of (str, str)
        Images that cannot be compared, and why.
    """
    found: dict[tuple[str, str, str], list[ImageAgreement]] = {}
    faults = []
    for record in records:
        for procedure, saved in record.saved.items():
            if procedure not in WITH_MASK:
                continue
            latest = {each.reviewer: each for each in saved}
            for first, second in combinations(latest.values(), 2):
                if first.image_sha256 != second.image_sha256:
                    continue
                try:
                    one = compare_two(record, procedure, first, second)
                except InputError as error:
                    faults.append((record.image_id, str(error)))
                    continue
                names = sorted((first.reviewer, second.reviewer))
                found.setdefault((procedure, names[0], names[1]), []).append(one)
    return [_pair(key, images) for key, images in found.items()], faults


def compare_two(record: FieldRecord, procedure: str, first: Correction, second: Correction) -> ImageAgreement:
    """Two corrections of one image; the reviewer whose name comes first is the first.

    Raises
    ------
    InputError
        If a mask is missing, was changed, or has another size than the other.
    """
    first, second = sorted((first, second), key=lambda each: each.reviewer)
    masks = [read_correction_mask(each) for each in (first, second)]
    if masks[0].shape != masks[1].shape:
        raise InputError(
            second.path, f"the masks of {first.said} and {second.said} differ in size", "Correct one again"
        )
    automatic = None
    if procedure in CLASS_OF:
        masks = [(mask == CLASS_OF[procedure]).astype(np.uint8) for mask in masks]
    else:
        stored = record.automatic_of(procedure)
        automatic = None if stored is None else stored.read_mask(procedure)
        if automatic is not None and automatic.shape != masks[0].shape:
            automatic = None
    judged: tuple[list[bool], list[bool]] = ([], [])
    if automatic is not None:
        judged = (
            verdicts(automatic, masks[0], first.marks),
            verdicts(automatic, masks[1], second.marks),
        )
    agreement = agree(masks[0], masks[1], automatic, first_marks=first.marks, second_marks=second.marks)
    field_px = next(
        (v for n in ("field_area_px", "region_area_px") if not math.isnan(v := record.figure(procedure, n))),
        math.nan,
    )
    areas = (np.count_nonzero(masks[0]) / field_px, np.count_nonzero(masks[1]) / field_px)
    return ImageAgreement(record, procedure, first, second, agreement, areas, judged)


def _pair(key: tuple[str, str, str], images: list[ImageAgreement]) -> PairAgreement:
    procedure, first, second = key
    kappa = None
    if procedure not in CLASS_OF:
        kappa = cohens_kappa(*([v for one in images for v in one.judged[k]] for k in (0, 1)))
        kappa = kappa if kappa.count else None
    limits = {}
    if len(images) > 1:
        if procedure not in CLASS_OF:
            limits["pit_count"] = bland_altman(
                *([getattr(one.agreement, n) for one in images] for n in ("first_count", "second_count"))
            )
        limits["area_fraction"] = bland_altman(*([one.areas[k] for one in images] for k in (0, 1)))
    return PairAgreement(procedure, first, second, images, kappa, limits)
