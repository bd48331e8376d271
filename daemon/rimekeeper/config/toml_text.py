"""Reading a TOML file into a document with line numbers, and saying in plain words why it can't be read."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from rimekeeper.config.key_lines import KeyLines, KeyPath, key_lines
from rimekeeper.config.problems import Problem

LARGEST_FILE = 1_000_000

_WHERE = re.compile(r" \(at (?:line (\d+), column (\d+)|end of document)\)$")
_QUOTES = 'Put text and quantities in quotes, such as target = "82 C".'
_PLAIN_WORDS: tuple[tuple[str, str, str], ...] = (
    ("Invalid value", "the value can't be read", _QUOTES),
    ("Expected newline or end of document", "there is something after the value that can't be read", _QUOTES),
    ("Expected '='", 'a key without "="', "Write key = value, or begin a comment with #."),
    ("Invalid statement", "this is neither a table, nor key = value, nor a comment", "Begin a comment with #."),
    ("Invalid initial character for a key", "a key is missing", "Write a name before the equals sign or the bracket."),
    ("Expected ']]'", 'the table header has no "]]" at its end', "Write it as [[stage]]."),
    ("Expected ']'", 'the table header has no "]" at its end', "Write it as [probe.pan]."),
    ("Unterminated string", "a quotation mark that closes the text is missing", 'Close it with ".'),
    ("Expected \"'", "a quotation mark that closes the text is missing", "Close it with '."),
    ("Unclosed array", 'a list has no "]" at its end', 'Separate its parts with commas and close it with "]".'),
    ("Unclosed inline table", 'a table in braces has no "}" at its end', 'Separate its parts with commas and close it with "}".'),
    ("Illegal character '\\n'", "the text goes on to the next line without its closing quotation mark", 'Close it with ", or use """ for several lines.'),
    ("Illegal character", "there is a character that may not stand here", "Remove it, or put the text in quotes."),
    ("Found invalid character", "there is a character that may not stand here", "Remove it, or put the text in quotes."),
    ("Unescaped '\\'", "a backslash in quotes stands for something that doesn't exist", "Write \\\\ for one backslash, or put the text in single quotes."),
    ("Invalid hex value", "a \\u or \\U escape has no valid digits", "Put the text in single quotes if it holds backslashes."),
    ("Escaped character", "a \\u or \\U escape names no character", "Put the text in single quotes if it holds backslashes."),
    ("Invalid date", "the date or time can't exist", "Put text in quotes."),
    ("Cannot mutate immutable namespace", "a table in braces can't be added to afterwards", "Write everything inside the braces, or use a [table] instead."),
    ("Duplicate inline table key", "a key is given twice in one table in braces", "Remove one of them."),
    ("Cannot overwrite a value", "a key is given twice", "Remove one of them."),
    ("Cannot declare", "a table is begun twice", "Put its keys together under one header."),
)  # fmt: skip


@dataclass(frozen=True)
class TomlText:
    """A file's document and where its keys stand; ``problems`` when it can't be read (the document is then empty)."""

    name: str
    document: dict[str, Any] = field(default_factory=dict)
    lines: KeyLines = field(default_factory=KeyLines)
    problems: tuple[Problem, ...] = ()

    def problem(self, path: KeyPath, message: str, remedy: str = "", *, warning: bool = False) -> Problem:
        """A problem of this file at a key."""
        return Problem(
            self.name,
            dotted(path),
            self.lines.line_of(path),
            message,
            remedy,
            self.place(path),
            "warning" if warning else "error",
        )

    def place(self, path: KeyPath) -> str:
        """A key for people: ``probe "pan", silent_after``; an element of an array by its id or its number from 1."""
        words: list[str] = []
        at: Any = self.document
        for depth, step in enumerate(path):
            at = _inside(at, step)
            if isinstance(step, int):
                named = at.get("id", at.get("name")) if isinstance(at, dict) else None
                words[-1] += f' "{named}"' if isinstance(named, str) else f" {step + 1}"
            elif depth == 1 and path[0] in _NAMED:
                words[-1] += f' "{step}"'
            else:
                words.append(step)
        return ", ".join(words)


_NAMED = ("serial", "mqtt", "probe", "station", "channel", "person")


def _inside(at: Any, step: str | int) -> Any:
    if isinstance(step, str):
        return at.get(step) if isinstance(at, dict) else None
    return at[step] if isinstance(at, list) and step < len(at) else None


def dotted(path: KeyPath) -> str:
    """A path as one text, positions from 1: ``callout[1].steps[2].wait``."""
    text = ""
    for step in path:
        if isinstance(step, int):
            text += f"[{step + 1}]"
        else:
            text += f".{step}" if text else step
    return text


def read_toml(path: Path, name: str) -> TomlText:
    """Read a file; ``name`` is how it is called in messages. Never raises on what it finds."""
    try:
        with path.open("rb") as file:
            data = file.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        return _unreadable(name, "the file is not there", f"Looked for {path}.")
    except OSError as fault:
        return _unreadable(name, f"the file can't be read: {fault.strerror or fault}", f"Looked at {path}.")
    if len(data) > LARGEST_FILE:
        return _unreadable(name, "the file is larger than 1 MB", "This can't be a file of settings.")
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as fault:
        line = data.count(b"\n", 0, fault.start) + 1
        return _unreadable(name, "the text is not UTF-8", "Save the file as UTF-8 in the editor.", line)
    return parse_toml(text, name)


def parse_toml(text: str, name: str) -> TomlText:
    """Read a text; never raises on what it finds."""
    lines = key_lines(text)
    try:
        return TomlText(name, tomllib.loads(text), lines)
    except tomllib.TOMLDecodeError as fault:
        return TomlText(name, problems=_in_plain_words(name, text, str(fault), lines))
    except (RecursionError, ValueError):
        return _unreadable(name, "something in the file is nested too deeply or is too long", "Shorten it.")


def _unreadable(name: str, message: str, remedy: str, line: int | None = None) -> TomlText:
    return TomlText(name, problems=(Problem(name, "", line, message, remedy),))


def _in_plain_words(name: str, text: str, fault: str, lines: KeyLines) -> tuple[Problem, ...]:
    where = _WHERE.search(fault)
    line = int(where[1]) if where and where[1] else text.count("\n", 0, len(text.rstrip())) + 1
    said = fault[: where.start()] if where else fault
    if lines.twice and said.startswith(("Cannot overwrite", "Cannot declare", "Duplicate inline")):
        return tuple(_twice(name, *twice) for twice in lines.twice)
    if said.startswith("Invalid value") and not (where and where[1]):
        ends = "the file ends in the middle of a value"
        return (Problem(name, "", line, ends, 'Close what was begun with a quotation mark, "]" or "}".'),)
    for begins, message, remedy in _PLAIN_WORDS:
        if said.startswith(begins):
            return (Problem(name, "", line, message, remedy),)
    return (Problem(name, "", line, f"this can't be read ({said})", ""),)


def _twice(name: str, path: KeyPath, first: int, second: int) -> Problem:
    return Problem(
        name, dotted(path), second, f"is given twice: on line {first} and again here", "Remove one of them."
    )
