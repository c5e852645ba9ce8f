"""The self-contained page of a study: what is shown, in which words and numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any

from surfscan._version import __version__
from surfscan.report import charts, extreme_charts, grids, height_charts, height_grids, height_prose, prose
from surfscan.report.cells import Cell, Grid, Head
from surfscan.report.extreme_values import Extremes
from surfscan.report.groups import GroupSummary
from surfscan.report.pictures import FieldPicture
from surfscan.report.pooling import SpecimenSummary
from surfscan.report.records import PROCEDURES, FieldRecord, of_kind
from surfscan.report.rounding import NO_VALUE
from surfscan.report.truth import TruthComparison
from surfscan.report.warning_groups import group_warnings

if TYPE_CHECKING:
    from surfscan.study.manifest import Study


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
    extremes: Sequence[Extremes] = field(default=())


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
    group_chart = charts.group_chart(content.groups)
    size_charts = charts.size_charts(content.groups)
    truth = content.truth
    failed = grids.failed_grid(content.records)
    maps, seen = of_kind(content.records, "heights"), of_kind(content.records, "surface")
    first, *others = prose.summary_sentences(content.records, content.groups, content.specimens)
    parts = {
        "summary": "Summary",
        "groups": "Groups" if seen or not maps else "",
        "specimens": "Specimens" if seen or not maps else "",
        "heights": "Height maps" if maps else "",
        "extremes": "Extreme values" if content.extremes else "",
        "texture": "Areal texture" if any(r.done("texture") for r in maps) else "",
        "truth": "Measured against true" if truth else "",
        "sizes": "Pit sizes" if size_charts else "",
        "pictures": "Pictures" if seen else "",
        "height-pictures": "Pictures of height maps" if maps else "",
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
        sentences=[first, *height_prose.height_sentences(content.records), *others],
        what=" and ".join(
            text
            for text, there in (
                ("pit density and degraded area from micrographs", seen),
                ("pit depth, volume and areal texture from height maps", maps),
            )
            if there
        ),
        has_pictures=bool(parts["groups"]),
        group_chart=Markup(group_chart),
        has_worst=any(not r.enters_means for r in seen),
        has_bounds=any(r.flag("pits", "max_depth_is_lower_bound") for r in maps),
        group_grid=grids.group_grid(content.groups),
        group_notes=grids.group_notes(content.groups),
        specimen_grid=grids.specimen_grid(content.specimens),
        specimen_notes=grids.specimen_notes(content.specimens),
        truth_grid=grids.truth_grid(truth) if truth else None,
        truth_chart=Markup(charts.truth_chart(truth)) if truth else "",
        size_charts=[Markup(chart) for chart in size_charts],
        has_tarnish=any(r.figure("degraded", "tarnished_area_fraction") > 0 for r in content.records),
        heights=_heights(content, Markup) if maps else None,
        texture=_texture(content) if parts["texture"] else None,
        extremes=_extremes(content, Markup) if content.extremes else None,
        gallery=_gallery(content, Markup),
        height_gallery=_height_gallery(content, Markup),
        failed_grid=failed,
        limits=[*(prose.NOT_MEASURED if seen else ()), *(height_prose.NOT_MEASURED if maps else ())],
        warnings=group_warnings(content.warnings),
        method=[*prose.METHOD, *(height_prose.METHOD if maps else ())],
        settings_grids=grids.settings_grids(content.study),
        cautions=prose.CAUTIONS,
        version_grid=_version_grid(content),
        hash_grid=Grid(
            f"Inputs and their SHA-256 ({len(content.inputs)} files)",
            [Head("File"), Head("What"), Head("SHA-256", hash=True)],
            [[Cell(file), Cell(what), Cell(sha256)] for file, what, sha256 in content.inputs],
        ),
    )


def _gallery(content: PageContent, markup: Any) -> list[dict[str, Any]]:
    def own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
        return {
            "caption": prose.field_caption(record, picture.scale_words if picture else ""),
            "panels": [
                {
                    "title": PROCEDURES[procedure],
                    "alt": prose.field_alt(record, procedure),
                    "layer": markup(layer),
                }
                for procedure, layer in (picture.layers.items() if picture else ())
            ],
        }

    return _fields(content, markup, [(s, s.seen.records) for s in content.specimens], own)


def _height_gallery(content: PageContent, markup: Any) -> list[dict[str, Any]]:
    def own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
        return {
            "caption": height_prose.height_caption(record, picture.scale_words if picture else ""),
            "warnings": record.warnings,
            "alt": height_prose.height_alt(record),
            "layer": markup(picture.layers["heights"]) if picture else "",
        }

    return _fields(content, markup, [(s, s.deep.records) for s in content.specimens], own)


def _fields(
    content: PageContent,
    markup: Any,
    shown: Iterable[tuple[SpecimenSummary, Sequence[FieldRecord]]],
    own: Callable[[FieldRecord, FieldPicture | None], dict[str, Any]],
) -> list[dict[str, Any]]:
    """Measured fields of every specimen that has any, each with its picture and what `own` adds."""
    gallery = []
    for summary, records in shown:
        fields = []
        for record in records:
            if record.any_done() is None:
                continue
            picture = content.pictures.get(record.image_id)
            fields.append(
                {
                    "key": _key(content, record),
                    "name": record.image_id,
                    "worst": not record.enters_means,
                    "picture": picture and {**vars(picture), "scale_bar": markup(picture.scale_bar)},
                    **own(record, picture),
                }
            )
        if fields:
            gallery.append({"title": f"{summary.specimen.id} · {summary.specimen.group}", "fields": fields})
    return gallery


def _heights(content: PageContent, markup: Any) -> dict[str, Any]:
    """What the section on height maps shows."""
    groups, specimens, records = content.groups, content.specimens, content.records
    shown = grids.shown_figures(groups, "heights")
    return {
        "level": height_grids.level_sentences(records),
        "chart": markup(charts.group_chart(groups, "heights")),
        "group_grid": grids.group_grid(groups, "heights") if shown else None,
        "group_notes": grids.group_notes(groups, "heights"),
        "depth_chart": markup(height_charts.depth_chart(groups)),
        "specimen_grid": height_grids.height_specimen_grid(specimens),
        "specimen_notes": height_grids.height_specimen_notes(specimens),
        "map_grid": height_grids.height_grid(records),
    }


def _extremes(content: PageContent, markup: Any) -> dict[str, Any]:
    """What the section on extreme values shows."""
    return {
        "sentences": extreme_charts.extremes_sentences(content.extremes),
        "caution": extreme_charts.CAUTION,
        "chart": markup(extreme_charts.extremes_chart(content.extremes)),
        "grid": extreme_charts.extremes_grid(content.extremes),
        "notes": extreme_charts.extremes_notes(content.extremes),
    }


def _texture(content: PageContent) -> dict[str, Any]:
    """What the section on areal texture shows."""
    return {
        "specimen_grid": height_grids.texture_specimen_grid(content.specimens),
        "grids": height_grids.texture_grids(content.records),
        "meanings": height_grids.texture_meanings(),
    }


def _key(content: PageContent, record: FieldRecord) -> str:
    return f"picture-{content.records.index(record)}"


def _version_grid(content: PageContent) -> Grid:
    measured = sorted({s.version for r in content.records for s in r.results.values() if s.version})
    rows = [
        [Cell("surfscan, this page"), Cell(__version__)],
        [Cell("surfscan, measuring"), Cell(", ".join(measured) or NO_VALUE)],
        *([Cell(name), Cell(version)] for name, version in content.libraries),
    ]
    return Grid("Versions", [Head("Program or library"), Head("Version")], rows)
