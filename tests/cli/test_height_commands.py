"""The command texture, from file to JSON and terminal."""

import json

import numpy as np
import pytest
import tifffile

from surfscan.cli import main
from surfscan.columns import TEXTURE_PARAMETERS


@pytest.fixture
def plate(tmp_path):
    """Grooves of 8 µm along the columns, one gap."""
    x = np.arange(200) * 0.5
    rough = 0.05 * np.random.default_rng(1).standard_normal((150, 200))
    heights = (np.sin(2 * np.pi * x / 8) + rough).astype(np.float32)
    heights[70, 80] = np.nan
    path = tmp_path / "plate.npy"
    np.save(path, heights)
    return path


def run_json(capsys, *arguments):
    assert main([*map(str, arguments), "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_holds_the_parameters(plate, capsys):
    got = run_json(capsys, "texture", plate, "--pixel-size-um", "0.5")
    assert list(got["parameters"]) == [c.name for c in TEXTURE_PARAMETERS]
    assert got["parameters"]["Sq_um"] == pytest.approx(0.71, abs=0.02)
    assert abs(got["parameters"]["Std_deg"]) == pytest.approx(90, abs=1)
    assert got["summary"]["surface"] == "S-F"
    assert "Sq_um" not in got["summary"]


def test_terminal(plate, capsys):
    assert main(["texture", str(plate), "--pixel-size-um", "0.5"]) == 0
    shown = capsys.readouterr().out
    assert "areal texture of the S-F surface" in shown
    assert "Sq" in shown
    assert "µm" in shown


def test_settings_and_region(plate, tmp_path, capsys):
    settings = tmp_path / "settings.toml"
    settings.write_text("[texture]\nl_cutoff_um = 40.0\nform = 'plane'\n", encoding="utf-8")
    region = np.zeros((150, 200), np.uint8)
    region[:, :100] = 1
    tifffile.imwrite(tmp_path / "region.tif", region)
    got = run_json(
        capsys, "texture", plate, "--pixel-size-um", "0.5", "--settings", settings,
        "--region", tmp_path / "region.tif",
    )  # fmt: skip
    assert got["summary"]["surface"] == "S-L"
    assert got["summary"]["region_area_px"] == 15000


def test_height_unit(plate, capsys):
    um = run_json(capsys, "texture", plate, "--pixel-size-um", "0.5")["parameters"]
    nm = run_json(capsys, "texture", plate, "--pixel-size-um", "0.5", "--height-unit", "nm")["parameters"]
    assert nm["Sq_um"] == pytest.approx(um["Sq_um"] / 1000, rel=1e-5)


def test_a_picture_is_refused(tmp_path, capsys):
    tifffile.imwrite(tmp_path / "picture.tif", np.arange(10000, dtype=np.uint8).reshape(100, 100))
    assert main(["texture", str(tmp_path / "picture.tif")]) == 2
    assert "measures height maps" in capsys.readouterr().err
