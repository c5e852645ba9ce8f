"""A killed `surfscan measure`, started again, gives what an undisturbed run gives, to the bit."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from pathlib import Path

import psutil
import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))

from soak_kill import (
    after,
    after_some_commits,
    change_settings,
    compare,
    kill_until_through,
    make_study,
    measure,
    snapshot,
    while_committing,
    while_writing_mask,
)

pytestmark = pytest.mark.slow


def test_kills_during_the_first_run_change_nothing(tmp_path: Path) -> None:
    undisturbed = make_study(tmp_path / "undisturbed", 4, 100, 3)
    disturbed = Path(shutil.copytree(undisturbed, tmp_path / "disturbed"))
    measure(undisturbed, 1)
    triggers = [after(0.3), while_writing_mask, while_committing, after_some_commits(1)]
    kills = kill_until_through(disturbed, 2, triggers, [snapshot(undisturbed)])
    assert kills >= 3
    compare(disturbed, undisturbed)


def test_kills_while_measuring_anew_leave_the_old_result_or_the_new(tmp_path: Path) -> None:
    disturbed = make_study(tmp_path / "disturbed", 3, 100, 5)
    measure(disturbed, 1)
    old = snapshot(disturbed)
    undisturbed = Path(shutil.copytree(disturbed, tmp_path / "undisturbed"))
    for folder in (disturbed, undisturbed):
        change_settings(folder)
    measure(undisturbed, 2)
    new = snapshot(undisturbed)
    assert new.keys() == old.keys() and all(new[key] != old[key] for key in new)
    kills = kill_until_through(disturbed, 1, [while_writing_mask, after_some_commits(1)], [old, new])
    assert kills == 2
    compare(disturbed, undisturbed)


def test_a_kill_leaves_no_worker_behind(tmp_path: Path) -> None:
    folder = make_study(tmp_path / "study", 8, 100, 4)
    command = [sys.executable, "-m", "surfscan", "measure", str(folder), "--workers", "2"]
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL) as process:
        end = time.monotonic() + 30
        while not while_committing(folder):
            assert process.poll() is None and time.monotonic() < end
        children = psutil.Process(process.pid).children(recursive=True)
        process.kill()
    assert len(children) >= 2
    gone, alive = psutil.wait_procs(children, timeout=10)
    assert not alive and len(gone) == len(children)
