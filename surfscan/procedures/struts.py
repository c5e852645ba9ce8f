"""Struts of one image: from pixels to widths, losses and remaining sections along every strut."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from surfscan.columns import empty_table
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph
from surfscan.measurement.stations import Stations, place_stations
from surfscan.measurement.strut_faults import CRACK, Fault, find_faults
from surfscan.measurement.strut_thickness import NoThicknessError, measure_thickness
from surfscan.measurement.strut_widths import Z95, StrutWidths, measure_widths
from surfscan.preparation.region import specimen_region
from surfscan.preparation.strip import find_data_strip
from surfscan.procedures.result import Result
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison, compare
from surfscan.procedures.strut_sections import strut_sections
from surfscan.procedures.strut_summary import empty_summary, strut_summary
from surfscan.procedures.strut_tables import fault_table, station_table, strut_table
from surfscan.segmentation.centrelines import Centrelines, find_centrelines
from surfscan.segmentation.silhouette import NoStrutError, Silhouette, find_silhouette

_SIZES = ("drawn_width_um", "drawn_thickness_um", "drawn_top_width_um", "thickness_um")
_STEEPEST = math.tan(math.radians(60))  # lean of a trapezoid's flanks
_OBLONG = 2.0  # length over width of a pixel worth a warning
_NAMED = 8  # struts named in a warning
_TOUCHES = 0.5  # share of stations left out because an edge lies beyond the frame that is worth a warning


@dataclass(frozen=True)
class FoundStruts:
    """Everything measured on one picture of struts; lengths in px.

    Attributes
    ----------
    silhouette : Silhouette
    centrelines : Centrelines
    stations : Stations
    widths : StrutWidths
        With the scale's uncertainty in the intervals.
    widths_px : StrutWidths
        Without it.
    faults : list of Fault
    drawn_ends : int
        Free ends inside the field that were taken as drawn.
    frame : (row0, row1, col0, col1)
    region : ndarray of shape (M, N), bool
    """

    silhouette: Silhouette
    centrelines: Centrelines
    stations: Stations
    widths: StrutWidths
    widths_px: StrutWidths
    faults: list[Fault]
    drawn_ends: int
    frame: tuple[int, int, int, int]
    region: np.ndarray


def measure_struts(
    image: Micrograph,
    settings: StrutSettings | None = None,
    *,
    region: np.ndarray | None = None,
    before: Micrograph | None = None,
    side_view: Micrograph | None = None,
    thickness_map: HeightMap | None = None,
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
    settings = settings or StrutSettings()
    _check_settings(settings, image)
    if side_view is not None and thickness_map is not None:
        raise InputError(
            thickness_map.source.path,
            f"gives the thickness, and so does the side view {side_view.source.path}",
            "Give one of the two",
        )
    scale = image.calibration
    warnings = list(image.warnings)
    frame, mask = _field(image, settings, region)
    try:
        found = _find(image, settings, frame, mask)
    except NoStrutError as nothing:
        return _no_strut(image, settings, mask, [*warnings, str(nothing), *_as_stated(settings)])
    if found.stations.n_struts == 0:
        reason = (
            "No strut was found: the metal shows no centreline with an edge on either side. A strut wider "
            "than the field cannot be measured; take a picture that shows both of its edges."
        )
        doubts = [*found.silhouette.warnings, reason, *_as_stated(settings)]
        return _no_strut(image, settings, mask, [*warnings, *doubts])
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
    cut, doubts = strut_sections(found.stations, found.widths, comparison, used)
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
    summary["thickness_um"] = used.thickness_um
    summary |= {"polarity": found.silhouette.polarity, "pitch_px": settings.pitch_px}
    return Result(
        procedure="struts",
        source=image.source,
        calibration=scale,
        settings=settings.model_dump(mode="json"),
        summary=summary,
        tables=tables,
        masks={"struts": strut_labels(found.silhouette.mask, found.stations), "region": mask},
        warnings=(*warnings, *doubts),
    )


def strut_labels(mask: np.ndarray, stations: Stations) -> np.ndarray:
    """Number of the strut that each metal pixel belongs to, by the nearest station.

    Parameters
    ----------
    mask : ndarray of shape (M, N), bool
    stations : Stations

    Returns
    -------
    ndarray of shape (M, N), int32
        0 off the metal, and everywhere where there are no stations.
    """
    import cv2

    labels = np.zeros(mask.shape, np.int32)
    if not len(stations.row):
        return labels
    row = np.clip(np.rint(stations.row), 0, mask.shape[0] - 1).astype(int)
    col = np.clip(np.rint(stations.col), 0, mask.shape[1] - 1).astype(int)
    free = np.ones(mask.shape, np.uint8)
    free[row, col] = 0
    _, nearest = cv2.distanceTransformWithLabels(
        free, cv2.DIST_L2, cv2.DIST_MASK_5, labelType=cv2.DIST_LABEL_PIXEL
    )
    strut = np.zeros(int(nearest.max()) + 1, np.int32)
    strut[nearest[row, col]] = stations.strut
    labels[mask] = strut[nearest[mask]]
    return labels


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


def _field(
    image: Micrograph, settings: StrutSettings, region: np.ndarray | None
) -> tuple[tuple[int, int, int, int], np.ndarray]:
    """Frame without the data strip, and what may be looked at."""
    automatic = settings.data_strip == "auto"
    found = specimen_region(
        image.grey,
        mode="everything",
        given=region,
        strip=find_data_strip(image.grey) if automatic else None,
        overlays=image.overlays if automatic else (),
        path=image.source.path,
    )
    return found.frame, found.full_mask(image.shape)


def _find(
    image: Micrograph, settings: StrutSettings, frame: tuple[int, int, int, int], mask: np.ndarray
) -> FoundStruts:
    silhouette = find_silhouette(
        image.pixels,
        valid=None if mask.all() else mask,
        polarity=settings.polarity,
        holes=settings.holes,
    )
    centrelines = find_centrelines(silhouette.solid, frame=frame)
    scale = image.calibration
    stations = place_stations(
        silhouette, centrelines, calibration=scale, pitch_px=settings.pitch_px, frame=frame
    )
    stations = _clear_of(mask, stations)
    unit = stations.unit_um
    axes = (1.0, 1.0) if scale is None else (scale.pixel_size_x_um / unit, scale.pixel_size_y_um / unit)
    edge = 0.0 if scale is None else settings.edge_uncertainty_um / unit
    widths = measure_widths(
        stations,
        axes=axes,
        edge_uncertainty=edge,
        relative_scale_uncertainty=0.0 if scale is None else scale.relative_uncertainty,
    )
    widths_px = measure_widths(stations, axes=axes, edge_uncertainty=edge)
    faults, drawn_ends = find_faults(
        silhouette, centrelines, stations, widths.mean, region=mask, free_ends=settings.free_ends
    )
    return FoundStruts(silhouette, centrelines, stations, widths, widths_px, faults, drawn_ends, frame, mask)


def _clear_of(region: np.ndarray, stations: Stations) -> Stations:
    """Stations with those left out whose edges lie where nothing may be looked at (a scale bar)."""
    import cv2

    if region.all() or not len(stations.s):
        return stations
    barred = cv2.dilate((~region).view(np.uint8), np.ones((7, 7), np.uint8), borderValue=0) > 0
    hit = np.zeros(len(stations.s), bool)
    for row, col in ((stations.left_row, stations.left_col), (stations.right_row, stations.right_col)):
        there = np.isfinite(row) & np.isfinite(col)
        r = np.clip(np.rint(np.where(there, row, 0)), 0, region.shape[0] - 1).astype(int)
        c = np.clip(np.rint(np.where(there, col, 0)), 0, region.shape[1] - 1).astype(int)
        hit |= there & barred[r, c]
    return replace(stations, fault=np.where(hit & (stations.fault == ""), "frame", stations.fault))


def _compare(
    image: Micrograph, before: Micrograph, settings: StrutSettings, found: FoundStruts
) -> tuple[Comparison | None, list[str]]:
    """Struts of the picture before, laid over those of this one."""
    frame, mask = _field(before, settings, None)
    try:
        earlier = _find(before, settings.model_copy(update={"holes": "filled"}), frame, mask)
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


def _no_strut(image: Micrograph, settings: StrutSettings, mask: np.ndarray, warnings: list[str]) -> Result:
    return Result(
        procedure="struts",
        source=image.source,
        calibration=image.calibration,
        settings=settings.model_dump(mode="json"),
        summary=empty_summary() | {"polarity": None, "pitch_px": settings.pitch_px},
        tables={name: empty_table(name) for name in ("struts", "stations", "strut_faults")},
        masks={"struts": np.zeros(image.shape, np.int32), "region": mask},
        warnings=tuple(warnings),
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
