"""The part of the page about rig logs."""

from surfscan.report.exposure_page import exposure_page
from surfscan.report.page_parts import PageContent
from surfscan.study.manifest import load_study


def test_log_with_verdict_reasons_and_charts(reported_rates, rate_records):
    whole = PageContent(
        load_study(reported_rates), [], [], [], [], {}, [], [], rates=list(rate_records.values())
    )
    (part,) = exposure_page(whole).figures
    (log,) = part.shown["gallery"]
    assert log["verdict"] == "exposure not valid" and log["reasons"][0][0] == "not valid"
    assert log["chart"] and log["acid"] and log["acid_caption"]
    page = (reported_rates / "report.html").read_text(encoding="utf-8")
    assert "Not valid: temperature is known to be in range for 77.1" in page


def test_nothing_without_logs(reported_rates):
    assert exposure_page(PageContent(load_study(reported_rates), [], [], [], [], {}, [], [])) is None
