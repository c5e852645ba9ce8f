"""One writer at a time; a killed one holds nothing."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from surfscan.errors import InputError
from surfscan.store.lock import FILE_NAME, WriterLock

HOLDER = """
import sys, time
from surfscan.store.lock import WriterLock
with WriterLock(sys.argv[1]):
    print("held", flush=True)
    time.sleep(60)
"""


def test_a_second_writer_is_refused(tmp_path: Path) -> None:
    refused = pytest.raises(InputError, match="another 'surfscan measure'")
    with WriterLock(tmp_path), refused, WriterLock(tmp_path):
        pass
    with WriterLock(tmp_path):
        pass


def test_an_error_inside_frees_the_lock(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), WriterLock(tmp_path):
        raise KeyboardInterrupt
    with WriterLock(tmp_path):
        pass


def test_a_killed_holder_does_not_block(tmp_path: Path) -> None:
    command = [sys.executable, "-c", HOLDER, str(tmp_path)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as holder:
        assert holder.stdout is not None and holder.stdout.readline() == "held\n"
        with pytest.raises(InputError, match="another"), WriterLock(tmp_path):
            pass
        holder.kill()
        holder.wait()
    with WriterLock(tmp_path):
        pass
    assert (tmp_path / FILE_NAME).stat().st_size == 0


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="lock file cannot be used"), WriterLock(tmp_path / "none"):
        pass
    (tmp_path / FILE_NAME).write_text("something else, and longer than nothing")
    with pytest.raises(InputError, match="lock file cannot be used"), WriterLock(tmp_path):
        pass
