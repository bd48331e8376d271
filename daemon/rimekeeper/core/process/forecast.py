"""When will the target come? A forecast of arrival with an honest interval, or a plain reason why not."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from rimekeeper.core.model import Instant, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach


class Outlook(enum.StrEnum):
    """What the data say about the arrival."""

    ARRIVES = "arrives"
    THERE = "is there"
    AWAY = "moves away"
    FALLS_SHORT = "levels off before the target"
    PLATEAU = "on the freezing plateau"
    UNSETTLED = "not enough to say"
    STALE = "no fresh reading"


@dataclass(frozen=True, slots=True)
class Forecast:
    """Arrival at a target as seen from ``made_at``. The instants are None unless the outlook is ARRIVES.

    ``earliest`` to ``latest`` is meant to hold the true arrival 9 times out of 10 (5 % and 95 %).
    On PLATEAU, ``earliest`` may still be given (not before). ``rate`` is in kelvin per minute.
    """

    made_at: Instant
    outlook: Outlook
    expected: Instant | None = None
    earliest: Instant | None = None
    latest: Instant | None = None
    rate: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Course:
    """What a forecast needs to remember of a curve: thinned points, newest last. (times in ms, °C)."""

    times: tuple[int, ...] = ()
    celsius: tuple[float, ...] = ()


def observe(course: Course, at: Instant, celsius: float) -> Course:
    """The course with one more good reading; memory stays bounded. Out-of-order points are ignored."""
    raise NotImplementedError


def forecast(
    course: Course,
    target: Temperature,
    band: TemperatureDifference,
    approach: Approach,
    at: Instant,
    freezing_point: Temperature | None = None,
) -> Forecast:
    """The arrival at ``target`` as seen at ``at``."""
    raise NotImplementedError
