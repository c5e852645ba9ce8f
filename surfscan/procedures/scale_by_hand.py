"""Scale from a bar whose ends or label a person set: the bar under a click, and its pixel size."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

from surfscan.calibration.bars import Bar, find_bars
from surfscan.calibration.labels import Label, parse_label
from surfscan.calibration.uncertainty import bar_uncertainty
from surfscan.columns import Table
from surfscan.errors import InputError
from surfscan.images import Calibration, Micrograph
from surfscan.procedures.result import Result
from surfscan.procedures.settings import ScaleSettings

END_BY_HAND_PX = 0.5
"""Standard uncertainty of an end that a person set, px (common practice, no source)."""

_FAINTEST = 0.15  # evidence from which a line that a person points at may be a bar
_REACH_PX = 12.0


@dataclass(frozen=True)
class BarEnds:
    """A scale bar as a person goes by it.

    Attributes
    ----------
    row_px, col_start_px, col_end_px : float
        Its row and its two ends; the centre of the first pixel is 0.
    end_uncertainty_px : float
        Standard uncertainty (k = 1) of one end.
    tick_width_px : float
        Width of its end ticks; 0 where there are none, or an end was set by hand.
    by_hand : bool
        Whether a person moved an end.
    """

    row_px: float
    col_start_px: float
    col_end_px: float
    end_uncertainty_px: float
    tick_width_px: float = 0.0
    by_hand: bool = False

    @property
    def length_px(self) -> float:
        """From end to end."""
        return abs(self.col_end_px - self.col_start_px)

    def moved(self, *, start_px: float | None = None, end_px: float | None = None) -> BarEnds:
        """The same bar with an end where a person set it; its uncertainty is that of a hand."""
        return replace(
            self,
            col_start_px=self.col_start_px if start_px is None else float(start_px),
            col_end_px=self.col_end_px if end_px is None else float(end_px),
            end_uncertainty_px=max(self.end_uncertainty_px, END_BY_HAND_PX),
            tick_width_px=0.0,
            by_hand=True,
        )


def bars_of(result: Result) -> list[tuple[BarEnds, str]]:
    """The bars of a scale result with their labels, the one to go by first.

    Parameters
    ----------
    result : Result
        Of `surfscan.procedures.scale.measure_scale`.
    """
    table: Table = result.tables["bars"]
    return [
        (
            BarEnds(
                row_px=float(table["row_px"][k]),
                col_start_px=float(table["col_start_px"][k]),
                col_end_px=float(table["col_end_px"][k]),
                end_uncertainty_px=float(table["end_uncertainty_px"][k]),
            ),
            str(table["label"][k]),
        )
        for k in range(len(table["row_px"]))
    ]


def bar_near(image: Micrograph, row_px: float, col_px: float) -> BarEnds | None:
    """The bar that a person points at.

    Parameters
    ----------
    image : Micrograph
    row_px, col_px : float
        A place on the bar or within 12 px of it.

    Returns
    -------
    BarEnds or None
        The nearest, found with less evidence than a bar that nobody points at needs; None where there is
        none.
    """
    near: list[tuple[float, Bar]] = []
    for bar in find_bars(image.pixels, least_evidence=_FAINTEST, under_text=True):
        row0, row1, col0, col1 = bar.box
        away = math.hypot(
            max(row0 - row_px, 0.0, row_px - (row1 - 1)), max(col0 - col_px, 0.0, col_px - (col1 - 1))
        )
        if away <= _REACH_PX:
            near.append((away, bar))
    if not near:
        return None
    bar = min(near, key=lambda found: (found[0], -found[1].evidence))[1]
    return BarEnds(bar.row_px, bar.col_start_px, bar.col_end_px, bar.end_uncertainty_px, bar.tick_width_px)


def scale_from_ends(
    image: Micrograph, ends: BarEnds, label: str, settings: ScaleSettings | None = None
) -> Result:
    """Pixel size from a bar whose ends and label a person goes by.

    Parameters
    ----------
    image : Micrograph
        Its own calibration is what the bar is held against.
    ends : BarEnds
    label : str
        What the bar is long, such as "50 µm".
    settings : ScaleSettings, optional

    Returns
    -------
    Result
        No tables; `calibration` from the bar. Summary: `pixel_size_x_um`, `pixel_size_y_um`,
        `relative_uncertainty` (k = 1), `uncertainty_parts`, `origin`, `bar_label`, `bar_length_um`,
        `bar_length_px`, `bar_row_px`, `bar_start_px`, `bar_end_px`, `ends_by_hand`, and, where the image came
        with a scale, `against_origin`, `against_pixel_size_x_um` and `against_difference_fraction`.

    Raises
    ------
    InputError
        If the label is no length above 0, or the bar has none.
    """
    settings = settings or ScaleSettings()
    understood = understood_label(label, image.source.path)
    if not ends.length_px >= 1:
        raise InputError(
            image.source.path,
            f"the bar is {ends.length_px:.2g} px long",
            "Set its two ends at least 1 px apart",
        )
    parts = bar_uncertainty(
        ends.length_px,
        ends.end_uncertainty_px,
        tick_width_px=ends.tick_width_px,
        certificate_relative_uncertainty=settings.certificate_relative_uncertainty,
    )
    size = understood.length_um / ends.length_px
    origin = f"scale bar '{understood.text}'" + (", ends set by hand" if ends.by_hand else "")
    calibration = Calibration(size, size, parts.combined, origin)
    summary: dict[str, Any] = {
        "pixel_size_x_um": size,
        "pixel_size_y_um": size,
        "relative_uncertainty": parts.combined,
        "uncertainty_parts": parts.text,
        "origin": origin,
        "bar_label": understood.text,
        "bar_length_um": understood.length_um,
        "bar_length_px": ends.length_px,
        "bar_row_px": ends.row_px,
        "bar_start_px": min(ends.col_start_px, ends.col_end_px),
        "bar_end_px": max(ends.col_start_px, ends.col_end_px),
        "ends_by_hand": ends.by_hand,
    }
    known = image.calibration
    if known is not None:
        summary |= {
            "against_origin": known.origin,
            "against_pixel_size_x_um": known.pixel_size_x_um,
            "against_difference_fraction": size / known.pixel_size_x_um - 1,
        }
    return Result(
        procedure="scale",
        source=image.source,
        calibration=calibration,
        settings=settings.model_dump(mode="json"),
        summary=summary,
        tables={},
        warnings=(),
    )


def understood_label(label: str, path: str | None = None) -> Label:
    """A label as a person wrote it; `path` is the picture's, for the message.

    Raises
    ------
    InputError
        If it is not a length above 0 in nm, µm or mm, as it is written.
    """
    understood = parse_label(label)
    # What recognition misreads is put right; what a person writes is taken as it is written, or not at all.
    if understood is None or not understood.as_written or not label.strip()[:1].isalnum():
        raise InputError(
            path,
            f"the label {label!r} is not a length above 0 in nm, µm or mm",
            'Write it as "50 µm" or "0.2 mm"',
        )
    return understood
