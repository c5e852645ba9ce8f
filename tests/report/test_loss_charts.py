"""Charts of loss against rate and time."""

from xml.etree import ElementTree

from surfscan.report.loss_charts import scatter_chart, time_chart

LIMIT = """[[criterion]]
figure = "least_section_left_fraction"
at_least = 0.4
groups = ["bare 14 d"]
"""


def texts(drawn):
    return [node.text or "" for node in drawn.iter() if node.tag.endswith("text")]


def test_scatter(sides):
    sides.specimen("L4", "bare 14 d", surface=dict(sides.summaries[-6].seen.row))
    sides.sweep("L4", 0.3)
    found = next(e for e in sides.found().with_rate if e.loss.name == "degraded_area_fraction")
    text = scatter_chart(found)
    drawn = ElementTree.fromstring(text)
    assert "L1" in texts(drawn) and "bare 14 d" in texts(drawn)
    assert "Rate by sweep (mm/y)" in texts(drawn) and "Degraded area (%)" in texts(drawn)
    assert text.count('class="rate-bar"') == 4
    assert 'class="plot-band"' in text
    assert "4 specimens" in drawn.attrib["aria-label"]


def test_no_line_no_band(sides):
    found = sides.found().with_rate[0]
    assert found.line.slope is None and "plot-band" not in scatter_chart(found)


def test_time_with_both_laws_and_the_limit(sides):
    text = time_chart(sides.found(LIMIT).over_time[0])
    drawn = ElementTree.fromstring(text)
    said = texts(drawn)
    assert "linear, best AICc" in said and any(line.startswith("parabolic") for line in said)
    assert any(line.startswith("40 % of the drawn section left") for line in said)
    assert text.count("<circle") == 6 and 'class="rate-mean"' in text


def test_time_without_a_limit(sides):
    text = time_chart(sides.found().over_time[0])
    assert 'class="rate-mean"' not in text and "plot-drawn" not in text
