"""What the terminal says of a scale: the bar or the micrometer, how sure it is, and a comparison."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any


def scale_headline(summary: Mapping[str, Any]) -> str:
    """One line: where the scale comes from, or why there is none."""
    if summary.get("division_um") is not None:
        return f"stage micrometer, divisions of {summary['division_um']:g} µm"
    if not summary["bar_count"]:
        return "no scale bar found"
    length = f"{summary['bar_length_px']:.1f} px"
    if summary["bar_label"] is None:
        return f"scale bar of {length} without a label"
    said = "taken" if summary["accepted"] else "not taken"
    return f"scale bar '{summary['bar_label']}' over {length}, confidence {summary['confidence']:.2f}: {said}"


def scale_rows(summary: Mapping[str, Any]) -> dict[str, str]:
    """Label -> figure of the lines below; a figure that does not exist is left out."""
    rows: dict[str, str] = {}
    if summary["relative_uncertainty"] is not None:
        rows["relative uncertainty"] = f"{100 * summary['relative_uncertainty']:.2g} % (k = 1)"
    if summary.get("uncertainty_parts"):
        rows["  from"] = str(summary["uncertainty_parts"])
    if not summary["accepted"] and summary.get("offered_pixel_size_um"):
        rows["offered"] = f"{summary['offered_pixel_size_um']:.5g} µm per pixel"
    for axis in ("x", "y"):
        if summary.get(f"pitch_{axis}_px") is None:
            continue
        rows[f"pitch along {axis}"] = (
            f"{summary[f'pitch_{axis}_px']:.3f} px from {summary[f'line_count_{axis}']} lines, scatter "
            f"{summary[f'rms_{axis}_px']:.2f} px, distortion {summary[f'distortion_{axis}_px']:.2f} px"
        )
    if summary.get("against") is not None:
        x_um, y_um = summary["against_pixel_size_x_um"], summary["against_pixel_size_y_um"]
        size = f"{x_um:.5g} µm" if x_um == y_um else f"{x_um:.5g} x {y_um:.5g} µm"
        rows["against"] = f"{summary['against']}, {size} per pixel ({summary['against_origin']})"
        for axis in ("x", "y"):
            agrees = "agrees" if summary[f"against_agrees_{axis}"] else "does not agree"
            share = summary[f"against_normalised_difference_{axis}"]
            rows[f"  difference in {axis}"] = (
                f"{100 * summary[f'against_difference_{axis}_fraction']:+.2f} %, {share:.2f} of the expanded "
                f"uncertainty (k = 2): {agrees}"
            )
    return rows
