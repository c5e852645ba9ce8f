"""Struts of one image: from pixels to widths, losses and remaining sections along every strut."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from surfscan.columns import empty_table
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph
from surfscan.measurement.strut_edges import EdgeMoves, MovedEdges, moved_mask
from surfscan.measurement.strut_faults import CRACK
from surfscan.measurement.strut_thickness import NoThicknessError, measure_thickness
from surfscan.measurement.strut_widths import Z95
from surfscan.procedures.result import Result
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison, compare
from surfscan.procedures.strut_finding import (
    FoundStruts,
    find_struts,
    strut_field,
    strut_labels,
    with_moved_edges,
)
from surfscan.procedures.strut_sections import StrutSections, strut_sections
from surfscan.procedures.strut_summary import empty_summary, strut_summary
from surfscan.procedures.strut_tables import fault_table, station_table, strut_table
from surfscan.segmentation.silhouette import NoStrutError

_SIZES = ("drawn_width_um", "drawn_thickness_um", "drawn_top_width_um", "thickness_um")
_STEEPEST = math.tan(math.radians(60))  # lean of a trapezoid's flanks
_OBLONG = 2.0  # length over width of a pixel worth a warning
_NAMED = 8  # struts named in a warning
_TOUCHES = 0.5  # share of stations left out because an edge lies beyond the frame that is worth a warning


def measure_struts(
    image: Micrograph,
    settings: StrutSettings | None = None,
    *,
    region: np.ndarray | None = None,
    before: Micrograph | None = None,
    side_view: Micrograph | None = None,
    thickness_map: HeightMap | None = None,
    corrected: EdgeMoves | None = None,
) -> Result:
    """Measure the widths of struts and what is left of their sections.

    Parameters
    ----------
    image : Micrograph
    settings : StrutSettings, optional
        Defaults where None.
    region : ndarray of shape (M, N), optional
        What may be looked at, non-zero inside; the whole picture less its data strip where None.
    before : Micrograph, optional
        The same part before exposure, or its drawing as a picture.
    side_view : Micrograph, optional
        The same struts seen across, with a scale: their mean width there is the measured thickness. It
        takes the place of the setting `thickness_um`.
    thickness_map : HeightMap, optional
        A strut lying on a flat stage: how far its top stands above the stage is the measured thickness
        (`surfscan.measurement.strut_thickness`; too thick where the strut does not lie flat). It takes the
        place of the setting `thickness_um`.
    corrected : EdgeMoves, optional
        Edges that a person moved by hand (`surfscan.measurement.strut_edges`): widths, sections and intervals
        are measured on them as on those found, and the summary has `corrected_by_hand`, true.

    Returns
    -------
    Result
        Tables "struts" (a row a strut, and one for each that is missing), "stations" (rows along them) and
        "strut_faults" (cracks, gaps, free ends, fragments, missing struts). Masks: "struts" (int32: 0
        background, k strut k, by the nearest station) and "region". Summary: counts; mean and least width;
        least section with strut and place, both as upper bound and with equal loss all round; results with
        lost metal as zero width and over survivors. Without a scale, figures in µm are None and their twins
        in px are given. Where no strut is found the counts are 0 and a warning says why.

    Raises
    ------
    InputError
        If the region does not fit or leaves nothing, settings contradict each other, or both a side view and
        a height map are given.
    """
    picture = look_at_struts(
        image,
        settings,
        region=region,
        before=before,
        side_view=side_view,
        thickness_map=thickness_map,
    )
    return struts_of(picture, corrected)


@dataclass(frozen=True)
class StrutPicture:
    """A picture of struts looked at: all that its figures rest on but what a person corrects.

    Attributes
    ----------
    image : Micrograph
    settings : StrutSettings
        As given.
    used : StrutSettings
        With the thickness that a side view or a height map gave.
    region : ndarray of shape (M, N), bool
    found : FoundStruts or None
        As the picture shows them; None where there are none.
    comparison : Comparison or None
    sections : StrutSections or None
        Of the struts as found.
    warnings : tuple of str
    """

    image: Micrograph
    settings: StrutSettings
    used: StrutSettings
    region: np.ndarray
    found: FoundStruts | None
    comparison: Comparison | None
    sections: StrutSections | None
    warnings: tuple[str, ...]


def look_at_struts(
    image: Micrograph,
    settings: StrutSettings | None = None,
    *,
    region: np.ndarray | None = None,
    before: Micrograph | None = None,
    side_view: Micrograph | None = None,
    thickness_map: HeightMap | None = None,
) -> StrutPicture:
    """Find the struts of a picture; `struts_of` gives their figures.

    Parameters
    ----------
    image, settings, region, before, side_view, thickness_map
        As for `measure_struts`.

    Returns
    -------
    StrutPicture

    Raises
    ------
    InputError
        As `measure_struts` does.
    """
    settings = settings or StrutSettings()
    _check_settings(settings, image)
    if side_view is not None and thickness_map is not None:
        raise InputError(
            thickness_map.source.path,
            f"gives the thickness, and so does the side view {side_view.source.path}",
            "Give one of the two",
        )
    warnings = list(image.warnings)
    frame, mask = strut_field(image, settings, region)
    try:
        found = find_struts(image, settings, frame, mask)
    except NoStrutError as nothing:
        doubts = [str(nothing), *_as_stated(settings)]
        return StrutPicture(image, settings, settings, mask, None, None, None, (*warnings, *doubts))
    if found.stations.n_struts == 0:
        reason = (
            "No strut was found: the metal shows no centreline with an edge on either side. A strut wider "
            "than the field cannot be measured; take a picture that shows both of its edges."
        )
        doubts = [*found.silhouette.warnings, reason, *_as_stated(settings)]
        return StrutPicture(image, settings, settings, mask, None, None, None, (*warnings, *doubts))
    warnings += [*found.silhouette.warnings, *found.stations.warnings]
    comparison = None
    if before is not None:
        comparison, doubts = _compare(image, before, settings, found)
        warnings += doubts
    used = settings
    if side_view is not None:
        used, doubts = _from_the_side(side_view, settings)
        warnings += doubts
    elif thickness_map is not None:
        used, doubts = _from_heights(thickness_map, settings)
        warnings += doubts
    cut, _ = strut_sections(found.stations, found.widths, comparison, used)
    return StrutPicture(image, settings, used, mask, found, comparison, cut, tuple(warnings))


def struts_of(picture: StrutPicture, corrected: EdgeMoves | None = None, *, masks: bool = True) -> Result:
    """Figures of a picture of struts that was looked at.

    Parameters
    ----------
    picture : StrutPicture
    corrected : EdgeMoves, optional
        Edges that a person moved.
    masks : bool
        False leaves the masks out, which take longest where edges are being dragged.

    Returns
    -------
    Result
        As `measure_struts` gives it.
    """
    if picture.found is None:
        return _no_strut(picture, corrected)
    scale, settings, found, comparison = picture.image.calibration, picture.settings, picture.found, None
    warnings = list(picture.warnings)
    metal, changed = found.silhouette.mask, np.zeros(0, int)
    if corrected is not None:
        found, moved = with_moved_edges(found, picture.image, settings, corrected)
        warnings += _missed(moved, len(corrected.moves))
        changed = moved.struts
        if masks:
            metal = moved_mask(metal, picture.found.stations, found.stations)
    if picture.comparison is not None:
        comparison = picture.comparison.with_widths(found.stations)
    cut, doubts = strut_sections(
        found.stations,
        found.widths,
        comparison,
        picture.used,
        known=picture.sections,
        changed=changed,
    )
    warnings += doubts
    warnings += _remarks(found, scale, settings)
    tables = {
        "struts": strut_table(
            found.centrelines,
            found.stations,
            found.widths,
            found.widths_px,
            found.faults,
            comparison,
            cut,
            settings,
            scale,
        ),
        "stations": station_table(found.stations, comparison, cut),
        "strut_faults": fault_table(found.faults, found.stations, comparison),
    }
    summary, doubts = strut_summary(tables, found.widths_px, found.stations, comparison, cut, settings, scale)
    summary["thickness_um"] = picture.used.thickness_um
    summary |= {"polarity": found.silhouette.polarity, "pitch_px": settings.pitch_px}
    return Result(
        procedure="struts",
        source=picture.image.source,
        calibration=scale,
        settings=settings.model_dump(mode="json"),
        summary=summary | _by_hand(corrected),
        tables=tables,
        masks={"struts": strut_labels(metal, found.stations), "region": picture.region} if masks else {},
        warnings=(*warnings, *doubts),
    )


def _by_hand(corrected: EdgeMoves | None) -> dict[str, bool]:
    return {} if corrected is None else {"corrected_by_hand": True}


def _missed(moved: MovedEdges, count: int) -> list[str]:
    """Says which moves by hand no longer find their edge."""
    if not moved.missed:
        return []
    places = ", ".join(f"row {m.edge_row_px:.0f} column {m.edge_col_px:.0f}" for m in moved.missed[:_NAMED])
    return [
        f"{len(moved.missed)} of {count} edge moves by hand not applied: no edge is found any more within 3 "
        f"px of where it was dragged ({places}). Settings or the picture have changed: look at the struts "
        "again."
    ]


def _as_stated(settings: StrutSettings) -> list[str]:
    """What to add to an answer of nothing where the polarity was stated."""
    if settings.polarity == "auto":
        return []
    other = "lighter" if settings.polarity == "dark" else "darker"
    return [
        f"Struts were stated to be {settings.polarity}: if they are {other} than their background, or "
        "if that is not sure, leave polarity at auto."
    ]


def _check_settings(settings: StrutSettings, image: Micrograph) -> None:
    path = image.source.path
    if settings.drawn_top_width_um is not None:
        wide, thick = settings.drawn_width_um, settings.drawn_thickness_um
        if settings.drawn_shape != "trapezoid":
            raise InputError(
                path,
                "the width of a narrower face (drawn_top_width_um, --top-width-um) belongs to a trapezoid",
                "Set the drawn shape (drawn_shape, --shape) to trapezoid",
            )
        if wide is None or thick is None or settings.drawn_top_width_um > wide:
            raise InputError(
                path,
                "a trapezoid needs drawn_width_um, drawn_thickness_um and a narrower face",
                "Give the wider face as drawn_width_um, the narrower as drawn_top_width_um (--top-width-um)",
            )
        if wide - settings.drawn_top_width_um > 2 * thick * _STEEPEST:
            lean = math.degrees(math.atan2((wide - settings.drawn_top_width_um) / 2, thick))
            raise InputError(
                path,
                f"the flanks of the drawn trapezoid lean by {lean:.0f} degrees, more than 60",
                "Check drawn_width_um, drawn_thickness_um and drawn_top_width_um (--top-width-um)",
            )
    elif settings.drawn_shape == "trapezoid":
        raise InputError(
            path,
            "a trapezoid needs the width of its narrower face",
            "Set drawn_top_width_um (--top-width-um), or another shape",
        )


def _compare(
    image: Micrograph, before: Micrograph, settings: StrutSettings, found: FoundStruts
) -> tuple[Comparison | None, list[str]]:
    """Struts of the picture before, laid over those of this one."""
    frame, mask = strut_field(before, settings, None)
    try:
        earlier = find_struts(before, settings.model_copy(update={"holes": "filled"}), frame, mask)
    except NoStrutError as nothing:
        return None, [f"Nothing is compared with {before.source.path}: {nothing}"]
    if earlier.stations.n_struts == 0:
        return None, [f"Nothing is compared with {before.source.path}: no strut was found on it."]
    return compare(
        earlier.silhouette.solid,
        earlier.stations,
        before.calibration,
        found.silhouette.solid,
        found.stations,
        image.calibration,
        max_rotation_deg=settings.before_max_rotation_deg,
        max_shift_fraction=settings.before_max_shift_fraction,
        before_field=earlier.region,
        after_field=found.region,
        frame=found.frame,
        path=before.source.path,
    )


def _from_the_side(side_view: Micrograph, settings: StrutSettings) -> tuple[StrutSettings, list[str]]:
    """Settings with the thickness that a view from the side shows."""
    plain = settings.model_copy(update=dict.fromkeys(_SIZES) | {"drawn_shape": "rectangle"})
    seen = measure_struts(side_view, plain)
    mean, limits = seen.summary["mean_width_um"], seen.summary["mean_width_um_ci95"]
    path = side_view.source.path
    if mean is None:
        return settings, [f"No thickness is taken from {path}: " + " ".join(seen.warnings)]
    thickness = {"thickness_um": mean, "thickness_uncertainty_um": (limits[1] - limits[0]) / (2 * Z95)}
    return settings.model_copy(update=thickness), [f"{path}: {text}" for text in seen.warnings]


def _from_heights(thickness_map: HeightMap, settings: StrutSettings) -> tuple[StrutSettings, list[str]]:
    """Settings with the thickness of a strut that lies on a stage."""
    path = thickness_map.source.path
    try:
        found = measure_thickness(
            thickness_map.heights_um, top="round" if settings.drawn_shape == "ellipse" else "flat"
        )
    except NoThicknessError as nothing:
        return settings, [f"No thickness is taken from {path}: {nothing}"]
    uncertainty = math.hypot(found.uncertainty_um, settings.thickness_uncertainty_um)
    thickness = {"thickness_um": found.mean_um, "thickness_uncertainty_um": uncertainty}
    doubts = [f"{path}: {text}" for text in (*thickness_map.warnings, *found.warnings)]
    return settings.model_copy(update=thickness), doubts


def _no_strut(picture: StrutPicture, corrected: EdgeMoves | None) -> Result:
    image = picture.image
    summary = empty_summary() | {"polarity": None, "pitch_px": picture.settings.pitch_px}
    return Result(
        procedure="struts",
        source=image.source,
        calibration=image.calibration,
        settings=picture.settings.model_dump(mode="json"),
        summary=summary | _by_hand(corrected),
        tables={name: empty_table(name) for name in ("struts", "stations", "strut_faults")},
        masks={"struts": np.zeros(image.shape, np.int32), "region": picture.region},
        warnings=picture.warnings,
    )


def _without_width(found: FoundStruts) -> list[str]:
    """Struts no width is given for: stubs that the frame cuts off put apart from the others."""
    none = np.flatnonzero(~np.isfinite(found.widths.mean))
    cut = (found.centrelines.end_kind[none] == "frame").any(axis=1)
    out = []
    for which, text in (
        (none[~cut], "No width is given for {}: too short between fillets or ends."),
        (
            none[cut],
            "The frame cuts {} too short for a width: not measured, and no sign of corrosion.",
        ),
    ):
        names = ", ".join(str(k + 1) for k in which[:_NAMED]) + (" and more" if len(which) > _NAMED else "")
        if len(which):
            of = f"of {found.stations.n_struts} struts"
            out.append(text.format(f"{len(which)} {of} ({names})"))
    return out


def _remarks(found: FoundStruts, scale: Calibration | None, settings: StrutSettings) -> list[str]:
    """What the reader should know about how the widths came about."""
    remarks: list[str] = []
    if scale is None:
        remarks.append("No scale: lengths and widths are given in px only.")
        given: list[Any] = [settings.drawn_width_um, settings.drawn_thickness_um, settings.thickness_um]
        if any(value is not None for value in given) or settings.edge_uncertainty_um > 0:
            remarks.append("Sizes in µm cannot be used without a scale: no loss or section is worked out.")
    elif max(scale.pixel_size_x_um, scale.pixel_size_y_um) > _OBLONG * min(
        scale.pixel_size_x_um, scale.pixel_size_y_um
    ):
        remarks.append(
            f"Pixels are {scale.pixel_size_x_um:g} by {scale.pixel_size_y_um:g} µm, far from square: check "
            "the scale."
        )
    remarks += _without_width(found)
    if found.drawn_ends:
        which = "1 free end" if found.drawn_ends == 1 else f"{found.drawn_ends} free ends"
        remarks.append(
            f"{which} inside the field faced no other metal and passed for drawn: if metal broke off there, "
            "set free_ends to broken in a settings file, or give a picture before."
        )
    cut = [f for f in found.faults if f.kind == CRACK and not f.through]
    if cut:
        remarks.append(
            f"Cracks part of the way across a strut: {len(cut)} (table strut_faults). What is left there may "
            "be less than the least width and section given, where no edge was found beside the crack."
        )
    unseen = int(found.widths.unseen.sum())
    if unseen:
        remarks.append(
            f"No edge was located at {unseen} place{'s' if unseen > 1 else ''} between others: the least "
            "width of a strut may lie there, below the one given; the lower end of its interval allows for "
            "the silhouette's width there and for a pit with flanks of 45 degrees. Look at the picture."
        )
    outside = found.stations.fault == "frame"
    if outside.size and outside.mean() > _TOUCHES:
        remarks.append(
            f"At {100 * outside.mean():.0f} % of the stations an edge lies outside the field: struts wider "
            "than the field cannot be measured; take a picture that shows both edges."
        )
    return remarks
