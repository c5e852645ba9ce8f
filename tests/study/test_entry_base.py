"""The kinds of value that tables of a manifest share."""

from __future__ import annotations

import tomllib

import pytest
from pydantic import ValidationError

from surfscan.study.entry_base import (
    ManifestTable,
    NumberOrNumbers,
    Numbers,
    RelativeFile,
    as_stamp,
    as_tuple,
    one_or_more,
    own_fault,
    posix,
)
from surfscan.study.faults import OWN_FAULT


class _Table(ManifestTable):
    file: RelativeFile = "a"
    many: Numbers = (1.0,)
    any_number: NumberOrNumbers = (1.0,)


def test_lists_and_single_numbers() -> None:
    table = _Table(file="a\\b.csv", many=[1, 2.5], any_number=3)
    assert (table.file, table.many, table.any_number) == ("a/b.csv", (1.0, 2.5), (3.0,))
    assert as_tuple([1]) == (1,) and as_tuple("ab") == "ab"
    assert one_or_more(2) == (2,) and one_or_more(True) is True and one_or_more([1, 2]) == (1, 2)
    assert posix("") == "" and posix(3) == 3


@pytest.mark.parametrize(
    "stated", [{"many": []}, {"many": 3}, {"many": [float("nan")]}, {"any_number": "3"}, {"other": 1}]
)
def test_nothing_else(stated: dict[str, object]) -> None:
    with pytest.raises(ValidationError):
        _Table(**stated)


def test_own_faults_bring_their_words() -> None:
    fault = own_fault("what", "remedy", "key")
    assert fault.type == OWN_FAULT and fault.context == {"what": "what", "remedy": "remedy", "at": "key"}
    assert str(fault.message()) == "what. remedy"


def test_dates_of_toml_are_text() -> None:
    read = tomllib.loads("a = 2001-02-03T04:05:00\nb = 2001-02-03")
    assert (as_stamp(read["a"]), as_stamp(read["b"]), as_stamp(3.5)) == (
        "2001-02-03T04:05:00",
        "2001-02-03",
        3.5,
    )
