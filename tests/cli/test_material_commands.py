"""The command `material`: every value with source and status."""

import json

from surfscan.cli import main
from surfscan.materials.catalogue import materials


def test_text(capsys):
    assert main(["material", "s31603"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("316 (316L, S31600")
    assert "density: 7.98 g/cm³ (ASTM G1-03 (R2017), Table X1.1; from memory)" in said
    assert "Fe 68.5 %, Cr 17 %, Ni 12 %, Mo 2.5 %" in said
    assert "25.503 g/mol at Fe2 Cr3 Ni2 Mo3 (computed; printed 25.5 (from memory), +0.01 %)" in said
    assert said.count("with other valences") == 3
    assert "local codes" in said


def test_every_metal_can_be_shown(capsys):
    for each in materials():
        assert main(["material", each.name]) == 0
        said = capsys.readouterr().out
        assert "density: not known" in said or "from memory" in said or "secondary" in said


def test_range_and_other_sources(capsys):
    assert main(["material", "Ti"]) == 0
    said = capsys.readouterr().out
    assert "4.51 g/cm³, 4.51 to 4.54" in said and "elsewhere: 4.54" in said
    assert "older atomic weight" in said


def test_list(capsys):
    assert main(["material"]) == 0
    listed = capsys.readouterr().out.splitlines()
    assert len(listed) == len(materials())
    assert "WE43 (WE43B, M18430)" in listed


def test_json(capsys):
    assert main(["material", "Mg", "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["equivalent_weights"][0]["printed"]["value"] == 12.15
    assert found["cleaning_solutions"][0]["has_chromium_vi"]
    assert main(["material", "--json", "-"]) == 0
    assert len(json.loads(capsys.readouterr().out)) == len(materials())


def test_unknown(capsys):
    assert main(["material", "WE44"]) == 2
    assert "Near it are WE43" in capsys.readouterr().err
