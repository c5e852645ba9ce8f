"""What the page shows of struts: tables, chart of the groups, pictures with their charts."""

from __future__ import annotations

from typing import Any

from surfscan.report import charts, grids, strut_charts, strut_grids, strut_prose
from surfscan.report.page_parts import KindPictures, OnPage, PageContent, Part, gallery, signs_by_hand
from surfscan.report.pictures import FieldPicture
from surfscan.report.prose import beyond_sentence, group_sentences
from surfscan.report.records import FieldRecord, of_kind
from surfscan.report.strut_colours import strut_colours
from surfscan.report.strut_specimens import has_upper_bound


def strut_page(content: PageContent) -> OnPage | None:
    """All that the page says of struts; None where the study has no picture of one."""
    if not of_kind(content.records, "strut"):
        return None
    shown = gallery(content, "strut", _own)
    return OnPage(
        "Struts",
        "widths and remaining sections (pictures of struts)",
        [
            *strut_prose.least_sentence(content.records),
            *group_sentences(content.groups, ("strut_loss_fraction",)),
            *strut_prose.lost_metal_sentence(content.specimens),
            *beyond_sentence(content.groups, "strut"),
        ],
        [Part("struts", "Struts", "parts/struts.html.j2", _struts(content))],
        KindPictures("strut", "Struts", "strut", signs_by_hand(content, "strut"), shown),
        strut_prose.NOT_MEASURED,
        strut_prose.METHOD,
    )


def _own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
    from markupsafe import Markup

    colours = strut_colours(record)
    return {
        "caption": strut_prose.strut_caption(record, picture.scale_words if picture else ""),
        "alt": strut_prose.strut_alt(record),
        "layer": Markup(picture.layers["struts"]) if picture else "",
        "colours": {"title": colours.title, "ticks": colours.ticks()} if colours else None,
        "chart": Markup(strut_charts.width_chart(record)),
        "strips": Markup(strut_charts.strips_chart(record)),
    }


def _struts(content: PageContent) -> dict[str, Any]:
    from markupsafe import Markup

    groups, specimens, records = content.groups, content.specimens, content.records
    shown = grids.shown_figures(groups, "strut")
    return {
        "chart": Markup(charts.group_chart(groups, "strut")),
        "has_bounds": any(has_upper_bound(s) for s in specimens),
        "has_worst": any(not r.enters_means for r in of_kind(records, "strut")),
        "group_grid": grids.group_grid(groups, "strut") if shown else None,
        "group_notes": grids.group_notes(groups, "strut"),
        "specimen_grid": strut_grids.strut_specimen_grid(specimens),
        "specimen_notes": strut_grids.strut_specimen_notes(specimens),
        "image_grid": strut_grids.strut_image_grid(records),
    }
