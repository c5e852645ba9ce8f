"""Lines at one pitch: numbered, located, fitted."""

import cv2
import numpy as np
import pytest

from surfscan.calibration.division_lines import fit_lines


def fit(picture, angle_deg=0.0):
    return fit_lines(picture.astype(np.float32), angle_deg)


@pytest.mark.parametrize("how", [
    {}, {"dark": False, "noise": 8}, {"blur_px": 2.5}, {"pitch_px": (8.2, None), "width_px": 2},
    {"pitch_px": (111.3, None), "width_px": 6}, {"missing": (3, -7, 8)},
], ids=str)  # fmt: skip
def test_pitch(draw_divisions, how):
    """To two hundredths of a per cent, whatever the lines look like."""
    found = fit(draw_divisions(**how))
    truth = how.get("pitch_px", (17.3, None))[0]
    assert found.pitch_px == pytest.approx(truth, rel=2e-4)
    assert found.missing_count == len(how.get("missing", ()))
    assert found.rms_px < 0.05


def test_a_guess_of_the_angle_is_corrected(draw_divisions):
    found = fit(draw_divisions(angle_deg=3.7), 3.0)
    assert found.angle_deg == pytest.approx(3.7, abs=0.01)
    assert found.pitch_px == pytest.approx(17.3, rel=1e-4)


def test_marks_between_the_lines_are_passed_over(draw_divisions):
    picture = draw_divisions(pitch_px=(31.0, None))
    for col in (103, 227, 418):
        cv2.line(picture, (col, 140), (col, 260), 60, 2)
    assert fit(picture).pitch_px == pytest.approx(31.0, rel=3e-4)


def test_the_standard_error_is_that_of_the_scatter(draw_divisions):
    """Forty draws of noise: the pitch scatters as its uncertainty says, within a factor of two."""
    found = [fit(draw_divisions(noise=25, seed=seed, shape=(200, 400))) for seed in range(40)]
    scatter = np.std([f.pitch_px for f in found])
    stated = np.median([f.pitch_uncertainty_px for f in found])
    assert 0.5 < scatter / stated < 2


def test_distortion_shows(draw_divisions):
    """x' = x (1 + b (x / X)²): the local pitch falls by 3 b from the middle to the edge."""
    even, bent = fit(draw_divisions()), fit(draw_divisions(bend=0.01))
    assert even.distortion_px < 0.02
    assert even.pitch_variation < 2e-4
    assert bent.distortion_px > 0.5
    assert bent.pitch_variation == pytest.approx(0.02, abs=0.01)


def test_nothing_at_one_pitch():
    draw = np.random.default_rng(5)
    noise = draw.normal(128, 20, (300, 400)).astype(np.float32)
    streaks = np.tile(draw.normal(128, 20, 400).astype(np.float32), (300, 1))
    assert fit(noise) is None
    assert fit(streaks) is None
    assert fit(np.full((300, 400), 128.0)) is None


def test_too_few_lines(draw_divisions):
    assert fit(draw_divisions(pitch_px=(200.0, None), width_px=6)) is None
