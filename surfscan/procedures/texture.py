"""Areal texture of one height map: from heights to the parameters of ISO 25178-2."""

from __future__ import annotations

from typing import Any, Literal

import numpy as np

from surfscan.columns import TEXTURE_PARAMETERS
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap
from surfscan.measurement.autocorrelation import spatial_parameters
from surfscan.measurement.material_ratio import material_ratio_curve, material_ratio_parameters
from surfscan.measurement.texture import height_parameters
from surfscan.preparation.form import Form, fit_form
from surfscan.preparation.heights import prepare_heights
from surfscan.procedures.given_masks import given_mask, refuse_unmeasured
from surfscan.procedures.result import Result
from surfscan.procedures.settings import TextureSettings

_SHORTEST_PITCHES = 2  # the shortest wave that a grid can hold
_ROUNDING = 8  # a surface differs by more than this many roundings of its numbers; common practice, no source
_FEWEST_PITCHES = 3  # an S-filter below this many pixels does next to nothing; common practice, no source


def measure_texture(
    image: HeightMap, settings: TextureSettings | None = None, *, region: np.ndarray | None = None
) -> Result:
    """Measure the areal texture of a height map.

    Parameters
    ----------
    image : HeightMap
    settings : TextureSettings, optional
        Documented defaults where not given: the S-F surface without an S-filter.
    region : ndarray of shape (M, N), optional
        The specimen, not 0; the whole map where not given.

    Returns
    -------
    Result
        No tables; the parameters are figures of the summary, under the names of
        `surfscan.columns.TEXTURE_PARAMETERS`. A parameter that cannot be defended is None, with a warning.
        Without a scale that holds for all that need lengths along the surface: Sdq, Sdr, Sal, Str, Std.

    Raises
    ------
    InputError
        If too little was measured, the mask marks nothing or is of another size, a cut-off is set but no
        scale is known, or the S cut-off is not below the L cut-off.

    Notes
    -----
    In this order: spikes and gaps are not measured and stay so; S-filter (Gaussian, ISO 16610-61); form
    (F-operator, fitted so that pits do not pull it); L-filter (Gaussian, or robust after ISO 16610-71); mean.
    For the S-filter alone, a first form is taken off and put back after it, so that tilt and curvature do not
    leak in along edges and gaps; the form that counts is fitted to the filtered heights. Values that filters
    give inside gaps are discarded.
    """
    settings = settings or TextureSettings()
    path, scale = image.source.path, image.calibration
    field = None if region is None else given_mask(image, region, "region")
    refuse_unmeasured(image.heights_um, field, path)
    pixel_size = (scale.pixel_size_x_um, scale.pixel_size_y_um) if scale else None
    doubts = _check_cutoffs(settings, image.shape, pixel_size, path)
    ready = prepare_heights(
        image.heights_um, form=settings.form, spikes=settings.spikes, pixel_size_um=pixel_size, region=field
    )
    surface, form = ready.residual_um, ready.form
    if field is not None:
        surface[~field] = np.nan
    refuse_unmeasured(surface, None, path)
    if pixel_size is not None:
        surface, form = _filtered(surface, form, settings, pixel_size)
    parameters, remarks = _parameters(surface, pixel_size)
    area_px = surface.size if field is None else int(np.count_nonzero(field))
    summary: dict[str, Any] = {
        "image_kind": "heightmap",
        "measured_fraction": ready.measured_fraction,
        "spike_count": ready.spike_count,
        "form": form.kind,
        "form_text": form.text,
        "surface": "S-F" if settings.l_cutoff_um is None else "S-L",
        "s_cutoff_um": settings.s_cutoff_um,
        "l_cutoff_um": settings.l_cutoff_um,
        "region_area_mm2": area_px * scale.pixel_area_um2 / 1e6 if scale else None,
        "region_area_px": area_px,
        **{column.name: parameters.get(column.name) for column in TEXTURE_PARAMETERS},
    }
    doubts += _lost_in_rounding(
        image.heights_um if field is None else image.heights_um[field], parameters["Sq_um"]
    )
    warnings = [*image.warnings, *ready.warnings, *doubts, *remarks, *_no_scale(scale)]
    return Result(
        procedure="texture",
        source=image.source,
        calibration=scale,
        settings=settings.model_dump(),
        summary=summary,
        masks={"region": np.ones(image.shape, bool) if field is None else field},
        warnings=tuple(warnings),
    )


def _check_cutoffs(
    settings: TextureSettings, shape: tuple[int, int], pixel_size: tuple[float, float] | None, path: str
) -> list[str]:
    """Refuses cut-offs that mean nothing; says which ones do nothing."""
    short, long = settings.s_cutoff_um, settings.l_cutoff_um
    if short is None and long is None:
        return []
    if pixel_size is None:
        raise InputError(
            path,
            "a filter's cut-off is set in µm but the scale of the height map is unknown",
            "State the pixel size, or leave s_cutoff_um and l_cutoff_um out",
        )
    if short is not None and long is not None and short >= long:
        raise InputError(
            path,
            f"s_cutoff_um ({short:g}) is not below l_cutoff_um ({long:g}): nothing is left between them",
            "The S-filter takes out what is shorter than its cut-off, the L-filter what is longer",
        )
    for name, cutoff in (("s_cutoff_um", short), ("l_cutoff_um", long)):
        if cutoff is not None and cutoff < _SHORTEST_PITCHES * max(pixel_size):
            raise InputError(
                path,
                f"{name} ({cutoff:g}) is shorter than {_SHORTEST_PITCHES} pixels of {max(pixel_size):g} µm",
                "Such waves are not in the data: give a longer cut-off, or none",
            )
    doubts = []
    if short is not None and short < _FEWEST_PITCHES * max(pixel_size):
        doubts.append(
            f"The S cut-off, {short:g} µm, is less than {_FEWEST_PITCHES} pixels: the filter changes little."
        )
    side = min(shape[0] * pixel_size[1], shape[1] * pixel_size[0])
    if long is not None and long > side:
        doubts.append(
            f"The L cut-off, {long:g} µm, is longer than the field's shorter side, {side:.4g} µm: the "
            "filter takes off little more than the mean. Measure a larger field."
        )
    return doubts


def _filtered(
    surface: np.ndarray, form: Form, settings: TextureSettings, pixel_size: tuple[float, float]
) -> tuple[np.ndarray, Form]:
    """Heights (without form) through the S-filter, the F-operator and the L-filter; and the form."""
    gaps = np.isnan(surface)
    if settings.s_cutoff_um is not None:
        from surfscan.preparation.gaussian import gaussian_filter

        heights = gaussian_filter(surface, settings.s_cutoff_um, pixel_size).astype(np.float64)
        heights += form.surface(np.arange(heights.shape[0]), np.arange(heights.shape[1]))
        heights[gaps] = np.nan
        form = fit_form(heights, form.kind, pixel_size_um=pixel_size)
        surface = form.remove(heights)
    if settings.l_cutoff_um is not None:
        surface = surface - _long_waves(surface, settings.l_cutoff_um, settings.l_filter, pixel_size)
        surface[gaps] = np.nan
    return surface, form


def _long_waves(
    surface: np.ndarray,
    cutoff_um: float,
    kind: Literal["gaussian", "robust"],
    pixel_size: tuple[float, float],
) -> np.ndarray:
    if kind == "robust":
        from surfscan.preparation.robust_gaussian import robust_gaussian

        return robust_gaussian(surface, cutoff_um, pixel_size)
    from surfscan.preparation.gaussian import gaussian_filter

    return gaussian_filter(surface, cutoff_um, pixel_size)


def _parameters(
    surface: np.ndarray, pixel_size: tuple[float, float] | None
) -> tuple[dict[str, float | None], list[str]]:
    """Parameters by column name, and why some are missing."""
    heights = height_parameters(surface, pixel_size_um=pixel_size)
    out: dict[str, float | None] = {
        "Sa_um": heights.sa_um,
        "Sq_um": heights.sq_um,
        "Sz_um": heights.sz_um,
        "Ssk": heights.ssk,
        "Sku": heights.sku,
        "Sp_um": heights.sp_um,
        "Sv_um": heights.sv_um,
        "Sdq": heights.sdq,
        "Sdr": heights.sdr,
    }
    if heights.sq_um == 0:
        return out, [
            "The surface is flat: skewness, kurtosis, material ratio, Sal, Str and Std are undefined."
        ]
    ratio = material_ratio_parameters(material_ratio_curve(surface))
    out |= {
        "Sk_um": ratio.sk_um,
        "Spk_um": ratio.spk_um,
        "Svk_um": ratio.svk_um,
        "Smr1": ratio.smr1,
        "Smr2": ratio.smr2,
        "Vmp_um": ratio.vmp_um,
        "Vmc_um": ratio.vmc_um,
        "Vvc_um": ratio.vvc_um,
        "Vvv_um": ratio.vvv_um,
    }
    if pixel_size is None:
        return out, []
    remarks = (
        [] if heights.cells else ["No four neighbouring pixels are measured: Sdq and Sdr are not given."]
    )
    spatial = spatial_parameters(surface, pixel_size_um=pixel_size)
    out |= {"Sal_um": spatial.sal_um, "Str": spatial.str_ratio, "Std_deg": spatial.std_deg}
    return out, [*remarks, *spatial.warnings]


def _lost_in_rounding(heights: np.ndarray, sq_um: float | None) -> list[str]:
    """What is left of heights in single precision is no texture where it is of the size of their rounding."""
    low, high = float(np.fmin.reduce(heights, axis=None)), float(np.fmax.reduce(heights, axis=None))
    size = max(abs(low), abs(high)) if heights.dtype == np.float32 else high - low
    grain = size * float(np.finfo(np.float32).eps)
    if not sq_um or sq_um >= _ROUNDING * grain:
        return []
    return [
        f"Without form the heights differ by no more than the rounding of their numbers ({grain:.1g} µm): "
        "the parameters describe that, not a surface."
    ]


def _no_scale(scale: Calibration | None) -> list[str]:
    if scale is not None:
        return []
    return [
        "No scale: Sdq, Sdr, Sal, Str and Std need lengths along the surface and are not given. State the "
        "pixel size."
    ]
