"""What a study lacks, and whole pages and summaries of studies that lack it."""

import html
import re
import shutil
from pathlib import Path
from runpy import run_path

import numpy as np
import pytest

from surfscan.cli import main
from surfscan.report.build import write_report
from surfscan.study.batch import measure_study

SPECIMEN = """\
[[specimen]]
id = "{}"
group = "bare"
material = "AZ31"
exposure_h = 168.0
surface_area_mm2 = 400
surface_area_relative_uncertainty = 0.02
"""
WEIGHING = """\
[[weighing]]
specimen = "{}"
before_g = 1.0
cleaned_g = [0.9897, 0.9894, 0.9891, 0.9888]
cleaning = "chromic acid, 1 min each"
"""


@pytest.fixture(scope="module")
def study_of():
    """Function that writes a study of the fields given, with stored results and one lost image."""
    return run_path(str(Path(__file__).with_name("conftest.py")))["build_study"]


@pytest.fixture
def said_of(page_text, capsys):
    """Function that reports a study: text of its page by the id of each section, and its summary."""

    def said(folder):
        write_report(folder)
        page = re.sub(r"<(style|script|svg).*?</\1>", " ", page_text(folder), flags=re.DOTALL)
        parts = re.split(r'<section[^>]* id="([^"]+)"', page)
        sections = {
            name: " ".join(html.unescape(re.sub(r"<[^>]+>", " ", text)).split())
            for name, text in zip(parts[1::2], parts[2::2], strict=True)
        }
        capsys.readouterr()
        assert main(["summary", str(folder)]) == 0
        return sections, " ".join(capsys.readouterr().out.split())

    return said


def field(name, scaled=True, pits=9):
    return (name, "bare", "cleaned", "systematic", pits, 0.2, scaled)


def without_lost_image(folder):
    """Take the image that is missing out of study.toml."""
    path = folder / "study.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text[: text.index('[[image]]\nfile = "images/lost.png"')], encoding="utf-8")
    return path


def add(folder, text):
    with (folder / "study.toml").open("a", encoding="utf-8") as handle:
        handle.write(text)


def write_sweep(path):
    rng = np.random.default_rng(3)
    steps = np.arange(-0.25, 0.2501, 0.002)
    current_uA = (
        25 * (10 ** (steps / 0.1) - 10 ** (-steps / 0.15)) * (1 + 0.01 * rng.standard_normal(len(steps)))
    )
    rows = [f"{e - 1.55:.4f},{i:.6g}" for e, i in zip(steps, current_uA, strict=True)]
    path.write_text("\n".join(["Potential (V),Current (uA)", *rows]) + "\n", encoding="utf-8")


def test_only_sweeps(tmp_path, said_of):
    write_sweep(tmp_path / "s.csv")
    text = 'title = "Sweeps"\n[[group]]\nname = "bare"\n' + SPECIMEN.format("B1")
    text += '[[sweep]]\nfile = "s.csv"\nspecimen = "B1"\nreference = "SCE"\narea_cm2 = 1.0\n'
    (tmp_path / "study.toml").write_text(text, encoding="utf-8")
    measure_study(tmp_path, workers=1)
    page, summary = said_of(tmp_path)
    lacks = (
        "The study has no micrograph of a surface (area degraded, density of pits); no height map (depth of "
        "pits); no picture of struts or of cross-sections (section that is left); no rig log (whether the "
        "exposure was valid); no weighing, gas series or rig log (mean rate by mass, gas or acid)."
    )
    assert lacks in page["summary"] and lacks in summary
    assert "Only sweeps give rates: nothing tells how far they speak" in page["side-by-side"]
    assert "No sweep gives a rate" not in page["side-by-side"]
    assert "bounds" not in page["summary"]
    assert "No picture of this specimen in the study." in page["specimen-B1"]
    assert "sweep 0.560 0.542 to 0.578" in page["specimen-B1"]
    assert "sweep, n = 1: 0.560 (0.542 to 0.578)" in summary
    assert not {"surfaces", "heights", "struts", "criteria", "loss-with-rate", "over-time"}.intersection(page)


def test_no_sweep(tmp_path, study_of, said_of):
    folder = study_of(tmp_path / "study", [field(f"B{k}", pits=8 + k) for k in (1, 2, 3)])
    path = without_lost_image(folder)
    wetted = 'group = "bare"\nmaterial = "AZ31"\nsurface_area_mm2 = 400'
    path.write_text(path.read_text(encoding="utf-8").replace('group = "bare"', wetted), encoding="utf-8")
    add(folder, "".join(WEIGHING.format(f"B{k}") for k in (1, 2, 3)))
    measure_study(folder, workers=1)
    page, summary = said_of(folder)
    lacks = (
        "The study has no height map (depth of pits); no picture of struts or of cross-sections (section "
        "that is left); no rig log (whether the exposure was valid); no sweep (electrochemical rate)."
    )
    assert lacks in page["summary"] and lacks in summary and "Failed:" not in page["summary"]
    said = "No sweep gives a rate: averages are compared with no electrochemical rate."
    assert said in page["side-by-side"] and "Only sweeps" not in page["side-by-side"]
    assert "3 exposed specimens with a rate by one method only" in page["side-by-side"]
    assert "mass loss, n = 3" in summary and "sweeps" not in page


def test_a_failed_image(tmp_path, study_of, said_of):
    """The failed one is named with its reason everywhere, and enters nothing."""
    folder = study_of(tmp_path / "study", [field("B1"), field("B2"), field("B3")])
    page, summary = said_of(folder)
    said = "Failed: images/lost.png (the image lost.png is missing <here>)."
    assert said in page["summary"] and said in summary and "2 procedures failed" in summary
    assert "3 of 4 images measured in full." in page["summary"]
    assert "images/lost.png B1 pits the image lost.png is missing <here>" in page["not-measured"]
    assert "images/lost.png: pits not measured" in page["specimen-B1"]
    assert "1 of 2" in page["specimens"] and "lost.png" not in page["specimen-B2"]
    assert "1 image not measured: images/lost.png" in page["warnings"]


def test_an_unknown_scale(tmp_path, study_of, said_of):
    """Counts and fractions stand, in no unit of length; the one with a scale keeps its own."""
    folder = study_of(tmp_path / "study", [field("B1", scaled=False), field("B2"), field("B3")])
    without_lost_image(folder)
    page, summary = said_of(folder)
    said = "1 of 3 images without a known scale: sizes in px, and nothing in µm, per mm² or mm/y."
    assert said in page["summary"] and said in summary
    assert "Pit density, no scale" in page["surfaces"] and "Pit density, no scale" in summary
    assert "mm⁻²" not in page["specimen-B1"] and "mm⁻²" in page["specimen-B2"]
    assert "The scale is unknown: sizes are given in pixels." in page["warnings"]
    assert " unknown surfscan" in page["specimen-B1"] and " unknown surfscan" not in page["specimen-B2"]


@pytest.mark.parametrize("names", [["B1"], ["B1", "B2"]])
def test_one_specimen_and_a_group_of_two(tmp_path, study_of, said_of, names):
    folder = study_of(tmp_path / "study", [field(name) for name in names])
    without_lost_image(folder)
    page, summary = said_of(folder)
    said = "1 group below three specimens, shown as points only: bare."
    assert said in page["summary"] and said in summary
    n = "1 specimen" if len(names) == 1 else "2 specimens"
    assert f"no interval of the mean ({n}, at least 3 are needed)" in page["groups"]
    assert f"(no interval, {n})" in page["summary"]


def test_a_sweep_without_a_result_is_no_lacking_sweep(tmp_path, reported_rates, said_of):
    """A file of words gives none and is named with why."""
    page, _ = said_of(shutil.copytree(reported_rates, tmp_path / "study"))
    assert "Without a result: sweep garbage.csv (" in page["summary"]
    assert "no sweep (" not in page["summary"] and "no rig log (" not in page["summary"]
