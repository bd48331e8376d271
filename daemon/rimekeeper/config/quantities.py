"""Temperatures, differences and durations as people write them: "82 C", "0.5 K", "15 min". Never bare numbers."""

from __future__ import annotations

import re
from typing import Annotated, Any

from pydantic import BeforeValidator

from rimekeeper.core.model import Millis, Scale, Temperature, TemperatureDifference

_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)"
_TEMPERATURE = re.compile(rf"\s*({_NUMBER})\s*(?:°|deg\s*)?\s*([CFK])\s*", re.IGNORECASE)
_DIFFERENCE = re.compile(rf"\s*({_NUMBER})\s*(K|degC|degF|C°|F°)\s*")
_DURATION_PART = re.compile(rf"\s*({_NUMBER})\s*(ms|s|sec|min|h|d|days?|hours?|seconds?|minutes?)\b\s*")
_RATE = re.compile(rf"\s*({_NUMBER})\s*(K|degC|degF|C°|F°)\s*(?:/|per)\s*(s|min|h)\s*")
_LARGEST_DIFFERENCE = 1_000.0
_LONGEST = 366 * 86_400_000
_UNIT_MILLIS = {
    "ms": 1,
    "s": 1_000,
    "sec": 1_000,
    "second": 1_000,
    "seconds": 1_000,
    "min": 60_000,
    "minute": 60_000,
    "minutes": 60_000,
    "h": 3_600_000,
    "hour": 3_600_000,
    "hours": 3_600_000,
    "d": 86_400_000,
    "day": 86_400_000,
    "days": 86_400_000,
}


_LONGEST_SHOWN = 60


def shown(value: object) -> str:
    """A value of a TOML file as it is shown in a message: text in quotes and not too much of it."""
    match value:
        case str():
            return f'"{value}"' if len(value) <= _LONGEST_SHOWN else f'"{value[:_LONGEST_SHOWN]}…"'
        case bool():
            return "true" if value else "false"
        case dict():
            return "a table"
        case list():
            return "a list"
    return str(value)


def temperature(text: object) -> Temperature:
    """Read "82 C", "180 F" or "355 K". A bare number is refused because nobody can know its scale."""
    if isinstance(text, Temperature):
        return text
    match = _TEMPERATURE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(
            f'{shown(text)} is not a temperature; write a number and its scale, such as "82 C" or "180 F"'
        )
    scale = Scale(match[2].upper())
    found = Temperature(scale.to_celsius(float(match[1])))
    if found.celsius < -273.15 or found.celsius > 2000:
        raise ValueError(f"{shown(text)} is not a temperature that exists in a kitchen")
    return found


def difference(text: object) -> TemperatureDifference:
    """Read "0.5 K", "1 degC" or "1 degF": a step between temperatures, not a temperature."""
    if isinstance(text, TemperatureDifference):
        return text
    match = _DIFFERENCE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(
            f'{shown(text)} is not a temperature difference; write a number of kelvin or degrees of difference, such as "0.5 K" or "1 degF"'
        )
    size = float(match[1])
    if size < 0:
        raise ValueError(f"{shown(text)} is negative; a band or deadband has a size of zero or more")
    if size > _LARGEST_DIFFERENCE:
        raise ValueError(f"{shown(text)} is not a difference that exists in a kitchen")
    return TemperatureDifference(size / 1.8 if "F" in match[2] else size)


def rate(text: object) -> float:
    """Read "10 K per s" or "5 degF/min": how fast a temperature changes, in kelvin per second."""
    match = _RATE.fullmatch(text) if isinstance(text, str) else None
    if match is None:
        raise ValueError(
            f'{shown(text)} is not a rate of change; write a difference and the time it takes, such as "10 K per s"'
        )
    kelvin = difference(f"{match[1]} {match[2]}").kelvin / (_UNIT_MILLIS[match[3]] / 1_000)
    if kelvin <= 0:
        raise ValueError(f"{shown(text)} is no change at all; write a rate above zero")
    return kelvin


def duration(text: object) -> Millis:
    """Read "15 min", "90 s", "1 h 30 min". A bare number is refused because nobody can know its unit."""
    if isinstance(text, str):
        total, place = 0.0, 0
        while (match := _DURATION_PART.match(text, place)) is not None:
            total += float(match[1]) * _UNIT_MILLIS[match[2].lower()]
            place = match.end()
        if place == len(text) and place > 0:
            if "-" in text:
                raise ValueError(f"{shown(text)} is negative; a length of time is zero or more")
            if total > _LONGEST:
                raise ValueError(f"{shown(text)} is longer than a year")
            return Millis(round(total))
    raise ValueError(
        f'{shown(text)} is not a length of time; write a number and its unit, such as "15 min" or "1 h 30 min"'
    )


def _length(value: Any) -> Any:
    return duration(value)


def _rate(value: Any) -> Any:
    return rate(value)


TemperatureText = Annotated[Temperature, BeforeValidator(temperature)]
DifferenceText = Annotated[TemperatureDifference, BeforeValidator(difference)]
DurationText = Annotated[int, BeforeValidator(_length)]
RateText = Annotated[float, BeforeValidator(_rate)]
