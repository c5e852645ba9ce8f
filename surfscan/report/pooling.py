"""What the report knows of one specimen, and which of its fields are pooled for what."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan.calibration.uncertainty import widened
from surfscan.columns import FIGURES_OF, GROUP_FIGURES, Table
from surfscan.estimates import counting, fields
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, FieldRecord, of_kind, words
from surfscan.study.entries import PROCEDURES_BY_KIND, Shows

if TYPE_CHECKING:
    from surfscan.study.manifest import Specimen

NO_INTERVAL = (math.nan, math.nan)
FEW_FIELDS = 3
"""With so few fields an interval between them may be narrow by chance alone, and is not taken narrower than
the fields themselves allow (common practice, no source)."""


@dataclass(frozen=True)
class Pool:
    """A kind of figures and the fields that it may rest on.

    Attributes
    ----------
    procedure : str
    kind : Shows
        What its images show; figures of different kinds are never pooled together.
    name : str
        In words, at the start of a sentence.
    conditions : tuple of str
        Surface conditions, the one preferred first.
    """

    procedure: str
    kind: Shows
    name: str
    conditions: tuple[str, ...]


_METAL_FIRST = ("cleaned", "as_received", WITH_PRODUCT)
POOLS = {
    "pits": Pool("pits", "surface", "Pits", _METAL_FIRST),
    "degraded": Pool("degraded", "surface", "Degraded area", (WITH_PRODUCT, "cleaned", "as_received")),
    "height_pits": Pool("pits", "heights", "Pits on height maps", _METAL_FIRST),
    "texture": Pool("texture", "heights", "Areal texture", _METAL_FIRST),
    "struts": Pool("struts", "strut", "Strut widths", _METAL_FIRST),
    "section": Pool("section", "section", "Cross-sections", (WITH_PRODUCT, "cleaned", "as_received")),
}
"""Where a specimen was imaged in several conditions, only one is pooled: the one that most specimens of its
group have, so that they can be compared. At a tie the order in the pool decides: pits and texture show best
on cleaned metal, degraded area before the product is taken off."""


@dataclass
class Figures:
    """Figures of one specimen from one kind of image.

    Attributes
    ----------
    records : list of FieldRecord
        All its images of the kind.
    row : dict
        Its row of the table; empty where there is none.
    warnings : list of str
    remarks : dict of str to list of str
        Text -> figures it is about, so that one fault of three figures is one warning.
    beyond : list of str
        Images with more metal than before or as drawn, beyond their interval: in no mean of loss.
    """

    records: list[FieldRecord]
    row: dict[str, Any] = field(default_factory=dict)
    warnings: list[str] = field(default_factory=list)
    remarks: dict[str, list[str]] = field(default_factory=dict)
    beyond: list[str] = field(default_factory=list)

    def warn(self, text: str) -> None:
        """Add a warning."""
        self.warnings.append(text)

    def remark(self, figure: str, texts: Iterable[str]) -> None:
        """Add what limits one figure."""
        name = GROUP_FIGURES[figure][1] if figure in GROUP_FIGURES else figure
        for text in texts:
            self.remarks.setdefault(text, []).append(name)

    def put(self, name: str, value: float, limits: Sequence[float] | np.ndarray) -> None:
        """Set a figure and its interval."""
        self.row[name] = float(value)
        self.row[f"{name}_ci95_low"], self.row[f"{name}_ci95_high"] = float(limits[0]), float(limits[1])


@dataclass
class SpecimenSummary:
    """Everything the report says about one specimen.

    Attributes
    ----------
    specimen : Specimen
    by_kind : dict of str to Figures
        By what images show; never pooled together.
    pooled : dict of str to list of FieldRecord
        Fields that enter its figures, by pool.
    """

    specimen: Specimen
    by_kind: dict[Shows, Figures]
    pooled: dict[str, list[FieldRecord]] = field(default_factory=dict)

    @property
    def seen(self) -> Figures:
        """Figures from pictures of its surface."""
        return self.by_kind["surface"]

    @property
    def deep(self) -> Figures:
        """Figures from height maps."""
        return self.by_kind["heights"]

    @property
    def row(self) -> dict[str, Any]:
        """Its row of the specimen table."""
        return self.seen.row

    @property
    def warnings(self) -> list[str]:
        """Warnings of all kinds of image, each once."""
        return list(dict.fromkeys(text for figures in self.by_kind.values() for text in figures.warnings))

    def condition(self, pool: str) -> str:
        """Surface condition of the fields of a pool; empty where there are none."""
        return self.pooled[pool][0].image.condition if self.pooled[pool] else ""

    def figure(self, name: str) -> float:
        """A figure of `GROUP_FIGURES`; not-a-number where the specimen has none."""
        return float(self._row_of(name).get(name, math.nan))

    def half_width(self, name: str) -> float:
        """Half of the 95 % interval of such a figure; not-a-number where it has none."""
        low, high = self.limits(name)
        return (high - low) / 2

    def limits(self, name: str) -> tuple[float, float]:
        """The 95 % interval of such a figure; not-a-numbers where it has none."""
        row = self._row_of(name)
        return row.get(f"{name}_ci95_low", math.nan), row.get(f"{name}_ci95_high", math.nan)

    def _row_of(self, name: str) -> dict[str, Any]:
        return next(own.row for kind, own in self.by_kind.items() if name in FIGURES_OF[kind])


def pool_fields(specimens: Iterable[Specimen], records: Sequence[FieldRecord]) -> list[SpecimenSummary]:
    """Specimens with the fields that their figures rest on, in the study's order; no figure yet."""
    out = []
    for specimen in specimens:
        own = [r for r in records if r.specimen.id == specimen.id]
        by_kind = {kind: Figures(of_kind(own, kind)) for kind in PROCEDURES_BY_KIND}
        out.append(SpecimenSummary(specimen, by_kind))
    for group in dict.fromkeys(s.specimen.group for s in out):
        members = [s for s in out if s.specimen.group == group]
        for key, pool in POOLS.items():
            order = _condition_order(members, pool)
            for summary in members:
                summary.pooled[key] = _one_condition(summary.by_kind[pool.kind], pool, order)
    return out


def general_warnings(figures: Figures, noun: str = "field") -> None:
    """Warn of worst-seen and unmeasured images and of fields whose choice is not stated; count them."""
    worst = [r for r in figures.records if not r.enters_means]
    unmeasured = [r for r in figures.records if _not_all_done(r)]
    figures.row |= {"n_worst_seen": len(worst), "n_failed": len(unmeasured)}
    if worst:
        density = " and no density" if noun == "field" else ""
        figures.warn(f"{count(len(worst), noun)} picked as worst seen: shown, but in no mean{density}.")
    if unmeasured:
        images = count(len(unmeasured), "image" if noun == "field" else noun)
        figures.warn(f"{images} not measured: {', '.join(r.image_id for r in unmeasured)}.")
    unchosen = sum(r.image.field_choice == NOT_STATED for r in figures.records)
    if unchosen:
        figures.warn(
            f"{count(unchosen, noun)} with field_choice not stated: means and intervals hold only if fields "
            "were taken systematically or at random."
        )


def product_warnings(figures: Figures, pooled: Sequence[FieldRecord]) -> None:
    """Warn of pits counted where corrosion product may hide them."""
    unknown = sum(r.image.condition == NOT_STATED for r in pooled)
    if unknown:
        figures.warn(
            f"Surface condition not stated ({count(unknown, 'field')}): corrosion product, if any, may hide "
            "pits."
        )
    uncleaned = sum(r.image.condition == WITH_PRODUCT for r in pooled)
    if uncleaned:
        figures.warn(
            f"Pits counted with corrosion product on the surface ({count(uncleaned, 'field')}): product may "
            "hide some, so counts are lower bounds."
        )


def common_scale(pooled: Sequence[FieldRecord]) -> float:
    """Relative standard uncertainty of the scale that the fields of a specimen share; 0 where none is known.

    Fields whose scale has one origin and size err alike, so that more of them do not average it out. Fields
    of different origin still share microscope or certificate in part, by how much nobody knows: taking them
    for independent would be too narrow. Either way the largest among them is taken as common to all.
    """
    known = [stored.calibration for r in pooled if (stored := r.any_done()) and stored.calibration]
    return max((scale.relative_uncertainty for scale in known), default=0.0)


def put_density(figures: Figures, pooled: Sequence[FieldRecord]) -> list[int]:
    """Set the pit density and what its interval rests on; places of the fields that it rests on.

    The interval of a density per mm² holds `common_scale` twice, as that of one field does.
    """
    tables = [r.table("pits") for r in pooled]
    scaled = [i for i, r in enumerate(pooled) if not math.isnan(r.figure("pits", "field_area_mm2"))]
    figures.row |= {
        "n_pit_fields": len(pooled),
        "pit_count": float(sum(len(t["label"]) for t in tables)) if pooled else math.nan,
        "edge_weighted_count": sum(edge_weight(t) for t in tables) if pooled else math.nan,
        "field_area_mm2": sum(pooled[i].figure("pits", "field_area_mm2") for i in scaled) or math.nan,
        "pit_density_interval": "",
    }
    for name in ("pit_density_per_mm2", "pit_density_per_mpx"):
        figures.put(name, math.nan, NO_INTERVAL)
    if scaled and len(scaled) < len(pooled):
        figures.warn(
            f"{count(len(pooled) - len(scaled), 'field')} without a known scale left out of the density per "
            "mm² and of pit sizes. State pixel_size_um."
        )
    used = scaled or list(range(len(pooled)))
    name, area_name, unit = (
        ("pit_density_per_mm2", "field_area_mm2", 1.0)
        if scaled
        else ("pit_density_per_mpx", "field_area_px", 1e-6)
    )
    if used:
        areas = [pooled[i].figure("pits", area_name) * unit for i in used]
        value, limits, figures.row["pit_density_interval"], remarks = density(
            [tables[i] for i in used], areas
        )
        if scaled:
            limits = widened(value, limits, common_scale([pooled[i] for i in used]), power=2) or NO_INTERVAL
        figures.put(name, value, limits)
        figures.remark(name, remarks)
    return used


def density(
    tables: Sequence[Table], areas: Sequence[float]
) -> tuple[float, tuple[float, float], str, tuple[str, ...]]:
    """Summed weights over summed areas, its interval, what that rests on, and what limits it."""
    everything = np.concatenate([t["edge_weight"] for t in tables])
    poisson = counting.density(everything, float(sum(areas)))
    if poisson.value is None:
        return math.nan, NO_INTERVAL, "", ("A pit has no edge weight, so there is no density.",)
    if len(areas) == 1:
        return number(poisson.value), poisson.ci95 or NO_INTERVAL, "Poisson, one field", ()
    between = fields.area_weighted_mean([edge_weight(t) for t in tables], areas)
    narrowest = poisson.ci95 or NO_INTERVAL
    chance = len(areas) <= FEW_FIELDS and 2 * (between.half_width or 0.0) < narrowest[1] - narrowest[0]
    if chance or not between.standard_deviation:
        return between.mean, narrowest, f"Poisson, {len(areas)} fields alike", ()
    return between.mean, between.ci95 or NO_INTERVAL, f"between {len(areas)} fields", between.warnings


def edge_weight(table: Table) -> float:
    """Summed edge weights of a table of pits."""
    return float(np.nansum(table["edge_weight"]))


def number(value: float | None) -> float:
    """Not-a-number for None."""
    return math.nan if value is None else float(value)


def count(n: int, noun: str) -> str:
    """ "1 field", "2 fields"."""
    return f"{n} {noun}" if n == 1 else f"{n} {noun}s"


def _not_all_done(record: FieldRecord) -> bool:
    return any(record.status(p) in ("failed", "not measured") for p in record.image.procedures)


def _usable(figures: Figures, pool: Pool) -> list[FieldRecord]:
    return [r for r in figures.records if r.enters_means and r.done(pool.procedure)]


def _condition_order(members: Sequence[SpecimenSummary], pool: Pool) -> list[str]:
    """Conditions of a group's fields, the one to pool first: found on most specimens, then by preference."""
    found: Counter[str] = Counter(
        c for m in members for c in {r.image.condition for r in _usable(m.by_kind[pool.kind], pool)}
    )
    return sorted(found, key=lambda c: (-found[c], (*pool.conditions, NOT_STATED).index(c)))


def _one_condition(figures: Figures, pool: Pool, order: Sequence[str]) -> list[FieldRecord]:
    """Measured fields that may enter a mean, all of one surface condition."""
    usable = _usable(figures, pool)
    conditions = sorted({r.image.condition for r in usable}, key=order.index)
    if len(conditions) > 1:
        quoted = [f"'{words(c)}'" for c in conditions]
        text = (
            f"only fields of surface condition {quoted[0]} are pooled; "
            f"those of {', '.join(quoted[1:])} are shown but left out."
        )
        figures.remarks.setdefault(text, []).append(pool.name.lower())
    return [r for r in usable if r.image.condition == conditions[0]] if conditions else []
