"""On which line of a TOML text each key stands; the standard reader of TOML forgets that.

A small scanner: it knows table headers, arrays of tables, dotted and quoted keys, strings of all four kinds,
arrays and inline tables. It judges nothing (the standard reader does) and never raises: on text that is no
TOML it finds what it can.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TypeAlias

KeyPath: TypeAlias = tuple[str | int, ...]
"""Names of tables and keys, and positions (from 0) in arrays: ``("callout", 0, "steps", 1, "wait")``."""

DEEPEST = 60

_BLANK = re.compile(r"[ \t]*")
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BETWEEN = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_STRING = re.compile(
    r'"""(?:\\[\s\S]|(?!""")[^\\])*"{3,5}'
    r"|'''(?:(?!''')[\s\S])*'{3,5}"
    r'|"(?:\\.|[^"\\\n])*"'
    r"|'[^'\n]*'"
)
_PLAIN = re.compile(r"[^,\]}\n#]*")
_REST_OF_LINE = re.compile(r"[^\n]*")


@dataclass
class KeyLines:
    """Where keys stand. ``twice`` are keys and tables written more than once, with both lines."""

    lines: dict[KeyPath, int] = field(default_factory=dict)
    twice: list[tuple[KeyPath, int, int]] = field(default_factory=list)

    def line_of(self, path: Sequence[str | int]) -> int | None:
        """The line of a key, or of the nearest table around it that is written down; None at the top."""
        for size in range(len(path), 0, -1):
            if (line := self.lines.get(tuple(path[:size]))) is not None:
                return line
        return None


def key_lines(text: str) -> KeyLines:
    """Scan a TOML text (its lines end with a line feed, with or without a carriage return)."""
    return _Scanner(text.replace("\r\n", "\n")).scan()


class _Scanner:
    def __init__(self, text: str) -> None:
        self._text = text
        self._place = 0
        self._line = 1
        self._counted = 0
        self._found = KeyLines()
        self._lengths: dict[KeyPath, int] = {}
        self._headers: dict[KeyPath, int] = {}

    def scan(self) -> KeyLines:
        table: KeyPath = ()
        while True:
            self._skip(_BETWEEN)
            if self._place >= len(self._text):
                return self._found
            if self._text.startswith("[", self._place):
                table = self._header()
            else:
                self._pair(table)
            # Whatever is left of the line is a comment, or a fault that the standard reader reports.
            self._skip(_REST_OF_LINE)

    def _skip(self, pattern: re.Pattern[str]) -> str:
        match = pattern.match(self._text, self._place)
        if match is None:
            return ""
        self._place = match.end()
        return match[0]

    def _now(self) -> int:
        """The line of the present place; counts each line feed once."""
        self._line += self._text.count("\n", self._counted, self._place)
        self._counted = self._place
        return self._line

    def _header(self) -> KeyPath:
        line = self._now()
        several = self._text.startswith("[[", self._place)
        self._place += 2 if several else 1
        names = self._names()
        if not names:
            return ()
        parent = self._inside(names[:-1])
        path: KeyPath = (*parent, names[-1])
        if several:
            self._note(path, line)
            number = self._lengths.get(path, 0)
            self._lengths[path] = number + 1
            path = (*path, number)
            self._found.lines[path] = line
        else:
            path = self._inside(names)
            if path in self._headers:
                self._found.twice.append((path, self._headers[path], line))
            self._headers.setdefault(path, line)
            self._note(path, line)
        return path

    def _inside(self, names: Sequence[str]) -> KeyPath:
        """The path that a header means: in an array of tables, its last element."""
        path: KeyPath = ()
        for name in names:
            path = (*path, name)
            if path in self._lengths:
                path = (*path, self._lengths[path] - 1)
        return path

    def _note(self, path: KeyPath, line: int) -> None:
        for size in range(1, len(path) + 1):
            self._found.lines.setdefault(path[:size], line)

    def _names(self) -> list[str]:
        names: list[str] = []
        while True:
            self._skip(_BLANK)
            quoted = self._text[self._place : self._place + 1] in ("'", '"')
            word = self._skip(_STRING) if quoted else self._skip(_BARE)
            if not word:
                return names
            names.append(_unquoted(word) if quoted else word)
            self._skip(_BLANK)
            if not self._text.startswith(".", self._place):
                return names
            self._place += 1

    def _pair(self, table: KeyPath, depth: int = 0) -> None:
        line = self._now()
        names = self._names()
        if not names:
            return
        path: KeyPath = (*table, *names)
        if path in self._found.lines and path not in self._headers and path not in self._lengths:
            self._found.twice.append((path, self._found.lines[path], line))
        self._note(path, line)
        self._skip(_BLANK)
        if self._text.startswith("=", self._place):
            self._place += 1
            self._skip(_BLANK)
            self._value(path, depth)

    def _value(self, path: KeyPath, depth: int) -> None:
        sign = self._text[self._place : self._place + 1]
        if sign in ('"', "'"):
            if not self._skip(_STRING):
                self._skip(_REST_OF_LINE)
        elif sign == "[" and depth < DEEPEST:
            self._array(path, depth + 1)
        elif sign == "{" and depth < DEEPEST:
            self._inline_table(path, depth + 1)
        else:
            self._skip(_PLAIN)

    def _array(self, path: KeyPath, depth: int) -> None:
        self._place += 1
        number = 0
        while True:
            self._skip(_BETWEEN)
            if self._place >= len(self._text):
                return
            if self._text[self._place] == "]":
                self._place += 1
                return
            before = self._place
            self._found.lines.setdefault((*path, number), self._now())
            self._value((*path, number), depth)
            number += 1
            self._comma(before)

    def _inline_table(self, path: KeyPath, depth: int) -> None:
        self._place += 1
        while True:
            self._skip(_BETWEEN)
            if self._place >= len(self._text):
                return
            if self._text[self._place] == "}":
                self._place += 1
                return
            before = self._place
            self._pair(path, depth)
            self._comma(before)

    def _comma(self, before: int) -> None:
        """Go past a comma; where nothing was read go on by one sign, so that the scan always ends."""
        self._skip(_BETWEEN)
        if self._text.startswith(",", self._place) or self._place == before:
            self._place += 1


def _unquoted(word: str) -> str:
    """What a quoted key says, by the standard reader; the text between the quotes if that can't read it."""
    try:
        return str(tomllib.loads(f"k = {word}")["k"])
    except (tomllib.TOMLDecodeError, ValueError):
        return word[1:-1]
