"""Slots and call-outs to JSON and back.

A field that a later version added is ignored when read by an earlier one, and one that is missing takes its
default, so that small additions need no migration.
"""

from __future__ import annotations

from typing import TypeVar, cast, get_args

import msgspec

from rimekeeper.core.errors import StoreError
from rimekeeper.core.state import Slot

_T = TypeVar("_T")
_ENCODER = msgspec.json.Encoder()
_DECODERS: dict[type, msgspec.json.Decoder[object]] = {}
_SLOT_TYPES: dict[str, type] = {kind.__name__: kind for kind in get_args(Slot)}


def to_json(piece: object) -> str:
    """A dataclass as JSON text."""
    return _ENCODER.encode(piece).decode()


def from_json(kind: type[_T], text: str) -> _T:
    """The dataclass of that kind.

    Raises:
        StoreError: the text is damaged or of another kind.
    """
    decoder = _DECODERS.get(kind)
    if decoder is None:
        decoder = _DECODERS[kind] = msgspec.json.Decoder(kind)
    try:
        return cast("_T", decoder.decode(text))
    except (msgspec.DecodeError, msgspec.ValidationError) as fault:
        raise StoreError(
            f"the store holds a {kind.__name__} that can't be read ({fault}); restore the last backup"
        ) from fault


def slot_kind(slot: Slot) -> str:
    """The word under which the type of a slot is stored."""
    return type(slot).__name__


def slot_from_json(kind: str, text: str) -> Slot:
    """The slot of that stored kind."""
    try:
        found = _SLOT_TYPES[kind]
    except KeyError:
        raise StoreError(
            f"the store holds a piece of state of the unknown kind {kind!r}; was it written by a later version?"
        ) from None
    slot: Slot = from_json(found, text)
    return slot
