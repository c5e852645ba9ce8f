"""Findings as one error."""

from __future__ import annotations

from pathlib import Path

from surfscan.study.findings import Finding, as_error


def test_one_fault_is_named_at_its_place() -> None:
    error = as_error(Path("study.toml"), [Finding("error", "study.toml:3", "no title", "Add one")])
    assert str(error) == "study.toml:3: no title. Add one."


def test_several_faults_are_all_listed() -> None:
    faults = [Finding("error", f"study.toml:{n}", f"fault {n}", f"remedy {n}") for n in (3, 5)]
    error = as_error(Path("folder/study.toml"), faults)
    assert error.path == str(Path("folder/study.toml")) and error.fault == "2 faults"
    assert "\n  study.toml:3: fault 3. remedy 3.\n  study.toml:5: fault 5. remedy 5" in str(error)
