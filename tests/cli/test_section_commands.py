"""The command section, from file to JSON, mask and terminal."""

import json

import numpy as np
import pytest
import tifffile

from surfscan.cli import main

SHAPE = (220, 260)


@pytest.fixture(scope="module")
def files(tmp_path_factory, draw_section):
    folder = tmp_path_factory.mktemp("section")
    body, core = ("rectangle", 130, 110, 132, 100, 110), ("rectangle", 130, 110, 100, 70, 210)
    pictures = {
        "after": draw_section(SHAPE, [body, core]),
        "before": draw_section(SHAPE, [("rectangle", 130, 110, 120, 90, 210)]),
        "bare": np.full(SHAPE, 80, np.uint8),
    }
    for name, grey in pictures.items():
        tifffile.imwrite(folder / f"{name}.tif", grey)
    return folder


def run_json(capsys, *arguments):
    assert main([*map(str, arguments), "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)


def test_json_and_mask(files, tmp_path, capsys):
    mask = tmp_path / "classes.tif"
    got = run_json(
        capsys, "section", files / "after.tif", "--mask", mask, "--pixel-size-um", "0.5",
        "--drawn-width-um", "60", "--drawn-thickness-um", "45",
    )  # fmt: skip
    summary = got["summary"]
    assert summary["remaining_fraction"] == pytest.approx(70 / 108, abs=0.005)
    assert summary["original_outline"] == "drawn size"
    assert summary["metal_area_um2"] == pytest.approx(1750, rel=0.006)
    assert got["profiles"][0]["profile"] == 1
    assert "mean_penetration_px" not in got["profiles"][0]
    assert {"s_um", "row_px", "col_px", "penetration_um", "metal_row_px"} <= set(got["outline"][0])
    assert got["thickness"] == []
    assert set(np.unique(tifffile.imread(mask))) >= {0, 1, 2}


def test_before_and_twin(files, capsys):
    for option in ("--before", "--twin"):
        got = run_json(
            capsys, "section", files / "after.tif", option, files / "before.tif", "--pixel-size-um", "1"
        )
        assert got["summary"]["original_outline"] == option[2:]
        assert got["summary"]["remaining_fraction"] == pytest.approx(70 / 108, abs=0.006)


def test_terminal(files, capsys):
    assert (
        main(["section", str(files / "after.tif"), "--pixel-size-um", "0.5", "--drawn-width-um", "60"]) == 0
    )
    text = capsys.readouterr().out
    assert "remaining section" in text.splitlines()[0]
    assert "mean penetration" in text
    assert "drawn size" in text


def test_no_section_in_the_terminal(files, capsys):
    assert main(["section", str(files / "bare.tif")]) == 0
    assert "no section found" in capsys.readouterr().out.splitlines()[0]


def test_values_out_of_range_are_refused_by_name(files, capsys):
    assert main(["section", str(files / "after.tif"), "--cut-angle-deg", "80"]) == 2
    assert "--cut-angle-deg" in capsys.readouterr().err


def test_a_stated_area(files, capsys):
    got = run_json(
        capsys, "section", files / "after.tif", "--pixel-size-um", "0.5", "--original-area-um2", "2700"
    )
    assert got["summary"]["original_outline"] == "stated area"
    assert got["summary"]["remaining_fraction"] == pytest.approx(70 / 108, abs=0.006)
    assert got["outline"] == []
