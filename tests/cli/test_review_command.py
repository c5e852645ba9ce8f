"""`surfscan review`: what it starts with, and what it says where it cannot start."""

import subprocess
import sys
from types import SimpleNamespace

import pytest

from surfscan.cli import main, review_command

MANIFEST = """
title = "T"
[[group]]
name = "g"
[[specimen]]
id = "S1"
group = "g"
[[specimen]]
id = "S2"
group = "g"
[[image]]
file = "a.png"
specimen = "S1"
[[image]]
file = "b.png"
specimen = "S1"
"""


@pytest.fixture
def study(tmp_path):
    (tmp_path / "study.toml").write_text(MANIFEST, encoding="utf-8")
    return tmp_path


@pytest.fixture
def started(monkeypatch):
    """Calls of the viewer, which is not started."""
    calls = []
    monkeypatch.setenv("DISPLAY", ":0")
    monkeypatch.delenv("QT_QPA_PLATFORM", raising=False)
    monkeypatch.setattr(review_command, "find_spec", lambda name: object())
    viewer = SimpleNamespace(review=lambda path, image_id: calls.append((path, image_id)))
    monkeypatch.setattr(review_command, "import_module", lambda name: viewer)
    return calls


@pytest.mark.parametrize(("wanted", "first"), [((), ""), (("S1",), "a.png"), (("b.png",), "b.png")])
def test_begins_with_what_is_asked_for(study, started, wanted, first):
    """A specimen begins with its first image; an image with itself; nothing with what was open last."""
    assert main(["review", str(study), *wanted]) == 0
    assert started == [(study, first)]


@pytest.mark.parametrize(
    ("wanted", "said"),
    [("S3", "there is no specimen or image 'S3'. Did you mean 'S1'?"), ("S2", "specimen 'S2' has no image")],
)
def test_unknown_specimen(study, started, capsys, wanted, said):
    """A name that leads nowhere is said before any screen opens."""
    assert main(["review", str(study), wanted]) == 2
    assert said in capsys.readouterr().err
    assert started == []


def test_study_that_is_not_there(tmp_path, started, capsys):
    """A missing study is an input fault like anywhere else."""
    assert main(["review", str(tmp_path / "none")]) == 2
    assert started == []
    assert "surfscan:" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("without", "missing"),
    [(("napari",), "napari"), (("PySide6", "PyQt6"), "PySide6 or PyQt6"), (("PySide6",), "")],
)
def test_without_the_viewer(study, started, capsys, monkeypatch, without, missing):
    """Without the extra it says how to install it; either of the two toolkits will do."""
    monkeypatch.setattr(review_command, "find_spec", lambda name: None if name in without else object())
    assert main(["review", str(study)]) == (2 if missing else 0)
    if not missing:
        return
    said = capsys.readouterr().err
    assert f"missing: {missing})" in said
    assert 'pip install "surfscan[viewer]"' in said
    assert started == []


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="other systems have a screen always")
def test_without_a_display(study, started, capsys, monkeypatch):
    """Without a display it says what to do."""
    monkeypatch.delenv("DISPLAY", raising=False)
    monkeypatch.delenv("WAYLAND_DISPLAY", raising=False)
    assert main(["review", str(study)]) == 2
    assert "ssh -X" in capsys.readouterr().err
    assert started == []


def test_with_a_platform_that_shows_nothing(study, started, capsys, monkeypatch):
    """Qt told to draw nowhere is said too."""
    monkeypatch.setenv("QT_QPA_PLATFORM", "offscreen")
    assert main(["review", str(study)]) == 2
    assert "Unset QT_QPA_PLATFORM" in capsys.readouterr().err


def test_help_loads_no_screen():
    """--help comes without Qt."""
    code = (
        "import sys\nfrom surfscan.cli import main\nassert main(['review', '--help']) == 0\n"
        "assert not {'napari', 'qtpy', 'PySide6', 'napari_surfscan'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    assert "SPECIMEN" in done.stdout
