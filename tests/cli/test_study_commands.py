"""The study commands in a row, as a user calls them, on a small study with one bad image."""

import json
import shutil

import pytest
import tifffile

from surfscan import demo
from surfscan.cli import main, study_commands
from surfscan.errors import InputError
from surfscan.study.entries import COMPANIONS

MANIFEST = """\
title = "Two plates"

[[group]]
name = "7 d"

[[specimen]]
id = "A"
group = "7 d"
exposure_h = 168.0

[[specimen]]
id = "B"
group = "7 d"
exposure_h = 168.0

[[image]]
file = "a.tif"
specimen = "A"
condition = "cleaned"
field_choice = "systematic"
pixel_size_um = 0.5

[[image]]
file = "b.tif"
specimen = "B"
condition = "cleaned"
field_choice = "systematic"
pixel_size_um = 0.5
"""


@pytest.fixture
def study(tmp_path, pitted):
    """A study of two images."""
    for name, picture in (("a.tif", pitted), ("b.tif", pitted[::-1])):
        tifffile.imwrite(tmp_path / name, picture, metadata=None)
    (tmp_path / "study.toml").write_text(MANIFEST, encoding="utf-8")
    return tmp_path


def test_start_drafts_a_study_that_check_reads(study, capsys):
    """Start says what it could not tell, does not overwrite by itself, and what it wrote passes check."""
    assert main(["start", str(study)]) == 2
    assert "study.toml" in capsys.readouterr().err
    assert main(["start", str(study), "--overwrite"]) == 0
    said = capsys.readouterr().out
    assert f"Draft: {study / 'study.toml'}" in said
    assert "Could not tell:" in said
    assert main(["check", str(study)]) == 0


def test_check_measure_report(study, capsys):
    """Check finds no error, measure measures, measure again has nothing to do, report writes the page."""
    assert main(["check", str(study)]) == 0
    assert "0 errors" in capsys.readouterr().out
    assert main(["measure", str(study), "--workers", "1"]) == 0
    assert "2 images: 2 measured, 0 unchanged" in capsys.readouterr().out
    assert main(["measure", str(study / "study.toml"), "--workers", "1"]) == 0
    assert "2 images: 0 measured, 2 unchanged" in capsys.readouterr().out
    assert main(["report", str(study)]) == 0
    said = capsys.readouterr().out
    assert str(study / "report.html") in said
    assert (study / "report.html").read_text(encoding="utf-8").startswith("<!DOCTYPE html>")
    assert (study / "tables" / "specimens.csv").is_file()


def test_a_bad_image_fails_alone(study, capfd):
    """The other image is measured, the bad one is named with its fault, and the exit code is 1."""
    (study / "b.tif").write_bytes(b"")
    assert main(["measure", str(study), "--workers", "1", "--json", "-"]) == 1
    shown = capfd.readouterr()
    outcome = json.loads(shown.out)
    assert outcome["done"] == ["a.tif"]
    assert [image for image, _ in outcome["failed"]] == ["b.tif"]
    assert "failed: b.tif: " in shown.err
    assert "Traceback" not in shown.err
    assert main(["report", str(study)]) == 0


def test_check_lists_every_fault(study, capsys):
    """Several faults come out together, with file and line, and the exit code is 2."""
    text = MANIFEST.replace('specimen = "B"', 'specimen = "C"').replace('file = "a.tif"', 'file = "x.tif"')
    (study / "study.toml").write_text(text.replace("exposure_h", "exposure_d", 1), encoding="utf-8")
    assert main(["check", str(study)]) == 2
    shown = capsys.readouterr().out
    assert "error: study.toml:9: unknown key 'exposure_d'" in shown
    assert "x.tif is missing" in shown
    assert "there is no specimen 'C'" in shown


@pytest.mark.parametrize("command", ["check", "measure", "report"])
def test_no_study(command, tmp_path, capsys):
    """A folder without a study: exit 2 and the way to one."""
    assert main([command, str(tmp_path)]) == 2
    assert "surfscan start" in capsys.readouterr().err


def test_report_before_measure(study, capsys):
    """A report of nothing says what to run first."""
    assert main(["report", str(study)]) == 2
    assert "surfscan measure" in capsys.readouterr().err


def test_summary_of_what_is_measured(study, capsys):
    """Both plates under their group with the mean over them; nothing measured is said."""
    with pytest.raises(InputError, match="nothing has been measured yet"):
        study_commands.summary(study)
    assert main(["measure", str(study), "--workers", "1"]) == 0
    capsys.readouterr()
    study_commands.summary(study)
    title, _, *said = capsys.readouterr().out.splitlines()
    at = said.index("Pictures of surfaces")
    essentials, (heads, group, *rows) = said[:at], said[at + 1 :]
    assert (title, group) == ("Two plates: 2 images, 2 specimens", "7 d, 168 h")
    assert "How many: 2 specimens" in essentials
    assert any(line.startswith("  1 group below three specimens") for line in essentials)
    assert heads.split("  ")[-1].strip() == "Degraded area, %" and "Pit density, mm⁻²" in heads
    assert [row.split()[0] for row in rows[:3]] == ["A", "B", "mean"]
    assert "2 specimens" not in rows[2] and rows[-1].endswith("lists what limits these figures.")


def test_demo_against_truth(tmp_path, capsys, monkeypatch):
    """A cut-down demo runs from copy to page and sets measured beside true."""
    source = demo.sample_folder()
    small = tmp_path / "small"
    (small / "images").mkdir(parents=True)
    of_images = (source / "study.toml").read_text(encoding="utf-8").partition("[[sweep]]")[0]
    head, *blocks = of_images.split("[[image]]\n")
    kept = [block for block in blocks if '"U28-1"' in block]
    stated = [line.split(" = ", 1) for block in kept for line in block.splitlines() if " = " in line]
    files = [value.strip('"') for key, value in stated if key == "file"]
    companions = [value.strip('"') for key, value in stated if key in COMPANIONS]
    (small / "study.toml").write_text("[[image]]\n".join([head, *kept]), encoding="utf-8")
    truth = (source / "truth.csv").read_text(encoding="utf-8").splitlines()
    own = [truth[0], *(line for line in truth if line.split(",")[0] in files)]
    (small / "truth.csv").write_text("\n".join(own) + "\n", encoding="utf-8")
    for file in (*files, *companions):
        (small / file).parent.mkdir(exist_ok=True)
        shutil.copy(source / file, small / file)
    (small / "truth_rates.csv").write_text("entry,figure,true_value\n", encoding="utf-8")
    for folder in demo.FOLDERS:
        (small / folder).mkdir(exist_ok=True)
    monkeypatch.setattr(demo, "sample_folder", lambda: small)

    assert main(["demo", str(tmp_path / "out"), "--against-truth", "--workers", "1"]) == 0
    said = capsys.readouterr().out
    assert str(tmp_path / "out" / "report.html") in said
    assert "measured / true" in said
    assert all(file in said for file in files)
    assert "pits: " in said


def test_check_says_once_what_holds_for_many_files():
    from surfscan.cli.study_commands import findings_lines
    from surfscan.study.findings import Finding

    findings = [
        Finding("warning", "study.toml:3", "a.tif does not say", "Say it"),
        Finding("error", "study.toml:4", "a.tif is missing", "Put it there"),
        Finding("warning", "study.toml:7", "b.tif does not say", "Say it"),
        Finding("error", "study.toml:8", "b.tif is missing", "Put it there"),
        Finding("warning", "study.toml:9", "group 'x' has 1 specimen", "Add some"),
        Finding("warning", "study.toml:10", "group 'y' has 1 specimen", "Add some"),
    ]
    assert findings_lines(findings) == [
        "warning: study.toml:3: a.tif does not say. Say it. Also study.toml:7.",
        *(f"{f.severity}: {f}" for f in (findings[1], *findings[3:])),
    ]


def test_sweeps_weighings_gas_and_logs_are_counted_apart():
    """What is no image is not called one."""
    from surfscan.cli.study_commands import _said
    from surfscan.study.batch import BatchOutcome

    said = _said(BatchOutcome(done=["a.png", "s.csv"], skipped=["l.csv"], other_entries=2))
    assert said == "1 image and 2 of sweeps, weighings, gas and logs: 2 measured, 1 unchanged"
    assert _said(BatchOutcome(done=["s.csv"], other_entries=1)).startswith("1 of sweeps, weighings")
