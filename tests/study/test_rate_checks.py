"""What is wrong or doubtful in entries for rates, each at its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.study.check import check_study
from surfscan.study.manifest import ManifestReader
from surfscan.study.rate_checks import named_in_entries, rate_findings, specimens_in_entries


def _found(folder: Path, *changes: tuple[str, str]) -> list[str]:
    text = (folder / "study.toml").read_text()
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    (folder / "study.toml").write_text(text)
    manifest = ManifestReader(folder)
    study, _ = manifest.read()
    return [f"{f.severity}: {f}" for f in rate_findings(manifest, study)]


def _line(folder: Path, start: str) -> int:
    lines = (folder / "study.toml").read_text().splitlines()
    return next(i for i, line in enumerate(lines, 1) if line.startswith(start))


@pytest.mark.parametrize(
    ("change", "severity", "at", "said"),
    [
        (('"rates/log.csv"', '"rates/lag.csv"'), "error", 'file = "rates/lag', "Did you mean 'log.csv'"),
        (('"rates/sweep.csv"', '"rates/gas.csv"'), "error", 'file = "rates/gas', "rates/gas.csv"),
        (('reference = "SCE"\n', ""), "warning", 'file = "rates/sweep', "does not name its reference"),
        (('"E1"\ngroup = "g"\nmaterial = "AZ31"', '"E1"\ngroup = "g"'), "warning", 'specimen = "E1"', "no m"),
        (("surface_area_", "# surface_area_"), "warning", 'specimen = "E1"', "has no wetted area"),
        (("exposure_h = 48", "exposure_h = 60"), "warning", 'file = "rates/log', "covers 40 h, and"),
        (("wetted_surface", "# w"), "error", "[[weighing]]", "wetted surface is not known: P1 states none"),
        (("wetted_surface", "# w"), "error", "[[gas]]", "wetted surface is not known: P1 states none"),
        (("before_g = 1.2", "before_g = 1.1"), "warning", "[[weighing]]", "gives no rate: The specimen"),
        (("temperature_degC = 25", "temperature_degC = [1, 2]"), "error", "[[gas]]", "one number or 3"),
        (('specimens = ["P1"]', 'specimens = ["P1"]\nstop = "soon"'), "error", 'file = "rates/log', "'soon'"),
    ],
)  # fmt: skip
def test_each_at_its_line(
    rate_study: Path, change: tuple[str, str], severity: str, at: str, said: str
) -> None:
    found = _found(rate_study, change)
    start = f"{severity}: study.toml:{_line(rate_study, at)}: "
    assert any(line.startswith(start) and said in line for line in found), found


def test_hours_missing_everywhere(rate_study: Path) -> None:
    part = ("[[log]]", '[[log]]\ncovers = "part"')
    found = _found(rate_study, ("exposure_h = 48\n", ""), part)
    assert any("error" in line and "the immersed time of P1 is not known" in line for line in found)


def test_columns_told_by_numbers_alone_are_named(rate_study: Path) -> None:
    path = rate_study / "rates/sweep.csv"
    path.write_text(path.read_text().partition("\n")[2])
    assert any("column 1 as potential in V, column 2" in line for line in _found(rate_study))


def test_files_are_opened_though_the_manifest_has_faults(rate_study: Path) -> None:
    (rate_study / "rates/sweep.csv").write_text("nothing\n")
    found = _found(rate_study, ('title = "Rates"', "titel = 1"))
    assert len(found) == 1 and found[0].startswith("error: study.toml:26: rates/sweep.csv: ")


def test_what_entries_name(rate_study: Path) -> None:
    manifest = ManifestReader(rate_study)
    manifest.read()
    assert named_in_entries(manifest) == {"rates/sweep.csv", "rates/gas.csv", "rates/log.csv"}
    assert specimens_in_entries(manifest) == {
        "E1": {"sweep"},
        "P1": {"sweep", "weighing", "gas", "log"},
    }


def test_strays_and_specimens_in_the_whole_check(rate_study: Path) -> None:
    (rate_study / "other.txt").write_text((rate_study / "rates/sweep.csv").read_text())
    text = (rate_study / "study.toml").read_text()
    (rate_study / "study.toml").write_text(
        text.replace("[[log]]", '[[specimen]]\nid = "N"\ngroup = "g"\n[[log]]')
    )
    found = [str(f) for f in check_study(rate_study)]
    assert any("1 potential sweep in the folder is not in the study (other.txt)" in line for line in found)
    assert not any("E1' does not state its exposure" in line for line in found)
    assert [line for line in found if "has no image" in line] == [
        line for line in found if "specimen 'N' has no image" in line
    ]
    assert not any("are not in the study (rates" in line for line in found)
