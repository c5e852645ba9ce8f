"""The self-contained page of a study: what is shown, in which words and numbers."""

from __future__ import annotations

import base64
import hashlib
import math
from collections.abc import Sequence
from importlib import resources
from typing import TYPE_CHECKING, Any

from surfscan._version import __version__
from surfscan.report import charts, grids, prose, truth_charts
from surfscan.report.by_hand_page import by_hand_page
from surfscan.report.cells import Cell, Grid, Head
from surfscan.report.comparison_page import comparison_page
from surfscan.report.exposure_page import exposure_page
from surfscan.report.height_page import height_page
from surfscan.report.outcome_page import outcome_page
from surfscan.report.page_parts import PageContent, Part
from surfscan.report.rate_page import rate_page
from surfscan.report.rate_settings import rate_settings_grids
from surfscan.report.rate_truth import FILE_NAME as RATES_FILE
from surfscan.report.rate_truth import RATE_FIGURES
from surfscan.report.rounding import NO_VALUE
from surfscan.report.section_page import section_page
from surfscan.report.specimen_overview import specimen_overview
from surfscan.report.specimen_sections import specimen_anchors, specimen_sections
from surfscan.report.strut_page import strut_page
from surfscan.report.summary_page import summary
from surfscan.report.surface_page import surface_page
from surfscan.report.sweep_page import sweep_page
from surfscan.report.truth import FILE_NAME as TRUTH_FILE
from surfscan.report.warning_groups import group_warnings

if TYPE_CHECKING:
    from jinja2 import Environment

_KINDS = (
    surface_page,
    height_page,
    strut_page,
    section_page,
    comparison_page,
    outcome_page,
    rate_page,
    exposure_page,
    sweep_page,
    by_hand_page,
)
"""What the page says of each kind of image and of rates, in the order of the page."""

_STYLES = ("page.css", "drawings.css", "print.css")
MANY_SPECIMENS = 40
"""With more specimens than this their lists of files are held back until unfolded, so that the page opens
fast; with fewer the browser's search finds what is in them, and unfolds it."""

_SHOWN_PX = 610
"""Width of a panel whose picture's size is not known."""

_TOOLS_PX = 34
"""Height of the buttons over a picture."""


def render_page(content: PageContent) -> str:
    """The page as one HTML text that needs no other file and no network.

    Pictures and what is drawn on them stand as text in the page until they are scrolled to, so that a page of
    two thousand opens as fast as one of twenty.
    """
    kinds = [said for kind in _KINDS if (said := kind(content))]
    anchors = specimen_anchors(content.specimens)
    pictures = [kind.pictures for kind in kinds if kind.pictures]
    parts = [
        Part("specimens", "Specimens", "parts/specimens.html.j2", specimen_overview(content, anchors)),
        *(part for kind in kinds for part in kind.figures),
        *(part for kind in kinds for part in kind.sizes),
    ]
    return _rendered(
        "page.html.j2",
        title=content.study.title,
        note=content.study.note,
        contents=[
            ("summary", "Summary"),
            *((part.anchor, part.title) for part in parts),
            ("sections-of-specimens", "Specimen by specimen"),
            ("not-measured", "Not measured"),
            ("warnings", "Warnings"),
            ("method", "Method and settings"),
            ("cautions", "Cautions"),
            ("files", "Files and versions"),
        ],
        what="; ".join(kind.what for kind in kinds),
        blocks=summary(content),
        overview=prose.study_sentence(content.records, content.groups, content.specimens),
        key_points=[(kind.title, kind.sentences) for kind in kinds if kind.sentences],
        parts=parts,
        legends=[kind for kind in pictures if kind.fields],
        sections=specimen_sections(content, pictures, anchors),
        many_specimens=len(content.specimens) > MANY_SPECIMENS,
        failed_grid=grids.failed_grid(content.records, content.rates),
        limits=[line for kind in kinds for line in kind.not_measured],
        warnings=group_warnings(content.warnings),
        method=[*(line for kind in kinds for line in kind.method), *prose.METHOD_OF_GROUPS],
        settings_grids=[
            *grids.settings_grids(content.study),
            *rate_settings_grids(content.study, content.rates),
        ],
        cautions=[*prose.CAUTIONS, *(line for kind in kinds for line in kind.cautions)],
        version_grid=_version_grid(content),
        hash_grid=Grid(
            f"Inputs and their SHA-256 ({len(content.inputs)} files)",
            [Head("File"), Head("What"), Head("SHA-256", hash=True)],
            [[Cell(file), Cell(what), Cell(sha256)] for file, what, sha256 in content.inputs],
        ),
    )


def render_truth_page(content: PageContent) -> str:
    """Measured against true, a page of its own for a study whose true values are known."""
    from markupsafe import Markup

    kinds = {t.kind for t in content.truth}
    of_entries = kinds & set(RATE_FIGURES)
    named = [*([TRUTH_FILE] if kinds - of_entries else []), *([RATES_FILE] if of_entries else [])]
    return _rendered(
        "truth_page.html.j2",
        title=f"Measured against true: {content.study.title}",
        note=content.study.note,
        files=_listed(named),
        table=grids.truth_grid(content.truth),
        drawing=Markup(charts.truth_chart(content.truth)),
        charts=[(name, Markup(chart)) for name, chart in truth_charts.interval_charts(content.truth)],
        grids=truth_charts.interval_grids(content.truth),
        covered=sum(t.covered for t in content.truth),
        with_interval=sum(t.with_interval for t in content.truth),
    )


def _rendered(template: str, **shown: Any) -> str:
    """A template of this package with style and script put in; scripts other than ours do not run."""
    from markupsafe import Markup

    own = resources.files("surfscan.report")
    script = own.joinpath("page.js").read_text(encoding="utf-8")
    digest = base64.b64encode(hashlib.sha256(script.encode("utf-8")).digest()).decode("ascii")
    return (
        _environment()
        .get_template(template)
        .render(
            version=__version__,
            css=Markup("\n".join(own.joinpath(name).read_text(encoding="utf-8") for name in _STYLES)),
            script=Markup(script),
            script_sha256=digest,
            **shown,
        )
    )


def _environment() -> Environment:
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("surfscan.report", ""),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters |= {"island": _island, "kept": _kept}
    return environment


def _island(markup: str, wide: float, picture: dict[str, Any] | None) -> str:
    """Markup held as text until it is scrolled to, in a box of the size that it will have."""
    high = _SHOWN_PX / 2
    if picture:
        high = wide * (picture["height"] + picture["strip"]) / picture["width"]
    size = f"max-width:{wide:.0f}px;aspect-ratio:{wide:.0f}/{math.ceil(high) + _TOOLS_PX}"
    return _waiting(markup, size)


def _kept(markup: str, is_kept: bool) -> str:
    """Markup of something folded away, held as text until it is unfolded; as it is where not `is_kept`."""
    return _waiting(markup, "min-height:60px") if is_kept else markup


def _waiting(markup: str, size: str) -> str:
    """Markup as text that the page's script puts in its place.

    Raises
    ------
    ValueError
        If it holds anything that would end the text, which escaped names and our own drawings never do.
    """
    from markupsafe import Markup

    if any(mark in markup.lower() for mark in ("<script", "</script", "<!--")):
        raise ValueError("markup to be held back must hold no script and no comment")
    inside = f'<script type="text/plain">{markup}</script>'  # escaped where it was rendered
    return Markup(f'<div class="waiting" style="{size}">{inside}</div>')


def _listed(words: Sequence[str]) -> str:
    """ "a, b and c"."""
    return " and ".join(filter(None, (", ".join(words[:-1]), *words[-1:])))


def _version_grid(content: PageContent) -> Grid:
    results = [s for r in content.records for s in r.results.values()]
    results += [r.result for r in content.rates if r.result]
    measured = sorted({s.version for s in results if s.version})
    rows = [
        [Cell("surfscan, this page"), Cell(__version__)],
        [Cell("surfscan, measuring"), Cell(", ".join(measured) or NO_VALUE)],
        *([Cell(name), Cell(version)] for name, version in content.libraries),
    ]
    return Grid("Versions", [Head("Program or library"), Head("Version")], rows)
