"""Rig logs made up for tests."""

import datetime as dt
from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def write_log(tmp_path) -> Callable[..., Path]:
    """Write a log: heading, rows of values each `step_s` after the one before, and jumps {row: seconds}."""

    def write(
        heading,
        rows,
        *,
        step_s=60.0,
        start="2001-03-04T08:00:00",
        form="%Y-%m-%dT%H:%M:%S",
        jumps=None,
        separator=",",
        name="log.csv",
    ):
        time = dt.datetime.fromisoformat(start)
        lines = [heading]
        for i, row in enumerate(rows):
            time += dt.timedelta(seconds=(jumps or {}).get(i, 0.0))
            lines.append(separator.join([time.strftime(form), *map(str, row)]))
            time += dt.timedelta(seconds=step_s)
        path = tmp_path / name
        path.write_text("\n".join(lines) + "\n", encoding="utf-8")
        return path

    return write
