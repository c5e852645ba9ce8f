"""The self-contained page of a study: what is shown, in which words and numbers."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any

import numpy as np

from surfscan._version import __version__
from surfscan.columns import GROUP_FIGURES
from surfscan.report import figures, prose
from surfscan.report.cells import Cell, Grid, Head, estimate_cell
from surfscan.report.groups import GroupSummary
from surfscan.report.pictures import FieldPicture
from surfscan.report.records import WITH_PRODUCT, FieldRecord, words
from surfscan.report.rounding import NO_VALUE, round_to_interval, significant
from surfscan.report.specimens import SpecimenSummary
from surfscan.report.truth import FIGURES as TRUTH_FIGURES
from surfscan.report.truth import TruthComparison
from surfscan.report.warning_groups import group_warnings

if TYPE_CHECKING:
    from surfscan.study.manifest import Study

_HEADS = {
    "pit_density_per_mm2": ("Pit density", "mm⁻²", 1.0),
    "pit_density_per_mpx": ("Pit density, no scale", "per million px", 1.0),
    "pitted_area_fraction": ("Pitted area", "%", 100.0),
    "degraded_area_fraction": ("Degraded area", "%", 100.0),
    "tarnished_area_fraction": ("Tarnished area", "%", 100.0),
    "median_equivalent_diameter_um": ("Median pit diameter", "µm", 1.0),
    "median_equivalent_diameter_px": ("Median pit diameter, no scale", "px", 1.0),
    "pit_count": ("Pit count", "pits", 1.0),
}
"""Figure -> (head, unit on the page, factor from the stored unit)."""


@dataclass(frozen=True)
class PageContent:
    """All that the page is made of."""

    study: Study
    records: Sequence[FieldRecord]
    specimens: Sequence[SpecimenSummary]
    groups: Sequence[GroupSummary]
    truth: Sequence[TruthComparison]
    pictures: Mapping[str, FieldPicture]
    warnings: Sequence[tuple[str, str]]
    inputs: Sequence[tuple[str, str, str]]
    """(file, what it is, SHA-256) of every input."""
    libraries: Sequence[tuple[str, str]] = field(default=())


def render_page(content: PageContent) -> str:
    """The page as one HTML text that needs no other file and no network."""
    from jinja2 import Environment, PackageLoader, StrictUndefined
    from markupsafe import Markup

    environment = Environment(
        loader=PackageLoader("surfscan.report", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    group_chart = _group_chart(content)
    size_charts = _size_charts(content)
    truth = content.truth
    failed = _failed_grid(content.records)
    parts = {
        "summary": "Summary",
        "groups": "Groups",
        "specimens": "Specimens",
        "truth": "Measured against true" if truth else "",
        "sizes": "Pit sizes" if size_charts else "",
        "pictures": "Pictures",
        "not-measured": "Not measured",
        "warnings": "Warnings",
        "method": "Method and settings",
        "cautions": "Cautions",
        "files": "Files and versions",
    }
    css = resources.files("surfscan.report").joinpath("page.css").read_text(encoding="utf-8")
    return environment.get_template("page.html.j2").render(
        title=content.study.title,
        note=content.study.note,
        version=__version__,
        css=Markup(css),
        contents=[(anchor, text) for anchor, text in parts.items() if text],
        sentences=prose.summary_sentences(content.records, content.groups, content.specimens),
        group_chart=Markup(group_chart),
        has_worst=any(not r.enters_means for r in content.records),
        group_grid=_group_grid(content.groups),
        group_notes=_group_notes(content.groups),
        specimen_grid=_specimen_grid(content.specimens),
        specimen_notes=_specimen_notes(content.specimens),
        truth_grid=_truth_grid(truth) if truth else None,
        truth_chart=Markup(_truth_chart(truth)) if truth else "",
        size_charts=[Markup(chart) for chart in size_charts],
        has_tarnish=any(r.figure("degraded", "tarnished_area_fraction") > 0 for r in content.records),
        gallery=_gallery(content, Markup),
        failed_grid=failed,
        limits=prose.NOT_MEASURED,
        warnings=group_warnings(content.warnings),
        method=prose.METHOD,
        settings_grids=_settings_grids(content.study),
        cautions=prose.CAUTIONS,
        version_grid=_version_grid(content),
        hash_grid=Grid(
            f"Inputs and their SHA-256 ({len(content.inputs)} files)",
            [Head("File"), Head("What"), Head("SHA-256", hash=True)],
            [[Cell(file), Cell(what), Cell(sha256)] for file, what, sha256 in content.inputs],
        ),
    )


def _shown_figures(groups: Sequence[GroupSummary]) -> list[str]:
    return [name for name in GROUP_FIGURES if any(g.values(name) for g in groups)]


def _group_chart(content: PageContent) -> str:
    names = [n for n in _shown_figures(content.groups) if n != "tarnished_area_fraction"]
    if "pit_density_per_mm2" in names and "pit_density_per_mpx" in names:
        names.remove("pit_density_per_mpx")
    groups = [g for g in content.groups if g.members]
    if not names or not groups:
        return ""
    panels = []
    for name in names:
        text, unit, scale = _HEADS[name]
        bars = []
        for group in groups:
            mean = group.means[name]
            low, high = mean.ci95 or (math.nan, math.nan)
            worst = f"worst_seen_{name}"
            seen = [m.row[worst] for m in group.members if not math.isnan(m.row.get(worst, math.nan))]
            bars.append(
                figures.GroupBar(
                    [v * scale for v in group.values(name)],
                    mean.value * scale if mean.n >= 3 else math.nan,
                    low * scale,
                    high * scale,
                    [v * scale for v in seen],
                )
            )
        panels.append(figures.Panel(f"{text}\n({unit})", bars))
    alt = "Specimen values, group means and 95 % intervals of " + ", ".join(
        _HEADS[n][0].lower() for n in names
    )
    return figures.group_figure(
        [g.name for g in groups], panels, f"{alt}; the numbers are in the group table"
    )


def _group_grid(groups: Sequence[GroupSummary]) -> Grid:
    names = _shown_figures(groups)
    heads = [Head("Group"), Head("Exposure", "h", number=True), Head("Specimens", "n", number=True)]
    for name in names:
        text, unit, _ = _HEADS[name]
        heads += [
            Head(text, f"{unit}, mean", number=True),
            Head(f"{text} less baseline", unit, number=True),
        ]
    rows = []
    for group in groups:
        cells = [
            Cell(group.name, (f"baseline: {group.baseline}",) if group.baseline else ()),
            Cell(_hours(group.row["exposure_h"])),
            Cell(str(len(group.members))),
        ]
        for name in names:
            cells += _group_cells(group, name)
        rows.append(cells)
    caption = (
        "Means over specimens, 95 % interval below; SD between specimens; difference from the mean of the "
        "baseline group with both uncertainties"
    )
    return Grid(caption, heads, rows).without_empty_columns()


def _group_cells(group: GroupSummary, name: str) -> list[Cell]:
    """Mean and difference; a difference without interval is no finer than the mean it comes from."""
    scale = _HEADS[name][2]
    mean, difference = group.means[name], group.differences.get(name)
    if math.isnan(mean.value):
        return [Cell(NO_VALUE), Cell(NO_VALUE)]
    refused = [] if mean.ci95 else ["no interval"]
    scatter = "" if math.isnan(mean.sd) else f"SD {significant(mean.sd * scale, 2)}, "
    low, high = mean.ci95 or (math.nan, math.nan)
    cells = [
        estimate_cell(mean.value, low, high, scale=scale, lines=[*refused, f"{scatter}n {mean.n}"]),
    ]
    if difference is None or math.isnan(difference.value):
        return [*cells, Cell(NO_VALUE)]
    places = round_to_interval(mean.value, low, high, scale=scale).places
    low, high = difference.ci95 or (math.nan, math.nan)
    lines = [] if difference.ci95 else ["no interval"]
    return [*cells, estimate_cell(difference.value, low, high, scale=scale, lines=lines, places=places)]


def _group_notes(groups: Sequence[GroupSummary]) -> list[str]:
    said = group_warnings((g.name, text) for g in groups for text in g.warnings)
    return [f"{', '.join(note.where)}: {note.text}." for note in said]


def _specimen_grid(specimens: Sequence[SpecimenSummary]) -> Grid:
    heads = [
        Head("Specimen"),
        Head("Group"),
        Head("Exposure", "h", number=True),
        Head("Surface"),
        Head("Fields", "n", number=True),
        Head("Pits", "n", number=True),
        *(
            Head(*_HEADS[name][:2], number=True)
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
            Head(*_HEADS[name][:2], number=True)
            for name in ("degraded_area_fraction", "tarnished_area_fraction")
        ),
        Head("Worst-seen field", "in no mean"),
    ]
    caption = (
        "Specimens: fields pooled, 95 % interval below (Poisson for one field, between fields for several); "
        "%RA is the relative accuracy of ASTM E562"
    )
    return Grid(caption, heads, [_specimen_cells(s) for s in specimens]).without_empty_columns()


def _specimen_cells(summary: SpecimenSummary) -> list[Cell]:
    row = summary.row
    marks = ("† " if _uncleaned(summary) else "") + ("‡" if row["n_failed"] else "")

    def estimate(name: str) -> Cell:
        accuracy = row.get(f"{name}_relative_accuracy_percent", math.nan)
        lines = [] if math.isnan(accuracy) else [f"%RA {significant(accuracy, 2)}"]
        low, high = row[f"{name}_ci95_low"], row[f"{name}_ci95_high"]
        return estimate_cell(row[name], low, high, scale=_HEADS[name][2], lines=lines)

    surfaces = dict.fromkeys(row[f"{p}_condition"] for p in ("pits", "degraded"))
    fields = sorted({row["n_pit_fields"], row["n_degraded_fields"]} - {0}) or [0]
    classes = [
        row[f"g46_{what}_class"].replace(" (outside chart)", "*").replace(" ", "\u00a0")
        for what in ("density", "size")
    ]
    return [
        Cell(f"{summary.specimen.id} {marks}".strip()),
        Cell(row["group"]),
        Cell(_hours(row["exposure_h"])),
        Cell(", ".join(words(s) for s in surfaces if s)),
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
        f"{significant(value * _HEADS[name][2])} {_HEADS[name][1]}{what}"
        for name, what in (
            ("pit_density_per_mm2", ""),
            ("pitted_area_fraction", " pitted"),
            ("degraded_area_fraction", " degraded"),
        )
        if not math.isnan(value := summary.row[f"worst_seen_{name}"])
    ]
    return Cell("× shown" if shown else "", tuple(shown))


def _uncleaned(summary: SpecimenSummary) -> bool:
    return any(r.image.condition == WITH_PRODUCT for r in summary.pooled["pits"])


def _specimen_notes(specimens: Sequence[SpecimenSummary]) -> list[str]:
    notes = []
    if any(_uncleaned(s) for s in specimens):
        notes.append("† Pits counted with corrosion product on the surface: product may hide some.")
    if any(s.row["n_failed"] for s in specimens):
        notes.append("‡ Some images of this specimen were not measured; see below.")
    if any("outside" in s.row["g46_density_class"] + s.row["g46_size_class"] for s in specimens):
        notes.append("* Outside the rating chart of ASTM G46; nothing is extrapolated.")
    return notes


def _hours(value: float) -> str:
    return NO_VALUE if math.isnan(value) else f"{value:g}"


def _truth_grid(truth: Sequence[TruthComparison]) -> Grid:
    rows = []
    for figure in truth:
        text, unit, scale = _HEADS[figure.figure]
        low, high = figure.bias_ci95 or (math.nan, math.nan)
        relative = figure.relative_bias
        rows.append(
            [
                Cell(f"{text} ({unit})"),
                Cell(str(len(figure.true))),
                Cell(significant(float(figure.true.mean()) * scale)),
                Cell(significant(float(figure.measured.mean()) * scale)),
                estimate_cell(figure.bias, low, high, scale=scale),
                Cell(NO_VALUE if math.isnan(relative) else f"{100 * relative:+.1f}".replace("-", "−")),
                Cell(f"{figure.covered} of {figure.with_interval}" if figure.with_interval else NO_VALUE),
            ]
        )
    heads = [
        Head("Figure"),
        Head("Images", "n", number=True),
        Head("True", "mean", number=True),
        Head("Measured", "mean", number=True),
        Head("Bias", "95 % interval", number=True),
        Head("Bias of the sum", "%", number=True),
        Head("Interval holds the true value", "images", number=True),
    ]
    return Grid("Measured against true, over images", heads, rows)


def _truth_chart(truth: Sequence[TruthComparison]) -> str:
    panels = [
        (
            *_HEADS[t.figure][:2],
            t.true * _HEADS[t.figure][2],
            t.measured * _HEADS[t.figure][2],
        )
        for t in truth
    ]
    names = ", ".join(_HEADS[name][0].lower() for name in TRUTH_FIGURES if name in {t.figure for t in truth})
    return figures.truth_figure(panels, f"Measured against true: {names}; the numbers are in the table below")


def _size_charts(content: PageContent) -> list[str]:
    charts = []
    for unit, column, limit in (
        ("µm", "equivalent_diameter_um", "smallest_diameter_um"),
        ("px", "equivalent_diameter_px", "smallest_diameter_px"),
    ):
        panels = [p for g in content.groups if (p := _size_panel(g, column, limit, scaled=unit == "µm"))]
        if panels:
            alt = f"Cumulative distributions of pit diameter in {unit}, one panel a group: " + "; ".join(
                f"{p.title}: {len(p.diameters)} pits, median {significant(float(np.median(p.diameters)))}"
                for p in panels
            )
            charts.append(figures.size_figure(panels, unit, alt))
    return charts


def _size_panel(group: GroupSummary, column: str, limit: str, *, scaled: bool) -> figures.SizePanel | None:
    diameters, weights, limits, specimens = [], [], set(), 0
    for member in group.members:
        fields = [
            r for r in member.pooled["pits"] if math.isnan(r.figure("pits", "field_area_mm2")) is not scaled
        ]
        for record in fields:
            table = record.table("pits")
            whole = table["edge_weight"] > 0
            diameters.append(table[column][whole])
            weights.append(table["edge_weight"][whole])
            limits.add(float(significant(record.figure("pits", limit))))
        specimens += bool(fields)
    if not diameters or not sum(map(len, diameters)):
        return None
    return figures.SizePanel(
        group.name,
        np.concatenate(diameters),
        np.concatenate(weights),
        specimens,
        sorted(v for v in limits if not math.isnan(v)),
    )


def _gallery(content: PageContent, markup: Any) -> list[dict[str, Any]]:
    keys = {r.image_id: f"picture-{i}" for i, r in enumerate(content.records)}
    gallery = []
    for summary in content.specimens:
        fields = []
        for record in summary.records:
            if record.any_done() is None:
                continue
            picture = content.pictures.get(record.image_id)
            fields.append(
                {
                    "key": keys[record.image_id],
                    "name": record.image_id,
                    "worst": not record.enters_means,
                    "caption": prose.field_caption(record, picture.scale_words if picture else ""),
                    "picture": picture and {**vars(picture), "scale_bar": markup(picture.scale_bar)},
                    "panels": [
                        {
                            "title": {"pits": "Pits", "degraded": "Degraded area"}[procedure],
                            "alt": prose.field_alt(record, procedure),
                            "layer": markup(layer),
                        }
                        for procedure, layer in (picture.layers.items() if picture else ())
                    ],
                }
            )
        if fields:
            gallery.append({"title": f"{summary.specimen.id} · {summary.specimen.group}", "fields": fields})
    return gallery


def _failed_grid(records: Sequence[FieldRecord]) -> Grid | None:
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
    if not rows:
        return None
    heads = [Head("Image"), Head("Specimen"), Head("Procedure"), Head("Reason")]
    return Grid(f"Images without a result ({len(rows)})", heads, rows)


def _settings_grids(study: Study) -> list[Grid]:
    grids = []
    for procedure, title in (("pits", "Settings: pits"), ("degraded", "Settings: degraded area")):
        settings = study.settings.of(procedure)
        rows = [
            [
                Cell(name),
                Cell("unset" if value is None else str(value)),
                Cell("as\u00a0shipped" if value == info.get_default() else "set in the study"),
                Cell(info.description or ""),
            ]
            for name, info in type(settings).model_fields.items()
            for value in [getattr(settings, name)]
        ]
        heads = [Head("Setting"), Head("Value"), Head("Origin"), Head("Meaning")]
        grids.append(Grid(title, heads, rows))
    return grids


def _version_grid(content: PageContent) -> Grid:
    measured = sorted({s.version for r in content.records for s in r.results.values() if s.version})
    rows = [
        [Cell("surfscan, this page"), Cell(__version__)],
        [Cell("surfscan, measuring"), Cell(", ".join(measured) or NO_VALUE)],
        *([Cell(name), Cell(version)] for name, version in content.libraries),
    ]
    return Grid("Versions", [Head("Program or library"), Head("Version")], rows)
