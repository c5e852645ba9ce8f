"""Figures of the page, from summaries to panels."""

import math

import numpy as np
import pytest

from surfscan.report import charts, figures
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.report.truth import compare_with_truth
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture
def parts(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return records, summarise_groups(study.groups, summarise_specimens(study.specimens, records))


@pytest.fixture
def drawn(monkeypatch):
    """What the drawing functions were given, instead of their drawings."""
    seen = {}
    for name in ("group_figure", "size_figure", "truth_figure"):
        monkeypatch.setattr(
            figures, name, lambda *given, _name=name: seen.setdefault(_name, []).append(given) or "<svg/>"
        )
    return seen


def test_group_panels_hold_specimens_means_and_worst_seen(parts, drawn):
    charts.group_chart(parts[1])
    ((names, panels, alt),) = drawn["group_figure"]
    assert names == [g.name for g in parts[1]]
    assert [p.title for p in panels] == [
        "Pit density\n(mm⁻²)",
        "Pitted area\n(%)",
        "Degraded area\n(%)",
        "Median pit diameter\n(µm)",
    ]
    degraded = panels[2].bars[1]
    assert np.allclose(degraded.values, [22, 32, 41])
    assert degraded.mean == pytest.approx(31.67, abs=0.01)
    assert degraded.low < degraded.mean < degraded.high
    assert np.allclose(degraded.worst_seen, [60])
    assert math.isnan(panels[1].bars[2].mean)  # two specimens: points only
    assert len(panels[1].bars[2].values) == 2
    assert "degraded area" in alt


def test_size_panels_hold_weighted_whole_pits_of_pooled_fields(parts, drawn):
    charts.size_charts(parts[1])
    (scaled, unscaled) = drawn["size_figure"]
    assert scaled[1] == "µm"
    assert [(p.title, len(p.diameters), p.n_specimens) for p in scaled[0]] == [
        ("as received", 3, 3),
        ("uncoated 7 d", 12 + 16 + 14 + 20 + 24 + 9, 3),
    ]
    assert scaled[0][1].limits == [2.0]
    assert set(scaled[0][1].weights) == {1.1}
    assert unscaled[1] == "px"
    assert [(len(p.diameters), p.limits) for p in unscaled[0]] == [(3, [4.0])]


def test_pits_cut_by_the_frame_stay_out_of_the_sizes(parts, drawn):
    for member in parts[1][1].members:
        for record in member.pooled["pits"]:
            record.table("pits")["edge_weight"][:2] = [0.0, math.nan]
    charts.size_charts(parts[1])
    panel = drawn["size_figure"][0][0][1]
    assert len(panel.diameters) == 95 - 2 * 6
    assert np.isfinite(panel.weights).all()


def test_nothing_measured_draws_nothing(parts, drawn):
    assert charts.group_chart([]) == ""
    assert charts.size_charts([]) == []
    assert drawn == {}


def test_truth_panels(parts, drawn, study_folder):
    (study_folder / "truth.csv").write_text(
        "image,figure,true_value\nimages/04.png,degraded_area_fraction,0.2\n", encoding="utf-8"
    )
    charts.truth_chart(compare_with_truth(study_folder, parts[0]))
    ((panels, alt),) = drawn["truth_figure"]
    (title, unit, counted, true, measured) = panels[0]
    assert (title, unit, counted, true.tolist()) == ("Degraded area", "%", "image", [20.0])
    assert measured[0] == pytest.approx(24)
    assert "degraded area" in alt
