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
        [("Pit count", "pits", "images", np.array([1.0, 2.0]), np.array([1.0, 3.0]))], "measured against true"
    )


def depth_chart(n=2):
    panel = figures.DepthPanel(
        "uncoated $x$",
        np.array([1.0, 3.0]),
        np.array([0.3, 0.6]),
        np.array([2.0, 8.0]),
        np.array([0.3, 0.6]),
        4,
        2,
        3.0,
        [0.5],
    )
    return figures.depth_figure([panel] * n, "depths")


def extremes_panel(**changed):
    line = [(y, 10 + 3 * y, 8 + 2.5 * y, 12 + 4 * y) for y in np.linspace(-1, 6, 25)]
    given = {
        "title": "uncoated",
        "subtitle": "n = 9 maps",
        "points": [(y, 10 + 3 * y) for y in np.linspace(-1, 2, 7)],
        "at_least": [6.0],
        "at_most": [1.0],
        "line": line,
        "level": (5.0, 25.0, 20.0, 33.0),
        "level_words": "25 µm (20 to 33) at T = 150",
    }
    return figures.ExtremesPanel(**given | changed)


def extremes_chart():
    return figures.extremes_figure([extremes_panel(), extremes_panel(at_least=[], at_most=[])], "extremes")


def test_true_potentials_lie_on_their_axes():
    chart = figures.truth_figure(
        [("t", "V", "sweeps", np.array([-1.6, -0.2]), np.array([-1.6, -0.2]))], "alt"
    )
    assert "1e−12" not in chart and "1e-12" not in chart


CHARTS = [group_chart, size_chart, truth_chart, depth_chart, extremes_chart]


@pytest.mark.parametrize("chart", CHARTS)
def test_well_formed_and_without_date_or_links(chart):
    svg = chart()
    root = ElementTree.fromstring(svg)
    assert root.tag.endswith("svg")
    assert root.attrib["role"] == "img"
    assert "metadata" not in svg
    assert "Date" not in svg
    assert set(re.findall(r'(?:href|src)="([^#"][^"]*)"', svg)) == set()


@pytest.mark.parametrize("chart", CHARTS)
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


def test_lower_bounds_of_a_group_are_triangles():
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    bar = figures.GroupBar([1.0, 2.0, 3.0], 2.0, math.nan, math.nan, lower_bounds=[False, True, False])
    figures._draw_groups(ax, figures.Panel("x", [bar]))
    drawn = {line.get_marker(): list(line.get_xdata()) for line in ax.lines if len(line.get_xdata()) < 3}
    assert drawn["o"] == [1.0, 3.0]
    assert [list(li.get_xdata()) for li in ax.lines if li.get_marker() == ">"] == [
        [2.0],
        [2.0],
    ]  # value, mean


def test_bounds_stand_in_a_strip_left_of_the_fit():
    """They have no plotting position, and must not hide one another; without any there is no strip."""
    from matplotlib.figure import Figure

    ax, panel = Figure().subplots(), extremes_panel(at_least=[6.0, 6.1])
    figures._draw_extremes(ax, panel)
    markers = {line.get_marker(): line for line in ax.lines if len(line.get_xdata())}
    left, first = ax.get_xlim()[0], panel.line[0][0]
    assert list(markers["^"].get_ydata()) == [6.0, 6.1] and list(markers["v"].get_ydata()) == [1.0]
    for marker in "^v":
        assert all(left < x < first for x in markers[marker].get_xdata())
    assert len(set(markers["^"].get_xdata())) == 2
    bare = Figure().subplots()
    figures._draw_extremes(bare, extremes_panel(at_least=[], at_most=[]))
    assert bare.get_xlim()[0] > left
    assert not {"^", "v"} & {line.get_marker() for line in bare.lines if len(line.get_xdata())}


def test_return_periods_are_written_where_they_belong():
    from matplotlib.figure import Figure

    ax = Figure().subplots()
    figures._draw_extremes(ax, extremes_panel())
    assert [t.get_text() for t in ax.get_xticklabels()] == ["1.1", "2", "5", "20", "100"]
    assert ax.get_xticks() == pytest.approx([-math.log(-math.log(1 - 1 / p)) for p in (1.1, 2, 5, 20, 100)])


def test_curve_of_depths_ends_at_the_largest_bound_where_it_stays_below_1():
    from unittest.mock import patch

    from matplotlib.axes import Axes

    with patch.object(Axes, "step", autospec=True) as step:
        depth_chart(1)
    x, y = step.call_args.args[1:3]
    assert x[-1] == 8.0 and y[-1] == 0.6
