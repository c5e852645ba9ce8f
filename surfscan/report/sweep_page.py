"""What the page shows of potential sweeps: tables, and the charts of each."""

from __future__ import annotations

from typing import Any

from surfscan.report import sweep_grids, sweep_prose
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.rate_records import RateRecord, of_procedure
from surfscan.report.sweep_charts import cyclic_chart, polarization_chart

_MOST_OPEN = 8
"""Sweeps whose charts all stand open; of more, those after the first few are folded away."""


def sweep_page(content: PageContent) -> OnPage | None:
    """All that the page says of sweeps; None where the study has none."""
    sweeps = of_procedure(content.rates, "sweep")
    if not sweeps:
        return None
    shown = {
        "grid": sweep_grids.sweep_grid(sweeps),
        "notes": sweep_grids.sweep_notes(sweeps),
        "cyclic_grid": sweep_grids.cyclic_grid(sweeps),
        "method_grid": sweep_grids.method_grid(sweeps),
        "gallery": [_own(r) for r in sweeps if r.done],
        "most_open": _MOST_OPEN,
    }
    return OnPage(
        "Sweeps",
        "potential sweeps",
        sweep_prose.sweep_sentences(sweeps),
        [Part("sweeps", "Sweeps", "parts/sweeps.html.j2", shown)],
        None,
        sweep_prose.NOT_MEASURED,
        sweep_prose.METHOD,
    )


def _own(record: RateRecord) -> dict[str, Any]:
    from markupsafe import Markup

    return {
        "name": record.entry_id,
        "group": record.group,
        "caption": sweep_prose.sweep_caption(record),
        "cyclic_caption": sweep_prose.cyclic_caption(record),
        "chart": Markup(polarization_chart(record)),
        "loop": Markup(cyclic_chart(record)),
        "warnings": record.warnings,
    }
