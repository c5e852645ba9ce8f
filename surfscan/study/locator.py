"""Where in a TOML text each key stands, which the standard library's reader does not tell."""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right

Key = tuple[str | int, ...]
"""Path to a value: names of tables and keys, and numbers of array elements from 0."""

_BARE = re.compile(r"[A-Za-z0-9_-]+")
_SPACE = re.compile(r"[ \t]+")
_SPACE_AND_COMMENTS = re.compile(r"(?:[ \t\r\n]|#[^\n]*)+")
_STRINGS = (
    re.compile(r'"""(?:\\.|[^\\])*?"""(?:"{0,2}(?!"))', re.DOTALL),
    re.compile(r"'''.*?'''(?:'{0,2}(?!'))", re.DOTALL),
    re.compile(r'"(?:\\.|[^"\\\n])*"'),
    re.compile(r"'[^'\n]*'"),
)
_PLAIN = re.compile(r"[^,\]}\n#]+")


def locate_keys(text: str) -> dict[Key, int]:
    """Line of every key, table and array element of a TOML text.

    Parameters
    ----------
    text : str
        A text that `tomllib` has accepted; another gives wrong lines.

    Returns
    -------
    dict of tuple to int
        ``("image", 3, "file")`` -> line, first line 1. A table stands at its header.
    """
    return _Scanner(text).scan()


def line_of(lines: dict[Key, int], key: Key) -> int:
    """Line of `key`, or of the innermost thing around it that is in the text; 1 where nothing is."""
    for length in range(len(key), 0, -1):
        if key[:length] in lines:
            return lines[key[:length]]
    return 1


class _Scanner:
    def __init__(self, text: str) -> None:
        self.text = text.replace("\r\n", "\n")
        self.starts = [0, *(match.end() for match in re.finditer("\n", self.text))]
        self.at = 0
        self.lines: dict[Key, int] = {}
        self.counts: dict[Key, int] = {}

    def scan(self) -> dict[Key, int]:
        table: Key = ()
        self.skip(_SPACE_AND_COMMENTS)
        while self.at < len(self.text):
            if self.text.startswith("[[", self.at):
                table = self.header(2)
            elif self.text.startswith("[", self.at):
                table = self.header(1)
            else:
                self.pair(table)
            self.skip(_SPACE_AND_COMMENTS)
        return self.lines

    def skip(self, pattern: re.Pattern[str]) -> None:
        if match := pattern.match(self.text, self.at):
            self.at = match.end()

    def note(self, key: Key) -> None:
        self.lines.setdefault(key, bisect_right(self.starts, self.at))

    def header(self, brackets: int) -> Key:
        start = self.at
        self.at += brackets
        names = self.names()
        end, self.at = self.at + brackets, start
        key: Key = ()
        for depth, name in enumerate(names, 1):
            key = (*key, name)
            self.note(key)
            if brackets == 2 and depth == len(names):
                self.counts[key] = self.counts.get(key, 0) + 1
            if key in self.counts:
                key = (*key, self.counts[key] - 1)
                self.note(key)
        self.at = end
        return key

    def names(self) -> list[str]:
        names = [self.name()]
        self.skip(_SPACE)
        while self.text.startswith(".", self.at):
            self.at += 1
            names.append(self.name())
            self.skip(_SPACE)
        return names

    def name(self) -> str:
        self.skip(_SPACE)
        if bare := _BARE.match(self.text, self.at):
            self.at = bare.end()
            return bare.group()
        start = self.at
        self.string()
        return str(tomllib.loads(f"name = {self.text[start : self.at]}")["name"])

    def string(self) -> bool:
        for pattern in _STRINGS:
            if match := pattern.match(self.text, self.at):
                self.at = match.end()
                return True
        return False

    def pair(self, table: Key) -> None:
        start = self.at
        key: Key = (*table, *self.names())
        end, self.at = self.at, start
        for length in range(len(table) + 1, len(key) + 1):
            self.note(key[:length])
        self.at = end + 1  # the equals sign
        self.value(key)

    def value(self, key: Key) -> None:
        self.skip(_SPACE)
        if self.text.startswith("[", self.at):
            self.items(key, "]")
        elif self.text.startswith("{", self.at):
            self.items(key, "}")
        elif not self.string():
            self.skip(_PLAIN)

    def items(self, key: Key, closing: str) -> None:
        self.at += 1
        number = 0
        self.skip(_SPACE_AND_COMMENTS)
        while not self.text.startswith(closing, self.at):
            if closing == "}":
                self.pair(key)
            else:
                self.note((*key, number))
                self.value((*key, number))
                number += 1
            self.skip(_SPACE_AND_COMMENTS)
            if self.text.startswith(",", self.at):
                self.at += 1
                self.skip(_SPACE_AND_COMMENTS)
        self.at += 1
