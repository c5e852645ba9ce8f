"""The command struts, from file to JSON, mask and terminal."""

import json

import cv2
import numpy as np
import pytest
import tifffile

from surfscan.cli import main


def picture(path, rungs=(60, 150, 255), thin=0, rows=220, cols=330):
    """Dark rails and rungs on a light ground, 20 px wide."""
    grey = np.full((rows, cols), 200, np.uint8)
    for row in (40, 160):
        grey[row + thin : row + 20 - thin] = 40
    for col in rungs:
        grey[40:170, col + thin : col + 20 - thin] = 40
    grey = cv2.GaussianBlur(grey, (0, 0), 1.0)
    noise = np.random.default_rng(0).normal(0, 2, grey.shape)
    cv2.imwrite(str(path), np.clip(grey + noise, 0, 255).astype(np.uint8))
    return path


@pytest.fixture
def mesh(tmp_path):
    return picture(tmp_path / "mesh.png")


def run_json(capsys, *arguments):
    assert main([*map(str, arguments), "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_holds_the_contract(mesh, capsys):
    """Rows with the promised columns; px twins left out where the scale is known, positions kept."""
    got = run_json(
        capsys,
        "struts",
        mesh,
        "--pixel-size-um",
        "0.5",
        "--drawn-width-um",
        "12",
        "--drawn-thickness-um",
        "12",
    )
    strut, station = got["struts"][0], got["stations"][0]
    for name in ("strut", "length_um", "mean_width_um", "min_width_um", "p05_width_um", "width_sd_um"):
        assert name in strut
    for name in ("strut", "s_um", "row_px", "col_px", "width_um", "left_row_px"):
        assert name in station
    assert "min_row_px" in strut
    assert not {"mean_width_px", "mean_width_px_ci95_low"} & set(strut)
    summary = got["summary"]
    assert summary["mean_width_um"] == pytest.approx(10, abs=0.1)
    assert summary["mean_width_um_ci95"][0] < 10 < summary["mean_width_um_ci95"][1]
    assert summary["least_section_equal_loss_fraction"] < summary["least_section_fraction"] < 1
    assert got["settings"]["drawn_width_um"] == 12


def test_terminal_and_mask(mesh, tmp_path, capsys):
    """A readable summary; the mask numbers the struts."""
    out = tmp_path / "struts.tif"
    assert main(["struts", str(mesh), "--pixel-size-um", "0.5", "--mask", str(out)]) == 0
    shown = capsys.readouterr().out
    assert "struts" in shown.splitlines()[0]
    assert "mean width" in shown
    assert "µm" in shown
    labels = tifffile.imread(out)
    assert labels.shape == (220, 330)
    assert len(np.unique(labels)) > 5


def test_no_scale(mesh, capsys):
    """Widths in px, null in µm, and a warning."""
    got = run_json(capsys, "struts", mesh)
    assert got["summary"]["mean_width_um"] is None
    assert got["summary"]["mean_width_px"] == pytest.approx(20, abs=0.2)
    assert got["struts"][0]["mean_width_um"] is None
    assert any("No scale" in w for w in got["warnings"])


def test_before(tmp_path, mesh, capsys):
    """Loss against the picture before, with a rung missing, within stated limits."""
    after = picture(tmp_path / "after.png", rungs=(60, 255), thin=1)
    settings = tmp_path / "settings.toml"
    settings.write_text(
        "[struts]\nbefore_max_rotation_deg = 20\nbefore_max_shift_fraction = 0.08\n", encoding="utf-8"
    )
    got = run_json(
        capsys, "struts", after, "--pixel-size-um", "0.5", "--before", mesh, "--settings", settings
    )
    assert got["summary"]["missing_count"] == 1
    assert got["summary"]["loss_fraction"] == pytest.approx(0.1, abs=0.01)
    assert got["summary"]["loss_with_lost_fraction"] > 0.15
    assert [row["kind"] for row in got["strut_faults"]] == ["missing"]


def test_refusals(mesh, tmp_path, capsys):
    """A value out of range, a missing file before, a mask over the image: exit code 2 and what to do."""
    assert main(["struts", str(mesh), "--drawn-width-um", "-3"]) == 2
    assert "--drawn-width-um" in capsys.readouterr().err
    assert main(["struts", str(mesh), "--before", str(tmp_path / "none.png")]) == 2
    assert main(["struts", str(mesh), "--mask", str(mesh)]) == 2


def test_no_strut_is_said_plainly(tmp_path, capsys):
    """An even picture: no strut measured, and why."""
    path = tmp_path / "even.png"
    cv2.imwrite(str(path), np.full((100, 120), 90, np.uint8))
    assert main(["struts", str(path), "--pixel-size-um", "1"]) == 0
    shown = capsys.readouterr().out
    assert "no strut measured" in shown
    assert "warning" in shown


def test_thickness_from_a_height_map(mesh, tmp_path, capsys):
    """A strut of 12 µm on a stage, in a file of its own; a picture in its place is refused."""
    row = np.arange(120.0)[:, None] + np.zeros((120, 160))
    heights = np.where(np.abs(row - 60) < 25, 12.0, 0.0) + 0.01 * row
    heights += np.random.default_rng(0).normal(0, 0.05, heights.shape)
    path = tmp_path / "lying.tif"
    tifffile.imwrite(path, heights.astype(np.float32))
    scale = ("--pixel-size-um", "0.5", "--drawn-width-um", "12", "--drawn-thickness-um", "15")
    got = run_json(capsys, "struts", mesh, *scale, "--height-map", path)
    assert got["summary"]["thickness_um"] == pytest.approx(12, abs=0.05)
    assert got["summary"]["section_basis"] == "measured thickness"
    assert main(["struts", str(mesh), *scale, "--height-map", str(mesh)]) == 2
    assert "is a picture" in capsys.readouterr().err
    both = ["--height-map", str(path), "--side-view", str(mesh)]
    assert main(["struts", str(mesh), *scale, *both]) == 2
    assert "Give one of the two" in capsys.readouterr().err
