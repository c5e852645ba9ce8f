"""Colours of remaining width: the same on the picture of struts and on the strips of its chart."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.report.plotting import runs
from surfscan.report.records import FieldRecord
from surfscan.report.rounding import significant
from surfscan.report.strut_records import station_shares

_LEVELS = 24
"""Colours told apart; finer steps cannot be seen."""

_TOP_PERCENT = 98
"""What the colours reach up to; the little above it is fillets and noise."""

_NARROWEST = 0.1
"""Least span of the colours as a share, so that noise of a sound strut is not spread over them all."""


@dataclass(frozen=True)
class Colours:
    """What is coloured along the struts of a picture, and how.

    Attributes
    ----------
    values : ndarray of shape (n,)
        By station: remaining width as a share, or the width itself where nothing is known to compare with;
        not-a-number where the station does not count.
    low, high : float
        Values at the ends of the colours.
    title : str
        What is coloured.
    unit : str
        "%", "µm" or "px".
    has_more : bool
        Whether a few values lie above `high`, such as in fillets; they have its colour.
    """

    values: np.ndarray
    low: float
    high: float
    title: str
    unit: str
    has_more: bool = False

    @property
    def is_share(self) -> bool:
        """Whether values are shares of a width before or as drawn."""
        return self.unit == "%"

    def level(self, values: np.ndarray) -> np.ndarray:
        """Step of the colours for values; -1 for not-a-number."""
        share = np.clip((values - self.low) / (self.high - self.low), 0, 1)
        steps = np.nan_to_num(np.round(share * (_LEVELS - 1)), nan=-1)
        return np.asarray(steps.astype(int))

    def words(self, value: float) -> str:
        """A value with its unit."""
        return (
            f"{significant(100 * value, 2 if value < 0.995 else 3)}\u00a0%"
            if self.is_share
            else (f"{significant(value)}\u00a0{self.unit}")
        )

    def ticks(self) -> list[tuple[float, str]]:
        """Numbers at the colour bar: where (0 to 100) and what."""
        middle, more = (self.low + self.high) / 2, "≥\u00a0" if self.has_more else ""
        return [
            (0.0, self.words(self.low)),
            (50.0, self.words(middle)),
            (100.0, more + self.words(self.high)),
        ]


def strut_colours(record: FieldRecord) -> Colours | None:
    """How the stations of a picture are coloured; None where no station counts."""
    stations = record.table("stations")
    shares = station_shares(record)
    if np.isfinite(shares).any():
        least, most = float(np.nanmin(shares)), float(np.nanmax(shares))
        low = math.floor(20 * min(least, 1.0)) / 20
        high = max(1.0, math.ceil(20 * float(np.nanpercentile(shares, _TOP_PERCENT)) - 0.2) / 20)
        low = min(low, high - _NARROWEST)
        against = set(record.table("struts")["loss_against"].tolist()) - {""}
        of = (
            "width before"
            if against == {"before"}
            else "width as drawn"
            if against == {"drawn"}
            else ("width before or as drawn")
        )
        title = f"remaining width, share of the {of}"
        return Colours(shares, max(low, 0.0), high, title, "%", has_more=most > high)
    scaled = np.isfinite(stations["width_um"]).any()
    widths = stations["width_um" if scaled else "width_px"]
    values = np.where(stations["fault"] == "", widths, np.nan)
    if not np.isfinite(values).any():
        return None
    least, most = float(np.nanmin(values)), float(np.nanmax(values))
    spare = max(_NARROWEST * most - (most - least), 0.0) / 2
    return Colours(
        values, least - spare, most + spare, "width (nothing to compare with)", "µm" if scaled else "px"
    )


def colour_table() -> list[str]:
    """The colours from low to high, as #rrggbb."""
    import matplotlib
    from matplotlib.colors import to_hex

    shades = matplotlib.colormaps["cividis"](np.linspace(0, 1, _LEVELS))
    return [to_hex(shade) for shade in shades]


def coloured_runs(values: np.ndarray, colours: Colours, step: int) -> list[tuple[int, int, int]]:
    """Stretches of one colour along a strut: first station, one past the last, step of the colours.

    Every `step` stations share the colour of their mean; stretches that do not count are left out.
    """
    out: list[tuple[int, int, int]] = []
    for start, end in runs(np.isfinite(values)):
        firsts = np.arange(start, end, step)
        sums = np.add.reduceat(values[start:end], firsts - start)
        counts = np.diff(np.r_[firsts, end])
        levels = colours.level(sums / counts)
        breaks = np.flatnonzero(np.diff(levels)) + 1
        bounds = [*(firsts[np.r_[0, breaks]].tolist()), end]
        out += [
            (a, b, int(level))
            for a, b, level in zip(bounds[:-1], bounds[1:], levels[np.r_[0, breaks]], strict=True)
        ]
    return out
