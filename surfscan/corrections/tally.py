"""What a mask of pits says of its field, worked out anew after every edit."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from surfscan.columns import Table
from surfscan.estimates.depths import deepest
from surfscan.images import Calibration
from surfscan.procedures.drawn_pits import deepest_on_frame
from surfscan.procedures.field_summary import headline

Interval = tuple[float, float]


@dataclass(frozen=True)
class Tally:
    """Figures of a field as its mask stands.

    Attributes
    ----------
    pit_count : int
        Pits that count; those rejected do not, those marked as not sure do.
    density_per_mm2, density_per_mpx : float or None
        The first where a scale is known, the second (per million px) where none is.
    density_per_mm2_ci95, density_per_mpx_ci95 : (float, float) or None
    area_fraction : float or None
        Pitted share of the specimen, 0 to 1.
    area_fraction_ci95 : (float, float) or None
    deepest_um : float or None
        On a height map with pits: the greatest depth.
    deepest_is_lower_bound : bool
        Whether some pit's floor was not measured, so that it may be deeper.
    field_area_px : int
        Specimen surface that the figures are for.
    rejected_count, unsure_count : int
        Objects rejected, and of those that count the ones marked as not sure.
    automatic : Tally or None
        The same of the automatic result; None in that one itself.
    """

    pit_count: int
    density_per_mm2: float | None
    density_per_mm2_ci95: Interval | None
    density_per_mpx: float | None
    density_per_mpx_ci95: Interval | None
    area_fraction: float | None
    area_fraction_ci95: Interval | None
    deepest_um: float | None
    deepest_is_lower_bound: bool
    field_area_px: int
    rejected_count: int = 0
    unsure_count: int = 0
    automatic: Tally | None = None


def tally_of_summary(summary: Mapping[str, Any]) -> Tally:
    """The figures of a result of `surfscan.procedures.measure_pits`, from its summary."""
    return Tally(
        pit_count=summary["pit_count"],
        density_per_mm2=summary["pit_density_per_mm2"],
        density_per_mm2_ci95=_pair(summary["pit_density_per_mm2_ci95"]),
        density_per_mpx=summary["pit_density_per_mpx"],
        density_per_mpx_ci95=_pair(summary["pit_density_per_mpx_ci95"]),
        area_fraction=summary["pitted_area_fraction"],
        area_fraction_ci95=_pair(summary["pitted_area_fraction_ci95"]),
        deepest_um=summary.get("max_depth_um"),
        deepest_is_lower_bound=bool(summary.get("max_depth_is_lower_bound", False)),
        field_area_px=summary["field_area_px"],
    )


def tally_of_pits(
    pits: Table,
    *,
    area_px: int,
    scale: Calibration | None,
    heights: tuple[int, int] | None,
    rejected_count: int,
    unsure_count: int,
    automatic: Tally,
) -> Tally:
    """The same figures from the pits that count, by the functions that make the summary.

    Parameters
    ----------
    pits : Table
        Columns of table "pits" in ascending order of the labels: at least weights, areas and perimeters, on
        a height map also the depths.
    area_px : int
        Specimen surface inside the frame, px.
    scale : Calibration or None
    heights : (int, int) or None
        Shape of the height map; None on a micrograph, where no depth is known.
    rejected_count, unsure_count : int
    automatic : Tally
    """
    main = headline(pits, area_px=area_px, scale=scale)
    depth, bound = None, False
    if heights is not None:
        hidden = pits["depth_is_lower_bound"] & ~deepest_on_frame(pits, heights)
        top = deepest(pits["depth_um"], hidden)
        depth, bound = top.max_um, top.is_lower_bound
    return Tally(
        pit_count=len(pits["area_px"]),
        density_per_mm2=main.per_mm2.value,
        density_per_mm2_ci95=main.per_mm2.ci95,
        density_per_mpx=main.per_mpx.value,
        density_per_mpx_ci95=main.per_mpx.ci95,
        area_fraction=main.area_fraction.value,
        area_fraction_ci95=main.area_fraction.ci95,
        deepest_um=depth,
        deepest_is_lower_bound=bound,
        field_area_px=area_px,
        rejected_count=rejected_count,
        unsure_count=unsure_count,
        automatic=automatic,
    )


def _pair(limits: Any) -> Interval | None:
    return None if limits is None else (float(limits[0]), float(limits[1]))
