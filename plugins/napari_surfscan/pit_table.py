"""The table of pits: one row a pit, sorted and filtered at once at any size a field has."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from typing import Any

import numpy as np
from qtpy.QtCore import QAbstractTableModel, QModelIndex, QObject, Qt

from napari_surfscan.settings_form import name_in_words
from surfscan.columns import Table, columns
from surfscan.report.rounding import significant

FIRST = (
    "label",
    "status",
    "doubt",
    "equivalent_diameter",
    "depth",
    "contrast",
    "area",
    "near_limit",
    "origin",
    "aspect",
)
"""Columns that come first, by name without unit; the others follow in the order of the table."""

_HIDDEN = {"row_um", "col_um", "settled", "redrawn"}
_OWN_WORDS = {
    "label": ("Pit", "Number of the pit in this review; it stays the same through every edit."),
    "status": ("Status", "What a person, or the procedure, has decided."),
    "origin": ("Came by", "How the outline came about."),
    "doubt": (
        "Doubt",
        "How near the pit lies to the limits: 1 at a limit, 0.5 at twice the nearest, 0 far from all.",
    ),
    "equivalent_diameter_um": ("Diameter", "Diameter of the circle of the same area."),
    "equivalent_diameter_px": ("Diameter", "Diameter of the circle of the same area."),
    "near_limit": ("Near limit", "Which limits the pit only just passed."),
}
_MARKS = {"rejected": "✕ rejected", "unsure": "? not sure", "accepted": "✓ accepted"}
_UNITS_IN_NAMES = ("_um3", "_um2", "_um", "_px", "_deg", "_per_mm2")

Parent = QModelIndex()


class PitTableModel(QAbstractTableModel):
    """Rows of a review as a Qt table.

    Sorting and hiding act on an array of row numbers, so 5000 rows take milliseconds.
    """

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._rows: Table = {}
        self._names: list[str] = []
        self._ids = np.empty(0, np.int64)
        self._order = np.empty(0, np.int64)
        self._place: dict[int, int] = {}
        self._sorted_by: tuple[str, bool] | None = None
        self._hidden_ids: frozenset[int] = frozenset()
        self._definitions = {c.name: (c.unit, c.definition) for c in columns("pits")}

    def show_rows(self, rows: Mapping[str, np.ndarray], *, in_place: bool = False) -> None:
        """Take a whole table: column `label`, and whatever else the review has.

        Columns without a single value (such as depths on a micrograph) are left out. With `in_place` rows
        stay where they are shown though their values have changed; new ones come at the end.
        """
        self.beginResetModel()
        shown = self._ids[self._order] if in_place else np.empty(0, np.int64)
        self._rows = {name: np.asarray(values) for name, values in rows.items()}
        self._ids = self._rows.get("label", np.empty(0, np.int64))
        self._names = _in_order([n for n, v in self._rows.items() if n not in _HIDDEN and _says_something(v)])
        if in_place:
            self._keep_places(shown)
        else:
            self._arrange()
        self.endResetModel()

    def change_rows(self, changed: Mapping[int, Mapping[str, Any]], gone: Collection[int] = ()) -> None:
        """Put new values in the rows of some pits; unknown ids are new rows, `gone` are taken out.

        The order stays as it is until the table is sorted anew, so that a row does not jump away from
        under the hand; new rows come at the end.
        """
        known = {int(i): k for k, i in enumerate(self._ids)}
        new = [i for i in changed if i not in known]
        if new or any(i in known for i in gone):
            self.show_rows(_with_rows(self._rows, self._ids, changed, gone), in_place=True)
            return
        for pit, values in changed.items():
            for name, value in values.items():
                if name in self._rows:
                    self._rows[name] = _with_value(self._rows[name], known[pit], value)
            place = self._place.get(known[pit])
            if place is not None:
                self.dataChanged.emit(self.index(place, 0), self.index(place, self.columnCount() - 1))

    def hide(self, ids: Iterable[int]) -> None:
        """Leave these pits out of sight."""
        hidden = frozenset(int(i) for i in ids)
        if hidden != self._hidden_ids:
            shown = self._ids[self._order]
            is_less = hidden > self._hidden_ids
            self.beginResetModel()
            self._hidden_ids = hidden
            if is_less:
                self._keep_places(shown)
            else:
                self._arrange()
            self.endResetModel()

    def id_at(self, row: int) -> int:
        """Pit of a row as shown."""
        return int(self._ids[self._order[row]])

    def row_of(self, pit: int) -> int | None:
        """Row in which a pit is shown; None where it is hidden or unknown."""
        found = np.flatnonzero(self._ids == pit)
        return self._place.get(int(found[0])) if found.size else None

    def rowCount(self, parent: QModelIndex = Parent) -> int:
        """Pits shown."""
        return 0 if parent.isValid() else len(self._order)

    def columnCount(self, parent: QModelIndex = Parent) -> int:
        """Columns shown."""
        return 0 if parent.isValid() else len(self._names)

    def data(self, index: QModelIndex, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Text, tooltip or alignment of a cell."""
        if not index.isValid():
            return None
        name = self._names[index.column()]
        value = self._rows[name][self._order[index.row()]]
        if role == Qt.ItemDataRole.DisplayRole:
            return _in_words(name, value)
        if role == Qt.ItemDataRole.ToolTipRole and name in ("near_limit", "origin"):
            return str(value)
        if role == Qt.ItemDataRole.TextAlignmentRole and np.issubdtype(np.asarray(value).dtype, np.number):
            return int(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
        return None

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """Words and unit of a column, or its definition."""
        if orientation != Qt.Orientation.Horizontal or section >= len(self._names):
            return None
        name = self._names[section]
        unit, definition = self._definitions.get(name, ("", ""))
        own = _OWN_WORDS.get(name)
        if role == Qt.ItemDataRole.DisplayRole:
            words = own[0] if own else name_in_words(name)[0]
            return f"{words}\n{unit}" if unit not in ("", "1") else words
        if role == Qt.ItemDataRole.ToolTipRole:
            return own[1] if own else definition
        return None

    def sort(self, column: int, order: Qt.SortOrder = Qt.SortOrder.AscendingOrder) -> None:
        """Sort by a column; what has no value comes last either way, ties stay by number."""
        if not 0 <= column < len(self._names):
            return
        self.layoutAboutToBeChanged.emit()
        before = self.persistentIndexList()
        kept = [(int(self._order[i.row()]), i.column()) for i in before]
        self._sorted_by = (self._names[column], order == Qt.SortOrder.DescendingOrder)
        self._arrange()
        after = [
            self.index(self._place[row], column) if row in self._place else QModelIndex()
            for row, column in kept
        ]
        self.changePersistentIndexList(before, after)
        self.layoutChanged.emit()

    def _arrange(self) -> None:
        """Row numbers in the order in force, hidden ones left out."""
        order = np.arange(len(self._ids))
        if self._sorted_by and self._sorted_by[0] in self._rows:
            order = _sorted(self._rows[self._sorted_by[0]], descending=self._sorted_by[1])
        if self._hidden_ids:
            order = order[~np.isin(self._ids[order], list(self._hidden_ids))]
        self._set_order(order)

    def _keep_places(self, shown: np.ndarray) -> None:
        """Row numbers in the order in which pits are shown already; new pits last, hidden ones left out."""
        place = {int(pit): k for k, pit in enumerate(shown)}
        last = len(place)
        rank = np.array([place.get(int(pit), last) for pit in self._ids], np.int64)
        order = np.argsort(rank, kind="stable")
        self._set_order(order[~np.isin(self._ids[order], list(self._hidden_ids))])

    def _set_order(self, order: np.ndarray) -> None:
        self._order = order
        self._place = {int(row): place for place, row in enumerate(order)}


def _sorted(values: np.ndarray, *, descending: bool) -> np.ndarray:
    """Row numbers in order of value; empty ones last, ties as they were."""
    missing = np.isnan(values) if values.dtype.kind == "f" else np.zeros(len(values), bool)
    if values.dtype.kind in "UO":
        values = values.astype(str)
        missing = values == ""
    if descending:
        order = len(values) - 1 - np.argsort(values[::-1], kind="stable")[::-1]
    else:
        order = np.argsort(values, kind="stable")
    return np.concatenate([order[~missing[order]], order[missing[order]]])


def _says_something(values: np.ndarray) -> bool:
    if values.dtype.kind == "f":
        return bool(np.isfinite(values).any()) or len(values) == 0
    return True


def _bare(name: str) -> str:
    for unit in _UNITS_IN_NAMES:
        name = name.removesuffix(unit)
    return name


def _in_order(names: list[str]) -> list[str]:
    """Columns as shown: those that people look at first; a size in px only where none in µm says the same."""
    physical = {_bare(n) for n in names if not n.endswith("_px")}
    names = [n for n in names if not (n.endswith("_px") and _bare(n) in physical)]
    first = [n for wanted in FIRST for n in names if _bare(n) == wanted]
    return first + [n for n in names if n not in first]


def _in_words(name: str, value: Any) -> str:
    if name == "status":
        return _MARKS.get(str(value), str(value))
    if isinstance(value, (bool, np.bool_)):
        return "yes" if value else "no"
    if isinstance(value, (float, np.floating)):
        return significant(float(value))
    return str(value)


def _with_value(values: np.ndarray, row: int, value: Any) -> np.ndarray:
    """An array with one value changed; text arrays grow where the new text is longer."""
    if values.dtype.kind == "U" and len(str(value)) > values.dtype.itemsize // 4:
        values = values.astype(f"U{len(str(value))}")
    elif not values.flags.writeable:
        values = values.copy()
    values[row] = value
    return values


def _with_rows(
    rows: Table, ids: np.ndarray, changed: Mapping[int, Mapping[str, Any]], gone: Collection[int]
) -> Table:
    """A table with rows taken out, changed and added."""
    kept = ~np.isin(ids, list(gone))
    new = [values for pit, values in changed.items() if pit not in set(ids.tolist())]
    table: Table = {}
    for name, values in rows.items():
        column = values[kept]
        for pit, said in changed.items():
            if name in said and (at := np.flatnonzero(ids[kept] == pit)).size:
                column = _with_value(column, int(at[0]), said[name])
        added = np.array([said[name] for said in new]) if new else values[:0]
        table[name] = np.concatenate([column, added])
    return table
