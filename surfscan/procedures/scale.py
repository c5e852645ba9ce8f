"""Scale of one picture: from its scale bar, or from a stage micrometer; two scales compared."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from surfscan.calibration.bar_scale import ScaleReading, read_scale
from surfscan.calibration.bars import LIKELY_FROM
from surfscan.calibration.labels import Label
from surfscan.calibration.levels import as_bytes
from surfscan.calibration.loose_labels import find_loose_labels
from surfscan.calibration.micrometer import MicrometerFit, fit_divisions
from surfscan.columns import empty_table
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph
from surfscan.procedures.result import Result
from surfscan.procedures.scale_by_hand import understood_label
from surfscan.procedures.settings import ScaleSettings

_CROP_MARGIN_PX, _CROP_WIDTH_PX = 8, 800  # around what is cut out; it is magnified to about that width
_DISTORTED = 0.002  # variation of the local pitch over a picture from which it is remarked on


def measure_scale(
    image: Micrograph,
    settings: ScaleSettings | None = None,
    *,
    label: str | None = None,
    division_um: float | None = None,
    against: Micrograph | HeightMap | None = None,
) -> Result:
    """Pixel size of a picture, how sure it is, and how it compares with another.

    Parameters
    ----------
    image : Micrograph
        Its own calibration, from the file or stated, is what a scale bar is held against.
    settings : ScaleSettings, optional
    label : str, optional
        What the scale bar is said to be long, such as "50 µm"; without it the label is read, which needs the
        extra `ocr`. Not with `division_um`: a stage micrometer has no label.
    division_um : float, optional
        The picture shows a stage micrometer with lines so far apart, µm.
    against : Micrograph or HeightMap, optional
        Another calibrated image that the pixel size is compared with; where it has no scale and
        `division_um` is given, it is taken for a micrometer too.

    Returns
    -------
    Result
        Table "bars", one row a bar, the one to go by first; `calibration` is that of an accepted bar or of
        the micrometer, else what the image came with. Summary: `pixel_size_x_um`, `pixel_size_y_um`,
        `relative_uncertainty` (k = 1), `uncertainty_parts`, `origin`, `accepted` (whether the picture gave
        the scale), `bar_count`; of a micrometer the pitch, the lines and the distortion along each direction;
        of a comparison, for x and likewise for y, `against_ratio_x` (this over the other),
        `against_difference_x_fraction`, `against_normalised_difference_x`, the difference over the root sum
        of squares of both expanded uncertainties (k = 2), up to 1 where they agree, and `against_agrees_x`;
        `against_agrees` where both do.

    Raises
    ------
    InputError
        If a label and a division are given, the label is no length above 0 as it is written, a division or
        certificate is impossible, a micrometer shows no lines at one pitch, or the other image has no scale.
    """
    settings = settings or ScaleSettings()
    path = image.source.path
    if division_um is not None and label is not None:
        raise InputError(
            path,
            f"was given a label (--label {label}) and a division (--division-um {division_um:g}): a scale "
            "bar has a label, a stage micrometer has divisions",
            "Give one of --label and --division-um",
        )
    if division_um is not None:
        result = _from_micrometer(image, settings, division_um)
    else:
        result = _from_bars(image, settings, None if label is None else understood_label(label, path))
    if against is None:
        return result
    compared = _compared(result, against, settings, division_um)
    return Result(
        procedure="scale",
        source=result.source,
        calibration=result.calibration,
        settings=result.settings,
        summary={**result.summary, **compared},
        tables=result.tables,
        warnings=result.warnings,
    )


def bar_crop(image: Micrograph, result: Result) -> np.ndarray | None:
    """The bar that a reading goes by with its label, cut out for a person to look at.

    Parameters
    ----------
    image : Micrograph
    result : Result
        Of `measure_scale` on it.

    Returns
    -------
    ndarray of shape (m, n) or (m, n, 3), uint8, or None
        Each pixel repeated to a square where the crop is small; None where no bar was found.
    """
    bars = result.tables["bars"]
    if not len(bars["row_px"]):
        return None
    row0, row1, col0, col1 = (int(bars[f"crop_{side}_px"][0]) for side in ("row0", "row1", "col0", "col1"))
    around = _CROP_MARGIN_PX + (row1 - row0) // 2
    part = as_bytes(image.pixels)[
        max(0, row0 - around) : row1 + around, max(0, col0 - around) : col1 + around
    ]
    times = max(1, _CROP_WIDTH_PX // part.shape[1])
    return part.repeat(times, axis=0).repeat(times, axis=1)


def _from_bars(image: Micrograph, settings: ScaleSettings, label: Label | None) -> Result:
    known = image.calibration
    reading = read_scale(
        image.pixels,
        label=label,
        metadata_um=known.pixel_size_x_um if known else None,
        certificate_relative_uncertainty=settings.certificate_relative_uncertainty,
        accepted_from=settings.accepted_from,
        read_from=LIKELY_FROM,
    )
    calibration = reading.calibration or known
    warnings = [*reading.warnings, *([reading.contradiction] if reading.contradiction else [])]
    if not reading.readings:
        warnings.append(_no_bar(image))
    if calibration is None or reading.calibration is None:
        warnings = [*image.warnings, *warnings]
    summary = _summary(calibration, accepted=reading.calibration is not None) | _bar_figures(reading)
    return _result(image, settings, calibration, summary, warnings, reading.bars)


def _bar_figures(reading: ScaleReading) -> dict[str, Any]:
    first = reading.readings[0] if reading.readings else None
    parts = first.uncertainty.text if first and first.accepted and first.uncertainty else None
    return {
        "bar_count": len(reading.readings),
        "bar_label": first.label.text if first and first.label else None,
        "bar_length_px": first.bar.length_px if first else None,
        "offered_pixel_size_um": first.pixel_size_um if first and first.label else None,
        "confidence": first.confidence if first else None,
        "uncertainty_parts": parts,
    }


def _no_bar(image: Micrograph) -> str:
    """What to say of a picture without a bar: whether it has a label at least."""
    labels = find_loose_labels(image.pixels)
    if not labels:
        return "No scale bar was found. State the pixel size, or measure a picture that has a bar."
    text, box = labels[0]
    return (
        f"No scale bar was found, though a label '{text.text}' stands at row {box[0]}, column {box[2]}: a "
        "label alone gives no scale. State the pixel size, or take the picture with its bar."
    )


def _from_micrometer(image: Micrograph, settings: ScaleSettings, division_um: float) -> Result:
    path = image.source.path
    fit = _fitted(image, settings, division_um)
    if fit is None:
        raise InputError(
            path,
            "shows no five lines at one pitch, so it is no stage micrometer that can be measured",
            "Focus on the divisions, fill the field with them, and leave --division-um out for a scale bar",
        )
    warnings = []
    summary = _summary(fit.calibration, accepted=True) | {"division_um": division_um}
    for name, lines in (("x", fit.x), ("y", fit.y)):
        if lines is None:
            continue
        summary |= {
            f"pitch_{name}_px": lines.pitch_px,
            f"pitch_uncertainty_{name}_px": lines.pitch_uncertainty_px,
            f"line_count_{name}": lines.line_count,
            f"missing_count_{name}": lines.missing_count,
            f"normal_{name}_deg": lines.angle_deg,
            f"rms_{name}_px": lines.rms_px,
            f"distortion_{name}_px": lines.distortion_px,
            f"pitch_variation_{name}": lines.pitch_variation,
        }
        if lines.pitch_variation > _DISTORTED:
            warnings.append(
                f"The local pitch along {name} varies by up to {100 * lines.pitch_variation:.2f} % over the "
                "picture: lengths depend on where they lie. Measure near the middle, or correct the "
                "distortion."
            )
    if (fit.x is None) != (fit.y is None):
        axis, other = ("x", "y") if fit.y is None else ("y", "x")
        warnings.append(
            f"Lines run across {axis} only: {other} is taken to have the same pixel size. Turn the "
            "micrometer by 90 degrees and measure again to know it."
        )
    summary["uncertainty_parts"] = fit.uncertainty.text
    return _result(image, settings, fit.calibration, summary, warnings, empty_table("bars"))


def _fitted(
    image: Micrograph | HeightMap, settings: ScaleSettings, division_um: float
) -> MicrometerFit | None:
    if isinstance(image, HeightMap):
        return None
    try:
        return fit_divisions(
            image.grey,
            division_um,
            certificate_relative_uncertainty=settings.certificate_relative_uncertainty,
        )
    except ValueError as fault:
        raise InputError(image.source.path, str(fault), "Give the division in µm, above 0") from fault


def _compared(
    result: Result, other: Micrograph | HeightMap, settings: ScaleSettings, division_um: float | None
) -> dict[str, Any]:
    """Figures of the comparison with another scale."""
    scale, theirs = result.calibration, other.calibration
    if theirs is None and division_um is not None:
        fit = _fitted(other, settings, division_um)
        theirs = fit.calibration if fit else None
    if theirs is None or scale is None:
        lacking = other.source.path if theirs is None else result.source.path
        raise InputError(
            lacking,
            "has no scale that could be compared",
            "Give an image whose file, scale bar or divisions give its pixel size",
        )
    expanded = 2 * math.hypot(scale.relative_uncertainty, theirs.relative_uncertainty)
    ratios = {
        "x": scale.pixel_size_x_um / theirs.pixel_size_x_um,
        "y": scale.pixel_size_y_um / theirs.pixel_size_y_um,
    }
    figures: dict[str, Any] = {}
    for axis, ratio in ratios.items():
        figures |= {
            f"against_ratio_{axis}": ratio,
            f"against_difference_{axis}_fraction": ratio - 1,
            f"against_normalised_difference_{axis}": abs(ratio - 1) / expanded,
            f"against_agrees_{axis}": abs(ratio - 1) <= expanded,
        }
    return figures | {
        "against": other.source.path,
        "against_origin": theirs.origin,
        "against_pixel_size_x_um": theirs.pixel_size_x_um,
        "against_pixel_size_y_um": theirs.pixel_size_y_um,
        "against_relative_uncertainty": theirs.relative_uncertainty,
        "against_agrees": figures["against_agrees_x"] and figures["against_agrees_y"],
    }


def _summary(calibration: Calibration | None, *, accepted: bool) -> dict[str, Any]:
    return {
        "pixel_size_x_um": calibration.pixel_size_x_um if calibration else None,
        "pixel_size_y_um": calibration.pixel_size_y_um if calibration else None,
        "relative_uncertainty": calibration.relative_uncertainty if calibration else None,
        "origin": calibration.origin if calibration else None,
        "accepted": accepted,
    }


def _result(
    image: Micrograph,
    settings: ScaleSettings,
    calibration: Calibration | None,
    summary: dict[str, Any],
    warnings: list[str],
    bars: Any,
) -> Result:
    return Result(
        procedure="scale",
        source=image.source,
        calibration=calibration,
        settings=settings.model_dump(mode="json"),
        summary=summary,
        tables={"bars": bars},
        warnings=tuple(warnings),
    )
