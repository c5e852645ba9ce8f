"""Whether an entry was measured: everything that decides its result is in its fingerprint, and only that."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.store.results import StoredResult
from surfscan.study.conditions import LogHours
from surfscan.study.manifest import load_study
from surfscan.study.rate_entries import PROCEDURE_OF
from surfscan.study.rate_tasks import FUNCTIONS, KINDS, RateTask, log_hours, plan_rate, settings_of

HOURS = {"rates/log.csv": LogHours(40.0, "exposure valid")}


def _plans(folder: Path, hours: dict[str, LogHours] = HOURS) -> dict[str, RateTask]:
    study = load_study(folder)
    return {PROCEDURE_OF[type(e)]: plan_rate(study, e, hours) for e in study.rate_entries}


def _marks(folder: Path, hours: dict[str, LogHours] = HOURS) -> dict[str, str]:
    return {procedure: task.jobs[0].fingerprint for procedure, task in _plans(folder, hours).items()}


def test_every_procedure_has_a_function(rate_study: Path) -> None:
    plans = _plans(rate_study)
    assert set(FUNCTIONS) == set(KINDS) == set(plans) == {"sweep", "mass_loss", "gas", "exposure"}
    assert {p: (t.entry_id, t.specimen) for p, t in plans.items()} == {
        "sweep": ("rates/sweep.csv", "E1"),
        "mass_loss": ("weighing of P1", "P1"),
        "gas": ("rates/gas.csv", "P1"),
        "exposure": ("rates/log.csv", "P1"),
    }


@pytest.mark.parametrize(
    ("old", "new", "changed"),
    [
        ("before_g = 1.2", "before_g = 1.3", {"mass_loss"}),
        ("length_mm = [20, 0.05]", "length_mm = [21, 0.05]", {"mass_loss", "gas", "exposure"}),
        ("surface_area_mm2 = 100", "surface_area_mm2 = 110", {"sweep"}),
        ("Mg = 95.9", "Mg = 95.8", {"sweep", "mass_loss", "gas", "exposure"}),
        ('reference = "SCE"', 'reference = "SHE"', {"sweep"}),
        ('twin_of = "P1"', 'note = "x"', set()),
        ("temperature_degC = 25", "temperature_degC = 26", {"gas"}),
        ("temperature_degC = 37", "temperature_degC = 36", {"exposure"}),
        ("acid_mol_per_L = 0.1", "acid_mol_per_L = 0.2", {"exposure"}),
        ("acid_mol_per_L = 0.1", "acid_mol_per_L = 0.1\nstop = 30", {"exposure"}),
        ("read_after = 0.1", "read_after = 0.2", {"exposure", "mass_loss"}),
        ("[[material]]", "[settings.immersion]\ngas_is_wet = false\n[[material]]",
         {"gas", "mass_loss", "exposure"}),
        ("[[material]]", "[settings.sweep]\nscan = 1\n[[material]]", {"sweep"}),
        ("[[gas]]", "[[gas]]\ndry = true", {"gas"}),
        ("[[weighing]]", "[[weighing]]\nbalance_uncertainty_mg = 0.2", {"mass_loss"}),
        ("[[weighing]]", "[[weighing]]\nhours = 40", {"mass_loss"}),
        ('title = "Rates"', 'title = "Others"', set()),
    ],
)  # fmt: skip
def test_what_decides(rate_study: Path, old: str, new: str, changed: set[str]) -> None:
    before = _marks(rate_study)
    text = (rate_study / "study.toml").read_text()
    assert text.count(old) == 1
    (rate_study / "study.toml").write_text(text.replace(old, new))
    after = _marks(rate_study)
    assert {name for name in before if before[name] != after[name]} == changed


def test_content_and_hours_decide(rate_study: Path) -> None:
    before = _marks(rate_study)
    assert _marks(rate_study) == before
    with (rate_study / "rates/gas.csv").open("a") as file:
        file.write("50;7\n")
    after = _marks(rate_study, {"rates/log.csv": LogHours(41.0, "exposure valid")})
    assert {name for name in before if before[name] != after[name]} == {"gas", "mass_loss"}
    invalid = _marks(rate_study, {"rates/log.csv": LogHours(41.0, "exposure not valid")})
    assert {name for name in after if after[name] != invalid[name]} == {"mass_loss"}


def test_a_missing_file_is_named(rate_study: Path) -> None:
    (rate_study / "rates/log.csv").unlink()
    study = load_study(rate_study)
    with pytest.raises(InputError, match=r"the rig log log\.csv is missing"):
        plan_rate(study, study.logs[0], {})


def test_settings_of_each(rate_study: Path) -> None:
    study = load_study(rate_study)
    settings = settings_of(study, study.logs[0])
    assert (settings.temperature_degC, settings.acid_mol_per_L) == (37.0, 0.1)
    assert settings_of(study, study.gas[0].model_copy(update={"dry": True})).gas_is_wet is False
    assert settings_of(study, study.weighings[0]) == study.settings.immersion


def test_hours_of_logs_that_succeeded(rate_study: Path) -> None:
    study = load_study(rate_study)
    key = ("rates/log.csv", "exposure")
    summary = {"immersed_h": 40.0, "verdict": "exposure valid"}
    done = StoredResult(*(key[0], "P1", key[1], "f", "done"), summary=summary)
    assert log_hours(study, {key: done}) == HOURS
    assert log_hours(study, {key: StoredResult(key[0], "P1", key[1], "f", "failed", "why")}) == {}
    assert log_hours(study, {}) == {}
