"""What the page shows of height maps: depths, extreme values, areal texture, pictures."""

from __future__ import annotations

from typing import Any

from surfscan.report import charts, extreme_charts, grids, height_charts, height_grids, height_prose, prose
from surfscan.report.page_parts import KindPictures, OnPage, PageContent, Part, gallery, signs_by_hand
from surfscan.report.pictures import FieldPicture, left_out_words
from surfscan.report.records import FieldRecord, of_kind


def height_page(content: PageContent) -> OnPage | None:
    """All that the page says of height maps; None where the study has none."""
    maps = of_kind(content.records, "heights")
    if not maps:
        return None
    figures = [Part("heights", "Height maps", "parts/heights.html.j2", _heights(content))]
    if content.extremes:
        figures.append(Part("extremes", "Extreme values", "parts/extremes.html.j2", _extremes(content)))
    if any(r.done("texture") for r in maps):
        figures.append(Part("texture", "Areal texture", "parts/texture.html.j2", _texture(content)))
    shown = gallery(content, "heights", _own)
    return OnPage(
        "Height maps",
        "pit depth, volume and areal texture (height maps)",
        [
            *height_prose.height_sentences(content.records),
            *prose.group_sentences(content.groups, ("volume_per_area_um",)),
        ],
        figures,
        KindPictures("heights", "Height maps", "height", signs_by_hand(content, "heights"), shown),
        height_prose.NOT_MEASURED,
        height_prose.METHOD,
    )


def _own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
    from markupsafe import Markup

    return {
        "caption": height_prose.height_caption(record, picture.scale_words if picture else "")
        + left_out_words(picture),
        "alt": height_prose.height_alt(record),
        "layer": Markup(picture.layers["heights"]) if picture else "",
    }


def _heights(content: PageContent) -> dict[str, Any]:
    from markupsafe import Markup

    groups, specimens, records = content.groups, content.specimens, content.records
    shown = grids.shown_figures(groups, "heights")
    maps = of_kind(records, "heights")
    return {
        "has_pictures": bool(of_kind(records, "surface")),
        "has_bounds": any(r.flag("pits", "max_depth_is_lower_bound") for r in maps),
        "level": height_grids.level_sentences(records),
        "chart": Markup(charts.group_chart(groups, "heights")),
        "group_grid": grids.group_grid(groups, "heights") if shown else None,
        "group_notes": grids.group_notes(groups, "heights"),
        "depth_chart": Markup(height_charts.depth_chart(groups)),
        "specimen_grid": height_grids.height_specimen_grid(specimens),
        "specimen_notes": height_grids.height_specimen_notes(specimens),
        "map_grid": height_grids.height_grid(records),
    }


def _extremes(content: PageContent) -> dict[str, Any]:
    from markupsafe import Markup

    return {
        "sentences": extreme_charts.extremes_sentences(content.extremes),
        "caution": extreme_charts.CAUTION,
        "chart": Markup(extreme_charts.extremes_chart(content.extremes)),
        "grid": extreme_charts.extremes_grid(content.extremes),
        "notes": extreme_charts.extremes_notes(content.extremes),
    }


def _texture(content: PageContent) -> dict[str, Any]:
    return {
        "specimen_grid": height_grids.texture_specimen_grid(content.specimens),
        "grids": height_grids.texture_grids(content.records),
        "meanings": height_grids.texture_meanings(),
    }
