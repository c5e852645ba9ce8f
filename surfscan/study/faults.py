"""Validation errors in the words of the person who wrote the file: which key, which unit, what to write."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from difflib import get_close_matches
from typing import Any, get_args

from pydantic import BaseModel, ValidationError

# Unit -> (dimension, size in the first unit of that dimension)
_UNITS = {
    "um": ("length", 1.0),
    "nm": ("length", 1e-3),
    "mm": ("length", 1e3),
    "cm": ("length", 1e4),
    "m": ("length", 1e6),
    "inch": ("length", 25400.0),
    "in": ("length", 25400.0),
    "mil": ("length", 25.4),
    "mm2": ("area", 1.0),
    "um2": ("area", 1e-6),
    "cm2": ("area", 100.0),
    "m2": ("area", 1e6),
    "h": ("time", 1.0),
    "s": ("time", 1 / 3600),
    "min": ("time", 1 / 60),
    "d": ("time", 24.0),
    "w": ("time", 168.0),
    "g_per_cm3": ("density", 1.0),
    "kg_per_m3": ("density", 1e-3),
    "px": ("pixels", 1.0),
    "g": ("mass", 1.0),
    "mg": ("mass", 1e-3),
    "kg": ("mass", 1e3),
    "mL": ("volume", 1.0),
    "L": ("volume", 1e3),
    "V": ("potential", 1.0),
    "mV": ("potential", 1e-3),
    "kPa": ("pressure", 1.0),
    "hPa": ("pressure", 0.1),
    "mbar": ("pressure", 0.1),
    "bar": ("pressure", 100.0),
    "degC": ("temperature", 1.0),
    "deg": ("angle", 1.0),
    "rad": ("angle", math.degrees(1.0)),
}
_OTHER_SPELLINGS = {
    "µm": "um",
    "μm": "um",
    "micron": "um",
    "microns": "um",
    "micrometre": "um",
    "micrometer": "um",
    "hr": "h",
    "hrs": "h",
    "hour": "h",
    "hours": "h",
    "day": "d",
    "days": "d",
    "week": "w",
    "weeks": "w",
    "sec": "s",
    "seconds": "s",
    "minutes": "min",
    "pixel": "px",
    "pixels": "px",
    "°": "deg",
    "degree": "deg",
    "degrees": "deg",
    "ml": "mL",
    "l": "L",
    "°C": "degC",
    "mm²": "mm2",
    "cm²": "cm2",
    "µm²": "um2",
    "μm²": "um2",
    "g/cm3": "g_per_cm3",
    "g/cm³": "g_per_cm3",
    "kg/m3": "kg_per_m3",
    "kg/m³": "kg_per_m3",
}
_IN_PLAIN = {
    "um": "µm",
    "mm2": "mm²",
    "h": "h",
    "g_per_cm3": "g/cm³",
    "px": "px",
    "deg": "°",
    "degC": "°C",
}
_OTHER_KEYS = {"drawn_width_um": "drawn_strut_width_um"}
"""What a key is called in another table -> what it is called where that name is not known."""

OWN_FAULT = "surfscan_fault"
"""Type of a validation error that brings its own words: ``what``, ``remedy`` and ``at``, the key that it
stands at or nothing, in its context."""

_NUMBER_AND_UNIT = re.compile(r"\s*([-+]?\d+(?:[.,]\d+)?(?:[eE][-+]?\d+)?)\s*([^\d\s.,].*?)?\s*")


def describe(error: ValidationError, model: type[BaseModel]) -> list[tuple[tuple[str | int, ...], str, str]]:
    """Faults of one table as (key path within the table, what, remedy).

    Parameters
    ----------
    error : ValidationError
        From validating the table with `model`.
    model : subclass of BaseModel
        Its field names carry the units.
    """
    found: dict[tuple[object, ...], tuple[tuple[str | int, ...], str, str]] = {}
    for item in error.errors(include_url=False):
        path = tuple(item["loc"])
        if item["type"] == OWN_FAULT and item["ctx"]["at"]:
            path = (*path, str(item["ctx"]["at"]))
        named = [part for part in path if isinstance(part, str)]
        name = named[-1] if named else ""
        what, remedy = _describe_one(item["type"], item, name, _fields(model, path))
        found.setdefault(
            (*named, what, remedy), (path, what, remedy)
        )  # one number given for x and y is one fault
    return list(found.values())


def _said(value: object) -> str:
    return str(value).lower() if isinstance(value, bool) else repr(value)


def _fields(model: type[BaseModel], path: Iterable[str | int]) -> list[str]:
    for part in list(path)[:-1]:
        field = model.model_fields.get(str(part))
        inner = _inner_model(field.annotation) if field else None
        model = inner or model
    return list(model.model_fields)


def _inner_model(annotation: object) -> type[BaseModel] | None:
    """Model that a field holds, by itself or in a list, a tuple or beside None."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return annotation
    return next(filter(None, map(_inner_model, get_args(annotation))), None)


def _describe_one(kind: str, item: Mapping[str, Any], name: str, fields: list[str]) -> tuple[str, str]:
    value = item.get("input")
    if kind == OWN_FAULT:
        return str(item["ctx"]["what"]), str(item["ctx"]["remedy"])
    if kind == "extra_forbidden":
        return f"unknown key {name!r}", suggest_key(name, value, fields)
    if kind == "missing":
        return f"{name!r} is missing", f"Add {name} = ..."
    if kind == "value_error" and isinstance(value, Mapping):  # of a table as a whole
        return str(item["msg"]).removeprefix("Value error, "), "Correct what does not fit together"
    unit = _unit_of(name)[1]
    said = f"{name} = {_said(value)}" if name else f"{_said(value)} in place of a table"
    if unit and isinstance(value, str):
        return f"{said} is not a bare number", _number_remedy(name, unit, value)
    if kind == "literal_error":
        expected = str(item["ctx"]["expected"])
        near = get_close_matches(str(value), re.findall(r"'([^']*)'", expected), 1)
        hint = f"Did you mean {near[0]!r}? " if near else ""
        return f"{said} is not known", f"{hint}Write one of {expected}"
    message = str(item["msg"]).removeprefix("Value error, ").removeprefix("Input ")
    in_unit = f" ({_IN_PLAIN.get(unit, unit)})" if unit else ""
    return f"{said} cannot be used", f"{name or 'It'}{in_unit} {message}"


def suggest_key(name: str, value: object, fields: list[str]) -> str:
    """What to write instead of an unknown key.

    Parameters
    ----------
    name : str
        The unknown key.
    value : object
        Its value, converted where only the unit is another one.
    fields : list of str
        Keys that are known at that place.
    """
    if _OTHER_KEYS.get(name) in fields:
        return f"Write {_OTHER_KEYS[name]} here"
    stem, unit = _unit_of(name)
    for field in fields:
        field_stem, field_unit = _unit_of(field)
        if not field_unit or field_stem != stem:
            continue
        plain = _IN_PLAIN.get(field_unit, field_unit)
        if not unit:
            return f"Say the unit: write {field} ({plain})"
        if factor := _factor(unit, field_unit):
            given = value if isinstance(value, list) else [value]
            numbers = [n for n in given if isinstance(n, (int, float)) and not isinstance(n, bool)]
            if given and len(numbers) == len(given):
                converted = ", ".join(f"{n * factor:.10g}" for n in numbers)
                new = f"[{converted}]" if isinstance(value, list) else converted
                return f"This is in {plain} here: write {field} = {new}"
            return f"This is in {plain} here: write {field}"
        return f"This is in {plain} here: write {field} ({unit!r} does not convert to it)"
    near = get_close_matches(name, fields, 1, 0.6)
    if near:
        return f"Did you mean {near[0]!r}?"
    return f"Known here: {', '.join(fields)}"


def _number_remedy(name: str, unit: str, value: str) -> str:
    plain = _IN_PLAIN.get(unit, unit)
    match = _NUMBER_AND_UNIT.fullmatch(value)
    if not match:
        return f"Write a bare number in {plain}: {name} = ..."
    given = (match[2] or "").strip()
    factor = _factor(_OTHER_SPELLINGS.get(given, given), unit) if given else 1.0
    if not factor:
        return f"The unit {given!r} does not convert to {plain}: write {name} as a bare number in {plain}"
    number = float(match[1].replace(",", ".")) * factor
    return f"Write the number without quotes, in {plain}: {name} = {number:.10g}"


def _unit_of(name: str) -> tuple[str, str]:
    """Stem and unit of a key: ``pixel_size_um`` -> ``("pixel_size", "um")``."""
    for spelled in sorted([*_UNITS, *_OTHER_SPELLINGS], key=len, reverse=True):
        if name.endswith(f"_{spelled}"):
            return name.removesuffix(f"_{spelled}"), _OTHER_SPELLINGS.get(spelled, spelled)
    return name, ""


def _factor(unit: str, wanted: str) -> float | None:
    dimension, size = _UNITS.get(unit, ("", 0.0))
    wanted_dimension, wanted_size = _UNITS[wanted]
    return size / wanted_size if dimension == wanted_dimension else None
