"""Numbers and instants as instruments write them; everything else is refused with the reason."""

from __future__ import annotations

import datetime as dt
import math
import re
from typing import Literal

from rimekeeper.core.model import Instant, Scale

TimeUnit = Literal["s", "ms", "iso"]

LAST_INSTANT = Instant(253_402_300_799_999)
"""The end of the year 9999. Stamps beyond it or before 1970 are moved to the edge: the engine then sees an
unbelievable clock, and the number itself is not lost."""

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_TEXT = re.compile(rf"({_NUMBER})\s*(?:(?:°|deg)?\s*([CFKcfk]))?")
_COMMA = re.compile(r"[+-]?[0-9]+,[0-9]+\s*(?:°?\s*[CFKcfk])?")
_NO_NUMBER = re.compile(r"[+-]?(?:nan|inf|infinity)", re.IGNORECASE)
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)
_MILLISECOND = dt.timedelta(milliseconds=1)
_LONGEST_NUMBER = 64


class FigureError(ValueError):
    """A text or value that is no number or no instant; its text says why. Stays inside ``core.decoding``."""


def number_in_text(text: str) -> tuple[float, Scale | None]:
    """Read "72.5", "-18.2C" or "180 °F"; the scale is None when none is written.

    Raises:
        FigureError: anything else: words, NaN, infinities, decimal commas, quoted numbers.
    """
    text = text.strip()
    if not text:
        raise FigureError("is empty, not a number")
    if len(text) > _LONGEST_NUMBER:
        raise FigureError("is too long to be a number")
    match = _TEXT.fullmatch(text)
    if match is None:
        if _NO_NUMBER.fullmatch(text):
            raise FigureError("is not a number: the instrument has no value to give")
        if _COMMA.fullmatch(text):
            raise FigureError(
                "is not a number: it has a decimal comma; set the instrument to a decimal point"
            )
        if text[0] in "\"'":
            raise FigureError("is quoted text, not a number")
        raise FigureError("is text, not a number")
    value = float(match[1])
    if math.isinf(value):
        raise FigureError("is too large to be a number")
    return value, Scale(match[2].upper()) if match[2] else None


def number_in_json(value: object) -> float:
    """Take a JSON number.

    Raises:
        FigureError: for text (also text that looks like a number), true and false, null, lists, NaN, infinities.
    """
    if isinstance(value, bool):
        raise FigureError("is true or false, not a number")
    if isinstance(value, str):
        raise FigureError("is text, not a number")
    if value is None:
        raise FigureError("is null, not a number")
    if not isinstance(value, int | float):
        raise FigureError("is a list or an object, not a number")
    try:
        number = float(value)
    except OverflowError:
        raise FigureError("is too large to be a number") from None
    if math.isnan(number):
        raise FigureError("is NaN, not a number")
    if math.isinf(number):
        raise FigureError("is infinite, not a number")
    return number


def instant_of_millis(millis: float) -> Instant:
    """A whole number of milliseconds between 1970 and 9999; beyond that the nearer edge. ``millis`` is finite."""
    return Instant(round(min(max(millis, 0.0), float(LAST_INSTANT))))


def instant_in_json(value: object, unit: TimeUnit) -> Instant:
    """Take a time stamp in seconds or milliseconds since 1970 UTC, or in ISO 8601 with its offset.

    Raises:
        FigureError: when it is neither.
    """
    if unit == "iso":
        if not isinstance(value, str):
            raise FigureError("is not a time in ISO 8601 such as 2026-11-25T18:00:00Z")
        return instant_of(moment_in_text(value))
    return instant_of_millis(number_in_json(value) * (1.0 if unit == "ms" else 1000.0))


def moment_in_text(text: str) -> dt.datetime:
    """Read ISO 8601 and insist on an offset.

    Raises:
        FigureError: when it can't be read, or has no offset.
    """
    moment = moment_or_local_in_text(text)
    if moment.tzinfo is None:
        raise FigureError(
            "has no offset from UTC, so it could be any of a day's hours; write ...Z or ...+01:00"
        )
    return moment


def moment_or_local_in_text(text: str) -> dt.datetime:
    """Read ISO 8601, with or without an offset.

    Raises:
        FigureError: when it can't be read.
    """
    try:
        return dt.datetime.fromisoformat(text.strip())
    except ValueError:
        raise FigureError("is not a time in ISO 8601 such as 2026-11-25T18:00:00Z") from None


def instant_of(moment: dt.datetime) -> Instant:
    """The instant of an aware moment; before 1970 or after 9999 the nearer edge."""
    millis = (moment - _EPOCH) // _MILLISECOND
    return Instant(min(max(millis, 0), LAST_INSTANT))
