"""The command sweep: what it prints, writes and refuses."""

import json

import numpy as np
import pytest

from surfscan.cli import main
from surfscan.electrochemistry.mixed_control import MixedControl, current_density_uA_per_cm2

POTENTIAL = -0.5 + np.arange(-0.2, 0.2003, 0.002)
CURRENT = 2e-6 * current_density_uA_per_cm2(POTENTIAL, MixedControl(-0.5, 10.0, 0.08, 0.12, 0.1))
TOLD = ["--area-cm2", "2", "--area-relative-uncertainty", "0.02", "--material", "316"]


@pytest.fixture
def file(tmp_path):
    path = tmp_path / "sweep.csv"
    rows = [f"{e:.7g},{i:.7g}" for e, i in zip(POTENTIAL, CURRENT, strict=True)]
    path.write_text("\n".join(["Potential (V vs SCE),Current (A)", *rows]) + "\n", encoding="utf-8")
    return path


def test_json(file, tmp_path, capsys):
    assert main(["sweep", str(file), *TOLD, "--json", "-"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    fit = found["fit"]
    assert fit["Ecorr_V"] == pytest.approx(-0.5, abs=1e-3)
    assert fit["icorr_uA_per_cm2_ci95"][0] < fit["icorr_uA_per_cm2"] < fit["icorr_uA_per_cm2_ci95"][1]
    assert fit["anodic_slope_mV_per_decade"] == pytest.approx(80, rel=0.02)
    assert fit["cathodic_slope_mV_per_decade"] == pytest.approx(120, rel=0.05)
    assert fit["method"] == "fit of both branches"
    assert found["polarization_resistance_ohm_cm2"] > 0
    assert found["rate_mm_per_y_ci95"][0] < found["rate_mm_per_y"]
    assert found["cyclic"] is None
    assert found["procedure"] == "sweep"
    assert len(found["source"]["sha256"]) == 64
    assert found["summary"]["material"]["density_g_per_cm3"]["status"]
    assert len(found["sweep"]) == POTENTIAL.size
    assert {"sweep_runs", "sweep_windows", "sweep_methods", "settings"} <= set(found)
    assert shown.err.count("warning: ") == len(found["warnings"])
    out = tmp_path / "out.json"
    assert main(["sweep", str(file), *TOLD, "--json", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == shown.out


def test_text(file, capsys):
    assert main(["sweep", str(file), *TOLD]) == 0
    said = capsys.readouterr().out
    assert "corrosion current 10.0" in said or "corrosion current 9.9" in said
    assert "V vs SCE" in said
    assert "mm/y" in said


def test_columns_and_units_can_be_stated(file, capsys):
    """Headings that lie: the columns are swapped, and the current is in mA."""
    rows = [f"{1000 * i:.7g};{e:.7g}" for e, i in zip(POTENTIAL, CURRENT, strict=True)]
    file.write_text("\n".join(["Potential (V);Current (A)", *rows]) + "\n", encoding="utf-8")
    assert main(["sweep", str(file), *TOLD]) == 2
    assert "swapped" in capsys.readouterr().err
    stated = [
        "--column",
        "potential=2",
        "--column",
        "current=1",
        "--unit",
        "current=mA",
        "--unit",
        "potential=V",
    ]
    assert main(["sweep", str(file), *TOLD, *stated, "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["fit"]["icorr_uA_per_cm2"] == pytest.approx(10, rel=0.02)
    assert main(["sweep", str(file), "--column", "potential"]) == 2


def test_settings_file(file, tmp_path, capsys):
    chosen = tmp_path / "chosen.toml"
    chosen.write_text("[sweep]\nfit_least_reach_V = 0.5\ntafel_least_decades = 5\n", encoding="utf-8")
    assert main(["sweep", str(file), *TOLD, "--settings", str(chosen), "--json", "-"]) == 0
    found = json.loads(capsys.readouterr().out)
    assert found["fit"]["method"] == "Stern-Geary with assumed B"
    assert found["settings"]["fit_least_reach_V"] == 0.5
    chosen.write_text("[sweep]\nfit_reach = 0.5\n", encoding="utf-8")
    assert main(["sweep", str(file), "--settings", str(chosen)]) == 2
    assert "fit_reach" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("text", "options", "said"),
    [
        ("", [], "empty"),
        ("E (V),I (A)\n" + "".join(f"{k / 100},1e-6\n" for k in range(50)), [], "the same at every point"),
        (None, ["--area-cm2", "0"], "an area of 0 cm² cannot be"),
        (None, ["--material", "unobtainium"], "unobtainium"),
        (None, ["--to-reference", "tin can"], "tin can"),
    ],
    ids=["empty", "constant", "area", "material", "reference"],
)
def test_bad_input_is_told_without_traceback(file, capsys, text, options, said):
    if text is not None:
        file.write_text(text, encoding="utf-8")
    assert main(["sweep", str(file), *options]) == 2
    shown = capsys.readouterr()
    assert said in shown.err
    assert "Traceback" not in shown.err
    assert shown.out == ""


def test_missing_area_is_told(file, capsys):
    assert main(["sweep", str(file)]) == 0
    said = capsys.readouterr().out
    assert "corrosion current 20.0" in said or "corrosion current 19.9" in said
    assert "The area is not stated" in said


def test_output_does_not_replace_the_sweep(file, capsys):
    assert main(["sweep", str(file), "--json", str(file)]) == 2
    assert "overwrite" in capsys.readouterr().err
