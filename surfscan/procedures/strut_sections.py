"""Remaining sections of struts: stations, widths and drawn or measured thickness put together."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from surfscan.measurement.stations import Stations
from surfscan.measurement.strut_sections import DrawnSection, fraction_uncertainty, sections
from surfscan.measurement.strut_widths import Z95, StrutWidths
from surfscan.procedures.settings import StrutSettings
from surfscan.procedures.strut_comparison import Comparison

_TWICE, _ABOVE = 2.0, 0.01  # uncertainties, and share at least, by which more section than drawn is told


@dataclass(frozen=True)
class StrutSections:
    """Sections along and of every strut; not-a-number where unknown.

    Attributes
    ----------
    basis : str
        "measured", "drawn" (fractions are upper bounds), or "" where no thickness is known.
    area_um2, fraction, equal_loss : ndarray of shape (n,)
        At every station.
    mean_fraction, mean_equal_loss : ndarray of shape (S,)
    least_fraction, least_equal_loss : ndarray of shape (S, 3)
        Value and 95 % limits of the least section.
    least_station : ndarray of shape (S,), int
        -1 where there is none.
    """

    basis: str
    area_um2: np.ndarray
    fraction: np.ndarray
    equal_loss: np.ndarray
    mean_fraction: np.ndarray
    mean_equal_loss: np.ndarray
    least_fraction: np.ndarray
    least_equal_loss: np.ndarray
    least_station: np.ndarray


def strut_sections(
    stations: Stations,
    widths: StrutWidths,
    comparison: Comparison | None,
    settings: StrutSettings,
    *,
    known: StrutSections | None = None,
    changed: np.ndarray | None = None,
) -> tuple[StrutSections, list[str]]:
    """Sections of every strut.

    Parameters
    ----------
    stations : Stations
    widths : StrutWidths
        With the scale's uncertainty in the intervals.
    comparison : Comparison or None
        Where there is one, the width before is that of the same place; otherwise the drawn one.
    settings : StrutSettings
    known : StrutSections, optional
        Of the same struts, from before ...
    changed : ndarray of int, optional
        ... the struts, from 1, that have changed since: only these are worked out anew.

    Returns
    -------
    StrutSections
    warnings : list of str

    Notes
    -----
    The limits of the least section follow from those of the least width at the same station, together with
    the uncertainties of drawn sizes and measured thickness.
    """
    n, s, unit = len(stations.s), stations.n_struts, stations.unit_um
    thickness = settings.thickness_um
    drawn_thickness = settings.drawn_thickness_um
    has_section = math.isfinite(unit) and (thickness is not None or drawn_thickness is not None)
    along = {name: np.full(n, np.nan) for name in ("area_um2", "fraction", "equal_loss")}
    means = {name: np.full(s, np.nan) for name in ("fraction", "equal_loss")}
    least = {name: np.full((s, 3), np.nan) for name in ("fraction", "equal_loss")}
    where = np.full(s, -1)
    warnings: list[str] = []
    if has_section and drawn_thickness is None:
        warnings.append(
            "The thickness was measured, but none is drawn: sections are given in µm², not as a share of "
            "what they were. Give drawn_thickness_um."
        )
    elif has_section and settings.drawn_width_um is None and comparison is None:
        warnings.append(
            "No width before is known: sections are given in µm², not as a share of what they were. Give "
            "drawn_width_um or a picture before."
        )
    anew = range(s if has_section else 0)
    if known is not None and changed is not None and has_section:
        anew = (np.asarray(changed, int) - 1).tolist()
        kept = ~np.isin(stations.strut, changed)
        whole = ~np.isin(np.arange(1, s + 1), changed)
        for name in along:
            along[name][kept] = getattr(known, name)[kept]
        for name in means:
            means[name][whole] = getattr(known, f"mean_{name}")[whole]
            least[name][whole] = getattr(known, f"least_{name}")[whole]
        where[whole] = known.least_station[whole]
    for k in anew:
        part = stations.of(k + 1)
        good = np.flatnonzero((stations.fault[part] == "") & np.isfinite(stations.width[part])) + part.start
        if not good.size:
            continue
        width = stations.width[good] * unit
        drawn = drawn_section(good, width, comparison, settings, unit)
        found = sections(width, drawn, thickness)
        along["area_um2"][good] = found.area
        where[k] = widths.least_station[k]
        if drawn_thickness is None or not _width_known(good, comparison, settings):
            continue
        along["fraction"][good] = found.fraction
        along["equal_loss"][good] = found.equal_loss_fraction
        means["fraction"][k] = found.fraction.mean()
        means["equal_loss"][k] = found.equal_loss_fraction.mean()
        if where[k] < 0:
            continue
        limits = np.array([widths.least[k], widths.least_low[k], widths.least_high[k]]) * unit
        of = sections(np.maximum(limits, 0), drawn, thickness)
        for name, values, equal in (
            ("fraction", of.fraction, False),
            ("equal_loss", of.equal_loss_fraction, True),
        ):
            others = Z95 * float(
                fraction_uncertainty(
                    limits[:1],
                    0.0,
                    drawn,
                    equal_loss=equal,
                    thickness=thickness,
                    thickness_uncertainty=settings.thickness_uncertainty_um,
                )[0]
            )
            value = float(values[0])
            least[name][k] = (
                value,
                max(0.0, value - math.hypot(value - float(values[1]), others)),
                value + math.hypot(float(values[2]) - value, others),
            )
    warnings += _above_one(means["fraction"], settings)
    basis = "" if not has_section else "drawn" if thickness is None else "measured"
    return (
        StrutSections(
            basis,
            along["area_um2"],
            along["fraction"],
            along["equal_loss"],
            means["fraction"],
            means["equal_loss"],
            least["fraction"],
            least["equal_loss"],
            where,
        ),
        warnings,
    )


def _above_one(fraction: np.ndarray, settings: StrutSettings) -> list[str]:
    """Struts with more section than drawn, by more than drawn sizes are uncertain."""
    many = fraction > 1 + max(_TWICE * math.sqrt(2) * settings.drawn_relative_uncertainty, _ABOVE)
    if not many.any():
        return []
    k = int(np.nanargmax(fraction))
    which = "1 strut has" if np.count_nonzero(many) == 1 else f"{np.count_nonzero(many)} struts have"
    return [
        f"{which} more section than before (strut {k + 1}: {fraction[k]:.4g} times): product measured as "
        "metal, another scale, or other drawn sizes than given. Check them before using any fraction."
    ]


def _width_known(at: np.ndarray, comparison: Comparison | None, settings: StrutSettings) -> bool:
    if comparison is not None and np.isfinite(comparison.width_before[at]).any():
        return True
    return settings.drawn_width_um is not None


def drawn_section(
    at: np.ndarray,
    width: np.ndarray,
    comparison: Comparison | None,
    settings: StrutSettings,
    unit: float,
) -> DrawnSection:
    """Section before of one strut; where nothing is known of its width, that of today (areas need none).

    Parameters
    ----------
    at : ndarray of int
        Stations of the strut that count.
    width : ndarray
        Their widths, µm.
    comparison : Comparison or None
    settings : StrutSettings
    unit : float
        µm of one px of the stations.

    Returns
    -------
    DrawnSection
    """
    thickness = settings.drawn_thickness_um or settings.thickness_um or 1.0
    relative = settings.drawn_relative_uncertainty
    wide, spread = settings.drawn_width_um, relative * (settings.drawn_width_um or 0.0)
    if comparison is not None:
        before = comparison.width_before[at]
        if np.isfinite(before).any():
            wide = float(np.nanmean(before)) * unit
            strut_before = comparison.width_before_uncertainty
            own = float(np.nanmax(strut_before)) if np.isfinite(strut_before).any() else 0.0
            spread = math.hypot(own * unit, comparison.scale_uncertainty * wide)
    wide = wide or float(width.max()) or 1.0
    taper = 0.0
    if settings.drawn_shape == "trapezoid" and settings.drawn_top_width_um and settings.drawn_width_um:
        run = (settings.drawn_width_um - settings.drawn_top_width_um) / 2
        taper = math.degrees(math.atan2(run, thickness))
        wide = max(wide, 2.02 * run)
    return DrawnSection(
        wide,
        thickness,
        settings.drawn_shape,
        taper,
        spread,
        relative * thickness if settings.drawn_thickness_um else 0.0,
    )
