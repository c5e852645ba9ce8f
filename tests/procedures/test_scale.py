"""Scale of one picture: bar, micrometer, comparison."""

import numpy as np
import pytest

from surfscan.columns import columns
from surfscan.errors import InputError
from surfscan.images import Calibration, HeightMap, Micrograph, Source
from surfscan.procedures.scale import measure_scale
from surfscan.procedures.settings import ScaleSettings


def micrograph(pixels, calibration=None, name="plate.png"):
    return Micrograph(pixels, calibration, Source(name), ("No usable scale.",) if calibration is None else ())


@pytest.fixture(scope="module")
def ground():
    return np.random.default_rng(8).normal(130, 12, (400, 600)).clip(0, 255).astype(np.uint8)


@pytest.fixture(scope="module")
def barred(ground, draw_bar):
    return draw_bar(ground, "50 µm", row=300, col=60, length=200)


@pytest.fixture(scope="module")
def ruler():
    """Dark lines 12.5 px apart on a light ground."""
    cols = np.arange(600)
    away = np.abs(cols - 12.5 * np.rint(cols / 12.5))
    line = 200 - 140 * np.clip(2 - away, 0, 1)
    return np.tile(line.astype(np.uint8), (300, 1))


def test_a_bar_gives_the_scale(barred):
    result = measure_scale(micrograph(barred))
    assert result.procedure == "scale"
    assert list(result.tables["bars"]) == [c.name for c in columns("bars")]
    summary = result.summary
    assert summary["pixel_size_x_um"] == summary["pixel_size_y_um"] == pytest.approx(0.25, rel=1e-3)
    assert summary["accepted"] is True
    assert summary["origin"] == "scale bar '50 µm'"
    assert "declared allowance" in summary["uncertainty_parts"]
    assert result.calibration.relative_uncertainty == summary["relative_uncertainty"]
    assert result.warnings == ()


def test_settings_count(barred):
    strict = measure_scale(
        micrograph(barred), ScaleSettings(accepted_from=1.0, certificate_relative_uncertainty=0.002)
    )
    assert strict.settings["certificate_relative_uncertainty"] == 0.002
    if strict.summary["accepted"]:
        assert strict.summary["relative_uncertainty"] < 0.005
    else:
        assert strict.calibration is None


def test_a_label_by_hand(ground, draw_bar):
    bare = draw_bar(ground, "", row=300, col=60, length=200)
    assert measure_scale(micrograph(bare), label="0.1 mm").summary["pixel_size_x_um"] == pytest.approx(
        0.5, rel=3e-3
    )
    with pytest.raises(InputError, match="not a length"):
        measure_scale(micrograph(bare), label="fifty")


def test_no_bar_and_a_label_without_bar(ground, draw_bar):
    nothing = measure_scale(micrograph(ground))
    assert nothing.summary["accepted"] is False
    assert nothing.summary["bar_count"] == 0
    assert nothing.calibration is None
    assert any("No scale bar was found. State" in w for w in nothing.warnings)
    alone = measure_scale(micrograph(draw_bar(ground, "50 µm", row=390, length=0)))
    assert any("a label '50 µm' stands at row" in w for w in alone.warnings)


def test_the_scale_of_the_file_stands_where_the_bar_gives_none(ground):
    known = Calibration(0.4, 0.4, 0.01, "file metadata: tag")
    result = measure_scale(micrograph(ground, known))
    assert result.calibration == known
    assert result.summary["accepted"] is False
    assert result.summary["origin"] == "file metadata: tag"


def test_a_bar_against_metadata(barred):
    result = measure_scale(micrograph(barred, Calibration(0.5, 0.5, 0.01, "file metadata: tag")))
    assert result.summary["accepted"] is False
    assert any("check which holds" in w for w in result.warnings)


def test_a_micrometer(ruler):
    result = measure_scale(micrograph(ruler), division_um=10)
    summary = result.summary
    assert summary["pixel_size_x_um"] == pytest.approx(0.8, rel=1e-3)
    assert summary["pitch_x_px"] == pytest.approx(12.5, rel=1e-3)
    assert summary["line_count_x"] >= 45
    assert summary["accepted"] is True
    assert "pitch_y_px" not in summary
    assert any("Turn the micrometer" in w for w in result.warnings)
    assert len(result.tables["bars"]["row_px"]) == 0


def test_no_micrometer(ground, ruler):
    with pytest.raises(InputError, match="no five lines at one pitch"):
        measure_scale(micrograph(ground), division_um=10)
    with pytest.raises(InputError, match="above 0"):
        measure_scale(micrograph(ruler), division_um=-1)


def test_two_scales_that_agree(barred):
    """1 % and 1 % at k = 2 make 2.8 %: a difference of 1 % is well within."""
    other = micrograph(barred, Calibration(0.2525, 0.2525, 0.01, "stated"), "other.png")
    summary = measure_scale(micrograph(barred), against=other).summary
    assert summary["against"] == "other.png"
    assert summary["against_ratio_x"] == pytest.approx(0.25 / 0.2525, rel=1e-3)
    assert summary["against_difference_x_fraction"] == pytest.approx(-0.0099, abs=1e-3)
    assert summary["against_normalised_difference_x"] == pytest.approx(0.0099 / 0.0284, abs=0.03)
    assert summary["against_agrees"] is True


def test_two_scales_that_do_not(barred):
    other = HeightMap(np.zeros((4, 4)), Calibration(0.3, 0.3, 0.01, "stated"), Source("map.npy"))
    summary = measure_scale(micrograph(barred), against=other).summary
    assert summary["against_agrees"] is False
    assert summary["against_normalised_difference_x"] > 1


def test_scales_that_agree_along_one_axis_alone(barred):
    other = micrograph(barred, Calibration(0.25, 0.35, 0.01, "stated"), "other.png")
    summary = measure_scale(micrograph(barred), against=other).summary
    assert summary["against_agrees_x"] is True
    assert summary["against_agrees_y"] is False
    assert summary["against_agrees"] is False
    assert summary["against_difference_y_fraction"] == pytest.approx(0.25 / 0.35 - 1, abs=1e-3)


def test_a_label_and_a_division_contradict_each_other(ruler):
    with pytest.raises(InputError, match=r"--label 50 µm.*--division-um 10"):
        measure_scale(micrograph(ruler), label="50 µm", division_um=10)


@pytest.mark.parametrize("label", ["-200 nm", "−200 nm", "0 nm", "5O µm", "50 pm", "|50 µm", "50 Mm"])
def test_a_label_is_taken_as_it_is_written_or_not_at_all(barred, label):
    with pytest.raises(InputError, match="is not a length above 0"):
        measure_scale(micrograph(barred), label=label)


def test_against_a_micrometer(ruler):
    """Both are taken for micrometers where a division is given."""
    summary = measure_scale(micrograph(ruler), division_um=10, against=micrograph(ruler)).summary
    assert summary["against_difference_x_fraction"] == 0


def test_against_an_image_without_scale(barred, ground):
    with pytest.raises(InputError, match=r"bare\.png: has no scale"):
        measure_scale(micrograph(barred), against=micrograph(ground, name="bare.png"))
