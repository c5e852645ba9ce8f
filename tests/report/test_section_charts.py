"""Charts of sections: the curve lies where the drawing says, and letters are those of the picture."""

import re

import numpy as np
import pytest

from surfscan.report.records import gather
from surfscan.report.section_charts import AMONG_OTHERS, greatest_station, least_station, marks, section_chart
from surfscan.report.section_records import sections_of
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def found(reported_sections):
    records, _ = gather(load_study(reported_sections), ResultsStore(reported_sections).all())
    return sections_of(records)


def path(chart, name):
    """Points of a path of relative steps, piece by piece."""
    (d,) = re.findall(rf'class="{name}" d="([^"]*)"', chart)
    pieces = []
    for piece in re.findall(r"M([^M]*)", d):
        start, _, steps = piece.rstrip("z").partition("l")
        numbers = [float(v) for v in f"{start} {steps}".split()]
        pieces.append(np.cumsum(np.array(numbers).reshape(-1, 2), axis=0))
    return pieces


def test_metal_line_is_as_deep_as_what_was_lost(found):
    chart = section_chart(found[0])
    mean = float(re.search(r'class="sec-mean" d="M\S+ ([\d.]+)H', chart).group(1))
    zero = float(re.search(r'class="sec-original" d="M\S+ ([\d.]+)H', chart).group(1))
    depths = np.concatenate(path(chart, "sec-metal"))[:, 1]
    assert zero < mean  # counted downwards
    assert np.median(depths) == pytest.approx(mean, abs=0.06 * (mean - zero))  # 10 px on every face
    assert ">mean 10.0 µm</text>" in chart


def test_greatest_is_a_measured_line_with_its_interval(found):
    chart = section_chart(found[1], AMONG_OTHERS)
    value = found[1].rounded("max_penetration").value
    assert f">greatest {value} µm</text>" in chart
    assert chart.count('class="sec-measure"') == chart.count('class="sec-bar"') == 1
    assert 'viewBox="0 0 600 268"' in chart
    k = greatest_station(found[1])
    assert found[1].stations()["deepest_um"][k] == found[1].figure("max_penetration_um")


def test_corners_are_hatched_and_not_drawn_as_metal(found):
    chart = section_chart(found[0])
    assert 4 <= chart.count('class="sec-none"') <= 5  # the outline may begin in a corner
    assert len(path(chart, "sec-metal")) >= 4


def test_letters_stand_at_quarters_and_begin_again(found):
    assert [letter for letter, _ in marks(found[0])] == ["A", "B", "C", "D"]
    n = len(found[0].stations()["s_um"])
    assert [k for _, k in marks(found[0])] == [0, round(n / 4), round(n / 2), round(3 * n / 4)]
    assert re.findall(r'class="sec-letter"[^>]*>(\w)<', section_chart(found[0])) == list("ABCDA")


def test_thickness_stands_against_the_original(found):
    chart = section_chart(found[6])
    assert ">original 120 µm</text>" in chart
    assert ">mean 98.0 µm</text>" in chart
    assert re.findall(r'class="sec-letter"[^>]*>(\w)<', chart) == list("ABCDE")
    assert found[6].thickness()["thickness_um"][least_station(found[6])] == pytest.approx(98, abs=1)


def test_without_a_scale_axes_are_in_px(found):
    chart = section_chart(found[5])
    assert "Penetration (px)" in chart and "µm" not in chart
    assert 'class="sec-bar"' not in chart


def test_greatest_below_metal_is_called_undercut(found):
    section = found[0]
    stations = section.record.table("outline")
    own = stations["profile"] == section.number
    k = greatest_station(section)
    assert "undercut" not in section_chart(section)
    at = np.flatnonzero(own)[k]
    kept = {name: stations[name].copy() for name in ("penetration_px", "reaches_metal")}
    stations["penetration_px"][at], stations["reaches_metal"][at] = 0.5 * stations["deepest_px"][at], True
    chart = section_chart(section)
    for name, values in kept.items():
        stations[name][:] = values
    assert re.search(r">greatest [\d.]+ µm, undercut</text>", chart)
    assert "below metal that still stands (undercut)" in re.search('aria-label="([^"]*)"', chart).group(1)
