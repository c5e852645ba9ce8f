"""The command `area`: shapes, what each needs, and what it hands over."""

import json

import pytest

from surfscan.cli import main

PLATE = ["area", "plate", "--length-mm", "20", "--width-mm", "10", "--thickness-mm", "2"]
TUBE = ["area", "tube", "--length-mm", "15", "--outer-diameter-mm", "2"]
MESH = ["area", "mesh", "--length-mm", "3", "--width-mm", "2", "--thickness-mm", "0.25", "--long-struts", "3"]
MESH += ["--cross-struts", "3", "--long-strut-width-mm", "0.15", "--cross-strut-width-mm", "0.2"]


def _area_cm2(arguments, capsys):
    assert main([*arguments, "--json", "-"]) == 0
    return json.loads(capsys.readouterr().out)["area_cm2"]


def test_shapes(capsys):
    """Plate 520 mm², rod pi (30 + 2) mm²; the mesh is that of the counted voxels of the unit tests."""
    assert _area_cm2(PLATE, capsys) == pytest.approx(5.2)
    assert _area_cm2(TUBE, capsys) == pytest.approx(1.005310, abs=1e-6)
    top = 3 * 0.15 * 3 + 3 * 0.2 * 2 - 9 * 0.15 * 0.2
    walls = 6 * (3 - 0.6) + 6 * (2 - 0.45) + 6 * (0.15 + 0.2)
    assert _area_cm2(MESH, capsys) == pytest.approx((2 * top + 0.25 * walls) / 100, abs=1e-7)


def test_options_are_passed_on(capsys):
    plain = _area_cm2(PLATE, capsys)
    assert _area_cm2([*PLATE, "--hole", "3x2", "--hole", "1x4"], capsys) == pytest.approx(
        plain + 0.01 * 3.14159265 * (2 * (6 - 4.5) + 4 * (2 - 0.5))
    )
    assert _area_cm2([*PLATE, "--dry-bottom"], capsys) == pytest.approx(plain - 2)
    assert _area_cm2([*PLATE, "--masked-mm2", "20"], capsys) == pytest.approx(plain - 0.2)
    bored = [*TUBE, "--inner-diameter-mm", "1.6"]
    assert _area_cm2(bored, capsys) > _area_cm2([*bored, "--dry-bore"], capsys)
    assert _area_cm2(TUBE, capsys) > _area_cm2([*TUBE, "--wet-ends", "0"], capsys)


def test_text_and_uncertainty(capsys):
    """Each dimension 0.05 mm by itself, and 1 % of scale: 2 % of area."""
    assert main([*PLATE, "--tool-scale-percent", "1"]) == 0
    said = capsys.readouterr().out
    assert "plate: 5.2 cm², standard uncertainty 2 %" in said
    assert "top 200, bottom 200, sides 80, ends 40" in said and "tool's scale 10.4" in said
    assert main([*PLATE, "--uncertainty-mm", "0.05", "--tool-offset-mm", "0.02"]) == 0
    said = capsys.readouterr().out
    assert "thickness 3" in said and "tool's offset" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (PLATE[:-2], "a plate needs --thickness-mm"),
        (MESH[:-2], "a mesh needs --cross-strut-width-mm"),
        ([*PLATE, "--wet-ends", "1"], "a plate does not have --wet-ends"),
        ([*TUBE, "--hole", "1"], "a tube does not have --hole"),
        ([*TUBE, "--inner-diameter-mm", "2"], "below the outer"),
        ([*PLATE, "--hole", "wide"], "not a diameter in mm"),
        ([*PLATE, "--length-mm", "0"], "length must be above 0"),
        (["area", "ball", "--length-mm", "1"], "ball"),
    ],
)
def test_bad_input_is_named(arguments, said, capsys):
    assert main(arguments) == 2
    assert said in capsys.readouterr().err
