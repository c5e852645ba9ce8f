"""Uncertainty of a scale and of what is measured with it (JCGM 100: root sum of squares of all parts)."""

from __future__ import annotations

import math
from dataclasses import dataclass

DECLARED_SCALE_ALLOWANCE = 0.01
"""Relative standard uncertainty of a scale without a certificate: declared allowance, no source."""

ANISOTROPY_ALLOWANCE = 0.001
"""Relative standard uncertainty of y where only x was calibrated: x and y differed by 0.10 % in the worked
example of NIST SP 250-96 (9.875 and 9.885 nm per pixel)."""

WHOLE_PIXEL_PX = 1 / math.sqrt(12)
"""Standard uncertainty of a length drawn in whole pixels, px: rectangular over one pixel (JCGM 100)."""

_Z = 1.959963984540054


@dataclass(frozen=True)
class ScaleUncertainty:
    """Parts of the relative standard uncertainty of a pixel size (k = 1).

    Attributes
    ----------
    ends : float
        From where the two ends of the bar, or the divisions of the micrometer, were located, and from what
        part of its end ticks a bar counts.
    label : float
        From the bar being drawn in whole pixels, and from the last digit of a label that is not round.
    instrument : float
        From the certificate, or the declared allowance where there is none; above 0.
    anisotropy : float
        From y not having been calibrated by itself.
    is_certified : bool
        Whether `instrument` comes from a certificate.
    """

    ends: float
    label: float
    instrument: float
    anisotropy: float
    is_certified: bool

    @property
    def combined(self) -> float:
        """Relative standard uncertainty of the pixel size, above 0."""
        return combine(self.ends, self.label, self.instrument, self.anisotropy)

    @property
    def text(self) -> str:
        """The parts in plain words."""
        source = "certificate" if self.is_certified else "declared allowance for the instrument"
        return (
            f"ends {100 * self.ends:.2g} %, label {100 * self.label:.2g} %, {source} "
            f"{100 * self.instrument:.2g} %, y not calibrated by itself {100 * self.anisotropy:.2g} %"
        )


def combine(*relative: float) -> float:
    """Root sum of squares of independent relative standard uncertainties (JCGM 100).

    Raises
    ------
    ValueError
        If one is negative or not finite.
    """
    if any(not math.isfinite(part) or part < 0 for part in relative):
        raise ValueError(f"uncertainties must be finite and not negative, got {relative}")
    return math.hypot(*relative)


def two_ends_px(end_uncertainty_px: float, *, same_direction: bool = False) -> float:
    """Standard uncertainty of a length between two ends, px.

    Parameters
    ----------
    end_uncertainty_px : float
        Standard uncertainty of one end.
    same_direction : bool
        Whether both ends err outwards or inwards together (blooming, a threshold): then the errors add,
        otherwise their squares.
    """
    return (2.0 if same_direction else math.sqrt(2.0)) * end_uncertainty_px


def tick_doubt_px(tick_width_px: float) -> float:
    """Standard uncertainty of the length of a bar with end ticks from what part of them it counts, px.

    From the centres or from the outer edges: each end lies in an interval of half a tick's width, of which
    the middle is taken (rectangular, JCGM 100:2008, 4.3.7), both ends alike, so that they add.
    """
    return two_ends_px(tick_width_px / 4 / math.sqrt(3), same_direction=True)


def bar_uncertainty(
    length_px: float,
    end_uncertainty_px: float,
    *,
    tick_width_px: float = 0.0,
    label_step_relative: float = 0.0,
    certificate_relative_uncertainty: float | None = None,
    covers_both_directions: bool = False,
) -> ScaleUncertainty:
    """Uncertainty of a pixel size that a scale bar gives.

    Parameters
    ----------
    length_px : float
        Length of the bar.
    end_uncertainty_px : float
        Standard uncertainty of each end.
    tick_width_px : float
        Width of the end ticks, half way between whose centres and outer edges the length was taken.
    label_step_relative : float
        Half of the last digit of the label over the label, where it is not a round number.
    certificate_relative_uncertainty : float, optional
        Relative standard uncertainty (k = 1) of the instrument's scale; `DECLARED_SCALE_ALLOWANCE` where
        there is none.
    covers_both_directions : bool
        Whether y is known by itself, so that no allowance for it is needed.

    Raises
    ------
    ValueError
        If the length is not above 0, or the certificate not between 0 and 1.
    """
    if not (math.isfinite(length_px) and length_px > 0):
        raise ValueError(f"the bar's length must be above 0 px, got {length_px!r}")
    instrument = instrument_uncertainty(certificate_relative_uncertainty)
    return ScaleUncertainty(
        ends=combine(two_ends_px(end_uncertainty_px), tick_doubt_px(tick_width_px)) / length_px,
        label=combine(WHOLE_PIXEL_PX / length_px, label_step_relative / math.sqrt(3)),
        instrument=instrument,
        anisotropy=0.0 if covers_both_directions else ANISOTROPY_ALLOWANCE,
        is_certified=certificate_relative_uncertainty is not None,
    )


def instrument_uncertainty(certificate_relative_uncertainty: float | None) -> float:
    """The certificate's relative standard uncertainty, or the declared allowance where there is none.

    Raises
    ------
    ValueError
        If the certificate's is not between 0 and 1.
    """
    if certificate_relative_uncertainty is None:
        return DECLARED_SCALE_ALLOWANCE
    if not 0 < certificate_relative_uncertainty < 1:
        given = certificate_relative_uncertainty
        raise ValueError(f"a certificate's relative uncertainty lies between 0 and 1, got {given!r}")
    return float(certificate_relative_uncertainty)


def length_relative_uncertainty(scale_relative: float, length_px: float, edge_uncertainty_px: float) -> float:
    """Relative standard uncertainty of a length of so many pixels: scale and two independent edges.

    (u_L / L)² = (u_s / s)² + (u_N / N)² for L = N s.
    """
    return combine(scale_relative, two_ends_px(edge_uncertainty_px) / length_px)


def widened(
    value: float | None, ci95: tuple[float, float] | None, scale_relative: float, *, power: int
) -> tuple[float, float] | None:
    """A 95 % interval with the uncertainty of the scale taken in.

    Parameters
    ----------
    value : float or None
    ci95 : (float, float) or None
        Interval without the scale's part; limits not negative.
    scale_relative : float
        Relative standard uncertainty of the pixel size.
    power : int
        Power of the pixel size in the figure: 1 for a length, 2 for an area or a density, 3 for a volume.

    Returns
    -------
    (float, float) or None
        Distances of the limits from the value and the scale's 1.96 power u combined as root sum of squares
        of their logarithms, which keeps limits above 0. A limit at 0 stays; above a value of 0 the scale's
        part of the upper limit itself is combined with it.
    """
    if ci95 is None or value is None:
        return ci95
    low, high = ci95
    part = _Z * abs(power) * scale_relative
    if value <= 0:
        return low, high * math.hypot(1.0, part)
    lower = value * math.exp(-math.hypot(math.log(value / low), part)) if low > 0 else low
    return lower, value * math.exp(math.hypot(math.log(high / value), part))
