"""Lines of keys, against the text itself."""

from __future__ import annotations

import tomllib

import pytest

from surfscan.study.locator import line_of, locate_keys

TEXT = '''# a comment with [[image]] and "quotes"
title = "a # no comment"   # title = 2
note = """
[[image]]
file = "not a key"
"""
path.to."odd key" = 1

[settings.pits]
min_contrast = 0.1
literal = 'C:\\new'

[[image]]
file = "a.png"
sizes = [ # one in each direction
  0.5,
  [1, "]"], # ]
  { x = 1, y.z = "}" },
]
[[image]]
"file" = "b.png"
[image.more]
deep = true
[[image.part]]
n = 1
[[image.part]]
n = 2
last = 1979-05-27T07:32:00Z'''


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_every_key_has_its_line(newline: str) -> None:
    text = TEXT.replace("\n", newline)
    tomllib.loads(text)
    lines = locate_keys(text)
    expected = {
        ("title",): 2,
        ("note",): 3,
        ("path", "to", "odd key"): 7,
        ("settings", "pits"): 9,
        ("settings", "pits", "min_contrast"): 10,
        ("settings", "pits", "literal"): 11,
        ("image", 0): 13,
        ("image", 0, "file"): 14,
        ("image", 0, "sizes"): 15,
        ("image", 0, "sizes", 0): 16,
        ("image", 0, "sizes", 1, 1): 17,
        ("image", 0, "sizes", 2, "x"): 18,
        ("image", 0, "sizes", 2, "y", "z"): 18,
        ("image", 1): 20,
        ("image", 1, "file"): 21,
        ("image", 1, "more", "deep"): 23,
        ("image", 1, "part", 0, "n"): 25,
        ("image", 1, "part", 1, "n"): 27,
        ("image", 1, "part", 1, "last"): 28,
    }
    assert {key: lines[key] for key in expected} == expected


def _keys(value: object, above: tuple = ()) -> set[tuple]:
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return {key for name, inner in items for key in ((*above, name), *_keys(inner, (*above, name)))}


def test_finds_all_keys_and_no_others() -> None:
    tricky = TEXT + '\na = {}\n[x]\nb = []\nc = [{}, {d = [[1], [\'\'\'\n]\'\'\']]}]\ne = """a\\"""""\n'
    parsed = tomllib.loads(tricky)
    assert set(locate_keys(tricky)) == _keys(parsed)


def test_what_is_absent_stands_where_its_table_does() -> None:
    lines = locate_keys(TEXT)
    assert line_of(lines, ("image", 1, "specimen")) == 20
    assert line_of(lines, ("nowhere",)) == 1
