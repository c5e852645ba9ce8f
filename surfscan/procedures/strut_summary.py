"""Figures of a whole picture of struts."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Any

import numpy as np

from surfscan.columns import Table
from surfscan.images import Calibration
from surfscan.measurement.mesh_loss import mean_with_gaps
from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_faults import CRACK, FRAGMENT, FREE_END, GAP
from surfscan.measurement.strut_widths import Z95, StrutWidths
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison
from surfscan.procedures.strut_sections import StrutSections
from surfscan.procedures.strut_tables import BROKEN, LOOSE, MISSING, WHOLE

_FIGURES = (
    "total_length_um",
    "total_length_px",
    "mean_width_um",
    "mean_width_um_ci95",
    "mean_width_px",
    "mean_width_px_ci95",
    "min_width_um",
    "min_width_um_ci95",
    "min_width_px",
    "min_width_px_ci95",
    "min_width_strut",
    "min_width_condition",
    "min_width_s_um",
    "min_width_s_px",
    "min_width_row_px",
    "min_width_col_px",
    "loss_fraction",
    "loss_fraction_ci95",
    "loss_against",
    "section_basis",
    "thickness_um",
    "mean_section_fraction",
    "mean_section_equal_loss_fraction",
    "least_section_fraction",
    "least_section_fraction_ci95",
    "least_section_equal_loss_fraction",
    "least_section_equal_loss_fraction_ci95",
    "least_section_strut",
    "least_section_s_um",
    "least_section_row_px",
    "least_section_col_px",
    "lost_metal_from",
    "lost_length_fraction",
    "mean_width_with_lost_um",
    "mean_width_with_lost_px",
    "mean_width_of_survivors_um",
    "mean_width_of_survivors_px",
    "loss_with_lost_fraction",
    "loss_of_survivors_fraction",
    "section_with_lost_fraction",
    "section_with_lost_equal_loss_fraction",
    "registration_correlation",
    "registration_rotation_deg",
    "registration_scale",
    "registration_uncertainty_px",
)
_COUNTS = (
    "strut_count",
    "broken_count",
    "through_pitted_count",
    "crack_count",
    "gap_count",
    "fragment_count",
)


def empty_summary() -> dict[str, Any]:
    """The summary of a picture without struts: counts of 0, all else None."""
    return (
        {"image_kind": "micrograph"}
        | dict.fromkeys(_COUNTS, 0)
        | {"missing_count": None}
        | dict.fromkeys(_FIGURES, None)
    )


def strut_summary(
    tables: Mapping[str, Table],
    widths_px: StrutWidths,
    stations: Stations,
    comparison: Comparison | None,
    cut: StrutSections,
    settings: StrutSettings,
    scale: Calibration | None,
) -> tuple[dict[str, Any], list[str]]:
    """Counts, widths, sections and losses of all struts together.

    Parameters
    ----------
    tables : mapping
        "struts" and "strut_faults".
    widths_px : StrutWidths
        Without the uncertainty of the scale.
    stations : Stations
    comparison : Comparison or None
    cut : StrutSections
    settings : StrutSettings
    scale : Calibration or None

    Returns
    -------
    summary : dict
        Fragments carry nothing and are left out of means and least values; NAME_ci95 is [low, high].
    doubts : list of str

    Notes
    -----
    Means weigh every strut by its counted length. In their interval what differs from strut to strut adds as
    squares; levels, declared edge uncertainty and scale are common to all struts of a picture and do not
    average out.
    """
    struts, faults = tables["struts"], tables["strut_faults"]
    found = struts["condition"] != MISSING
    fragment = struts["condition"] == LOOSE
    carries = np.isfinite(struts["mean_width_px"]) & found & ~fragment
    unit = stations.unit_um
    summary = empty_summary()
    summary |= {
        "strut_count": int(np.count_nonzero(found & ~fragment)),
        "broken_count": int(np.count_nonzero(struts["condition"] == BROKEN)),
        "through_pitted_count": int(np.count_nonzero(struts["through_pitted"])),
        "crack_count": int(np.count_nonzero(faults["kind"] == CRACK)),
        "gap_count": int(np.count_nonzero(faults["kind"] == GAP)),
        "fragment_count": int(np.count_nonzero(faults["kind"] == FRAGMENT)),
        "missing_count": None if comparison is None else len(comparison.match.missing),
        "total_length_um": _known(float(struts["length_um"][found & ~fragment].sum())),
        "total_length_px": float(struts["length_px"][found & ~fragment].sum()),
    }
    doubts: list[str] = []
    if carries.any():
        k = np.flatnonzero(carries)
        summary |= _mean_width(struts, widths_px, k, scale, unit)
        summary |= _least_width(struts, k)
        summary |= _section_figures(struts, cut, k)
        summary |= _loss_figures(struts, k)
    summary |= _lost_metal(struts, faults, carries, cut, comparison, unit)
    if comparison is not None:
        place = comparison.registration
        summary |= {
            "registration_correlation": place.correlation,
            "registration_rotation_deg": place.rotation_deg,
            "registration_scale": place.scale,
            "registration_uncertainty_px": place.uncertainty_px,
        }
    if cut.basis == "drawn" and summary["least_section_fraction"] is not None:
        doubts.append(
            "The thickness is the drawn one: section fractions are upper bounds. The estimates with equal "
            "loss all round stand beside them."
        )
    if summary["broken_count"] or summary["fragment_count"]:
        doubts.append(
            f"Broken struts: {summary['broken_count']}, fragments: {summary['fragment_count']} (table "
            "strut_faults). Least widths and sections are those of metal that still stands."
        )
    doubts += _least_of_the_whole(struts, summary, carries)
    if comparison is None and (struts["broken"] & found & ~fragment).any():
        doubts += _lost_unseen(faults)
    return summary, doubts


def _least_of_the_whole(struts: Table, summary: dict[str, Any], carries: np.ndarray) -> list[str]:
    """Says where the least width is that of a broken strut, and what it is of the others."""
    if summary["min_width_condition"] != BROKEN:
        return []
    text = f"The least width is that of strut {summary['min_width_strut']}, a broken one"
    whole = np.flatnonzero(carries & (struts["condition"] == WHOLE))
    if not whole.size:
        return [text + "."]
    k = int(whole[np.argmin(struts["min_width_px"][whole])])
    um = float(struts["min_width_um"][k])
    size = f"{um:.4g} µm" if math.isfinite(um) else f"{struts['min_width_px'][k]:.1f} px"
    return [f"{text}; of the whole ones it is {size}, on strut {struts['strut'][k]}."]


def _lost_unseen(faults: Table) -> list[str]:
    ends = int(np.count_nonzero(faults["kind"] == FREE_END))
    if not ends:
        return []
    which = "1 free end faces" if ends == 1 else f"{ends} free ends face"
    return [
        f"{which} no other metal: how much was lost there is not known; lost length and figures with lost "
        "metal leave it out. A picture before tells it."
    ]


def _known(value: float) -> float | None:
    return value if math.isfinite(value) else None


def _pair(low: float, high: float) -> list[float] | None:
    return [low, high] if math.isfinite(low) and math.isfinite(high) else None


def _mean_width(
    struts: Table, widths: StrutWidths, k: np.ndarray, scale: Calibration | None, unit: float
) -> dict[str, Any]:
    weight = struts["counted_length_px"][k] / struts["counted_length_px"][k].sum()
    mean = float(weight @ struts["mean_width_px"][k])
    random = float(np.sqrt(np.sum((weight * widths.mean_random[k]) ** 2)))
    common = float(weight @ widths.mean_common[k])
    half = Z95 * math.hypot(random, common)
    out: dict[str, Any] = {"mean_width_px": mean, "mean_width_px_ci95": [mean - half, mean + half]}
    if scale is not None:
        half = Z95 * math.hypot(random, common, scale.relative_uncertainty * mean)
        out |= {
            "mean_width_um": mean * unit,
            "mean_width_um_ci95": [(mean - half) * unit, (mean + half) * unit],
        }
    return out


def _least_width(struts: Table, k: np.ndarray) -> dict[str, Any]:
    least = int(k[np.argmin(struts["min_width_px"][k])])
    out: dict[str, Any] = {
        "min_width_strut": int(struts["strut"][least]),
        "min_width_condition": str(struts["condition"][least]),
        "min_width_row_px": float(struts["min_row_px"][least]),
        "min_width_col_px": float(struts["min_col_px"][least]),
    }
    for suffix in ("um", "px"):
        name = f"min_width_{suffix}"
        out[name] = _known(float(struts[name][least]))
        out[f"{name}_ci95"] = _pair(
            float(struts[f"{name}_ci95_low"][least]), float(struts[f"{name}_ci95_high"][least])
        )
        out[f"min_width_s_{suffix}"] = _known(float(struts[f"min_s_{suffix}"][least]))
    return out


def _section_figures(struts: Table, cut: StrutSections, k: np.ndarray) -> dict[str, Any]:
    basis = {
        "": None,
        "drawn": "drawn thickness: section fractions are upper bounds",
        "measured": "measured thickness",
    }[cut.basis]
    out: dict[str, Any] = {"section_basis": basis}
    known = k[np.isfinite(struts["least_section_fraction"][k])]
    if not known.size:
        return out
    weight = struts["counted_length_px"][known] / struts["counted_length_px"][known].sum()
    least = int(known[np.argmin(struts["least_section_fraction"][known])])
    out |= {
        "mean_section_fraction": float(weight @ struts["mean_section_fraction"][known]),
        "mean_section_equal_loss_fraction": float(weight @ struts["mean_section_equal_loss_fraction"][known]),
        "least_section_strut": int(struts["strut"][least]),
        "least_section_s_um": float(struts["least_section_s_um"][least]),
        "least_section_row_px": float(struts["least_section_row_px"][least]),
        "least_section_col_px": float(struts["least_section_col_px"][least]),
    }
    for name in ("least_section_fraction", "least_section_equal_loss_fraction"):
        out[name] = float(struts[name][least])
        out[f"{name}_ci95"] = [float(struts[f"{name}_ci95_{end}"][least]) for end in ("low", "high")]
    return out


def _loss_figures(struts: Table, k: np.ndarray) -> dict[str, Any]:
    """Loss of mean width over struts that have a reference; common uncertainties do not average out.

    Every place that was compared, with the picture before or the drawing, weighs alike.
    """
    known = k[np.isfinite(struts["loss_fraction"][k])]
    if not known.size:
        return {}
    weight = struts["compared_length_px"][known] * struts["reference_width_px"][known]
    weight = weight / weight.sum()
    half = (struts["loss_fraction_ci95_high"][known] - struts["loss_fraction_ci95_low"][known]) / 2
    loss, spread = float(weight @ struts["loss_fraction"][known]), float(weight @ half)
    kinds = sorted(set(struts["loss_against"][known].tolist()))
    return {
        "loss_fraction": loss,
        "loss_fraction_ci95": [loss - spread, loss + spread],
        "loss_against": " and ".join(kinds),
    }


def _lost_metal(
    struts: Table,
    faults: Table,
    carries: np.ndarray,
    cut: StrutSections,
    comparison: Comparison | None,
    unit: float,
) -> dict[str, Any]:
    """Results with lost metal as zero width, beside those over survivors."""
    out: dict[str, Any] = {}
    mean, length = struts["mean_width_px"][carries], struts["counted_length_px"][carries]
    if comparison is not None and comparison.loss.struts_before:
        loss = comparison.loss
        out |= {
            "lost_metal_from": "picture before",
            "lost_length_fraction": loss.lost_fraction,
            "loss_with_lost_fraction": loss.loss_with_lost,
            "loss_of_survivors_fraction": _known(loss.loss_of_survivors),
        }
        with_lost, survivors = loss.width_with_lost, loss.width_of_survivors
    else:
        open_gap = np.isin(faults["kind"], (GAP, CRACK)) & faults["through"]
        gaps = faults["length_px"][open_gap]
        if not mean.size:
            return out
        lost = float(gaps.sum())
        out |= {
            "lost_metal_from": "gaps between ends that face each other" if lost else "nothing lost seen",
            "lost_length_fraction": lost / (lost + float(length.sum())),
        }
        with_lost, survivors = mean_with_gaps(mean, length, gaps), mean_with_gaps(mean, length, gaps[:0])
    out |= {
        "mean_width_with_lost_px": with_lost,
        "mean_width_of_survivors_px": _known(survivors),
        "mean_width_with_lost_um": _known(with_lost * unit),
        "mean_width_of_survivors_um": _known(survivors * unit),
    }
    left = 1 - float(out["lost_length_fraction"])
    for name in ("fraction", "equal_loss_fraction"):
        known = carries & np.isfinite(struts[f"mean_section_{name}"])
        if cut.basis and known.any():
            weight = struts["counted_length_px"][known] / struts["counted_length_px"][known].sum()
            out[f"section_with_lost_{name}"] = left * float(weight @ struts[f"mean_section_{name}"][known])
    return out
