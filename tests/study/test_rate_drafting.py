"""Sweeps and logs are drafted from their content, as guesses that load and check."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.study.drafting import draft_study
from surfscan.study.manifest import load_study
from surfscan.study.rate_drafting import draft_entries, drafted_texts, unclear_of


@pytest.fixture
def folder(rate_study: Path, tmp_path: Path) -> Path:
    """A folder with a sweep, a log and other text, and no manifest."""
    found = tmp_path / "new"
    found.mkdir()
    shutil.copy(rate_study / "rates/sweep.csv", found / "U07-2_sweep.csv")
    shutil.copy(rate_study / "rates/log.csv", found / "U07-1_168h_log.csv")
    (found / "notes.txt").write_text("Nothing of the kind.\n")
    return found


def test_entries_and_questions(folder: Path) -> None:
    texts = drafted_texts(folder)
    assert [(t.file, t.kind.kind) for t in texts] == [
        ("U07-1_168h_log.csv", "log"),
        ("U07-2_sweep.csv", "sweep"),
    ]
    lines = draft_entries(texts)
    assert "[[log]]" in lines and "# acid_mol_per_L = ..." in lines
    assert (
        'file = "U07-2_sweep.csv"  # guess, by its content: column 1 as potential in V, column 2'
        in "\n".join(lines)
    )
    asked = dict(unclear_of(texts))
    assert asked["Sweeps: no reference electrode in the file. Add reference"] == ["U07-2_sweep.csv"]
    assert asked["Sweeps: columns told by their numbers alone. State columns to be sure"] == []


def test_the_draft_loads(folder: Path) -> None:
    draft = draft_study(folder)
    study = load_study(folder)
    assert [sweep.file for sweep in study.sweeps] == ["U07-2_sweep.csv"]
    assert [log.file for log in study.logs] == ["U07-1_168h_log.csv"]
    assert study.specimen("U07-1_168h").exposure_h == 168.0
    assert any(line.startswith("Sweeps: taken for such") for line in draft.could_not_tell)
    assert not any("notes.txt" in line or "sweep.csv was left out" in line for line in draft.could_not_tell)


def test_nothing_of_the_kind(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("Nothing.\n")
    assert drafted_texts(tmp_path) == []
    with pytest.raises(InputError, match="no image to measure was found"):
        draft_study(tmp_path)
