"""The part of the page about rates."""

from surfscan.report.page_parts import PageContent
from surfscan.report.rate_page import rate_page
from surfscan.study.manifest import load_study


def content(folder, rates):
    return PageContent(load_study(folder), [], [], [], [], {}, [], [], rates=rates)


def test_rates_and_materials(reported_rates, rate_records):
    said = rate_page(content(reported_rates, list(rate_records.values())))
    assert [p.anchor for p in (*said.figures, *said.sizes)] == ["rates", "materials"]
    shown = said.figures[0].shown
    assert [name for name, _ in shown["charts"]] == ["bare", "steel"]
    assert shown["has_bias"] and not shown["cut"]


def test_nothing_without_entries(reported_rates):
    assert rate_page(content(reported_rates, [])) is None


def test_the_page_holds_every_part_and_escapes_names(reported_rates):
    page = (reported_rates / "report.html").read_text(encoding="utf-8")
    for anchor in ("rates", "exposure", "sweeps", "materials"):
        assert f'<section id="{anchor}">' in page and f'href="#{anchor}"' in page
    assert "Rates &lt;all invented&gt;" in page
    assert "rates of corrosion; rig logs; potential sweeps." in page
    assert "Settings: sweeps" in page and "Settings: rig logs" in page
    assert "Entries without a result (1)" in page
    assert len(page) < 600_000
