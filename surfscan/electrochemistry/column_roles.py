"""Which column of a sweep file is what: as stated, by its heading, or by what it holds; always reported."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from surfscan.electrochemistry.column_content import (
    is_constant,
    is_count,
    is_increasing,
    is_scan_number,
    span,
    unevenness,
)
from surfscan.electrochemistry.headers import Heading
from surfscan.electrochemistry.sweep import ColumnRead
from surfscan.electrochemistry.sweep_units import Unit, parse_unit
from surfscan.errors import InputError

ROLES = ("potential", "current", "current density", "time", "scan")
_DEFAULT_UNITS = {"potential": "V", "current": "A", "current density": "A/cm²", "time": "s"}
_MILLIVOLT_ABOVE = 20.0
_LEAST_SPAN_V = 0.002
_LEAST_TIME_RATIO = 0.2
"""A column is time only if the potential then moves by less than 0.2 V (or mV) a second (or unit of time)."""
_CLEAR = 2.0

_REMEDY = (
    'State which column is which, by name or number from 1: columns = {{"potential": 1, "current": 2}} '
    "(the file has: {})"
)


@dataclass(frozen=True)
class Role:
    """A column taken for something.

    Attributes
    ----------
    column : int
        First column 0.
    read : ColumnRead
    factor : float
        Times it, values are in V, A, A/cm² or s.
    is_logarithm : bool
        Whether values are logarithms (of the unit in `read`).
    is_natural : bool
        Whether they are natural ones; decimal otherwise.
    is_absolute : bool
        Whether the heading says that the sign was dropped.
    """

    column: int
    read: ColumnRead
    factor: float
    is_logarithm: bool = False
    is_natural: bool = False
    is_absolute: bool = False


def assign_roles(
    path: Path,
    values: np.ndarray,
    headings: Sequence[Heading],
    words: Sequence[bool],
    clocks: Sequence[int] = (),
    stated: Mapping[str, str | int] | None = None,
    units: Mapping[str, str] | None = None,
) -> tuple[dict[str, Role], tuple[str, ...]]:
    """Tell which column is potential, current or current density, time and scan number.

    Parameters
    ----------
    path : Path
        For messages.
    values : ndarray of shape (n, columns)
    headings : sequence of Heading
        One for each column.
    words : sequence of bool
        Whether each column holds words.
    clocks : sequence of int
        Columns that hold times of day, in seconds; first column 0.
    stated : mapping of role to heading or number, optional
        Numbers count from 1.
    units : mapping of role to unit, optional
        Overrules the file.

    Returns
    -------
    roles : dict of str to Role
        "potential" and one of "current" and "current density" at least.
    warnings : tuple of str

    Raises
    ------
    InputError
        If potential or current cannot be told, or what is stated does not fit the file.
    """
    chooser = _Chooser(path, values, headings, words, clocks)
    chooser.take_stated(stated or {}, units or {})
    chooser.take_named()
    chooser.take_by_content()
    return chooser.finish(units or {})


class _Chooser:
    def __init__(
        self,
        path: Path,
        values: np.ndarray,
        headings: Sequence[Heading],
        words: Sequence[bool],
        clocks: Sequence[int],
    ) -> None:
        self.path = path
        self.values = values
        self.headings = headings
        self.words = words
        self.clocks = clocks
        self.found: dict[str, tuple[int, str]] = {}
        self.warnings: list[str] = []
        listed = (f"{k + 1} {h.text!r}" if h.text else f"{k + 1}" for k, h in enumerate(headings))
        self.remedy = _REMEDY.format(", ".join(listed))

    @property
    def has_current(self) -> bool:
        return "current" in self.found or "current density" in self.found

    def take_stated(self, stated: Mapping[str, str | int], units: Mapping[str, str]) -> None:
        """Columns that the user names."""
        for role in (*stated, *units):
            if role not in ROLES:
                raise InputError(
                    self.path, f"{role!r} is no role of a column", f"Roles are: {', '.join(ROLES)}"
                )
        for role, wanted in stated.items():
            column = self._column(role, wanted)
            if column in (taken for taken, _ in self.found.values()):
                raise InputError(self.path, f"column {column + 1} is stated to be two things", self.remedy)
            if self.words[column]:
                raise InputError(
                    self.path, f"column {column + 1}, stated as {role}, holds words", self.remedy
                )
            self.found[role] = (column, "stated")
        if "current" in self.found and "current density" in self.found:
            raise InputError(self.path, "both current and current density are stated", "State one of the two")

    def _column(self, role: str, wanted: str | int) -> int:
        count = len(self.headings)
        if isinstance(wanted, str):
            same = [k for k, h in enumerate(self.headings) if h.text == wanted]
            same = same or [
                k for k, h in enumerate(self.headings) if h.text.lower() == wanted.strip().lower()
            ]
            if len(same) == 1:
                return same[0]
            if not same and wanted.strip().isdecimal():
                wanted = int(wanted)
            else:
                how = "twice or more" if same else "nowhere"
                raise InputError(
                    self.path, f"the heading {wanted!r}, stated as {role}, stands {how}", self.remedy
                )
        if not 1 <= wanted <= count:
            raise InputError(
                self.path,
                f"column {wanted}, stated as {role}, is not one of the {count} of the file",
                self.remedy,
            )
        return wanted - 1

    def take_named(self) -> None:
        """Columns whose headings say what they are."""
        for role in ("potential", "current density", "current", "time", "scan"):
            if role in self.found or ("current" in role and self._is_stated_current()):
                continue
            columns = [k for k in self._free() if self.headings[k].role == role]
            if not columns:
                continue
            self.found[role] = (self._one_of(role, columns), "name")
        if "current" in self.found and "current density" in self.found:
            self._drop_current()

    def _is_stated_current(self) -> bool:
        return any(self.found.get(role, (0, ""))[1] == "stated" for role in ("current", "current density"))

    def _drop_current(self) -> None:
        """Of current and density, as headings name both, the density stays unless it alone is a logarithm."""
        current, density = self.found["current"][0], self.found["current density"][0]
        if self.headings[density].is_logarithm and not self.headings[current].is_logarithm:
            del self.found["current density"]
            return
        del self.found["current"]
        self.warnings.append(
            f"The file holds current density (column {density + 1}) and current (column {current + 1}): the "
            "density is used, with whatever area it was computed for."
        )

    def _one_of(self, role: str, columns: list[int]) -> int:
        """One of several columns with headings of the same kind."""
        for is_worse in (
            lambda h: h.is_set_value,
            lambda h: h.is_logarithm,
            lambda h: h.is_absolute,
            lambda h: h.unit is None,
        ):
            better = [k for k in columns if not is_worse(self.headings[k])]
            columns = better or columns
        first = columns[0]
        for other in columns[1:]:
            a, b = self.values[:, first], self.values[:, other]
            if role in ("time", "scan") or np.array_equal(a, b, equal_nan=True):
                continue
            named = ", ".join(repr(self.headings[k].text) for k in columns)
            raise InputError(self.path, f"more than one column is headed as {role}: {named}", self.remedy)
        return first

    def _free(self) -> list[int]:
        """Columns of numbers not taken yet."""
        taken = {column for column, _ in self.found.values()}
        return [k for k in range(len(self.headings)) if k not in taken and not self.words[k]]

    def take_by_content(self) -> None:
        """What is still missing, from columns whose headings say nothing."""
        if "time" not in self.found:
            clocks = [k for k in self._free() if k in self.clocks]
            if clocks:
                self.found["time"] = (clocks[0], "content")
        if "potential" in self.found and self.has_current:
            return
        free = [k for k in self._free() if not self.headings[k].role and not is_constant(self.values[:, k])]
        needed = ("potential" not in self.found) + (not self.has_current)
        if len(free) > needed:
            free = self._without_counts(free, needed)
        if "potential" not in self.found and free:
            self._take_potential(free)
        if not self.has_current and free:
            self._take_current(free)

    def _without_counts(self, free: list[int], needed: int) -> list[int]:
        """Columns less those that count rows, number scans or tell the time."""
        for test, role in ((is_count, ""), (is_scan_number, "scan")):
            for k in list(free):
                if len(free) > needed and test(self.values[:, k]):
                    free.remove(k)
                    if role and role not in self.found:
                        self.found[role] = (k, "content")
        rising = [k for k in free if is_increasing(self.values[:, k]) and self.values[0, k] >= 0]
        if len(free) > needed and rising and "time" not in self.found:
            time = max(rising, key=lambda k: span(self.values[:, k]))
            rest = [k for k in free if k != time]
            least = _LEAST_TIME_RATIO * span(self.values[:, time])
            slow = [k for k in rest if span(self.values[:, k]) < least]
            if "potential" in self.found or any(unevenness(self.values[:, k]) < 0.5 for k in slow):
                self.found["time"] = (time, "content")
                return rest
        return free

    def _take_potential(self, free: list[int]) -> None:
        """The column that moves in the most even steps; where two do, the larger numbers."""
        scores = {k: unevenness(self.values[:, k]) for k in free}
        wide = [k for k in free if span(self.values[:, k]) >= _LEAST_SPAN_V]
        order = sorted(wide or free, key=lambda k: (scores[k], k))
        best = order[0]
        if len(order) > 1 and scores[order[1]] < _CLEAR * scores[best] + 0.02:
            rivals = order[:2]
            best = max(rivals, key=lambda k: float(np.nanmax(np.abs(self.values[:, k]))))
            self.warnings.append(
                f"Columns {rivals[0] + 1} and {rivals[1] + 1} both move in even steps: column {best + 1}, "
                "with the larger numbers, is taken as the potential."
            )
        self.found["potential"] = (best, "content")
        free.remove(best)

    def _take_current(self, free: list[int]) -> None:
        """The column left over; of several, the first if the others are multiples of it."""
        first = self.values[:, free[0]]
        size = float(np.nanmax(np.abs(first)))
        for k in free[1:]:
            other = self.values[:, k]
            ratio = float(np.nanmax(np.abs(other))) / size if size else 0.0
            if not np.allclose(np.abs(other), ratio * np.abs(first), rtol=1e-3, atol=0, equal_nan=True):
                raise InputError(self.path, "it cannot be told which column is the current", self.remedy)
        self.found["current"] = (free[0], "content")
        free.pop(0)

    def finish(self, units: Mapping[str, str]) -> tuple[dict[str, Role], tuple[str, ...]]:
        """Roles with units and factors."""
        if "potential" not in self.found:
            raise InputError(self.path, "no column is the potential, by heading or by content", self.remedy)
        if not self.has_current:
            raise InputError(self.path, "no column is the current, by heading or by content", self.remedy)
        roles = {role: self._role(role, *self.found[role], units) for role in ROLES if role in self.found}
        return roles, tuple(self.warnings)

    def _role(self, role: str, column: int, how: str, units: Mapping[str, str]) -> Role:
        heading = self.headings[column]
        unit, how_unit = heading.unit, ""
        if role in units:
            unit = parse_unit(units[role])
            if unit is None or unit.kind != role:
                raise InputError(
                    self.path,
                    f"{units[role]!r} is no unit of {role}",
                    f"Such as: {_DEFAULT_UNITS.get(role, 'none')}",
                )
        elif unit is not None and unit.kind != role and role != "scan":
            self.warnings.append(
                f"The unit {unit.text!r} of column {column + 1} ({heading.text!r}) is none of {role}: "
                f"{_DEFAULT_UNITS[role]} is taken."
            )
            unit = None
        if unit is None and role != "scan":
            unit, how_unit = self._usual_unit(role, column)
            if how_unit:
                self.warnings.append(how_unit)
        read = ColumnRead(role, column + 1, heading.text, _shown(unit, heading), how)
        return Role(
            column,
            read,
            unit.factor if unit else 1.0,
            heading.is_logarithm and "current" in role,
            heading.is_natural,
            heading.is_absolute and "current" in role,
        )

    def _usual_unit(self, role: str, column: int) -> tuple[Unit | None, str]:
        """Unit of a column for which none is stated, and what to say of it."""
        if column in self.clocks:
            return Unit("time", "s", 1.0), ""
        text = _DEFAULT_UNITS[role]
        values = np.abs(self.values[:, column])
        largest = float(np.nanmax(values)) if np.isfinite(values).any() else 0.0
        if role == "potential" and largest > _MILLIVOLT_ABOVE:
            text = "mV"
        why = f" (values up to {largest:.4g})" if text == "mV" else ""
        return parse_unit(text), f"No unit is stated for the {role}: {text} is taken{why}."


def _shown(unit: Unit | None, heading: Heading) -> str:
    text = unit.text if unit else ""
    return f"{'ln' if heading.is_natural else 'log10'} {text}".strip() if heading.is_logarithm else text
