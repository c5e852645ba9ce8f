"""Tables of the page, from summaries to cells."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from surfscan.columns import BESIDE_FIGURES, FIGURES_OF, SUBTRACTED_FIGURES
from surfscan.report.cells import GREATEST, HEADS, Cell, Grid, Head, estimate_cell, greatest_cell
from surfscan.report.groups import GroupSummary
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.rate_records import NOUNS, RateRecord
from surfscan.report.records import NOT_STATED, WITH_PRODUCT, FieldRecord, words
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant
from surfscan.report.truth import TruthComparison

if TYPE_CHECKING:
    from pydantic import BaseModel

    from surfscan.study.entries import Shows
    from surfscan.study.manifest import Study


_OF_KIND: dict[Shows, str] = {"heights": "Height maps", "strut": "Struts", "section": "Cross-sections"}
"""What images show -> how tables call what is not from pictures of surfaces."""

_TRUE_OF = {kind: name.lower() for kind, name in _OF_KIND.items()} | {
    "sweep": "sweeps",
    "mass_loss": "mass loss",
    "gas": "gas",
    "exposure": "rig logs",
}
"""The same in a table of true values, with the kinds that are no images."""


def shown_figures(groups: Sequence[GroupSummary], kind: Shows) -> list[str]:
    """Figures of `FIGURES_OF` one kind of image that at least one specimen has, less `BESIDE_FIGURES`."""
    names = [name for name in FIGURES_OF[kind] if name not in BESIDE_FIGURES]
    return [name for name in names if any(g.values(name) for g in groups)]


def shown_groups(groups: Sequence[GroupSummary], kind: Shows) -> list[GroupSummary]:
    """Groups with images of one kind; all of them where that is pictures of surfaces."""
    return [g for g in groups if kind == "surface" or any(m.by_kind[kind].records for m in g.members)]


def group_grid(groups: Sequence[GroupSummary], kind: Shows = "surface") -> Grid:
    """One row a group: mean and difference of every figure of one kind of image."""
    names = shown_figures(groups, kind)
    subtracted = [name for name in names if name in SUBTRACTED_FIGURES]
    heads = [Head("Group"), Head("Exposure", "h", number=True), Head("Specimens", "n", number=True)]
    for name in names:
        text, unit, _ = HEADS[name]
        heads.append(Head(text, f"{unit}, mean", number=True))
        if name in SUBTRACTED_FIGURES:
            heads.append(Head(f"{text} less baseline", unit, number=True))
    rows = []
    for group in shown_groups(groups, kind):
        cells = [
            Cell(group.name, (f"baseline: {group.baseline}",) if _is_subtracted(group, subtracted) else ()),
            Cell(hours(group.row["exposure_h"])),
            Cell(str(len(group.members))),
        ]
        for name in names:
            cells += _group_cells(group, name)
        rows.append(cells)
    whose = f"{_OF_KIND[kind]}: means" if kind in _OF_KIND else "Means"
    caption = (
        f"{whose} over specimens, 95 % interval below; SD between specimens; n where not every specimen has "
        "the figure"
    )
    if subtracted:
        caption += "; difference from the mean of the baseline group with both uncertainties"
    return Grid(caption, heads, rows).without_empty_columns()


def group_notes(groups: Sequence[GroupSummary], kind: Shows = "surface") -> list[str]:
    """What limits the group means, each said once with the groups it is about."""
    said: dict[str, list[str]] = {}
    for group in groups:
        for text in group.kind_warnings[kind]:
            said.setdefault(text, []).append(group.name)
    return [f"{', '.join(names)}: {text}" for text, names in sorted(said.items(), key=lambda n: -len(n[1]))]


def specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    """One row a specimen."""
    heads = [
        Head("Specimen"),
        Head("Group"),
        Head("Exposure", "h", number=True),
        Head("Surface"),
        Head("Fields", "n", number=True),
        Head("Pits", "n", number=True),
        *(
            Head(*HEADS[name][:2], number=True)
            for name in (
                "pit_density_per_mm2",
                "pit_density_per_mpx",
                "pitted_area_fraction",
                "median_equivalent_diameter_um",
                "median_equivalent_diameter_px",
            )
        ),
        Head("ASTM G46", "density, size"),
        *(
            Head(*HEADS[name][:2], number=True)
            for name in ("degraded_area_fraction", "tarnished_area_fraction")
        ),
        Head("Worst-seen field", "in no mean"),
    ]
    caption = (
        "Specimens: fields pooled, 95 % interval below (Poisson for one field, between fields for several); "
        "%RA is the relative accuracy of ASTM E562"
    )
    return Grid(caption, heads, [_specimen_cells(s) for s in specimens]).without_empty_columns()


def specimen_notes(specimens: Sequence[SpecimenSummary]) -> list[str]:
    """What the marks in the specimen table mean."""
    notes = []
    if any(_pooled_in(WITH_PRODUCT, s) for s in specimens):
        notes.append("† Pits counted with corrosion product on the surface: product may hide some.")
    if any(_pooled_in(NOT_STATED, s) for s in specimens):
        notes.append("¶ Surface condition not stated: corrosion product, if any, may hide pits.")
    if any(s.row["n_failed"] for s in specimens):
        notes.append("‡ Some images of this specimen were not measured; see below.")
    if any("outside" in s.row["g46_density_class"] + s.row["g46_size_class"] for s in specimens):
        notes.append("* Outside the rating chart of ASTM G46; nothing is extrapolated.")
    return notes


def truth_grid(truth: Sequence[TruthComparison]) -> Grid:
    """One row a figure: bias, and how often the interval holds the true value."""
    rows = []
    for figure in truth:
        text, unit, scale = HEADS[figure.figure]
        low, high = figure.bias_ci95 or (math.nan, math.nan)
        relative = figure.relative_bias
        where = f", {_TRUE_OF[figure.kind]}" if figure.kind in _TRUE_OF else ""
        left_out = (f"{figure.lower_bounds} lower bounds left out",) if figure.lower_bounds else ()
        rows.append(
            [
                Cell(f"{text} ({unit}){where}"),
                Cell(str(len(figure.true)), left_out),
                Cell(significant(float(figure.true.mean()) * scale)),
                Cell(significant(float(figure.measured.mean()) * scale)),
                estimate_cell(figure.bias, low, high, scale=scale),
                Cell(_percent_off(relative)),
                Cell(f"{figure.covered} of {figure.with_interval}" if figure.with_interval else NO_VALUE),
            ]
        )
    heads = [
        Head("Figure"),
        Head("Compared", "n", number=True),
        Head("True", "mean", number=True),
        Head("Measured", "mean", number=True),
        Head("Bias", "95 % interval", number=True),
        Head("Bias of the sum", "%", number=True),
        Head("Interval holds the true value", number=True),
    ]
    return Grid("Measured against true", heads, rows)


def _percent_off(relative: float) -> str:
    """Percent with its sign; "+0.0" where it rounds to nought."""
    if math.isnan(relative):
        return NO_VALUE
    return f"{round(100 * relative, 1) + 0.0:+.1f}".replace("-", "−")


def failed_grid(records: Sequence[FieldRecord], rates: Sequence[RateRecord] = ()) -> Grid | None:
    """Images and other entries without a result and why; None where all were measured."""
    rows = []
    for record in records:
        for procedure in record.image.procedures:
            status = record.status(procedure)
            if status == "done":
                continue
            reason = "Not measured yet: run surfscan measure."
            if status == "failed":
                reason = record.results[procedure].message
            rows.append([Cell(record.image_id), Cell(record.specimen.id), Cell(procedure), Cell(reason)])
    lacking = [r for r in rates if r.status != "done"]
    rows += [[*map(Cell, (r.entry_id, r.specimen_names, NOUNS[r.procedure], r.message))] for r in lacking]
    if not rows:
        return None
    kinds = [*(["Images"] if len(rows) > len(lacking) else []), *(["entries"] if lacking else [])]
    what = " and ".join(kinds).capitalize()
    heads = [Head("Entry" if lacking else "Image"), Head("Specimen"), Head("Procedure"), Head("Reason")]
    return Grid(f"{what} without a result ({len(rows)})", heads, rows)


def settings_grids(study: Study) -> list[Grid]:
    """Every setting as the study has it, a table a procedure."""
    grids = []
    kinds: dict[tuple[str, Shows], str] = {
        ("pits", "surface"): "Settings: pits on pictures",
        ("degraded", "surface"): "Settings: degraded area",
        ("pits", "heights"): "Settings: pits on height maps",
        ("texture", "heights"): "Settings: areal texture",
        ("struts", "strut"): "Settings: struts",
        ("section", "section"): "Settings: cross-sections",
    }
    used = {(p, image.kind) for image in study.images for p in image.procedures}
    for (procedure, shows), title in kinds.items():
        if (procedure, shows) not in used:
            continue
        grids.append(settings_grid(title, study.settings.of(procedure, shows)))
    return grids


def settings_grid(title: str, settings: BaseModel) -> Grid:
    """Every setting of one table, with where it comes from."""
    rows = [
        [
            Cell(name),
            Cell("unset" if value is None else str(value)),
            Cell("as\u00a0shipped" if value == default else "set in the study"),
            Cell(info.description or ""),
        ]
        for name, info in type(settings).model_fields.items()
        for value, default in [(getattr(settings, name), info.get_default(call_default_factory=True))]
    ]
    return Grid(title, [Head("Setting"), Head("Value"), Head("Origin"), Head("Meaning")], rows)


def _is_subtracted(group: GroupSummary, names: Sequence[str]) -> bool:
    """Whether a baseline is taken from any of these figures of a group."""
    return any((d := group.differences.get(n)) and not math.isnan(d.value) for n in names)


def _group_cells(group: GroupSummary, name: str) -> list[Cell]:
    """Mean, and difference where one is taken: without interval no finer than the mean it comes from."""
    scale = HEADS[name][2]
    mean, difference = group.means[name], group.differences.get(name)
    subtracted = name in SUBTRACTED_FIGURES
    none = [Cell(NO_VALUE)] if subtracted else []
    if math.isnan(mean.value):
        return [Cell(NO_VALUE), *none]
    refused = [] if mean.ci95 else ["no interval"]
    behind = [] if math.isnan(mean.sd) else [f"SD {significant(mean.sd * scale, 2)}"]
    behind += [] if mean.n == len(group.members) else [f"n {mean.n}"]
    low, high = mean.ci95 or (math.nan, math.nan)
    lines = [*refused, *([", ".join(behind)] if behind else [])]
    doubt = group.doubt(name)
    if name in GREATEST:
        return [greatest_cell(mean.value, *group.greatest_limits(name), lines=lines, doubt=doubt), *none]
    cells = [
        estimate_cell(
            mean.value,
            low,
            high,
            scale=scale,
            lines=lines,
            doubt=doubt,
            is_lower_bound=any(group.lower_bounds(name)),
        ),
    ]
    if difference is None or math.isnan(difference.value):
        return [*cells, *none]
    places = round_to_interval(mean.value, low, high, scale=scale, doubt=doubt).places
    low, high = difference.ci95 or (math.nan, math.nan)
    lines = [] if difference.ci95 else ["no interval"]
    return [*cells, estimate_cell(difference.value, low, high, scale=scale, lines=lines, places=places)]


def _specimen_cells(summary: SpecimenSummary) -> list[Cell]:
    row = summary.row
    marks = "".join(
        mark
        for mark, holds in (
            ("†", _pooled_in(WITH_PRODUCT, summary)),
            ("¶", _pooled_in(NOT_STATED, summary)),
            ("‡", row["n_failed"]),
        )
        if holds
    )

    def estimate(name: str) -> Cell:
        accuracy = row.get(f"{name}_relative_accuracy_percent", math.nan)
        lines = [] if math.isnan(accuracy) else [f"%RA {significant(accuracy, 2)}"]
        low, high = row[f"{name}_ci95_low"], row[f"{name}_ci95_high"]
        return estimate_cell(row[name], low, high, scale=HEADS[name][2], lines=lines)

    surfaces = dict.fromkeys(row[f"{p}_condition"] for p in ("pits", "degraded"))
    fields = sorted({row["n_pit_fields"], row["n_degraded_fields"]} - {0}) or [0]
    classes = [
        row[f"g46_{what}_class"].replace(" (outside chart)", "*").replace(" ", "\u00a0")
        for what in ("density", "size")
    ]
    return [
        Cell(f"{summary.specimen.id} {marks}".strip()),
        Cell(row["group"]),
        Cell(hours(row["exposure_h"])),
        Cell(", ".join(words(s) for s in surfaces if s) or ("" if summary.seen.records else "no picture")),
        Cell(" / ".join(map(str, fields))),
        Cell(NO_VALUE if math.isnan(row["pit_count"]) else f"{row['pit_count']:.0f}"),
        estimate("pit_density_per_mm2"),
        estimate("pit_density_per_mpx"),
        estimate("pitted_area_fraction"),
        Cell(significant(row["median_equivalent_diameter_um"])),
        Cell(significant(row["median_equivalent_diameter_px"])),
        Cell(classes[0], (classes[1],) if classes[1] else ()),
        estimate("degraded_area_fraction"),
        estimate("tarnished_area_fraction"),
        _worst_cell(summary),
    ]


def _worst_cell(summary: SpecimenSummary) -> Cell:
    shown = [
        f"{significant(value * HEADS[name][2])} {HEADS[name][1]}{what}"
        for name, what in (
            ("pit_density_per_mm2", ""),
            ("pitted_area_fraction", " pitted"),
            ("degraded_area_fraction", " degraded"),
        )
        if not math.isnan(value := summary.row[f"worst_seen_{name}"])
    ]
    return Cell("× shown" if shown else "", tuple(shown))


def _pooled_in(condition: str, summary: SpecimenSummary) -> bool:
    return any(r.image.condition == condition for r in summary.pooled["pits"])


def hours(value: float) -> str:
    """An exposure; `NO_VALUE` where it is not known."""
    return NO_VALUE if math.isnan(value) else f"{value:g}"
