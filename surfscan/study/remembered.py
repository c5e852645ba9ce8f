"""What the viewer remembers of a study: who reviews, where they stopped, how they look. Per study only."""

from __future__ import annotations

import tomllib
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from uuid import uuid4

FILE_NAME = "review.toml"
_HEADER = "# Remembered by the viewer for this study. It may be deleted; no result depends on it.\n"

Scalar = str | int | float | bool


@dataclass(frozen=True)
class Remembered:
    """What is remembered.

    Attributes
    ----------
    reviewer : str
        Name that corrections were last saved with.
    last_image : str
        Image that was open last.
    options : mapping of str to str, number or bool
        How the reviewer looks: layers shown, order of the walk; each panel its own names.
    """

    reviewer: str = ""
    last_image: str = ""
    options: dict[str, Scalar] = field(default_factory=dict)


def read_remembered(folder: str | Path) -> Remembered:
    """What is remembered of a study; what cannot be read or understood is left at its default.

    Parameters
    ----------
    folder : path
        Folder of the study.
    """
    try:
        given = tomllib.loads((Path(folder) / FILE_NAME).read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError):
        return Remembered()
    options = given.get("options")
    kept = options if isinstance(options, dict) else {}
    return Remembered(
        reviewer=_text(given.get("reviewer")),
        last_image=_text(given.get("last_image")),
        options={name: value for name, value in kept.items() if isinstance(value, (str, int, float, bool))},
    )


def remember(folder: str | Path, **changed: Any) -> Remembered:
    """Change what is remembered, and write it whole or not at all.

    Parameters
    ----------
    folder : path
    **changed
        `reviewer`, `last_image`; `options` is merged into those there are.

    Returns
    -------
    Remembered
        Also where the folder cannot be written to: a study on a read-only disk can be looked at all the
        same.
    """
    before = read_remembered(folder)
    options = {**before.options, **changed.pop("options", {})}
    now = replace(before, options=options, **changed)
    if now == before:
        return now
    path = Path(folder) / FILE_NAME
    draft = path.with_name(f".{FILE_NAME}.{uuid4().hex[:8]}.part")
    try:
        draft.write_text(_toml(now), encoding="utf-8", newline="\n")
        draft.replace(path)
    except OSError:
        with suppress(OSError):  # where nothing can be written, nothing can be removed either
            draft.unlink(missing_ok=True)
    return now


def _text(value: object) -> str:
    return value if isinstance(value, str) else ""


def _toml(remembered: Remembered) -> str:
    lines = [
        _HEADER,
        f"reviewer = {_quoted(remembered.reviewer)}",
        f"last_image = {_quoted(remembered.last_image)}",
        "",
        "[options]",
        *(f"{_quoted(name)} = {_value(value)}" for name, value in sorted(remembered.options.items())),
    ]
    return "\n".join(lines) + "\n"


def _value(value: Scalar) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return _quoted(value) if isinstance(value, str) else repr(value)


def _quoted(text: str) -> str:
    """A TOML basic string."""
    escaped = text.replace("\\", "\\\\").replace('"', '\\"')
    return '"' + "".join(c if c >= " " and c != "\x7f" else f"\\u{ord(c):04x}" for c in escaped) + '"'
