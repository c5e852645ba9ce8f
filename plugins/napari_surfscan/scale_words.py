"""Scales in words, every number with its unit. No Qt."""

from __future__ import annotations

from surfscan.images import Calibration, Micrograph
from surfscan.procedures.result import Result


def pixel_size_words(size_um: float) -> str:
    """A pixel size in the unit that reads best."""
    if size_um < 0.1:
        return f"{1000 * size_um:.5g} nm per pixel"
    return f"{size_um:.5g} µm per pixel"


def calibration_words(calibration: Calibration) -> str:
    """Pixel size, its expanded uncertainty and where it comes from."""
    size = pixel_size_words(calibration.pixel_size_x_um)
    if not calibration.is_square:
        size = f"{size} along rows, {pixel_size_words(calibration.pixel_size_y_um)} along columns"
    return f"{size}, ± {_percent(2 * calibration.relative_uncertainty)} (k = 2), from {calibration.origin}"


def from_file(image: Micrograph) -> str:
    """What is in force for an image as it was opened."""
    if image.calibration is None:
        return "Not known: lengths are given in pixels until a scale is confirmed."
    return calibration_words(image.calibration)


def from_here(result: Result) -> str:
    """What was read from the picture, and how sure that is."""
    summary = result.summary
    length = f"{summary['bar_length_px']:.1f} px"
    if not summary["bar_label"]:
        return f"A bar of {length} was found; its label could not be read. Write it below."
    sure = f"confidence {summary['confidence']:.2f} of 1"
    taken = "taken as sure" if summary["accepted"] else "not taken by itself: look at it"
    return f"Read '{summary['bar_label']}' over {length}; {sure}, {taken}."


def measured_words(result: Result | None) -> tuple[str, str, str]:
    """Pixel size, parts of its uncertainty, and how it compares with the scale in force."""
    if result is None or result.calibration is None:
        return "No pixel size yet.", "", ""
    summary = result.summary
    uncertainty = _percent(2 * summary["relative_uncertainty"])
    size = f"<b>{pixel_size_words(summary['pixel_size_x_um'])}</b>, ± {uncertainty} (k = 2)"
    against = ""
    if "against_difference_fraction" in summary:
        apart = 100 * summary["against_difference_fraction"]
        against = (
            f"In force: {pixel_size_words(summary['against_pixel_size_x_um'])} "
            f"({summary['against_origin']}); this one is {apart:+.2f} % from it."
        )
    return size, f"Standard uncertainty: {summary['uncertainty_parts']}.", against


def _percent(fraction: float) -> str:
    return f"{100 * fraction:.2g} %"
