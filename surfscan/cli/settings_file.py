"""Settings from a TOML file: one table a procedure, or the [settings.*] tables of a study.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from types import MappingProxyType
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from surfscan.errors import InputError
from surfscan.study.faults import describe
from surfscan.study.locator import Key, line_of, locate_keys

AnySettings = TypeVar("AnySettings", bound=BaseModel)


def read_settings(path: Path | None, procedure: str, kind: type[AnySettings]) -> AnySettings:
    """Settings of one procedure, defaults where the file does not say.

    Parameters
    ----------
    path : Path or None
        TOML file; None gives the defaults.
    procedure : str
        The table read: a key of `SETTINGS_TABLES`.
    kind : type
        The settings class of that procedure.

    Raises
    ------
    InputError
        If the file cannot be read, or holds an unknown table, an unknown key or a value out of range.
    """
    if path is None:
        return kind.model_validate({})
    text = _text(path)
    above: Key
    tables, above = _tables(path, text)
    try:
        return kind.model_validate(tables.get(procedure, {}))
    except ValidationError as error:
        raise _every_fault(path, text, (*above, procedure), describe(error, kind)) from None


def with_stated(
    chosen: AnySettings,
    command: str,
    image: Path,
    *,
    options: Mapping[str, str] = MappingProxyType({}),
    **given: object,
) -> AnySettings:
    """Settings with what the command line states in their place.

    Parameters
    ----------
    chosen : settings
    command : str
        The command, for the message.
    image : Path
        What it measures, for the message.
    options : mapping of str to str, optional
        Settings whose option has another name.
    **given
        Setting -> value; None where the command line does not say.

    Raises
    ------
    InputError
        If a value is out of its range.
    """
    stated = {name: value for name, value in given.items() if value is not None}
    try:
        return type(chosen).model_validate(chosen.model_dump() | stated)
    except ValidationError as fault:
        first = fault.errors()[0]
        name = str(first["loc"][0])
        option = "--" + options.get(name, name).replace("_", "-")
        raise InputError(image, f"{option}: {first['msg']}", f"See `surfscan {command} --help`") from fault


def _every_fault(path: Path, text: str, table: Key, faults: list[tuple[Key, str, str]]) -> InputError:
    lines = locate_keys(text)
    placed = sorted((line_of(lines, (*table, *key)), what, remedy) for key, what, remedy in faults)
    (first, what, remedy), *others = placed
    more = "".join(f"\n  line {line}: {what}. {remedy}" for line, what, remedy in others)
    return InputError(f"{path}:{first}", what, remedy + more)


def _text(path: Path) -> str:
    try:
        return path.read_text(encoding="utf-8-sig")
    except OSError as fault:
        raise InputError(
            path, f"cannot be read ({fault.strerror})", "Check the name of the settings file"
        ) from fault
    except UnicodeDecodeError as fault:
        raise InputError(path, "is not UTF-8 text", "Give a TOML file such as study.toml") from fault


def _tables(path: Path, text: str) -> tuple[dict[str, Any], Key]:
    """The settings tables and the key that stands above them in the file."""
    from surfscan.study.entries import SETTINGS_TABLES  # all of them: only where there is a file to read

    try:
        content = tomllib.loads(text)
    except tomllib.TOMLDecodeError as fault:
        raise InputError(path, f"is not valid TOML ({fault})", "Correct that line") from fault
    above: Key = ("settings",) if isinstance(content.get("settings"), dict) else ()
    tables = content["settings"] if above else content
    for name, table in tables.items():
        if name in SETTINGS_TABLES and isinstance(table, dict):
            continue
        where = f"{path}:{line_of(locate_keys(text), (*above, name))}"
        owners = [procedure for procedure, kind in SETTINGS_TABLES.items() if name in kind.model_fields]
        if owners:
            raise InputError(
                where, f"the key {name!r} stands outside a table", f"Put it under [{'] or ['.join(owners)}]"
            )
        near = get_close_matches(name, SETTINGS_TABLES, n=1)
        hint = (
            f"Did you mean [{near[0]}]?"
            if near
            else f"The tables are {', '.join(f'[{name}]' for name in SETTINGS_TABLES)}"
        )
        raise InputError(where, f"unknown table or key {name!r}", hint)
    return tables, above
