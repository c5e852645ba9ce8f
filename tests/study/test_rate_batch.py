"""The batch on sweeps, weighings, gas and logs: once each, again where something decisive changed."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from surfscan.store.results import ResultsStore
from surfscan.study.batch import measure_study

ALL = ["rates/log.csv", "rates/sweep.csv", "rates/gas.csv", "weighing of P1"]


def test_measures_every_entry_and_then_skips_it(rate_study: Path) -> None:
    told = []
    first = measure_study(rate_study, workers=1, progress=lambda *step: told.append(step[0:2]))
    assert (first.done, first.failed, told[-1]) == (ALL, [], (4, 4))
    stored = {(r.image_id, r.procedure): r for r in ResultsStore(rate_study).all()}
    assert set(stored) == {
        ("rates/log.csv", "exposure"),
        ("rates/sweep.csv", "sweep"),
        ("rates/gas.csv", "gas"),
        ("weighing of P1", "mass_loss"),
    }
    assert stored["rates/sweep.csv", "sweep"].specimen == "E1"
    assert str(rate_study) not in (rate_study / "results.sqlite").read_bytes().decode("latin-1")
    assert measure_study(rate_study, workers=1).skipped == ALL


def test_workers_give_what_one_process_gives(rate_study: Path) -> None:
    measure_study(rate_study, workers=1)
    alone = {r.image_id: (r.summary, r.warnings) for r in ResultsStore(rate_study).all()}
    (rate_study / "results.sqlite").unlink()
    assert sorted(measure_study(rate_study, workers=2).done) == sorted(ALL)
    assert {r.image_id: (r.summary, r.warnings) for r in ResultsStore(rate_study).all()} == alone


def test_a_longer_log_changes_what_was_weighed(
    rate_study: Path, write_log: Callable[[Path, int], None]
) -> None:
    measure_study(rate_study, workers=1)
    write_log(rate_study / "rates/log.csv", 44)
    outcome = measure_study(rate_study, workers=1)
    assert outcome.done == ["rates/log.csv", "weighing of P1"]
    [weighed] = [r for r in ResultsStore(rate_study).all() if r.procedure == "mass_loss"]
    assert weighed.summary["hours"] == 44.0


def test_goes_on_past_what_fails(rate_study: Path) -> None:
    (rate_study / "rates/log.csv").unlink()
    (rate_study / "rates/sweep.csv").write_text("no sweep\n")
    outcome = measure_study(rate_study, workers=1)
    assert outcome.done == ["rates/gas.csv", "weighing of P1"]
    failed = dict(outcome.failed)
    assert failed["rates/log.csv"].startswith("the rig log log.csv is missing")
    assert str(rate_study) not in failed["rates/sweep.csv"]
    stored = {r.procedure: r for r in ResultsStore(rate_study).all()}
    assert stored["exposure"].status == "failed" and stored["exposure"].specimen == "P1"
    assert any("gave no hours" in text for text in stored["mass_loss"].warnings)


def test_results_move_with_their_specimen(rate_study: Path) -> None:
    measure_study(rate_study, workers=1)
    text = (rate_study / "study.toml").read_text()
    area = 'specimen = "E1"\nreference'
    twin = text.replace('id = "E1"', 'id = "E2"').replace(area, 'specimen = "E2"\nreference')
    (rate_study / "study.toml").write_text(twin)
    outcome = measure_study(rate_study, workers=1)
    assert outcome.done == ["rates/sweep.csv"]  # its summary names the specimen
    assert {r.specimen for r in ResultsStore(rate_study).all() if r.procedure == "sweep"} == {"E2"}
