"""The table of pits as a Qt model; no widget is shown."""

import time

import numpy as np
import pytest

pytest.importorskip("qtpy", reason="the viewer extra is not installed")

from napari_surfscan.pit_table import PitTableModel
from qtpy.QtCore import Qt

UP, DOWN = Qt.SortOrder.AscendingOrder, Qt.SortOrder.DescendingOrder


def _rows(n: int = 6) -> dict[str, np.ndarray]:
    rng = np.random.default_rng(1)
    diameter = rng.integers(1, 4, n).astype(float)
    diameter[n // 2] = np.nan
    return {
        "label": np.arange(1, n + 1, dtype=np.int32),
        "status": np.array(["accepted"] * n),
        "origin": np.array(["automatic"] * n),
        "area_px": np.arange(n, 0, -1),
        "area_um2": np.arange(n, 0, -1) * 0.25,
        "depth_um": np.full(n, np.nan),
        "equivalent_diameter_um": diameter,
        "near_limit": np.array(["", "contrast"] * (n // 2)),
        "doubt": np.linspace(0, 1, n),
    }


def _column(model: PitTableModel, name: str) -> int:
    heads = [model.headerData(c, Qt.Orientation.Horizontal) for c in range(model.columnCount())]
    return next(c for c, head in enumerate(heads) if head.startswith(name))


def _ids(model: PitTableModel) -> list[int]:
    return [model.id_at(row) for row in range(model.rowCount())]


@pytest.fixture
def model():
    """Six pits, one of them without a diameter."""
    made = PitTableModel()
    made.show_rows(_rows())
    return made


def test_headers_have_words_and_units(model):
    """What has a unit says so on a second line; a definition stands in the tooltip."""
    heads = [model.headerData(c, Qt.Orientation.Horizontal) for c in range(model.columnCount())]
    assert heads[:4] == ["Pit", "Status", "Doubt", "Diameter\nµm"]
    assert {"Near limit", "Came by"} <= set(heads)
    assert "Area\nµm²" in heads
    place = heads.index("Area\nµm²")
    assert "outline" in model.headerData(place, Qt.Orientation.Horizontal, Qt.ItemDataRole.ToolTipRole)


def test_columns_without_a_value_are_left_out(model):
    """A micrograph has no depths, and its areas in px say nothing beyond those in µm²."""
    heads = "".join(model.headerData(c, Qt.Orientation.Horizontal) for c in range(model.columnCount()))
    assert "Depth" not in heads
    assert heads.count("Area") == 1


def test_sorting_puts_missing_last_and_keeps_ties(model):
    """Either way round, a pit without a diameter comes last and equal ones stay by number."""
    column = _column(model, "Diameter")
    diameter = _rows()["equivalent_diameter_um"]
    for order, sign in ((UP, 1), (DOWN, -1)):
        model.sort(column, order)
        ids = _ids(model)
        assert ids[-1] == 4
        keys = [(sign * diameter[i - 1], i) for i in ids[:-1]]
        assert keys == sorted(keys)


def test_numbers_are_rounded_and_text_marks_stand_beside_colour(model):
    """Three significant digits, and a sign for every status."""
    model.change_rows({2: {"status": "rejected", "area_um2": 0.123456}})
    assert model.data(model.index(1, _column(model, "Area"))) == "0.123"
    assert model.data(model.index(1, _column(model, "Status"))) == "✕ rejected"
    assert model.data(model.index(0, _column(model, "Status"))) == "✓ accepted"


def test_change_keeps_the_order_until_sorted_again(model):
    """A row does not jump away from under the hand."""
    model.sort(_column(model, "Area"), UP)
    before = _ids(model)
    model.change_rows({before[0]: {"area_um2": 99.0}})
    assert _ids(model) == before
    model.sort(_column(model, "Area"), UP)
    assert _ids(model)[-1] == before[0]


def test_filling_again_in_place_moves_no_row(model):
    """Values that follow later, a pit more and hiding one leave the others where they are shown."""
    model.sort(_column(model, "Area"), UP)
    before = _ids(model)
    rows = _rows()
    row = {name: values[0] for name, values in rows.items()}
    rows["area_um2"] = rows["area_um2"][::-1].copy()
    model.show_rows(rows, in_place=True)
    assert _ids(model) == before
    model.change_rows({7: row | {"label": 7}})
    assert _ids(model) == [*before, 7]
    model.hide([before[1]])
    assert _ids(model) == [before[0], *before[2:], 7]
    model.show_rows(rows)
    assert _ids(model) != before


def test_new_and_gone_pits(model):
    """A split takes one row out and brings two."""
    row = {name: values[0] for name, values in _rows().items()}
    model.change_rows({7: row | {"label": 7}, 8: row | {"label": 8, "origin": "split apart"}}, gone=[3])
    assert sorted(_ids(model)) == [1, 2, 4, 5, 6, 7, 8]
    assert model.row_of(3) is None
    assert model.data(model.index(model.row_of(8), _column(model, "Came"))) == "split apart"


def test_hiding_and_finding_rows(model):
    """Hidden pits have no row; the others are found wherever sorting put them."""
    model.hide([1, 2])
    assert model.rowCount() == 4
    assert model.row_of(1) is None
    model.sort(_column(model, "Doubt"), DOWN)
    assert [model.id_at(model.row_of(i)) for i in (3, 4, 5, 6)] == [3, 4, 5, 6]
    model.hide([])
    assert model.rowCount() == 6


def test_selection_follows_its_rows_through_sorting(model):
    """Persistent indexes, which carry a view's selection, stay on their pit."""
    from qtpy.QtCore import QPersistentModelIndex

    marked = QPersistentModelIndex(model.index(0, 0))
    model.sort(_column(model, "Area"), UP)
    assert model.id_at(marked.row()) == 1


def test_empty_table():
    """Nothing to show is no error."""
    model = PitTableModel()
    model.show_rows({})
    assert model.rowCount() == model.columnCount() == 0
    model.sort(0, UP)


def test_five_thousand_rows_sort_at_once():
    """Every column of 5000 pits is sorted well within a tenth of a second."""
    model = PitTableModel()
    model.show_rows(_rows(5000))
    for column in range(model.columnCount()):
        start = time.perf_counter()
        model.sort(column, DOWN)
        assert time.perf_counter() - start < 0.5
