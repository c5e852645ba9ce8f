"""Settings from a TOML file: tables [pits] and [degraded], or the [settings.*] tables of a study.toml."""

from __future__ import annotations

import tomllib
from difflib import get_close_matches
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from surfscan.errors import InputError
from surfscan.procedures.settings import DegradedSettings, PitSettings

SETTINGS = {"pits": PitSettings, "degraded": DegradedSettings}
AnySettings = TypeVar("AnySettings", PitSettings, DegradedSettings)


def read_settings(path: Path | None, procedure: str, kind: type[AnySettings]) -> AnySettings:
    """Settings of one procedure, defaults where the file does not say.

    Parameters
    ----------
    path : Path or None
        TOML file; None gives the defaults.
    procedure : str
        "pits" or "degraded": the table read.
    kind : type
        The settings class of that procedure.

    Raises
    ------
    InputError
        If the file cannot be read, or holds an unknown table, an unknown key or a value out of range.
    """
    if path is None:
        return kind()
    tables = _tables(path)
    try:
        return kind(**tables.get(procedure, {}))
    except ValidationError as fault:
        raise InputError(path, _fault_text(fault, procedure), _remedy_text(fault, kind)) from None


def _tables(path: Path) -> dict[str, dict[str, Any]]:
    try:
        content = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except OSError as fault:
        raise InputError(
            path, f"cannot be read ({fault.strerror})", "Check the name of the settings file"
        ) from fault
    except UnicodeDecodeError as fault:
        raise InputError(path, "is not UTF-8 text", "Give a TOML file such as study.toml") from fault
    except tomllib.TOMLDecodeError as fault:
        raise InputError(path, f"is not valid TOML ({fault})", "Correct that line") from fault
    tables = content.get("settings", content)
    for name, table in tables.items():
        if name in SETTINGS and isinstance(table, dict):
            continue
        owners = [p for p, kind in SETTINGS.items() if name in kind.model_fields]
        if owners:
            raise InputError(
                path, f"the key {name!r} stands outside a table", f"Put it under [{']` or `['.join(owners)}]"
            )
        near = get_close_matches(name, SETTINGS, n=1)
        hint = f"Did you mean [{near[0]}]?" if near else "The tables are [pits] and [degraded]"
        raise InputError(path, f"unknown table or key {name!r}", hint)
    return dict(tables)


def _fault_text(fault: ValidationError, procedure: str) -> str:
    said = []
    for error in fault.errors():
        key = ".".join(str(part) for part in error["loc"])
        if error["type"] == "extra_forbidden":
            said.append(f"unknown key {key!r} in [{procedure}]")
        else:
            said.append(f"{key} = {error['input']!r} in [{procedure}]: {error['msg']}")
    return "; ".join(said)


def _remedy_text(fault: ValidationError, kind: type[PitSettings] | type[DegradedSettings]) -> str:
    unknown = [str(e["loc"][-1]) for e in fault.errors() if e["type"] == "extra_forbidden"]
    near = [match for key in unknown for match in get_close_matches(key, kind.model_fields, n=1)]
    if near:
        return f"Did you mean {' and '.join(near)}?"
    if unknown:
        return f"The keys are {', '.join(kind.model_fields)}"
    return "Correct the value"
