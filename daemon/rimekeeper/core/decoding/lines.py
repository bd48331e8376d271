"""Decoders of a text line from a serial instrument: by field position, by a pattern's groups, by JSON path.

Each is built once from its settings (trouble there raises ``ValueError``) and then never raises. A channel that
can't be read is refused by name; the other channels of the line still count. Without channels in the settings
every number found becomes a channel, named by its position, its group or its path: that is how
``rimekeeper probes`` shows an instrument nobody has described yet.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import TypeAlias, TypeVar

from rimekeeper.core.decoding.figures import FigureError, number_in_json, number_in_text
from rimekeeper.core.decoding.found import Decoded, Found, Refused, refuse, shown
from rimekeeper.core.decoding.json_path import MISSING, Path, at, document_of, path_of
from rimekeeper.core.model import Scale

P = TypeVar("P")
_Figure: TypeAlias = tuple[float, Scale | None]

LineDecoder: TypeAlias = Callable[[str], Decoded]

MOST_CHANNELS = 64
DEEPEST = 8


@dataclass(frozen=True, slots=True)
class LinePlace:
    """Where a channel's number stands: one of a field position (from 1), a group name, a JSON path."""

    channel: str
    field: int | None = None
    group: str | None = None
    path: str | None = None


def text_of(data: bytes, encoding: str) -> str | Refused:
    """The text of a framed line, or why it is none (binary on a text line, usually a wrong baud rate)."""
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as fault:
        return Refused(
            shown(data),
            f"byte {fault.start + 1} is not {encoding} text; is the baud rate right? (baud, encoding)",
        )


def fields_decoder(places: Sequence[LinePlace], separator: str = ",") -> LineDecoder:
    """Split the line at ``separator`` and take fields by position. A blank separator means any run of blanks.

    Raises:
        ValueError: when a channel has no field position and is not the only one (which takes the first field).
    """
    wanted: list[tuple[str, int]] = []
    for place in places:
        if place.field is None and len(places) > 1:
            raise ValueError(f'channel "{place.channel}" needs field = its position in the line (1, 2, ...)')
        wanted.append((place.channel, place.field or 1))
    blanks = separator.strip(" ") == ""

    def read(fields: Sequence[str], position: int) -> _Figure:
        if position > len(fields):
            raise FigureError(f"field {position} is needed, but the line has {len(fields)}")
        return _named(f"field {position}, ", fields[position - 1])

    def decode(line: str) -> Decoded:
        if not line.strip():
            return Decoded()
        fields = line.split() if blanks else line.split(separator)
        if not wanted:
            return _every(line, ((str(n), text) for n, text in enumerate(fields[:MOST_CHANNELS], 1)))
        return _each(line, wanted, lambda position: read(fields, position))

    return decode


def pattern_decoder(places: Sequence[LinePlace], pattern: str) -> LineDecoder:
    """Search the line for a regular expression and take its named groups.

    Raises:
        ValueError: when the pattern can't be read or lacks a group that a channel needs.
    """
    try:
        expression = re.compile(pattern)
    except re.error as fault:
        raise ValueError(f"the pattern can't be read as a regular expression: {fault}") from None
    wanted = [(place.channel, place.group or place.channel) for place in places]
    for channel, group in wanted:
        if group not in expression.groupindex:
            raise ValueError(f'channel "{channel}" needs the group (?P<{group}>...), which the pattern lacks')
    if not expression.groupindex:
        raise ValueError("the pattern has no named group such as (?P<pan>...)")

    def decode(line: str) -> Decoded:
        if not line.strip():
            return Decoded()
        match = expression.search(line)
        if match is None:
            return refuse(line, "the line does not fit the pattern")
        if not wanted:
            return _every(
                line, ((name, text) for name, text in match.groupdict().items() if text is not None)
            )
        return _each(line, wanted, lambda group: _named("", match[group] or ""))

    return decode


def json_line_decoder(places: Sequence[LinePlace]) -> LineDecoder:
    """Read the line as one JSON document and take values by path (a channel without a path: its own name).

    Raises:
        ValueError: when a path can't be read.
    """
    wanted = [(p.channel, (p.path or p.channel, path_of(p.path or p.channel))) for p in places]

    def read(document: object, written: str, path: Path) -> _Figure:
        value = at(document, path)
        if value is MISSING:
            raise FigureError(f'there is nothing at "{written}"')
        try:
            return number_in_json(value), None
        except FigureError as fault:
            raise FigureError(f'the value at "{written}" {fault}') from None

    def decode(line: str) -> Decoded:
        if not line.strip():
            return Decoded()
        try:
            document = document_of(line)
        except FigureError as fault:
            return refuse(line, str(fault))
        if not wanted:
            found_all = tuple(_numbers("", document, 0))[:MOST_CHANNELS]
            return Decoded(found_all) if found_all else refuse(line, "there is no number in it")
        return _each(line, wanted, lambda place: read(document, *place))

    return decode


def _named(label: str, text: str) -> _Figure:
    try:
        return number_in_text(text)
    except FigureError as fault:
        raise FigureError(f'{label}"{shown(text.strip())[:40]}" {fault}') from None


def _each(line: str, wanted: Sequence[tuple[str, P]], read: Callable[[P], _Figure]) -> Decoded:
    found: list[Found] = []
    refused: list[Refused] = []
    for channel, place in wanted:
        try:
            found.append(Found(channel, *read(place)))
        except FigureError as fault:
            refused.append(Refused(shown(line), f'channel "{channel}": {fault}'))
    return Decoded(tuple(found), tuple(refused))


def _every(line: str, texts: Iterator[tuple[str, str]]) -> Decoded:
    found: list[Found] = []
    for name, text in texts:
        with contextlib.suppress(FigureError):
            found.append(Found(name, *number_in_text(text)))
    return Decoded(tuple(found)) if found else refuse(line, "there is no number in it")


def _numbers(name: str, value: object, depth: int) -> Iterator[Found]:
    if depth > DEEPEST:
        return
    if isinstance(value, dict):
        for key, inner in value.items():
            if key.isprintable():
                yield from _numbers(f"{name}.{key}" if name else key, inner, depth + 1)
    elif isinstance(value, list):
        for position, inner in enumerate(value[:MOST_CHANNELS]):
            yield from _numbers(f"{name}[{position}]", inner, depth + 1)
    else:
        try:
            number = number_in_json(value)
        except FigureError:
            return
        yield Found(shown(name or "value"), number)
