"""Entries measured as the study states them: figures of the rooms, sources and words of the study."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.procedures.result import Result
from surfscan.study import rate_measures
from surfscan.study.conditions import LogHours
from surfscan.study.manifest import load_study
from surfscan.study.rate_tasks import RateTask, plan_rate

HOURS = {"rates/log.csv": LogHours(40.0, "exposure valid")}
Measure = Callable[[RateTask], Result]


def _task(folder: Path, table: str, *changes: tuple[str, str]) -> RateTask:
    text = (folder / "study.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    study = load_study(folder)
    return plan_rate(study, getattr(study, table)[0], HOURS)


def test_sweep(rate_study: Path) -> None:
    result = rate_measures.measure_sweep_entry(_task(rate_study, "sweeps"))
    assert (result.procedure, result.source.path) == ("sweep", "rates/sweep.csv")
    assert result.summary["icorr_uA_per_cm2"] == pytest.approx(10, rel=0.05)
    assert result.summary["specimens"] == ["E1"]
    assert result.summary["reference"] == "SCE" and result.summary["area_from"] == "surface_area_mm2 of E1"
    assert result.summary["material"]["composition"]["Mg"]["source"] == "invented"


def test_weighing_with_the_hours_of_the_log(rate_study: Path) -> None:
    result = rate_measures.measure_weighing(_task(rate_study, "weighings"))
    assert (result.procedure, result.source.path) == ("mass_loss", "weighing of P1")
    # 9.9 mg over 5.2 cm² and 40 h
    assert result.summary["rate_g_per_m2_d"] == pytest.approx(9.9e-3 / 5.2e-4 / (40 / 24))
    assert result.summary["hours_from"].startswith("immersed hours of the log")
    assert result.settings["balance_uncertainty_mg"] == pytest.approx((0.1**2 + 0.1**2 / 12) ** 0.5)
    unsaid = _task(rate_study, "weighings", ('cleaning = "chromic acid, 1 min each"\n', ""))
    assert "How the specimen was cleaned is not stated." in rate_measures.measure_weighing(unsaid).warnings


def test_gas_from_a_file_and_from_lists(rate_study: Path) -> None:
    filed = rate_measures.measure_gas(_task(rate_study, "gas"))
    assert (filed.procedure, filed.source.path) == ("gas", "rates/gas.csv")
    assert filed.summary["columns_read"] == {"hours": "Hours in Hours", "volume": "Volume (mL) in mL"}
    assert len(filed.tables["immersion_rates"]["method"]) == 3
    listed = ('file = "rates/gas.csv"', "hours = [0, 20, 48]\nvolume_mL = [0, 2.5, 6.5]\nsolution_mL = 500")
    stated = rate_measures.measure_gas(_task(rate_study, "gas", listed))
    assert stated.source.path == "gas of P1"
    assert stated.summary["rate_mm_per_y"] == filed.summary["rate_mm_per_y"]
    assert stated.summary["solution"]["verdict"] == "preferred"


def test_log(rate_study: Path) -> None:
    result = rate_measures.measure_log(_task(rate_study, "logs"))
    assert (result.procedure, result.source.path) == ("exposure", "rates/log.csv")
    assert result.summary["immersed_h"] == pytest.approx(40)
    assert result.summary["specimens"] == ["P1"] and result.summary["area_from"] == "surface of P1"
    # 4.8 mL of 0.1 mol/L bind half as many moles of a metal of valence 2
    metal = result.summary["acid_balance"]["metal_mg"]
    weight = _task(rate_study, "logs").conditions.known_material().known_equivalent_weight().value
    assert metal == pytest.approx(0.48 * weight)
    later = rate_measures.measure_log(_task(rate_study, "logs", ("acid_mol", "start = 10\nacid_mol")))
    assert later.summary["immersed_h"] == pytest.approx(30)


@pytest.mark.parametrize(
    ("table", "measure", "change", "said"),
    [
        (
            "weighings",
            rate_measures.measure_weighing,
            ("wetted_surface", "# "),
            "wetted surface is not known",
        ),
        (
            "gas",
            rate_measures.measure_gas,
            ("temperature_degC = 25", "temperature_degC = 200"),
            "0 to 100 °C",
        ),
        ("gas", rate_measures.measure_gas, ('material = "AZ31"\nwetted', "wetted"), "material of P1 is not"),
    ],
)
def test_what_is_missing_or_cannot_be(
    rate_study: Path, table: str, measure: Measure, change: tuple[str, str], said: str
) -> None:
    with pytest.raises(InputError, match=said):
        measure(_task(rate_study, table, change))


@pytest.mark.parametrize(
    ("table", "measure", "file"),
    [
        ("sweeps", rate_measures.measure_sweep_entry, "sweep.csv"),
        ("gas", rate_measures.measure_gas, "gas.csv"),
        ("logs", rate_measures.measure_log, "log.csv"),
    ],
)
def test_a_file_that_changes_meanwhile(rate_study: Path, table: str, measure: Measure, file: str) -> None:
    task = _task(rate_study, table)
    path = rate_study / "rates" / file
    path.write_bytes(path.read_bytes() + b"\n")
    with pytest.raises(InputError, match="changed while it was being measured"):
        measure(task)
