"""What the page shows of extreme values."""

import numpy as np
import pytest

from surfscan.procedures.extremes import analyse_maxima
from surfscan.report import extreme_charts, figures
from surfscan.report.extreme_values import Extremes

DEPTHS = np.array([12.1, 9.3, 15.2, 8.8, 11.0, 10.4, 13.7, 9.9, 18.3, 10.9, 20.0])


@pytest.fixture(scope="module")
def fitted():
    bounds = DEPTHS == 20
    result = analyse_maxima(DEPTHS, censored=bounds, block_area_mm2=0.25, part_area_mm2=50)
    row = {
        "n_blocks": 11,
        "n_specimens": 2,
        "n_lower_bound": 1,
        "n_without_pit": 0,
        "block_area_mm2": 0.25,
        "part_area_mm2": 50.0,
        "return_period": 200.0,
        "model": "gumbel",
        "location_um": result.fit.location,
        "scale_um": result.fit.scale,
        "shape": 0.0,
        "gumbel_p": result.gumbel.p_value,
        "return_level_um": 27.4,
        "return_level_um_ci95_low": 21.6,
        "return_level_um_ci95_high": 45.2,
        "refused": "",
    }
    return Extremes("uncoated", "", row, result, result.warnings)


@pytest.fixture
def refused(fitted):
    row = dict.fromkeys(fitted.row, float("nan")) | {
        key: fitted.row[key] for key in ("n_blocks", "n_specimens", "n_lower_bound", "n_without_pit")
    }
    return Extremes("other", "S1", {**row, "model": "", "refused": "too few maxima."}, None, ())


def test_plot_tells_bounds_from_measured_maxima(fitted, refused, monkeypatch):
    seen = []
    monkeypatch.setattr(
        figures, "extremes_figure", lambda panels, alt: seen.append((panels, alt)) or "<svg/>"
    )
    extreme_charts.extremes_chart([fitted, refused])
    ((panels, alt),) = seen
    (panel,) = panels
    assert len(panel.points) == 10
    assert panel.at_least == [20.0] and panel.at_most == []
    assert panel.level[1] == pytest.approx(fitted.result.return_level)
    assert panel.subtitle == "n = 11 maps (△ 1) on 2 specimens; Gumbel"
    assert "27 µm" in panel.level_words.replace("\u00a0", " ")
    assert "uncoated" in alt


def test_sentence_says_what_how_sure_and_from_how_many(fitted, refused):
    (sentence,) = extreme_charts.extremes_sentences([fitted, refused])
    assert sentence.replace("\u00a0", " ") == (
        "“uncoated”: on a part of 50.0 mm² the return level of the deepest pit is 27 µm (95 % interval "
        "22 to 45), from 11 maps of 0.250 mm² (Gumbel, T = 200)."
    )
    assert "no upper limit" in extreme_charts.CAUTION


def test_table_gives_the_reason_of_a_refusal(fitted, refused):
    grid = extreme_charts.extremes_grid([fitted, refused])
    heads = [h.text for h in grid.heads]
    assert grid.rows[0][1].lines == ("1 lower bound",)
    assert grid.rows[1][heads.index("Refused because")].text == "Too few maxima."
    assert grid.rows[1][heads.index("Deepest on the part")].text == "–"
    assert grid.rows[1][0].text == "S1 · other"


def test_notes_are_said_once_with_all_they_are_about(fitted):
    again = Extremes("again", "", fitted.row, fitted.result, fitted.warnings)
    notes = extreme_charts.extremes_notes([fitted, again])
    assert len(notes) == len(fitted.warnings)
    assert all(n.startswith("uncoated, again: ") for n in notes)


def test_nothing_fitted_draws_nothing(refused):
    assert extreme_charts.extremes_chart([refused]) == ""
    assert extreme_charts.extremes_sentences([refused]) == []
