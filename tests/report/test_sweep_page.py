"""The part of the page about sweeps."""

from surfscan.report.page_parts import PageContent
from surfscan.report.sweep_page import sweep_page
from surfscan.study.manifest import load_study


def test_every_measured_sweep_has_its_charts(reported_rates, rate_records):
    whole = PageContent(
        load_study(reported_rates), [], [], [], [], {}, [], [], rates=list(rate_records.values())
    )
    (part,) = sweep_page(whole).figures
    assert [(s["name"], bool(s["chart"]), bool(s["loop"])) for s in part.shown["gallery"]] == [
        ("active.csv", True, False),
        ("broken.csv", True, True),
        ("held.csv", True, True),
    ]


def test_nothing_without_sweeps(reported_rates):
    assert sweep_page(PageContent(load_study(reported_rates), [], [], [], [], {}, [], [])) is None
