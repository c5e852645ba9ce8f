"""Columns of the tables on corrections."""

from surfscan.columns import TABLES
from surfscan.columns.study_by_hand import BY_HAND_TABLES
from surfscan.corrections.changes import Changes


def test_tables_are_registered_and_their_columns_stand_once():
    for name, columns in BY_HAND_TABLES.items():
        assert TABLES[name] is columns
        names = [c.name for c in columns]
        assert len(names) == len(set(names)) and all(c.definition.endswith(".") for c in columns)


def test_every_change_of_a_mask_has_its_column():
    assert set(Changes.__dataclass_fields__) <= {c.name for c in BY_HAND_TABLES["study_corrections"]}
