"""What a loss of struts and sections needs: drawn sizes that agree, scales, something to compare with."""

from __future__ import annotations

from typing import TYPE_CHECKING

from surfscan.calibration.metadata import REMEDY
from surfscan.procedures.settings import SectionSettings, StrutSettings
from surfscan.study.entries import COMPANIONS, ImageEntry

if TYPE_CHECKING:
    from surfscan.images import HeightMap, Micrograph

_IN_UM = ("drawn_width_um", "drawn_thickness_um", "drawn_top_width_um", "thickness_um", "original_area_um2")
_OWN_LOSS = ("before", "twin")
_SHOWN_BY = {"before": None, "side_view": "strut", "thickness_map": "heights", "twin": "section"}
"""Role of a companion -> what it shows; None: what its image shows."""
USUAL_SIZE_UM = (20.0, 5000.0)
"""Drawn sizes of thin parts beyond this are asked about (common practice, no source)."""


def shape_fault(settings: StrutSettings | SectionSettings) -> tuple[str, str, str] | None:
    """What is wrong with the drawn sizes taken together: the setting, what, remedy; None where they fit.

    Parameters
    ----------
    settings : StrutSettings or SectionSettings
        With the sizes of the specimen in their place: each may be sound and the whole not.
    """
    width, top = settings.drawn_width_um, settings.drawn_top_width_um
    if settings.drawn_shape != "trapezoid":
        if top is None:
            return None
        return (
            "drawn_top_width_um",
            f"drawn_top_width_um belongs to a trapezoid, and drawn_shape is {settings.drawn_shape!r}",
            'Take it out, or write drawn_shape = "trapezoid"',
        )
    needed = {
        "the width of the wider face": width,
        "the thickness": settings.drawn_thickness_um,
        "the width of the narrower face (drawn_top_width_um)": top,
    }
    missing = [name for name, size in needed.items() if size is None]
    if missing:
        return (
            "drawn_shape",
            f"a trapezoid is drawn without {' and '.join(missing)}",
            "Add it, or write another drawn_shape",
        )
    if top is not None and width is not None and top > width:
        return (
            "drawn_top_width_um",
            f"the narrower face, {top:g} µm, is wider than the wider one, {width:g} µm",
            "Write the wider face of the trapezoid as the width",
        )
    return None


def unusual_sizes(settings: StrutSettings | SectionSettings) -> list[tuple[str, str, str]]:
    """Drawn sizes that look like another unit: the setting, what, remedy."""
    low, high = USUAL_SIZE_UM
    return [
        (
            name,
            f"a drawn size of {size:g} µm is {'small' if size < low else 'large'} for a thin part",
            "Write it in µm (0.25 mm is 250), or leave it if it is meant",
        )
        for name in ("drawn_width_um", "drawn_thickness_um", "drawn_top_width_um")
        if (size := getattr(settings, name)) is not None and not low <= size <= high
    ]


def companion_entry_fault(image: ImageEntry, role: str, entry: ImageEntry | None) -> tuple[str, str] | None:
    """What is wrong with a companion that the study also measures as an image: (what, remedy).

    Parameters
    ----------
    image : ImageEntry
    role : str
    entry : ImageEntry or None
        The study's own entry of the companion's file; None where it has none.
    """
    if entry is None or role not in _SHOWN_BY:
        return None
    shown = _SHOWN_BY[role] or image.kind
    if entry.kind != shown:
        return (
            f"as {COMPANIONS[role]} it is to show {shown!r}, and this study measures it as {entry.kind!r}",
            "Name the file that was meant, or correct its shows",
        )
    if role != "twin" and entry.specimen != image.specimen:
        return (
            f"as {COMPANIONS[role]} of {image.specimen!r} it is to show that specimen, and this study "
            f"measures it as one of {entry.specimen!r}",
            "Name the file that was meant, or correct its specimen",
        )
    return None


def needs_scale(settings: StrutSettings | SectionSettings) -> bool:
    """Whether a size in µm is stated, which a picture without a scale has no use for."""
    return any(getattr(settings, name, None) is not None for name in _IN_UM)


def no_loss(image: ImageEntry, settings: StrutSettings | SectionSettings) -> tuple[str, str] | None:
    """What an image cannot tell for want of something to compare it with, and a remedy; None where it can."""
    if settings.drawn_width_um is not None or any(role in image.companions() for role in _OWN_LOSS):
        return None
    if isinstance(settings, StrutSettings):
        return (
            "shows struts without a drawn width or a picture before exposure, so that no loss can be told",
            'Add drawn_strut_width_um to the specimen, or before = "..." to the image',
        )
    if settings.original_area_um2 is not None:
        return None
    return (
        "shows a section without a drawn size, a picture before exposure or an unexposed twin, so that its "
        "original outline can only be guessed from the product",
        'Add drawn_strut_width_um to the specimen, or before = "..." or twin = "..." to the image',
    )


def companion_doubts(
    image: ImageEntry, opened: Micrograph | HeightMap, role: str, companion: Micrograph | HeightMap
) -> list[tuple[str, str]]:
    """What is doubtful about a picture or a height map that belongs to an image: (what, remedy) each.

    Parameters
    ----------
    image : ImageEntry
    opened : Micrograph or HeightMap
        The image itself.
    role : str
        "before", "side_view", "thickness_map" or "twin".
    companion : Micrograph or HeightMap
    """
    found = [
        (text.strip().removesuffix("."), "See whether it matters here")
        for text in companion.warnings
        if not text.endswith(REMEDY)
    ]
    unscaled = companion.calibration is None
    state = "State pixel_size_um where both have one, or bring the scale into the file"
    if role == "side_view" and unscaled:
        found.append(("no scale, so that no thickness can be taken from it", state))
    elif role == "before" and image.kind == "strut" and (unscaled or opened.calibration is None):
        whose = "no scale" if unscaled else f"{image.file} has no scale"
        found.append((f"{whose}: how much the two differ in size is fitted, not known", state))
    elif role in _OWN_LOSS and unscaled != (opened.calibration is None):
        whose = "no scale" if unscaled else f"{image.file} has no scale"
        found.append((f"{whose}: both are taken to have pixels of one size", state))
    return found


def is_the_image_itself(opened: Micrograph | HeightMap, companion: Micrograph | HeightMap) -> bool:
    """Whether a companion has the very bytes of its image: compared with itself nothing is ever lost."""
    ours, theirs = opened.source, companion.source
    return (ours.sha256, ours.page or 0) == (theirs.sha256, theirs.page or 0)
