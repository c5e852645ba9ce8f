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


@pytest.mark.parametrize("workers", [1, 2])
def test_kills_change_nothing(tmp_path: Path, workers: int) -> None:
    fresh = make_study(tmp_path / "fresh", 8, 120, 3)
    first = Path(shutil.copytree(fresh, tmp_path / "first"))
    measure(first, 2)
    disturbed = Path(shutil.copytree(fresh, tmp_path / "disturbed"))
    triggers = [after(0.3), while_writing_mask, while_committing, after_some_commits(2)]
    kills = kill_until_through(disturbed, workers, triggers, [snapshot(first)])
    assert kills >= 3
    compare(disturbed, first)

    second = Path(shutil.copytree(first, tmp_path / "second"))
    change_settings(second)
    change_settings(disturbed)
    measure(second, 2)
    assert snapshot(second) != snapshot(first)
    triggers = [while_writing_mask, after_some_commits(1), after_some_commits(2)]
    kills = kill_until_through(disturbed, workers, triggers, [snapshot(first), snapshot(second)])
    assert kills >= 2
    compare(disturbed, second)


def test_a_kill_leaves_no_worker_behind(tmp_path: Path) -> None:
    folder = make_study(tmp_path / "study", 12, 200, 4)
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
