"""Figures as inline SVG."""

import math
import re
import xml.etree.ElementTree as ElementTree

import numpy as np
import pytest

from surfscan.report import figures

BARS = [
    figures.GroupBar([1.0, 2.0, 3.0], 2.0, 0.5, 3.5, worst_seen=[9.0]),
    figures.GroupBar([1.0, 2.0], math.nan, math.nan, math.nan),
    figures.GroupBar([], math.nan, math.nan, math.nan),
]


def group_chart():
    panels = [figures.Panel("Pit density\n(mm⁻²)", BARS), figures.Panel("Degraded area\n(%)", BARS)]
    return figures.group_figure(["as $received$", "uncoated", "<none>"], panels, 'alt "text" & <more>')


def size_chart(n=5):
    panel = figures.SizePanel("uncoated", np.array([3.0, 8.0, 5.0]), np.array([1.0, 1.2, 1.1]), 2, [2.0])
    return figures.size_figure([panel] * n, "µm", "sizes")


def truth_chart():
    return figures.truth_figure(
        [("Pit count", "pits", np.array([1.0, 2.0]), np.array([1.0, 3.0]))], "measured against true"
    )


@pytest.mark.parametrize("chart", [group_chart, size_chart, truth_chart])
def test_well_formed_and_without_date_or_links(chart):
    svg = chart()
    root = ElementTree.fromstring(svg)
    assert root.tag.endswith("svg")
    assert root.attrib["role"] == "img"
    assert "metadata" not in svg
    assert "Date" not in svg
    assert set(re.findall(r'(?:href|src)="([^#"][^"]*)"', svg)) == set()


@pytest.mark.parametrize("chart", [group_chart, size_chart, truth_chart])
def test_same_input_same_bytes(chart):
    assert chart() == chart()


def test_alt_text_is_escaped():
    assert ElementTree.fromstring(group_chart()).attrib["aria-label"] == 'alt "text" & <more>'


def test_mean_and_interval_only_where_given():
    # a diamond and a bar for the first group of two panels; the pair of specimens has points only
    assert group_chart().count(f"fill: {figures.LOSS.lower()}") >= 2
    bare = figures.group_figure(["pair"], [figures.Panel("x", BARS[1:2])], "alt")
    assert figures.LOSS.lower() not in bare


def test_values_far_from_zero_keep_clear_of_the_right_edge():
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    figures._draw_groups(ax, figures.Panel("x", [figures.GroupBar([100.0, 101.0], *[math.nan] * 3)]))
    left, right = ax.get_xlim()
    assert left == 0 and right >= 101 * 1.04


def test_text_is_at_least_nine_points():
    sizes = [figures._STYLE[key] for key in figures._STYLE if key.endswith("size")]
    assert min(sizes) >= 9


def test_one_panel_and_a_pit_size_equal_to_the_limit():
    panel = figures.SizePanel("g", np.array([4.0]), np.array([1.0]), 1, [4.0])
    assert "svg" in figures.size_figure([panel], "px", "alt")


def test_styles_leave_the_global_ones_alone():
    import matplotlib

    before = dict(matplotlib.rcParams)
    group_chart()
    assert dict(matplotlib.rcParams) == before
