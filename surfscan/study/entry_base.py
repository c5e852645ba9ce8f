"""What all tables of a manifest share: strict reading, kinds of value, faults in our own words."""

from __future__ import annotations

from datetime import date, datetime
from pathlib import PurePosixPath
from typing import Annotated

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field
from pydantic_core import PydanticCustomError

from surfscan.study.faults import OWN_FAULT


def posix(value: object) -> object:
    """A path with forward slashes; anything else as it is."""
    return PurePosixPath(value.replace("\\", "/")).as_posix() if isinstance(value, str) and value else value


def as_tuple(value: object) -> object:
    """A list as tuple; anything else as it is."""
    return tuple(value) if isinstance(value, list) else value


def one_or_more(value: object) -> object:
    """A single number as tuple of one, a list as tuple; anything else as it is."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return (value,)
    return as_tuple(value)


def as_stamp(value: object) -> object:
    """A date or time of TOML as text; anything else as it is."""
    return value.isoformat() if isinstance(value, datetime | date) else value


def own_fault(what: str, remedy: str, at: str = "") -> PydanticCustomError:
    """A fault of a table that brings its own words; `at` is the key it stands at, where one can be named."""
    return PydanticCustomError(OWN_FAULT, "{what}. {remedy}", {"what": what, "remedy": remedy, "at": at})


Text = Annotated[str, Field(min_length=1)]
Finite = Annotated[float, Field(allow_inf_nan=False)]
Positive = Annotated[float, Field(gt=0, allow_inf_nan=False)]
NotNegative = Annotated[float, Field(ge=0, allow_inf_nan=False)]
Share = Annotated[float, Field(ge=0, lt=1, allow_inf_nan=False)]
Numbers = Annotated[tuple[Finite, ...], BeforeValidator(as_tuple), Field(min_length=1)]
NumberOrNumbers = Annotated[tuple[Finite, ...], BeforeValidator(one_or_more), Field(min_length=1)]
RelativeFile = Annotated[str, BeforeValidator(posix), Field(min_length=1)]


class ManifestTable(BaseModel):
    """Base of the tables: unknown keys and numbers in quotes are refused, and what was checked stays."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)
