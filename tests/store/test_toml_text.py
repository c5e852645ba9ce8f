"""TOML that `tomllib` reads back as it was given."""

from __future__ import annotations

import tomllib
from datetime import UTC, datetime

import numpy as np
import pytest

from surfscan.store.toml_text import from_toml, toml_text

VALUES = {
    "text": 'a "quoted" \\ line\nand µ, \x7f, \x01, ü',
    "number": 3,
    "share": 0.1,
    "tiny": 1e-300,
    "flag": True,
    "nothing": None,
    "list": [1, 2.5, "x", [True, False], {"a": 1, "b": "c"}],
    "empty": [],
    "table": {"no key": {"deep": None, "x": 1}, "é": 2, "none": {}},
    "stamp": datetime(2026, 5, 4, 13, 2, 11, tzinfo=UTC),
}


def test_reads_back_as_given() -> None:
    assert from_toml(tomllib.loads(toml_text(VALUES))) == VALUES


def test_numpy_becomes_plain() -> None:
    text = toml_text({"a": np.arange(3), "b": np.float32(0.5), "c": np.bool_(True), "d": float("nan")})
    assert text == "a = [0, 1, 2]\nb = 0.5\nc = true\nd = nan\n"


def test_plain_values_come_before_tables() -> None:
    assert toml_text({"t": {"u": {"v": 1}}, "a": 1}) == "a = 1\n\n[t.u]\nv = 1\n"


@pytest.mark.parametrize("value", [{"a": [None]}, {"a": object()}, {"unset": 1}, {"a": {"unset": ["b"]}}])
def test_what_has_no_word_is_refused(value: dict) -> None:
    with pytest.raises(ValueError, match=r"place in a TOML file|meaning of its own"):
        toml_text(value)
