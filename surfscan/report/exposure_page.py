"""What the page shows of rig logs: verdict and its reasons, channels, clogging, acid."""

from __future__ import annotations

from typing import Any

from surfscan.report import exposure_grids, exposure_prose
from surfscan.report.exposure_charts import acid_chart, channels_chart
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.rate_records import RateRecord, of_procedure

_MOST_OPEN = 6
"""Logs whose charts all stand open; of more, those after the first few are folded away."""


def exposure_page(content: PageContent) -> OnPage | None:
    """All that the page says of rig logs; None where the study has none."""
    logs = of_procedure(content.rates, "exposure")
    if not logs:
        return None
    done = [r for r in logs if r.done]
    shown = {
        "grid": exposure_grids.exposure_grid(logs),
        "channel_grid": exposure_grids.channel_grid(done),
        "excursion_grid": exposure_grids.excursion_grid(done),
        "check_grid": exposure_grids.check_grid(done),
        "gallery": [_own(r) for r in done],
        "most_open": _MOST_OPEN,
    }
    return OnPage(
        "Rig logs",
        "rig logs",
        exposure_prose.exposure_sentences(logs),
        [Part("exposure", "Exposure", "parts/exposures.html.j2", shown)],
        None,
        exposure_prose.NOT_MEASURED,
        exposure_prose.METHOD,
    )


def _own(record: RateRecord) -> dict[str, Any]:
    from markupsafe import Markup

    acid = acid_chart(record)
    return {
        "name": record.entry_id,
        "specimens": record.specimen_names,
        "verdict": record.text("verdict"),
        "reasons": [(r["severity"], r["text"]) for r in record.value("verdict_reasons")],
        "caption": exposure_prose.exposure_caption(record),
        "chart": Markup(channels_chart(record)),
        "acid": Markup(acid),
        "acid_caption": exposure_prose.acid_caption(record) if acid else "",
        "warnings": record.warnings,
    }
