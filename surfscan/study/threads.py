"""Threads of the linear-algebra library: one a process, since images are what is spread over processors.

Its threads wait for work in a busy loop. On fits of a few unknowns, of which one image takes thousands, they
cost twice the processor time and bring nothing; and with one thread the sums are the same on every machine.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager

VARIABLES = ("OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "VECLIB_MAXIMUM_THREADS")
"""Read by the library when it is loaded, so before numpy is imported."""


def prefer_one_thread() -> None:
    """Set one thread for this process and those it starts, unless numpy is loaded or the user chose."""
    if "numpy" not in sys.modules:
        for name in VARIABLES:
            os.environ.setdefault(name, "1")


@contextmanager
def one_thread_in_new_processes() -> Iterator[None]:
    """Processes started meanwhile get one thread, unless the user chose; afterwards all is as before."""
    unset = [name for name in VARIABLES if name not in os.environ]
    os.environ.update(dict.fromkeys(unset, "1"))
    try:
        yield
    finally:
        for name in unset:
            os.environ.pop(name, None)
