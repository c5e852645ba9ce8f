"""What the study summary needs."""

from surfscan.report.summary_content import summary_content
from surfscan.report.summary_page import exposed_groups, summary


def test_summary_without_pictures(sides):
    sides.found()
    records = [rate.record for rate in sides.rates]
    content = summary_content(sides.study(), [], records, sides.summaries, sides.groups)
    titles = [block.title for block in summary(content)]
    assert "Rates on one axis" in titles and "Dominant uncertainty" in titles and "How many" in titles
    assert exposed_groups(content) == ["bare 7 d", "bare 14 d", "coated 14 d"]
