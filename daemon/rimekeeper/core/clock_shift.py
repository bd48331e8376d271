"""Moving every instant of a piece of state when the wall clock was stepped; durations stay as they are.

Found by the types of the fields, so that a field added later is moved too.
"""

from __future__ import annotations

import dataclasses
import typing
from functools import lru_cache
from types import UnionType

from rimekeeper.core.model import Instant, Millis

_T = typing.TypeVar("_T")


def shifted(piece: _T, by: Millis) -> _T:
    """The piece with every field of type ``Instant`` (optional, nested, in tuples) moved by ``by``."""
    kind = type(piece)
    if not dataclasses.is_dataclass(kind):
        return piece
    moves = {
        name: _moved(value, is_instant=is_instant, by=by)
        for name, is_instant in _parts(kind)
        if (value := getattr(piece, name)) is not None
    }
    return dataclasses.replace(piece, **moves) if moves else piece  # type: ignore[type-var]


def _moved(value: typing.Any, *, is_instant: bool, by: Millis) -> typing.Any:
    if is_instant:
        if isinstance(value, tuple):
            return tuple(None if v is None else v + by for v in value)
        return value + by
    if isinstance(value, tuple):
        return tuple(shifted(v, by) for v in value)
    return shifted(value, by)


@lru_cache(maxsize=64)
def _parts(kind: type) -> tuple[tuple[str, bool], ...]:
    """The fields that are instants, and those that may hold pieces with instants in them."""
    hints = typing.get_type_hints(kind)
    found = []
    for field in dataclasses.fields(kind):
        inner = _inner(hints[field.name])
        if Instant in inner:
            found.append((field.name, True))
        elif any(dataclasses.is_dataclass(one) for one in inner):
            found.append((field.name, False))
    return tuple(found)


def _inner(hint: typing.Any) -> set[typing.Any]:
    origin = typing.get_origin(hint)
    if origin is typing.Union or origin is UnionType or origin is tuple:
        return set().union(*(_inner(arg) for arg in typing.get_args(hint)))
    return {hint}
