"""The self-contained page of a study: what is shown, in which words and numbers."""

from __future__ import annotations

from collections.abc import Sequence
from importlib import resources

from surfscan._version import __version__
from surfscan.report import charts, grids, prose
from surfscan.report.cells import Cell, Grid, Head
from surfscan.report.exposure_page import exposure_page
from surfscan.report.height_page import height_page
from surfscan.report.page_parts import PageContent, Part
from surfscan.report.rate_page import rate_page
from surfscan.report.rate_settings import rate_settings_grids
from surfscan.report.rate_truth import FILE_NAME as RATES_FILE
from surfscan.report.rate_truth import RATE_FIGURES
from surfscan.report.rounding import NO_VALUE
from surfscan.report.section_page import section_page
from surfscan.report.strut_page import strut_page
from surfscan.report.surface_page import surface_page
from surfscan.report.sweep_page import sweep_page
from surfscan.report.truth import FILE_NAME as TRUTH_FILE
from surfscan.report.warning_groups import group_warnings

_KINDS = (surface_page, height_page, strut_page, section_page, rate_page, exposure_page, sweep_page)
"""What the page says of each kind of image and of rates, in the order of the page."""


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
    kinds = [said for kind in _KINDS if (said := kind(content))]
    parts = [part for kind in kinds for part in kind.figures]
    if content.truth:
        kinds_compared = {t.kind for t in content.truth}
        of_entries = kinds_compared & set(RATE_FIGURES)
        named = [
            *([TRUTH_FILE] if kinds_compared - of_entries else []),
            *([RATES_FILE] if of_entries else []),
        ]
        shown = {
            "files": _listed(named),
            "grid": grids.truth_grid(content.truth),
            "chart": Markup(charts.truth_chart(content.truth)),
        }
        parts.append(Part("truth", "Measured against true", "parts/truth.html.j2", shown))
    parts += [part for kind in kinds for part in kind.sizes]
    parts += [part for kind in kinds for part in kind.pictures]
    css = resources.files("surfscan.report").joinpath("page.css").read_text(encoding="utf-8")
    return environment.get_template("page.html.j2").render(
        title=content.study.title,
        note=content.study.note,
        version=__version__,
        css=Markup(css),
        contents=[
            ("summary", "Summary"),
            *((part.anchor, part.title) for part in parts),
            ("not-measured", "Not measured"),
            ("warnings", "Warnings"),
            ("method", "Method and settings"),
            ("cautions", "Cautions"),
            ("files", "Files and versions"),
        ],
        what="; ".join(kind.what for kind in kinds),
        overview=prose.study_sentence(content.records, content.groups, content.specimens),
        key_points=[(kind.title, kind.sentences) for kind in kinds if kind.sentences],
        parts=parts,
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
