"""The polished cross-sections of an image, one by one, as the report reads them."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from surfscan.columns import Table
from surfscan.report.pooling import count
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import Rounded, greatest_words, round_to_interval

_Z95 = 1.959963984540054

FALLBACK = "outer edge of product"
"""The source of an original outline that nobody can state an uncertainty of."""

ORIGINALS = {
    "before": "the picture before exposure",
    "twin": "an unexposed twin",
    "stated area": "a stated area",
    "drawn size": "the drawn size",
    FALLBACK: "the outer edge of product",
    "none": "nowhere",
}
"""Where an original outline comes from, the source most trusted first -> in words, after "from"."""


@dataclass(frozen=True)
class Section:
    """One section of an image.

    Attributes
    ----------
    record : FieldRecord
        The image.
    place : int
        Its row in the image's table of profiles.
    """

    record: FieldRecord
    place: int

    def figure(self, name: str) -> float:
        """A number of its row; not-a-number where there is none."""
        return float(self.record.table("profiles")[name][self.place])

    def interval(self, name: str) -> tuple[float, float]:
        """The 95 % interval of one of its figures."""
        return self.figure(f"{name}_ci95_low"), self.figure(f"{name}_ci95_high")

    def text(self, name: str) -> str:
        """A word of its row."""
        return str(self.record.table("profiles")[name][self.place])

    @property
    def number(self) -> int:
        """Its number in the picture, from 1."""
        return int(self.record.table("profiles")["profile"][self.place])

    @property
    def crosses(self) -> bool:
        """Whether it runs from side to side of the picture: it then has a thickness in place of an area."""
        return self.text("kind") == "crossing"

    @property
    def original(self) -> str:
        """Where its original outline comes from."""
        return self.text("original_outline")

    @property
    def is_measured(self) -> bool:
        """Whether it lies whole in the picture and has an original area that holds it: its loss is known."""
        known = not math.isnan(self.figure("remaining_fraction"))
        return not self.crosses and known and not self.exceeds_original

    @property
    def exceeds_original(self) -> bool:
        """Whether it holds more metal than originally, beyond the 95 % interval: no loss is known."""
        if self.crosses:
            share, doubt = thickness_share(self), _thickness_doubt(self.record)
            return share * (1 - _Z95 * doubt) > 1
        share, (least, _) = self.figure("remaining_fraction"), self.interval("remaining_fraction")
        if math.isnan(share):
            return self.figure("metal_area_px") > self.figure("original_area_px")
        return (share if math.isnan(least) else least) > 1

    @property
    def unit(self) -> str:
        """Unit of its lengths: "um", or "px" where no scale is known."""
        stored = self.record.done("section")
        return "um" if stored and stored.calibration else "px"

    def rounded(self, name: str) -> Rounded:
        """A length such as "mean_penetration" in `unit`, rounded to its interval where it has one."""
        return round_to_interval(self.figure(f"{name}_{self.unit}"), *self._limits(name))

    def length_words(self, name: str) -> tuple[str, str]:
        """The same and its interval in words; a greatest penetration that may be none is "not above" it."""
        if name == "max_penetration":
            return greatest_words(self.figure(f"{name}_{self.unit}"), *self._limits(name))
        number = self.rounded(name)
        return number.value, number.interval

    def _limits(self, name: str) -> tuple[float, float]:
        has_interval = self.unit == "um" and name in ("mean_penetration", "max_penetration")
        return self.interval(f"{name}_um") if has_interval else (math.nan, math.nan)

    @property
    def unit_word(self) -> str:
        """ "µm", or "px" where no scale is known."""
        return "µm" if self.unit == "um" else "px"

    def stations(self) -> Table:
        """Its stations along the original outline."""
        return self._rows("outline")

    def thickness(self) -> Table:
        """Its stations of thickness, where it crosses the picture."""
        return self._rows("thickness")

    def perimeter(self) -> float:
        """Length of its original outline, in `unit`; not-a-number where it has none."""
        s = self.stations()[f"s_{self.unit}"]
        return float(s[-1]) * len(s) / (len(s) - 1) if len(s) > 1 else math.nan

    def _rows(self, name: str) -> Table:
        table = self.record.table(name)
        own = table["profile"] == self.number
        return {column: values[own] for column, values in table.items()}


def original_thickness(section: Section) -> float:
    """The original thickness of a section that crosses the picture, in its unit; not-a-number if unknown."""
    stored = section.record.done("section")
    drawn = stored.settings.get("drawn_thickness_um") if stored else None
    if section.original != "drawn size" or drawn is None or section.unit == "px":
        return math.nan
    return float(drawn)


def thickness_share(section: Section) -> float:
    """Mean thickness of a section that crosses the picture over its original one; not-a-number if unknown."""
    return section.figure(f"mean_thickness_{section.unit}") / original_thickness(section)


def _thickness_doubt(record: FieldRecord) -> float:
    """Relative standard uncertainty of a thickness over the drawn one."""
    stored = record.done("section")
    if stored is None or stored.calibration is None:
        return 0.0
    drawn = stored.settings.get("drawn_relative_uncertainty") or 0.0
    return math.hypot(float(drawn), stored.calibration.relative_uncertainty)


def sections_of(records: Iterable[FieldRecord]) -> list[Section]:
    """All sections of some images, in order."""
    return [Section(r, place) for r in records for place in range(len(r.table("profiles")["profile"]))]


def sources(sections: Iterable[Section]) -> list[str]:
    """Where the original outlines of some sections come from, each once, the one most trusted first."""
    found = {s.original for s in sections}
    return [source for source in ORIGINALS if source in found]


def sources_counted(sections: Sequence[Section]) -> str:
    """The same in words, with how many each holds for: "2 from the drawn size, 1 from an unexposed twin"."""
    found = sources(sections)
    if len(found) == 1:
        return f"from {ORIGINALS[found[0]]}"
    return ", ".join(f"{sum(s.original == f for s in sections)} from {ORIGINALS[f]}" for f in found)


def known(values: Iterable[float]) -> np.ndarray:
    """Those that are numbers."""
    return np.array([v for v in values if not math.isnan(v)])


def pieces(section: Section) -> str:
    """How many islands of metal it has, in words."""
    islands = round(section.figure("island_count"))
    return "no island" if islands == 0 else count(islands, "island")
