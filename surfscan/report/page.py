"""The self-contained page of a study: what is shown, in which words and numbers."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from importlib import resources
from typing import TYPE_CHECKING, Any

from surfscan._version import __version__
from surfscan.report import charts, grids, prose
from surfscan.report.cells import Cell, Grid, Head
from surfscan.report.groups import GroupSummary
from surfscan.report.pictures import FieldPicture
from surfscan.report.records import PROCEDURES, FieldRecord
from surfscan.report.rounding import NO_VALUE
from surfscan.report.specimens import SpecimenSummary
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
        group_grid=grids.group_grid(content.groups),
        group_notes=grids.group_notes(content.groups),
        specimen_grid=grids.specimen_grid(content.specimens),
        specimen_notes=grids.specimen_notes(content.specimens),
        truth_grid=grids.truth_grid(truth) if truth else None,
        truth_chart=Markup(charts.truth_chart(truth)) if truth else "",
        size_charts=[Markup(chart) for chart in size_charts],
        has_tarnish=any(r.figure("degraded", "tarnished_area_fraction") > 0 for r in content.records),
        gallery=_gallery(content, Markup),
        failed_grid=failed,
        limits=prose.NOT_MEASURED,
        warnings=group_warnings(content.warnings),
        method=prose.METHOD,
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
                            "title": PROCEDURES[procedure],
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


def _version_grid(content: PageContent) -> Grid:
    measured = sorted({s.version for r in content.records for s in r.results.values() if s.version})
    rows = [
        [Cell("surfscan, this page"), Cell(__version__)],
        [Cell("surfscan, measuring"), Cell(", ".join(measured) or NO_VALUE)],
        *([Cell(name), Cell(version)] for name, version in content.libraries),
    ]
    return Grid("Versions", [Head("Program or library"), Head("Version")], rows)
