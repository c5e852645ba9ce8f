"""The command scale, from file to JSON and terminal."""

import json

import cv2
import numpy as np
import pytest
import tifffile

from surfscan.cli import main


@pytest.fixture(scope="module")
def folder(tmp_path_factory, draw_bar):
    """A picture with a bar, one with a bar alone, one with neither, and a ruler."""
    where = tmp_path_factory.mktemp("scale")
    ground = np.random.default_rng(8).normal(130, 12, (400, 600)).clip(0, 255).astype(np.uint8)
    cols = np.arange(600)
    away = np.abs(cols - 12.5 * np.rint(cols / 12.5))
    ruler = np.tile((200 - 140 * np.clip(2 - away, 0, 1)).astype(np.uint8), (300, 1))
    pictures = {
        "barred": draw_bar(ground, "50 µm", row=300, col=60, length=200),
        "bare": draw_bar(ground, "", row=300, col=60, length=200),
        "plain": ground,
        "ruler": ruler,
    }
    for name, picture in pictures.items():
        tifffile.imwrite(where / f"{name}.tif", picture)
    return where


def run_json(capsys, *arguments):
    assert main([*map(str, arguments), "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_a_bar(folder, capsys):
    got = run_json(capsys, "scale", folder / "barred.tif")
    (bar,) = got["bars"]
    assert bar["accepted"] is True
    assert bar["label"] == "50 µm"
    assert bar["pixel_size_um"] == pytest.approx(0.25, rel=1e-3)
    assert bar["col_end_px"] - bar["col_start_px"] == pytest.approx(bar["length_px"], abs=1e-3)
    assert got["calibration"]["origin"] == "scale bar '50 µm'"
    assert got["summary"]["relative_uncertainty"] > 0.01


def test_terminal(folder, capsys):
    assert main(["scale", str(folder / "barred.tif")]) == 0
    shown = capsys.readouterr().out
    assert "scale bar '50 µm' over 200.0 px" in shown
    assert "declared allowance" in shown


def test_label_and_certificate(folder, capsys):
    got = run_json(
        capsys,
        "scale",
        folder / "bare.tif",
        "--label",
        "0.1 mm",
        "--certificate-relative-uncertainty",
        "0.002",
    )
    assert got["summary"]["pixel_size_x_um"] == pytest.approx(0.5, rel=3e-3)
    assert got["summary"]["relative_uncertainty"] < 0.004


def test_a_micrometer_against_a_bar(folder, capsys):
    got = run_json(
        capsys, "scale", folder / "ruler.tif", "--division-um", "3.125", "--against", folder / "barred.tif"
    )
    assert got["bars"] == []
    assert got["summary"]["against_ratio_x"] == pytest.approx(1, abs=2e-3)
    assert got["summary"]["against_agrees"] is True
    assert main(["scale", str(folder / "ruler.tif"), "--division-um", "3.125"]) == 0
    assert "pitch along x" in capsys.readouterr().out


@pytest.mark.parametrize("name", ["barred", "bare"])
def test_the_bar_cut_out_for_a_person_to_look_at(folder, tmp_path, capsys, name):
    out = tmp_path / "crop.png"
    assert main(["scale", str(folder / f"{name}.tif"), "--crop", str(out)]) == 0
    capsys.readouterr()
    seen = cv2.imread(str(out), cv2.IMREAD_UNCHANGED)
    assert 500 < seen.shape[1] < 1000
    white = np.flatnonzero((seen == 255).sum(axis=0))
    times = seen.shape[1] // 200
    assert white[-1] - white[0] + 1 >= 200 * min(times, 3)


def test_nothing_to_cut_out(folder, tmp_path, capsys):
    assert main(["scale", str(folder / "plain.tif"), "--crop", str(tmp_path / "crop.png")]) == 2
    assert "no scale bar" in capsys.readouterr().err
    assert not list(tmp_path.iterdir())


def test_no_bar(folder, capsys):
    assert main(["scale", str(folder / "plain.tif")]) == 0
    shown = capsys.readouterr().out
    assert "no scale bar found" in shown
    assert "scale: unknown" in shown


def test_a_stated_pixel_size_is_held_against_the_bar(folder, capsys):
    got = run_json(capsys, "scale", folder / "barred.tif", "--pixel-size-um", "0.5")
    assert got["summary"]["accepted"] is False
    assert any("check which holds" in warning for warning in got["warnings"])


@pytest.mark.parametrize(("arguments", "said"), [
    (("--label", "fifty"), "is not a length"),
    (("--label", "-200 nm"), "is not a length above 0"),
    (("--division-um", "10"), "no five lines at one pitch"),
    (("--certificate-relative-uncertainty", "2"), "not between 0 and 1"),
    (("--against", "plain.tif"), "has no scale"),
])  # fmt: skip
def test_what_cannot_be_used(folder, capsys, monkeypatch, arguments, said):
    monkeypatch.chdir(folder)
    assert main(["scale", "barred.tif", *arguments]) == 2
    assert said in capsys.readouterr().err


@pytest.mark.parametrize("option", [
    ("--label", "50 µm"), ("--crop", "crop.png"), ("--pixel-size-um", "0.5"),
], ids=str)  # fmt: skip
def test_options_that_contradict_each_other(folder, capsys, monkeypatch, option):
    monkeypatch.chdir(folder)
    assert main(["scale", "ruler.tif", "--division-um", "10", *option]) == 2
    said = capsys.readouterr().err
    assert option[0] in said
    assert "--division-um" in said
    assert not (folder / "crop.png").exists()


def test_settings_file(folder, tmp_path, capsys):
    settings = tmp_path / "settings.toml"
    settings.write_text("[scale]\ncertificate_relative_uncertainty = 0.003\n", encoding="utf-8")
    got = run_json(capsys, "scale", folder / "barred.tif", "--settings", settings)
    assert got["settings"]["certificate_relative_uncertainty"] == 0.003


def test_other_commands_take_the_scale_from_the_bar(folder, capsys):
    """And leave the bar out of the field."""
    got = run_json(capsys, "degraded", folder / "barred.tif")
    assert got["calibration"]["origin"] == "scale bar '50 µm'"
    assert "without the scale bar drawn on it" in got["summary"]["region_origin"]
    assert got["summary"]["region_area_px"] < 400 * 600 - 40 * 200
