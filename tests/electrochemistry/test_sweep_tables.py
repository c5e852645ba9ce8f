"""Tables of an analysed sweep agree with the points and the run they come from."""

import numpy as np
import pytest

from surfscan.electrochemistry.methods import TAFEL, analyse_run
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2
from surfscan.electrochemistry.settings import SweepSettings
from surfscan.electrochemistry.sweep import Scan
from surfscan.electrochemistry.sweep_tables import (
    fitted_density,
    methods_table,
    points_table,
    runs_table,
    why_none,
    windows_table,
)

HALF = -0.5 + np.arange(-0.2, 0.2003, 0.002)
POTENTIAL = np.concatenate([HALF, HALF[::-1][1:]])
DENSITY = current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 10.0, 0.08, 0.12))
SCANS = (Scan(0, HALF.size, 1), Scan(HALF.size - 1, POTENTIAL.size, -1))


@pytest.fixture(scope="module")
def runs():
    return [analyse_run(POTENTIAL[s.points], DENSITY[s.points]) for s in SCANS]


def test_points(runs):
    table = points_table(POTENTIAL, DENSITY, SCANS, 0, runs[0], has_area=True)
    first = table["scan"] == 1
    assert first.sum() == HALF.size
    assert not table["in_window"][~first].any()
    used = table["in_window"]
    assert used.any()
    assert np.abs(table["residual_decades"][used & (np.abs(POTENTIAL + 0.5) > 0.01)]).max() < 2e-3
    assert np.isnan(table["fitted_uA_per_cm2"][~first]).all()


def test_without_area_no_density(runs):
    table = points_table(POTENTIAL, DENSITY, SCANS, 0, runs[0], has_area=False)
    assert np.isnan(table["density_uA_per_cm2"]).all()
    assert np.isnan(table["fitted_uA_per_cm2"]).all()
    assert np.isfinite(table["potential_V"]).all()
    assert np.isfinite(table["residual_decades"]).any()
    rows = runs_table(POTENTIAL, SCANS, runs, 0, has_area=False)
    assert np.isnan(rows["icorr_uA_per_cm2"]).all()
    assert np.isnan(rows["polarization_resistance_ohm_cm2"]).all()


def test_runs_and_methods(runs):
    table = runs_table(POTENTIAL, SCANS, runs, 0, has_area=True)
    assert table["direction"].tolist() == ["up", "down"]
    assert table["analysed"].tolist() == [True, False]
    assert table["icorr_uA_per_cm2"] == pytest.approx([10.0, 10.0], rel=0.01)
    assert table["Ecorr_V"] == pytest.approx([-0.5, -0.5], abs=1e-4)
    methods = methods_table(runs, has_area=True)
    assert methods["scan"].tolist() == [1, 1, 1, 2, 2, 2]
    assert methods["chosen"].sum() == 2


def test_windows_of_every_method(runs):
    table = windows_table(runs, 0, None, has_area=True)
    assert {"both", "anodic", "cathodic", "zero current"} <= set(table["part"].tolist())
    assert (table["low_V"] < table["high_V"]).all()


def test_tafel_lines_are_drawn_over_their_regions():
    run = analyse_run(
        POTENTIAL[SCANS[0].points], DENSITY[SCANS[0].points], SweepSettings(fit_least_reach_V=0.5)
    )
    assert run.headline.method == TAFEL
    fitted, used = fitted_density(HALF, run)
    far = used & (np.abs(HALF + 0.5) > 0.12)
    assert fitted[far] == pytest.approx(DENSITY[: HALF.size][far], rel=0.02)
    assert (np.sign(fitted[used]) == np.sign(HALF[used] + 0.5)).all()


def test_reason_shared_by_all_is_said_once():
    run = analyse_run(HALF[150:], DENSITY[150 : HALF.size])
    assert why_none(run.methods) == "the run is anodic throughout: start it below the rest potential"
    assert fitted_density(HALF, run)[1].sum() == 0
