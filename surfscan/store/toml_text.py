"""TOML as text: what a file of ours says, for people and for `tomllib`."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping
from datetime import date
from typing import Any

import numpy as np

UNSET = "unset"
"""Key under which a table lists its keys that hold nothing: TOML has no word for it."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")


def toml_text(values: Mapping[str, Any]) -> str:
    """The text of a TOML file.

    Parameters
    ----------
    values : mapping of str to value
        Text, numbers, flags, lists of them, mappings (which become tables), NumPy scalars and arrays. None
        in a mapping is listed under the key "unset" of that table, which `from_toml` undoes.

    Returns
    -------
    str
        Plain values first, then tables; lines end in a line feed.

    Raises
    ------
    ValueError
        For None within a list, a key "unset" of one's own, or a value TOML has no word for.
    """
    return "\n".join([*_lines(_plain(values)), ""])


def from_toml(values: Mapping[str, Any]) -> dict[str, Any]:
    """What `toml_text` was given, from what `tomllib` reads: keys that are unset hold None again."""
    named = {key: _filled(value) for key, value in values.items() if key != UNSET}
    return named | dict.fromkeys(values.get(UNSET, ()))


def _filled(value: Any) -> Any:
    if isinstance(value, dict):
        return from_toml(value)
    return [_filled(each) for each in value] if isinstance(value, list) else value


def _plain(value: Any) -> Any:
    if isinstance(value, Mapping):
        if UNSET in value:
            raise ValueError(f"the key {UNSET!r} has a meaning of its own in a file of ours")
        plain = {str(k): _plain(v) for k, v in value.items() if v is not None}
        empty = [str(k) for k, v in value.items() if v is None]
        return plain | ({UNSET: empty} if empty else {})
    if isinstance(value, np.ndarray | np.generic):
        return _plain(value.tolist())
    return [_plain(each) for each in value] if isinstance(value, list | tuple) else value


def _lines(table: Mapping[str, Any], path: tuple[str, ...] = ()) -> list[str]:
    inner = {k: v for k, v in table.items() if isinstance(v, dict)}
    lines = [f"{_key(k)} = {_word(v)}" for k, v in table.items() if k not in inner]
    if path and (lines or not inner):
        lines = [f"[{'.'.join(map(_key, path))}]", *lines]
    for name, value in inner.items():
        more = _lines(value, (*path, name))
        lines += ["", *more] if lines else more
    return lines


def _key(name: str) -> str:
    return name if _BARE.fullmatch(name) else _text(name)


def _word(value: Any) -> str:
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, str):
        return _text(value)
    if isinstance(value, date):  # a datetime is one
        return value.isoformat()
    if isinstance(value, list):
        return f"[{', '.join(map(_word, value))}]"
    if isinstance(value, dict):
        return "{" + ", ".join(f"{_key(k)} = {_word(v)}" for k, v in value.items()) + "}"
    raise ValueError(f"{value!r} ({type(value).__name__}) has no place in a TOML file")


def _text(value: str) -> str:
    """A basic string; JSON escapes the same characters but for one."""
    return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
