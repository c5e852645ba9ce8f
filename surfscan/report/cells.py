"""Tables of the page: heads with units, cells rounded to their uncertainty, empty columns dropped."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from surfscan.report.rounding import NO_VALUE, at_least, greatest_words, round_to_interval

HEADS = {
    "pit_density_per_mm2": ("Pit density", "mm⁻²", 1.0),
    "pit_density_per_mpx": ("Pit density, no scale", "per million px", 1.0),
    "pitted_area_fraction": ("Pitted area", "%", 100.0),
    "degraded_area_fraction": ("Degraded area", "%", 100.0),
    "tarnished_area_fraction": ("Tarnished area", "%", 100.0),
    "median_equivalent_diameter_um": ("Median pit diameter", "µm", 1.0),
    "median_equivalent_diameter_px": ("Median pit diameter, no scale", "px", 1.0),
    "pit_count": ("Pit count", "pits", 1.0),
    "max_depth_um": ("Greatest pit depth", "µm", 1.0),
    "mean_depth_10_deepest_um": ("Mean of the ten deepest", "µm", 1.0),
    "median_depth_um": ("Median pit depth", "µm", 1.0),
    "volume_per_area_um": ("Pit volume per area", "µm", 1.0),
    "mean_strut_width_um": ("Mean strut width", "µm", 1.0),
    "min_strut_width_um": ("Least strut width", "µm", 1.0),
    "strut_loss_fraction": ("Loss of width", "%", 100.0),
    "width_penetration_um": ("Penetration from width", "µm", 1.0),
    "least_section_left_fraction": ("Least section left", "%", 100.0),
    "least_section_fraction": ("Least section", "%", 100.0),
    "least_section_equal_loss_fraction": ("Least section, equal loss", "%", 100.0),
    "mean_width_um": ("Mean width", "µm", 1.0),
    "min_width_um": ("Least width", "µm", 1.0),
    "loss_fraction": ("Loss of width", "%", 100.0),
    "remaining_section_fraction": ("Remaining section", "%", 100.0),
    "section_penetration_um": ("Mean penetration", "µm", 1.0),
    "max_section_penetration_um": ("Greatest penetration", "µm", 1.0),
    "metal_area_um2": ("Metal area", "µm²", 1.0),
    "original_area_um2": ("Original area", "µm²", 1.0),
    "remaining_fraction": ("Remaining section", "%", 100.0),
    "mean_penetration_um": ("Mean penetration", "µm", 1.0),
    "max_penetration_um": ("Greatest penetration", "µm", 1.0),
    "Sa_um": ("Sa", "µm", 1.0),
    "Sq_um": ("Sq", "µm", 1.0),
    "Sdr": ("Sdr", "%", 100.0),
    "Ecorr_V": ("Zero-current potential", "V", 1.0),
    "icorr_uA_per_cm2": ("Corrosion current density", "µA/cm²", 1.0),
    "anodic_slope_mV_per_decade": ("Anodic slope", "mV/decade", 1.0),
    "cathodic_slope_mV_per_decade": ("Cathodic slope", "mV/decade", 1.0),
    "polarization_resistance_ohm_cm2": ("Polarization resistance", "ohm cm²", 1.0),
    "breakdown_V": ("Breakdown potential", "V", 1.0),
    "breakdown_at_least_V": ("No breakdown up to", "V", 1.0),
    "protection_V": ("Protection potential", "V", 1.0),
    "rate_mm_per_y": ("Penetration rate", "mm/y", 1.0),
    "loss_mg": ("Metal lost", "mg", 1.0),
    "immersed_h": ("Immersed time", "h", 1.0),
    "in_range_h": ("Time in range", "h", 1.0),
    "acid_rate_mm_per_y": ("Rate from acid", "mm/y", 1.0),
    "resistance_rise_fraction": ("Rise of hydraulic resistance", "%", 100.0),
}
"""Figure -> (head, unit on the page, factor from the stored unit)."""

GREATEST = ("max_section_penetration_um", "max_penetration_um")
"""Figures that are above 0 by noise alone: "not above" a limit where their interval holds 0."""


@dataclass(frozen=True)
class Head:
    """Head of a column.

    Attributes
    ----------
    text, unit : str
    number, hash : bool
        Whether numbers (right-aligned) or hashes stand below.
    figure : str
        Name of the column of the tables that the numbers below are rounded from; empty where there is none.
    """

    text: str
    unit: str = ""
    number: bool = False
    hash: bool = False
    figure: str = ""


@dataclass(frozen=True)
class Cell:
    """What stands in a cell.

    Attributes
    ----------
    text : str
    lines : tuple of str
        Small lines below it.
    value, low, high : float
        The number that the text is rounded from, in the unit of the tables, and its 95 % interval, for the
        page's data attributes; not-a-number where there is none.
    link : str
        Anchor on the page that the text leads to; empty where it leads nowhere.
    figure : str
        Column of the tables that the number comes from, where the head of its column does not say.
    """

    text: str
    lines: tuple[str, ...] = ()
    value: float = math.nan
    low: float = math.nan
    high: float = math.nan
    link: str = ""
    figure: str = ""

    @property
    def small(self) -> str:
        """The small lines as one."""
        return " ".join(self.lines)

    @property
    def data(self) -> dict[str, str]:
        """The numbers that there are, in full precision: name -> text that reads back the same."""
        named = {"value": self.value, "low": self.low, "high": self.high}
        return {name: repr(float(number)) for name, number in named.items() if not math.isnan(number)}


@dataclass(frozen=True)
class Grid:
    """A table of the page; the first column heads its rows."""

    caption: str
    heads: Sequence[Head]
    rows: Sequence[Sequence[Cell]]

    def without_empty_columns(self) -> Grid:
        """The same table less columns in which no row has anything to say."""
        kept = [
            i
            for i in range(len(self.heads))
            if i == 0 or any(row[i].text not in ("", NO_VALUE) for row in self.rows)
        ]
        return Grid(
            self.caption, [self.heads[i] for i in kept], [[row[i] for i in kept] for row in self.rows]
        )


def estimate_cell(
    value: float,
    low: float,
    high: float,
    *,
    scale: float = 1.0,
    lines: Sequence[str] = (),
    places: int | None = None,
    doubt: float = math.nan,
    is_lower_bound: bool = False,
) -> Cell:
    """A value with its interval on a line below, both rounded to the interval; "≥" before a lower bound.

    `places` and `doubt` as in `surfscan.report.rounding.round_to_interval`.
    """
    number = round_to_interval(value, low, high, scale=scale, places=places, doubt=doubt)
    interval = (number.interval,) if number.has_interval else ()
    return Cell(at_least(number.value, is_lower_bound), (*interval, *lines), value, low, high)


def greatest_cell(
    value: float, low: float, high: float, *, lines: Sequence[str] = (), doubt: float = math.nan
) -> Cell:
    """A greatest value with its interval below; "not above" a limit where it cannot be told from none."""
    text, interval = greatest_words(value, low, high, doubt=doubt)
    return Cell(text, (*filter(None, [interval]), *lines), value, low, high)
