"""Reading JSON from instruments, and finding one value in it by a path such as ``probes[0].temp``."""

from __future__ import annotations

import json
import re
from typing import TypeAlias

from rimekeeper.core.decoding.figures import FigureError

Path: TypeAlias = tuple[str | int, ...]

LARGEST_DOCUMENT = 262_144
"""Bytes of a payload that are read at all; a probe's message has a few hundred."""

_STEP = re.compile(r"\.?([^.\[\]]+)|\[([0-9]{1,6})\]")


def path_of(text: str) -> Path:
    """Read a path: names separated by dots, positions (from 0) in square brackets; "" is the document itself.

    Raises:
        ValueError: when it is not such a path.
    """
    steps: list[str | int] = []
    place = 0
    while place < len(text):
        match = _STEP.match(text, place)
        if match is None or (place == 0 and text[0] == "."):
            raise ValueError(
                f'"{text}" is not a path; write names with dots and positions in brackets, such as "probes[0].temp"'
            )
        steps.append(match[1] if match[1] is not None else int(match[2]))
        place = match.end()
    return tuple(steps)


def document_of(text: str | bytes) -> object:
    """Parse a JSON document. NaN and Infinity come through as floats, to be refused by whoever wants a number.

    Raises:
        FigureError: when it is not JSON, is nested too deeply, or is too large.
    """
    if len(text) > LARGEST_DOCUMENT:
        raise FigureError(f"the message is larger than {LARGEST_DOCUMENT} bytes")
    try:
        if isinstance(text, bytes):
            text = text.decode("utf-8")
        return json.loads(text)
    except UnicodeDecodeError:
        raise FigureError("these bytes are not text (UTF-8)") from None
    except json.JSONDecodeError as fault:
        raise FigureError(f"this is not JSON: {fault.msg} at character {fault.pos + 1}") from None
    except RecursionError:
        raise FigureError("this JSON is nested too deeply") from None
    except ValueError:
        raise FigureError("this JSON has a number with too many digits") from None


MISSING = object()
"""What :func:`at` gives when there is nothing at the path."""


def at(document: object, path: Path) -> object:
    """The value at the path, or :data:`MISSING`."""
    here = document
    for step in path:
        if isinstance(step, int):
            if not isinstance(here, list) or step >= len(here):
                return MISSING
            here = here[step]
        else:
            if not isinstance(here, dict) or step not in here:
                return MISSING
            here = here[step]
    return here
