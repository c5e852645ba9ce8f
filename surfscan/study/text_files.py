"""Which text files of a folder hold potential sweeps or rig logs, told by their content."""

from __future__ import annotations

from collections.abc import Generator, Iterable
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Literal, cast

from surfscan.errors import InputError
from surfscan.immersion.exposure_settings import ExposureSettings

if TYPE_CHECKING:
    from surfscan.immersion.log_reading import Page

_SUFFIXES = (".csv", ".txt", ".tsv", ".dat", ".asc", ".log")
_LARGEST_SWEEP_BYTES = 50_000_000
_MOST_RUNS = 20
"""A table without headings that turns back and forth more often is taken for none of ours."""


@dataclass(frozen=True)
class TextKind:
    """What a text file holds.

    Attributes
    ----------
    kind : {"sweep", "log"}
    told_by : {"headings", "content"}
    told : str
        What was found in it, in words.
    reference : str or None
        Reference electrode that the header of a sweep names.
    """

    kind: Literal["sweep", "log"]
    told_by: Literal["headings", "content"]
    told: str
    reference: str | None = None


def text_files(paths: Iterable[Path]) -> list[Path]:
    """Those that are named as text, in order of name."""
    return sorted(path for path in paths if path.suffix.lower() in _SUFFIXES)


def kind_of_text(path: Path) -> TextKind | None:
    """What a file holds; None where it is neither a log nor a sweep, or cannot be read as one.

    A log is told by a column of time and one of temperature, pH, flow, pressure or acid, named in its
    headings; a sweep by columns of potential and current, named or, in a table without headings, told by
    their numbers.

    Parameters
    ----------
    path : Path
    """
    return _log(path) or _sweep(path)


def _log(path: Path) -> TextKind | None:
    from surfscan.immersion.log_reading import LogReader

    reader = LogReader(path, ExposureSettings())
    try:
        with closing(cast("Generator[Page, None, None]", reader.pages())) as pages:
            first = next(pages, None)
    except (InputError, ValueError):
        return None
    if first is None or reader.form is None or not reader.form.channels:
        return None
    return TextKind("log", "headings", ", ".join(channel.name for channel in reader.form.channels))


def _sweep(path: Path) -> TextKind | None:
    from surfscan.electrochemistry.reading import read_sweep

    try:
        if path.stat().st_size > _LARGEST_SWEEP_BYTES:
            return None
        sweep = read_sweep(path)
    except (InputError, OSError):
        return None
    named = all(
        c.how == "name" for c in sweep.columns if c.role in ("potential", "current", "current density")
    )
    if not named and len(sweep.scans) > _MOST_RUNS:
        return None
    told = ", ".join(f"column {c.column} as {c.role} in {c.unit}" for c in sweep.columns)
    return TextKind("sweep", "headings" if named else "content", told, sweep.reference)
