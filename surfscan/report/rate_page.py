"""What the page shows of rates: charts and tables by method, and the materials behind them."""

from __future__ import annotations

from surfscan.report import rate_grids, rate_prose
from surfscan.report.page_parts import OnPage, PageContent, Part
from surfscan.report.rate_charts import MOST_ROWS, rate_charts
from surfscan.report.rates import group_rates, rates_of


def rate_page(content: PageContent) -> OnPage | None:
    """All that the page says of rates; None where the study has no entry that gives one."""
    from markupsafe import Markup

    rates = rates_of(content.rates)
    if not rates:
        return None
    groups = group_rates([g.name for g in content.study.groups], rates)
    drawn = rate_charts(groups, rates)
    longest = max(sum(r.record.group == name for r in rates) for name, _ in drawn) if drawn else 0
    shown = {
        "blended": rate_prose.BLENDED,
        "charts": [(name, Markup(chart)) for name, chart in drawn],
        "cut": MOST_ROWS if longest > MOST_ROWS else 0,
        "has_bias": any(r.bias for r in rates),
        "group_grid": rate_grids.rate_group_grid(groups) if groups else None,
        "grid": rate_grids.rate_grid(rates),
        "long": len(rates) > 40,
    }
    materials = rate_grids.material_grid(content.rates)
    return OnPage(
        "Rates",
        "rates of corrosion",
        rate_prose.rate_sentences(rates, groups),
        [Part("rates", "Rates", "parts/rates.html.j2", shown)],
        None,
        rate_prose.NOT_MEASURED,
        rate_prose.methods_of(rates),
        [Part("materials", "Materials", "parts/materials.html.j2", {"grid": materials})] if materials else [],
        rate_prose.cautions_of(content.rates),
    )
