"""The files that one image entry names, opened as the entry says."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from surfscan.errors import InputError
from surfscan.study.entries import ImageEntry
from surfscan.study.reviewed import ImageReviews, reviews_on, with_scale

if TYPE_CHECKING:
    import numpy as np

    from surfscan.images import HeightMap, Micrograph
    from surfscan.store.corrections import Corrections
    from surfscan.study.entries import Study

_PICTURES = ("before", "side_view", "twin")
BAR_ORIGIN = "scale bar"
"""How the origin of a calibration begins that was read from a bar."""

SAY_WHAT_IT_SHOWS = 'Add shows = "heights", or shows = "surface" if its numbers are brightness'


def open_entry(
    folder: Path, image: ImageEntry, reviews: ImageReviews | None = None, *, read_bar: bool = True
) -> Micrograph | HeightMap:
    """Open the image of an entry: a height map where the entry says so, else a picture.

    Parameters
    ----------
    folder : Path
        Folder of the study.
    image : ImageEntry
    reviews : ImageReviews, optional
        A scale that somebody confirmed stands in place of what the file says; one read from a scale bar that
        somebody rejected does not count.
    read_bar : bool, optional
        Whether a scale bar is looked for: no need where only the pixels are wanted.

    Returns
    -------
    Micrograph or HeightMap
        Its source names the file as the manifest does: results do not depend on where the study stands.

    Raises
    ------
    InputError
        If the file cannot be opened as such, or holds heights and the entry does not say what it shows.
    """
    from surfscan.images import HeightMap
    from surfscan.opening import open_image

    path = folder / image.file
    reviews = reviews or ImageReviews()
    image = with_scale(image, reviews.scale)
    opened: Micrograph | HeightMap
    if image.kind == "heights":
        opened = _open_heights(path, image, image.page)
    else:
        opened = open_image(
            path,
            page=image.page,
            kind="micrograph" if image.shows else None,
            pixel_size_um=_size(image),
            read_bar=read_bar,
        )
        if isinstance(opened, HeightMap):
            raise InputError(path, "the file holds heights, not brightness", SAY_WHAT_IT_SHOWS)
    if reviews.scale is not None:
        opened = replace(opened, calibration=reviews.scale)
    elif reviews.bar_rejected and opened.calibration and opened.calibration.origin.startswith(BAR_ORIGIN):
        said = f"{reviews.scale_from.said} rejected" if reviews.scale_from else "Somebody rejected"
        text = f"{said} the scale read from the bar, and no other is known."
        opened = replace(opened, calibration=None, warnings=(*opened.warnings, text))
    return replace(opened, source=replace(opened.source, path=image.file))


def open_reviewed(
    study: Study, image: ImageEntry, corrections: Corrections
) -> tuple[Micrograph | HeightMap, ImageReviews]:
    """Open the image of an entry with the scale that somebody confirmed for this very file.

    Returns
    -------
    image : Micrograph or HeightMap
    reviews : ImageReviews
        All corrections that hold for it.

    Raises
    ------
    InputError
        As `open_entry`.
    """
    opened = open_entry(study.folder, image)
    reviews = reviews_on(study, corrections, image, opened.source.sha256)
    return (open_entry(study.folder, image, reviews) if reviews.decisive() else opened), reviews


def open_companion(
    folder: Path, image: ImageEntry, opened: Micrograph | HeightMap, role: str
) -> np.ndarray | HeightMap | Micrograph:
    """Open one file that belongs to an opened image.

    Parameters
    ----------
    folder : Path
    image : ImageEntry
    opened : Micrograph or HeightMap
        The image itself.
    role : str
        One that the entry names (see `surfscan.study.entries.COMPANIONS`).

    Returns
    -------
    ndarray of shape (M, N), bool, or HeightMap, or Micrograph
        Masks; height maps ("unexposed", "thickness_map"); pictures ("before", "side_view", "twin"), each with
        its own scale, and with the pixel size that the entry states only where its file states none.

    Raises
    ------
    InputError
        If it cannot be opened, does not fit the image, or marks nothing.
    """
    from surfscan.opening import open_mask

    name = image.companions()[role]
    path = folder / name
    if role == "unexposed":
        unexposed = _on_the_same_grid(path, _open_heights(path, image, None), opened)
        return replace(unexposed, source=replace(unexposed.source, path=name))
    if role in _PICTURES:
        picture = _open_picture(path, image)
        return replace(picture, source=replace(picture.source, path=name))
    if role == "thickness_map":
        heights = _open_own_heights(path)
        return replace(heights, source=replace(heights.source, path=name))
    inside = open_mask(path, opened.shape)
    if not inside.any():
        what, marked = ("specimen", "the specimen") if role == "region" else ("datum", "what was covered")
        raise InputError(path, f"the mask marks no {what}", f"Draw {marked} with values above 0")
    return inside


def _open_picture(path: Path, image: ImageEntry) -> Micrograph:
    """A picture with its own scale; with the entry's pixel size where its file states none."""
    from surfscan.images import Micrograph
    from surfscan.opening import open_image

    opened = open_image(path, kind="micrograph")
    if opened.calibration is None and image.pixel_size_um is not None:
        opened = open_image(path, kind="micrograph", pixel_size_um=_size(image))
    if not isinstance(opened, Micrograph):
        raise InputError(path, "the file holds heights, not a picture", "Name a picture in study.toml")
    return opened


def _open_own_heights(path: Path) -> HeightMap:
    """A height map of something else than the image: with its own scale."""
    from surfscan.images import HeightMap
    from surfscan.opening import open_image

    opened = open_image(path, kind="heightmap")
    if not isinstance(opened, HeightMap):
        raise InputError(path, "the file holds no heights", "Name a height map in study.toml")
    return opened


def _open_heights(path: Path, image: ImageEntry, page: int | None) -> HeightMap:
    from surfscan.images import HeightMap
    from surfscan.opening import open_image

    opened = open_image(
        path, page=page, kind="heightmap", pixel_size_um=_size(image), height_unit=image.height_unit
    )
    if not isinstance(opened, HeightMap):
        raise InputError(path, "the file holds no heights", 'Correct shows = "heights" in study.toml')
    return opened


def _size(image: ImageEntry) -> float | tuple[float, float] | None:
    size = image.pixel_size_um
    return size[0] if size and size[0] == size[1] else size


def _on_the_same_grid(path: Path, unexposed: HeightMap, opened: Micrograph | HeightMap) -> HeightMap:
    """The unexposed map, if it lies on the grid of the exposed one."""
    if unexposed.shape != opened.shape:
        (rows, cols), (own_rows, own_cols) = unexposed.shape, opened.shape
        raise InputError(
            path,
            f"the unexposed height map is {rows} x {cols} px, the exposed one {own_rows} x {own_cols} px "
            "(rows x columns)",
            "Register it onto the exposed one and export it on the same grid",
        )
    before, after = unexposed.calibration, opened.calibration
    if (
        before
        and after
        and not (
            math.isclose(before.pixel_size_x_um, after.pixel_size_x_um, rel_tol=1e-3)
            and math.isclose(before.pixel_size_y_um, after.pixel_size_y_um, rel_tol=1e-3)
        )
    ):
        raise InputError(
            path,
            f"the unexposed height map has pixels of {before.pixel_size_x_um:.4g} x "
            f"{before.pixel_size_y_um:.4g} µm, the exposed one of {after.pixel_size_x_um:.4g} x "
            f"{after.pixel_size_y_um:.4g} µm",
            "Register it onto the exposed one and export it on the same grid",
        )
    return unexposed
