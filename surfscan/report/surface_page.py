"""What the page shows of pictures of surfaces: groups, specimens, pit sizes, pictures."""

from __future__ import annotations

from typing import Any

from surfscan.report import charts, grids, prose
from surfscan.report.page_parts import KindPictures, OnPage, PageContent, Part, gallery, signs_by_hand
from surfscan.report.pictures import FieldPicture, left_out_words
from surfscan.report.records import PROCEDURES, FieldRecord, of_kind


def surface_page(content: PageContent) -> OnPage | None:
    """All that the page says of surfaces; None where the study has no picture of one."""
    from markupsafe import Markup

    seen = of_kind(content.records, "surface")
    if not seen:
        return None
    groups, specimens = content.groups, content.specimens
    size_charts = charts.size_charts(groups)
    shown_groups = {
        "chart": Markup(charts.group_chart(groups)),
        "has_worst": any(not r.enters_means for r in seen),
        "grid": grids.group_grid(groups),
        "notes": grids.group_notes(groups),
    }
    shown_specimens = {
        "grid": grids.specimen_grid(specimens),
        "notes": grids.specimen_notes(specimens),
    }
    has_tarnish = any(r.figure("degraded", "tarnished_area_fraction") > 0 for r in seen)
    signs = {"has_tarnish": has_tarnish, **signs_by_hand(content, "surface")}
    pictures = KindPictures("surface", "Surfaces", "surface", signs, gallery(content, "surface", _own))
    sizes = Part("sizes", "Pit sizes", "parts/sizes.html.j2", {"charts": [Markup(c) for c in size_charts]})
    return OnPage(
        "Surfaces",
        "pit density and degraded area (micrographs)",
        prose.surface_sentences(content.records, groups),
        [
            Part("groups", "Surfaces: groups", "parts/groups.html.j2", shown_groups),
            Part("surfaces", "Surfaces: specimens", "parts/surfaces.html.j2", shown_specimens),
        ],
        pictures,
        prose.NOT_MEASURED,
        prose.METHOD,
        [sizes] if size_charts else [],
    )


def _own(record: FieldRecord, picture: FieldPicture | None) -> dict[str, Any]:
    from markupsafe import Markup

    return {
        "caption": prose.field_caption(record, picture.scale_words if picture else "")
        + left_out_words(picture),
        "panels": [
            {
                "title": PROCEDURES[procedure],
                "alt": prose.field_alt(record, procedure),
                "layer": Markup(layer),
            }
            for procedure, layer in (picture.layers.items() if picture else ())
        ],
    }
