"""Worker processes that die, and what becomes of the rest."""

from __future__ import annotations

from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.study import pool

pytestmark = pytest.mark.slow

FUNCTIONS = """
import os

def halve_or_die(number):
    if number < 0:
        os._exit(1)
    return number / 2

def refuse_to_start(lifeline):
    raise SystemExit(1)
"""


@pytest.fixture
def functions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> object:
    (tmp_path / "surfscan_pool_functions.py").write_text(FUNCTIONS)
    monkeypatch.syspath_prepend(tmp_path)
    import surfscan_pool_functions

    return surfscan_pool_functions


def test_only_the_deadly_tasks_are_lost(functions: object) -> None:
    tasks = [2, 4, -1, 6, -2, 8]
    answers = dict(pool.run_in_processes(functions.halve_or_die, iter(tasks), 2))
    assert answers == {2: 1, 4: 2, -1: None, 6: 3, -2: None, 8: 4}


def test_no_tasks_start_no_process(functions: object) -> None:
    assert list(pool.run_in_processes(functions.halve_or_die, [], 2)) == []


def test_tasks_are_taken_up_only_as_needed(functions: object) -> None:
    taken = []

    def tasks() -> object:
        for number in range(50):
            taken.append(number)
            yield number

    running = pool.run_in_processes(functions.halve_or_die, tasks(), 2)
    next(running)
    assert len(taken) <= 6
    running.close()


def test_processes_that_cannot_start_are_an_error(functions: object, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(pool, "start_worker", functions.refuse_to_start)
    with pytest.raises(InputError, match="worker processes cannot be started"):
        list(pool.run_in_processes(functions.halve_or_die, [2, 4], 2))
