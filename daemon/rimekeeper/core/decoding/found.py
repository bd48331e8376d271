"""What a decoder says: numbers it found, and text it refused with the reason. Decoders never raise on input."""

from __future__ import annotations

from dataclasses import dataclass

from rimekeeper.core.model import Delivery, Instant, Receipt, Rejected, Sample, Scale, SourceId

LONGEST_SHOWN = 200
"""So many characters of a refused text are kept for the probes page; the rest says nothing more."""
LONGEST_NAME = 200


@dataclass(frozen=True, slots=True)
class Found:
    """One number with the name of its channel. ``scale`` is None when the text did not state one."""

    channel: str
    value: float
    scale: Scale | None = None
    taken_at: Instant | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """Text that is no sample: the start of it, printable, and why not."""

    text: str
    why: str


@dataclass(frozen=True, slots=True)
class Decoded:
    """All that one line or payload gave."""

    found: tuple[Found, ...] = ()
    refused: tuple[Refused, ...] = ()


def shown(text: str | bytes | bytearray) -> str:
    """The start of a text so that it can be printed, stored and compared: at most 200 printable characters.

    Bytes are read as Latin-1, so that every byte has one look; what can't be printed is written as an escape.
    """
    start = text[: LONGEST_SHOWN + 1]
    if not isinstance(start, str):
        start = bytes(start).decode("latin-1")
    if len(start) <= LONGEST_SHOWN and start.isprintable():
        return start
    look = "".join(sign if sign.isprintable() else _escape(sign) for sign in start)
    return look if len(look) <= LONGEST_SHOWN else look[: LONGEST_SHOWN - 1] + "…"


def _escape(sign: str) -> str:
    return sign.encode("unicode_escape").decode("ascii")


def name_trouble(name: str) -> str | None:
    """Why a text can't name a channel, or None when it can."""
    if not name:
        return "the name of the channel is empty"
    if len(name) > LONGEST_NAME:
        return f"the name of the channel is longer than {LONGEST_NAME} characters"
    if not name.isprintable():
        return "the name of the channel has characters that can't be printed"
    return None


def refuse(text: str | bytes | bytearray, why: str) -> Decoded:
    """A whole line or payload refused."""
    return Decoded(refused=(Refused(shown(text), why),))


def delivery_of(
    decoded: Decoded,
    text: str | bytes,
    source: SourceId,
    arrived_at: Instant,
    *,
    retained: bool = False,
    receipt: Receipt | None = None,
    token: str | None = None,
    again: bool = False,
) -> Delivery:
    """Put a source, an instant and a receipt to what a decoder found in ``text``."""
    start = shown(text)
    return Delivery(
        source=source,
        samples=tuple(
            Sample(source, f.channel, f.value, f.scale, arrived_at, f.taken_at, retained, start)
            for f in decoded.found
        ),
        rejected=tuple(Rejected(source, arrived_at, r.text, r.why) for r in decoded.refused),
        receipt=receipt,
        token=token,
        again=again,
    )
