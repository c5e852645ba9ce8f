"""What the page shows of polished cross-sections: tables, chart of the groups, pictures with their charts."""

from __future__ import annotations

from typing import Any

from surfscan.report import charts, grids, section_grids, section_prose
from surfscan.report.page_parts import KindPictures, OnPage, PageContent, Part, gallery, signs_by_hand
from surfscan.report.pictures import FieldPicture
from surfscan.report.prose import beyond_sentence
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.section_charts import ALONE, AMONG_OTHERS, section_chart
from surfscan.report.section_pictures import BESIDE
from surfscan.report.section_records import FALLBACK, sections_of

_MOST_UNFOLDED = 4
"""Charts of one picture that stand open; more are folded away."""


def section_page(content: PageContent) -> OnPage | None:
    """All that the page says of sections; None where the study has none."""
    if not of_kind(content.records, "section"):
        return None
    shown = gallery(content, "section", _own)
    figures = Part("sections", "Cross-sections", "parts/sections.html.j2", _sections(content))
    return OnPage(
        "Cross-sections",
        "remaining metal and penetration (polished cross-sections)",
        [
            *section_prose.least_left_sentence(content.groups),
            *section_prose.section_sentences(content.records),
            *beyond_sentence(content.groups, "section"),
        ],
        [figures],
        KindPictures("section", "Cross-sections", "section", signs_by_hand(content, "section"), shown),
        section_prose.NOT_MEASURED,
        section_prose.METHOD,
        cautions=section_prose.CAUTIONS,
    )


def _own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
    from markupsafe import Markup

    found = sections_of([record])
    height = ALONE if len(found) == 1 else AMONG_OTHERS
    drawn = [(s.number, Markup(chart)) for s in found if (chart := section_chart(s, height))]
    beside = len(found) <= BESIDE
    most = 610.0 if beside else 900.0
    wide = min(most, 640.0 * picture.width / picture.height) if picture else most
    return {
        "caption": section_prose.section_caption(record, picture.scale_words if picture else ""),
        "alt": section_prose.section_alt(record),
        "layer": Markup(picture.layers["section"]) if picture else "",
        "charts": drawn,
        "several": len(found) > 1,
        "beside": beside,
        "folded": len(found) > _MOST_UNFOLDED,
        "rough": any(s.original == FALLBACK for s in found),
        "wide": round(wide),
    }


def _sections(content: PageContent) -> dict[str, Any]:
    from markupsafe import Markup

    groups, specimens, records = content.groups, content.specimens, content.records
    shown = grids.shown_figures(groups, "section")
    return {
        "chart": Markup(charts.group_chart(groups, "section")),
        "group_grid": grids.group_grid(groups, "section") if shown else None,
        "group_notes": grids.group_notes(groups, "section"),
        "specimen_grid": section_grids.section_specimen_grid(specimens),
        "specimen_notes": section_grids.section_specimen_notes(specimens),
        "section_grid": section_grids.section_grid(records),
        "section_notes": section_grids.section_notes(records),
    }
