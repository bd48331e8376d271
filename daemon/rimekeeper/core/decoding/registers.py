"""From 16-bit registers of a fieldbus instrument to numbers: integers and IEEE 754 floats of one, two or four words.

A register is sent high byte first (MODBUS Application Protocol Specification V1.1b3, section 4.2). How several of
them make one number is not in that specification: most instruments send the high word first, some the low one.
"""

from __future__ import annotations

import struct
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

from rimekeeper.core.decoding.found import Decoded, Found, Refused, shown

WordOrder = Literal["big", "little"]
"""``big``: the high word first; ``little``: the low word first. The bytes of a word are never swapped."""
_LARGEST_WORD = 0xFFFF


@dataclass(frozen=True, slots=True)
class NumberType:
    """How many registers a number takes, and its form in the language of :mod:`struct`, high byte first."""

    words: int
    form: str


NUMBER_TYPES: Mapping[str, NumberType] = {
    "int16": NumberType(1, ">h"),
    "uint16": NumberType(1, ">H"),
    "int32": NumberType(2, ">i"),
    "uint32": NumberType(2, ">I"),
    "float32": NumberType(2, ">f"),
    "float64": NumberType(4, ">d"),
}


@dataclass(frozen=True, slots=True)
class RegisterPlace:
    """Where one channel's number stands: its first register (as on the wire, from 0), type and order of words."""

    channel: str
    register: int
    kind: str = "int16"
    order: WordOrder = "big"

    @property
    def words(self) -> int:
        """How many registers it takes; 0 for a type that does not exist."""
        return NUMBER_TYPES[self.kind].words if self.kind in NUMBER_TYPES else 0


def number_of(words: Sequence[int], kind: str, order: WordOrder = "big") -> float | None:
    """The number that these registers make, exactly (NaN and infinities too).

    Args:
        words: as many registers as the type takes, each 0 to 65 535, in the order in which they are numbered.
        kind: a name of :data:`NUMBER_TYPES`.
        order: which word comes first.

    Returns:
        The number, or None when there is no such type, or they are too few, too many, or no registers.
    """
    found = NUMBER_TYPES.get(kind)
    if found is None or len(words) != found.words or not all(0 <= w <= _LARGEST_WORD for w in words):
        return None
    ordered = words if order == "big" else tuple(reversed(words))
    return float(struct.unpack(found.form, struct.pack(f">{found.words}H", *ordered))[0])


def decode_registers(first: int, words: Sequence[int], places: Sequence[RegisterPlace]) -> Decoded:
    """Every channel's number out of neighbouring registers, or why it is none. Never raises.

    Args:
        first: the number of the register that ``words[0]`` is.
        words: the registers as they came.
        places: what stands in them.
    """
    numbers: list[Found] = []
    refused: list[Refused] = []
    for place in places:
        begins = place.register - first
        own = words[begins : begins + place.words] if begins >= 0 else ()
        number = number_of(own, place.kind, place.order)
        if number is None:
            text = shown(f"{place.channel}: {text_of_words(own)}")
            refused.append(Refused(text, f"register {place.register} does not hold a whole {place.kind}"))
        else:
            numbers.append(Found(place.channel, number))
    return Decoded(tuple(numbers), tuple(refused))


def text_of_words(words: Sequence[int]) -> str:
    """Registers as a technician compares them with a manual: four hexadecimal digits each."""
    return " ".join(f"{word:04X}" for word in words)
