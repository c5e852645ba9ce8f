"""The commands mass-loss, gas and acid: what they print, write and refuse."""

import json

import pytest

from surfscan.cli import main

WEIGHED = ["mass-loss", "--before-g", "5", "--cleaned-g", "4.910,4.897,4.896,4.895,4.894"]
WEIGHED += ["--hours", "720", "--area-cm2", "20", "--material", "Mg"]
GAS = ["gas", "--hours", "24,48", "--volume-ml", "10,18", "--temperature-degc", "37"]
GAS += ["--area-cm2", "10", "--material", "WE43"]
ACID = ["acid", "--hours", "24,48", "--volume-ml", "5,8", "--mol-per-l", "0.1", "--area-cm2", "10"]
ACID += ["--material", "Zn"]


@pytest.mark.parametrize("arguments", [WEIGHED, GAS, ACID], ids=["mass-loss", "gas", "acid"])
def test_json(arguments, tmp_path, capsys):
    """Strict JSON with the keys of the others; nothing else on standard output; warnings beside it."""
    assert main([*arguments, "--json", "-"]) == 0
    shown = capsys.readouterr()
    found = json.loads(shown.out)
    assert {
        "procedure",
        "inputs",
        "material",
        "settings",
        "warnings",
        "summary",
        "details",
        "version",
    } <= set(found)
    summary = found["summary"]
    low, high = summary["rate_mm_per_y_ci95"]
    assert low < summary["rate_mm_per_y"] < high
    assert found["material"]["density_g_per_cm3"]["status"] == "from memory"
    assert found["inputs"]["area_cm2"] in (10, 20)
    assert shown.err.count("warning: ") == len(found["warnings"]) > 0
    out = tmp_path / "out.json"
    assert main([*arguments, "--json", str(out)]) == 0
    assert out.read_text(encoding="utf-8") == shown.out


def test_mass_loss_text(capsys):
    assert main(WEIGHED) == 0
    said = capsys.readouterr().out
    assert "mass loss of Mg: 0.353 mm/y" in said or "mass loss of Mg: 0.3534 mm/y" in said
    assert "1.74 g/cm³ (ASTM G1-03 (R2017), Table X1.1; from memory)" in said
    assert "cycles 2 to 5 on the line, 1 mg of metal each; 1 before still removed product" in said
    assert "local codes" in said


def test_masses_keep_all_digits(capsys):
    """0.01 mg on 123 g takes eight digits."""
    masses = "123.45678,123.45578,123.45478"
    given = ["mass-loss", "--before-g", "123.51678", "--cleaned-g", masses, *WEIGHED[5:]]
    assert main([*given, "--json", "-"]) == 0
    assert json.loads(capsys.readouterr().out)["inputs"]["cleaned_g"] == [123.45678, 123.45578, 123.45478]


def test_refused_rate_is_null_with_a_reason(capsys):
    """One cleaning and no blank: no number, and why; the command itself succeeds."""
    given = ["mass-loss", "--before-g", "5", "--cleaned-g", "4.9", *WEIGHED[5:]]
    assert main(given) == 0
    assert (
        "no rate" in (said := capsys.readouterr().out) and "refused: One cleaning cycle and no blank" in said
    )
    assert main([*given, "--json", "-"]) == 0
    summary = json.loads(capsys.readouterr().out)["summary"]
    assert summary["rate_mm_per_y"] is None and "no blank" in summary["refused"]
    assert main([*given, "--blank-g", "3,2.9999"]) == 0
    assert "99.9 mg, blank subtracted" in capsys.readouterr().out


def test_gas_text(capsys):
    assert main(GAS) == 0
    said = capsys.readouterr().out
    assert "gas of WE43: " in said and "reads low" in said
    assert "0 to 24 h" in said and "24 to 48 h" in said
    assert "12.739 g/mol (ASTM G102 Eq 4 with valences Mg2 Y3 Nd3" in said


def test_gas_options_are_passed_on(capsys):
    rates = []
    for more in ([], ["--dry"], ["--pressure-kpa", "90"], ["--blank-ml", "2"], ["--column-cm", "30"]):
        assert main([*GAS, *more, "--json", "-"]) == 0
        rates.append(json.loads(capsys.readouterr().out)["summary"]["rate_mm_per_y"])
    assert rates[1] > rates[0] > max(rates[2:])
    assert len(set(rates)) == 5


def test_metals_that_do_not_tell(capsys):
    assert main([*GAS[:-1], "Zn"]) == 0
    assert "no rate" in (said := capsys.readouterr().out) and "oxidised by oxygen" in said
    assert main([*GAS[:-1], "Zn", "--hydrogen-only"]) == 0
    assert "stated, not checked" in capsys.readouterr().out
    assert main([*ACID[:-1], "Fe"]) == 0
    assert "Fe(OH)3" in capsys.readouterr().out


def test_acid_options_are_passed_on(capsys):
    assert main([*ACID, "--no-precipitate", "--bicarbonate", "--protons", "2", "--blank-ml", "1,1"]) == 0
    said = capsys.readouterr().out
    assert "reads high" in said and "bicarbonate that loses" in said
    assert "No blank" not in said


def test_stated_density_and_area(capsys):
    given = [*ACID, "--density-g-per-cm3", "7.0", "--area-uncertainty-percent", "3", "--solution-ml", "100"]
    assert main(given) == 0
    said = capsys.readouterr().out
    assert "7 g/cm³ (--density-g-per-cm3; stated by the user)" in said
    assert "area 3 %" in said and "leaves it out" not in said
    assert "10 mL for each cm²" in said


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ([*WEIGHED[:3], "--cleaned-g", "4,x", *WEIGHED[5:]], "not a list of numbers"),
        ([*WEIGHED[:-1], "Mgg"], "'Mgg' is not known. Near it are Mg"),
        ([*WEIGHED, "--balance-uncertainty-mg", "0"], "balance_uncertainty_mg"),
        ([*WEIGHED, "--area-cm2", "0"], "area_cm2 must be above 0"),
        ([*WEIGHED, "--area-uncertainty-percent", "-1"], "--area-uncertainty-percent is -1"),
        ([*WEIGHED, "--solution-ml", "0"], "volume_mL must be above 0"),
        ([*WEIGHED, "--density-g-per-cm3", "0"], "density_g_per_cm3 is 0"),
        ([*GAS, "--temperature-degc", "310"], "0 to 100 °C"),
        ([*GAS, "--pressure-kpa", "1013"], "50 to 120 kPa"),
        ([*GAS, "--hours", "24,24"], "rise from reading to reading"),
        ([*ACID, "--mol-per-l", "0"], "above 0 and below 20"),
    ],
)
def test_bad_input_is_named(arguments, said, capsys):
    assert main(arguments) == 2
    shown = capsys.readouterr()
    assert said in shown.err and "Traceback" not in shown.err
    assert shown.out == ""
