"""Sweeps and logs told from other text by their content."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from surfscan.study.text_files import kind_of_text, text_files


def test_sweeps_and_logs(rate_study: Path) -> None:
    sweep, log = (kind_of_text(rate_study / "rates" / name) for name in ("sweep.csv", "log.csv"))
    assert sweep is not None and (sweep.kind, sweep.told_by, sweep.reference) == ("sweep", "headings", None)
    assert sweep.told == "column 1 as potential in V, column 2 as current in A"
    assert log is not None and (log.kind, log.told) == ("log", "temperature, acid")


def test_a_sweep_without_headings_is_told_by_its_numbers(rate_study: Path) -> None:
    path = rate_study / "rates/sweep.csv"
    path.write_text(path.read_text().partition("\n")[2])
    found = kind_of_text(path)
    assert found is not None and (found.kind, found.told_by) == ("sweep", "content")


@pytest.mark.parametrize(
    "text",
    [
        "",
        "only words\nand more\n",
        "id;group;exposure_h\nA;g;168\nB;g;24\n",
        "hours,volume_mL\n0,0\n24,1.5\n48,3\n",
        "\n".join(" ".join(map(str, row)) for row in np.arange(400).reshape(20, 20) % 7),
    ],
)
def test_other_text_is_neither(tmp_path: Path, text: str) -> None:
    path = tmp_path / "a.csv"
    path.write_text(text)
    assert kind_of_text(path) is None


def test_files_named_as_text(tmp_path: Path, write_image: Callable[..., None]) -> None:
    names = ["b.TXT", "a.csv", "c.png", "d"]
    assert text_files(tmp_path / name for name in names) == [tmp_path / "a.csv", tmp_path / "b.TXT"]
