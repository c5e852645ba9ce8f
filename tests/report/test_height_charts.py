"""Depth distributions, from summaries to panels."""

import numpy as np
import pytest

from surfscan.estimates.depths import product_limit
from surfscan.report import charts, figures, height_charts
from surfscan.report.groups import summarise_groups
from surfscan.report.records import gather
from surfscan.report.specimens import summarise_specimens
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


@pytest.fixture(scope="module")
def groups(reported_heights):
    study = load_study(reported_heights)
    records, _ = gather(study, ResultsStore(study.folder).all())
    return summarise_groups(study.groups, summarise_specimens(study.specimens, records))


def test_curve_is_the_product_limit_of_pooled_maps(groups, monkeypatch):
    seen = []
    monkeypatch.setattr(figures, "depth_figure", lambda panels, alt: seen.append((panels, alt)) or "<svg/>")
    height_charts.depth_chart(groups)
    ((panels, alt),) = seen
    panel = next(p for p in panels if p.title == "uncoated 7 d")
    depths = np.array([4, 8, 6, 5, 9, 3, 7, 2, 10, 12, 3, 5, 2.0])
    at, reached = product_limit(depths, depths == 9)
    assert panel.at_um.tolist() == at.tolist()
    assert panel.reached == pytest.approx(reached)
    assert panel.bounds_um.tolist() == [9.0]
    assert panel.bounds_at[0] == pytest.approx(reached[at == 8][0])
    assert (panel.n_pits, panel.n_specimens, panel.limits) == (13, 3, [0.4])
    assert "13 pits, 1 of them lower bounds" in alt


def test_no_depth_draws_nothing(study_folder):
    study = load_study(study_folder)
    records, _ = gather(study, ResultsStore(study.folder).all())
    groups = summarise_groups(study.groups, summarise_specimens(study.specimens, records))
    assert height_charts.depth_chart(groups) == ""
    assert charts.group_chart(groups, "heights") == ""


def test_group_panels_of_height_maps_mark_lower_bounds(groups, monkeypatch):
    seen = []
    monkeypatch.setattr(figures, "group_figure", lambda *given: seen.append(given) or "<svg/>")
    charts.group_chart(groups, "heights")
    ((_, panels, _),) = seen
    assert [p.title.split("\n")[0] for p in panels] == [
        "Greatest pit depth",
        "Median pit depth",
        "Pit volume per area",
        "Sq",
    ]
    deepest = panels[0].bars[1]
    assert list(deepest.values) == [10, 12, 5]
    assert list(deepest.lower_bounds) == [True, False, False]
    assert np.isnan(deepest.low) and deepest.mean == pytest.approx(9)
    assert list(deepest.worst_seen) == [30]
    assert not any(panels[2].bars[1].lower_bounds)
