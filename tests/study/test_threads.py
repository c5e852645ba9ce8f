"""One linear-algebra thread a process, and nothing left behind."""

from __future__ import annotations

import os
import subprocess
import sys

import pytest

from surfscan.study import threads

SHOW = """
import os, sys
from surfscan.cli import main
from surfscan.study.threads import VARIABLES
assert "numpy" not in sys.modules
main(["--version"])
print([os.environ.get(name) for name in VARIABLES])
"""


def test_commands_take_one_thread_unless_the_user_chose():
    own = {name: value for name, value in os.environ.items() if name not in threads.VARIABLES}
    for chosen, first in (({}, "1"), ({threads.VARIABLES[0]: "3"}, "3")):
        done = subprocess.run(
            [sys.executable, "-c", SHOW], env=own | chosen, capture_output=True, text=True, check=True
        )
        assert done.stdout.splitlines()[-1] == str([first, "1", "1"])


def test_numpy_that_is_loaded_is_let_be(monkeypatch: pytest.MonkeyPatch):
    for name in threads.VARIABLES:
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setitem(sys.modules, "numpy", sys.modules.get("numpy"))
    threads.prefer_one_thread()
    assert not set(threads.VARIABLES) & set(os.environ)


def test_new_processes_get_one_and_the_environment_is_put_back(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv(threads.VARIABLES[0], "3")
    for name in threads.VARIABLES[1:]:
        monkeypatch.delenv(name, raising=False)
    with pytest.raises(KeyError), threads.one_thread_in_new_processes():
        assert [os.environ[name] for name in threads.VARIABLES] == ["3", "1", "1"]
        raise KeyError
    assert [os.environ.get(name) for name in threads.VARIABLES] == ["3", None, None]
