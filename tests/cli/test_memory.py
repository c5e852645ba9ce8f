"""Keeping freed memory: fewer fresh pages where the C library is glibc, nothing anywhere else."""

from __future__ import annotations

import platform
import subprocess
import sys

from surfscan.cli import memory

COUNT_FRESH_PAGES = """
import resource, sys
import numpy as np
if sys.argv[1] == "keep":
    from surfscan.cli.memory import keep_freed_memory
    keep_freed_memory()
def use():
    for _ in range(8):
        np.ones(5_000_000, np.uint8)
use()
before = resource.getrusage(resource.RUSAGE_SELF).ru_minflt
use()
print(resource.getrusage(resource.RUSAGE_SELF).ru_minflt - before)
"""


def fresh_pages(how: str) -> int:
    done = subprocess.run(
        [sys.executable, "-c", COUNT_FRESH_PAGES, how], capture_output=True, text=True, check=True
    )
    return int(done.stdout)


def test_pages_are_used_again():
    """Under glibc an array of the size of one just freed costs no fresh pages."""
    if platform.libc_ver()[0] == "glibc":
        assert fresh_pages("keep") < 50
    else:
        memory.keep_freed_memory()


def test_elsewhere_nothing_is_done(monkeypatch):
    """No C library is looked for on other systems."""
    monkeypatch.setattr(memory.sys, "platform", "win32")
    monkeypatch.setitem(sys.modules, "ctypes", None)
    memory.keep_freed_memory()
