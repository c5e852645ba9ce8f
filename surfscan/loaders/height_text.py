"""Heights as text: delimited grids, and lists of x, y, z points on a regular grid.

Only numbers with a header count: a table with named columns other than x, y and z is no height map.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from surfscan.errors import InputError
from surfscan.loaders.base import MAX_DECODED_BYTES, LoadedImage, ScaleTag, check_single_image, check_size
from surfscan.loaders.lattice import to_lattice
from surfscan.loaders.sdf import SdfLoader
from surfscan.loaders.text_header import Columns, Statements, find_columns, read_statements
from surfscan.loaders.text_layout import TextLayout, find_layout, normalise, read_table, split

NARROW_COLUMNS, NARROW_RATIO = 8, 10
"""Fewer columns with so many times more lines are a table and not a grid (common practice, no source)."""

NO_HEIGHT_UNIT = (
    "The file states no unit of height: heights are read as µm unless one is stated (--height-unit on the "
    "command line, height_unit in study.toml)."
)

_REMEDY = "Export the heights as a grid of numbers, or as columns named x, y and z"
_HEAD_BYTES = 2**20
_FEWEST_LABELS = 4


class HeightTextLoader:
    """Loader of delimited height grids and x, y, z lists.

    Columns are parted by tabs, semicolons, commas, bars or white space; decimals have a point or, where it
    does not part columns, a comma. Gaps are empty fields and the words of `number_text.is_unmeasured`. The
    first line of a grid is its first row; lists may come in any order, the smallest y makes the first row.
    Three columns without names are x, y, z.
    """

    formats = "height grids and x, y, z lists as text"

    def recognises(self, head: bytes) -> bool:
        """Whether the file starts with lines of numbers, under a header or none, and is no SDF file."""
        if SdfLoader().recognises(head):
            return False
        text = normalise(head)
        return text is not None and find_layout(text, complete=len(head) < 4096) is not None

    def load(self, path: Path, page: int | None) -> LoadedImage:
        """Read the heights; see `surfscan.loaders.base.Loader`."""
        check_single_image(path, page)
        size = path.stat().st_size
        if size > MAX_DECODED_BYTES:
            raise InputError(
                path,
                f"{size / 1e9:.3g} GB of text are above the limit of {MAX_DECODED_BYTES / 1e9:.3g} GB",
                "Cut it into smaller fields or export a binary format",
            )
        text = normalise(path.read_bytes())
        if text is None:
            raise InputError(path, "the text holds bytes that are no text: damaged", _REMEDY)
        layout = find_layout(text[:_HEAD_BYTES], complete=len(text) <= _HEAD_BYTES)
        if layout is None:
            raise InputError(path, "the text is not a table of numbers alone", _REMEDY)
        values = _read(path, text, layout)
        stated = read_statements(layout.header, layout.decimal)
        columns = find_columns(layout.header, layout.delimiter, values.shape[1])
        if columns is None and values.shape[1] == 3:
            columns = Columns(0, 1, 2)
        with np.errstate(over="ignore", invalid="ignore", divide="ignore"):  # absurd numbers are judged after
            if columns is not None:
                return _points(path, values, columns, stated)
            return _grid(path, values, stated, text, layout)


def _read(path: Path, text: bytes, layout: TextLayout) -> np.ndarray:
    body = text[layout.start :]
    end = body.find(b"\n")
    columns = len(split(body[: end if end >= 0 else len(body)], layout.delimiter))
    check_size(path, body.count(b"\n") + 1, columns, 8)
    try:
        return read_table(body, layout, text.count(b"\n", 0, layout.start) + 1)
    except ValueError as error:
        raise InputError(path, f"the table of numbers is damaged: {error}", _REMEDY) from None


def _points(path: Path, values: np.ndarray, columns: Columns, stated: Statements) -> LoadedImage:
    try:
        found = to_lattice(*(np.ascontiguousarray(values[:, k]) for k in (columns.x, columns.y, columns.z)))
    except ValueError as error:
        raise InputError(
            path,
            f"the file was read as a list of x, y, z: {error}",
            "Resample the points on a regular grid, and export that",
        ) from None
    check_size(path, found.z.shape[0], found.z.shape[1], 8)
    unit = columns.z_unit or stated.height_unit
    x_unit = columns.x_unit or columns.y_unit or stated.x_unit
    y_unit = columns.y_unit or columns.x_unit or stated.y_unit
    return LoadedImage(
        found.z,
        "x, y, z list (text)",
        kind="heightmap",
        scale_tags=(
            ScaleTag("spacing of the x, y, z list", "size", found.pitch_x, found.pitch_y, x_unit, y_unit),
        ),
        height_unit=unit,
        warnings=() if unit else (NO_HEIGHT_UNIT,),
    )


def _grid(path: Path, values: np.ndarray, stated: Statements, text: bytes, layout: TextLayout) -> LoadedImage:
    warnings: list[str] = []
    tags: list[ScaleTag] = []
    if stated.pitch is not None:
        tags.append(ScaleTag("pitch in the header", "size", *stated.pitch, *stated.pitch_units))
    steps = _label_steps(values, text, layout)
    if steps is not None:
        values = values[1:, 1:]
        if steps == (1.0, 1.0):
            warnings.append(
                "The first line and the first column count the columns and rows; they are left out."
            )
        else:
            warnings.append("The first line and the first column are taken as x and y and left out.")
            unit = stated.any_unit
            tags.append(ScaleTag("steps of x and y", "size", abs(steps[0]), abs(steps[1]), unit, unit))
    elif _first_line_counts(values):
        values = values[1:]
        warnings.append("The first line counts the columns (0, 1, 2, ... or 1, 2, 3, ...) and is left out.")
    rows, cols = values.shape
    if rows < 2 or cols < 3 or (cols < NARROW_COLUMNS and rows >= NARROW_RATIO * cols):
        raise InputError(
            path,
            f"{rows} lines of {cols} numbers are a table or a profile rather than a height grid",
            _REMEDY,
        )
    if not stated.height_unit:
        warnings.append(NO_HEIGHT_UNIT)
    return LoadedImage(
        np.ascontiguousarray(values),
        "height grid (text)",
        kind="heightmap",
        scale_tags=tuple(tags),
        height_unit=stated.height_unit,
        warnings=tuple(warnings),
    )


def _label_steps(values: np.ndarray, text: bytes, layout: TextLayout) -> tuple[float, float] | None:
    """Steps of x and y where the first line and first column hold coordinates round an empty corner."""
    end = text.find(b"\n", layout.start)
    corner = split(text[layout.start : end], layout.delimiter)[0].strip()
    if corner or min(values.shape) <= _FEWEST_LABELS:
        return None
    steps = [_even_step(values[0, 1:]), _even_step(values[1:, 0])]
    return None if steps[0] is None or steps[1] is None else (steps[0], steps[1])


def _even_step(labels: np.ndarray) -> float | None:
    if not np.isfinite(labels).all():
        return None
    step = float(labels[-1] - labels[0]) / (labels.size - 1)
    even = labels[0] + step * np.arange(labels.size)
    if step == 0 or not np.abs(labels - even).max() <= 1e-3 * abs(step):
        return None
    return float(f"{step:.10g}")


def _first_line_counts(values: np.ndarray) -> bool:
    """Whether the first line is 0, 1, 2, ... or 1, 2, 3, ... over lines that none but decimals fill."""
    if values.shape[0] < _FEWEST_LABELS or values.shape[1] < _FEWEST_LABELS:
        return False
    counting = np.arange(values.shape[1])
    if not (np.array_equal(values[0], counting) or np.array_equal(values[0], counting + 1)):
        return False
    rest = values[1:]
    whole = rest == np.rint(rest)
    return bool(np.count_nonzero(whole) <= 0.01 * np.count_nonzero(np.isfinite(rest)))
