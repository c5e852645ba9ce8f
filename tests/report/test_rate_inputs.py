"""Which results of rates are behind the study, and what files they rest on."""

import shutil

from surfscan.report.rate_inputs import rate_input_rows, stale_rates
from surfscan.report.rate_records import gather_rates
from surfscan.store.results import ResultsStore
from surfscan.study.manifest import load_study


def stale(folder):
    study = load_study(folder)
    return stale_rates(study, gather_rates(study, list(ResultsStore(folder).all())))


def test_nothing_is_stale_as_measured_and_what_changed_is(reported_rates, tmp_path):
    folder = shutil.copytree(reported_rates, tmp_path / "study")
    assert stale(folder) == []
    manifest = folder / "study.toml"
    text = manifest.read_text(encoding="utf-8")
    manifest.write_text(
        text.replace("density_g_per_cm3 = 1.78", "density_g_per_cm3 = 1.80"), encoding="utf-8"
    )
    found = dict(stale(folder))
    assert set(found) == {
        "weighing of U1",
        "weighing of U2",
        "weighing of U3",
        "gas of U1",
        "rig.csv",
        "active.csv",
    }
    assert found["rig.csv"].startswith("Rig log: what the study states of it")


def test_files_with_their_hash(rate_records):
    rows = rate_input_rows(list(rate_records.values()))
    assert [(file, what) for file, what, _ in rows] == [
        ("rig.csv", "rig log, as measured"),
        ("active.csv", "sweep, as measured"),
        ("broken.csv", "sweep, as measured"),
        ("held.csv", "sweep, as measured"),
    ]
    assert all(len(sha256) == 64 for _, _, sha256 in rows)
