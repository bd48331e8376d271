"""What a kind of sensor says about itself, and what a sensor of that kind can do.

A kind declares the signal it reads and its parameters with their units, its range of validity and its source; the
kitchen file, ``rimekeeper compute`` and the tests all read these declarations. Everything here is pure and never
raises: an input that can't be a temperature gives a :class:`Refusal`.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Protocol

from rimekeeper.core.model import Reason


@dataclass(frozen=True, slots=True)
class Refusal:
    """Why a signal is no temperature: the reason that is stored, and a sentence for a technician."""

    reason: Reason
    why: str


class Sensor(Protocol):
    """One sensor with its parameters. Both directions take any float and return a finite number or a refusal."""

    def to_celsius(self, value: float) -> float | Refusal:
        """The temperature (°C) that the signal stands for."""

    def from_celsius(self, celsius: float) -> float | Refusal:
        """The signal that the sensor gives at a temperature (°C)."""


@dataclass(frozen=True, slots=True)
class Input:
    """One number that a conversion takes. ``unit`` is empty for a plain number; no default means it is needed."""

    name: str
    unit: str
    meaning: str
    default: float | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """A parameter with which no sensor can be: its key, what is wrong, what to do."""

    key: str
    what: str
    remedy: str


@dataclass(frozen=True, slots=True)
class SensorKind:
    """A kind of sensor: what it reads, what must be known of it, where it holds and who says so."""

    name: str
    title: str
    signal: Input
    parameters: tuple[Input, ...]
    validity: str
    source: str
    build: Callable[[Mapping[str, float]], Sensor | Fault]
    """From the value of every parameter, in its declared unit, to a sensor."""
    caution: str = ""
    """Said whenever the kind is chosen."""


NOT_A_NUMBER = Refusal(Reason.NOT_A_NUMBER, "it is not a finite number")


def outside(value: float, why: str) -> Refusal:
    """The refusal of a value beyond what the conversion covers."""
    return Refusal(Reason.OUT_OF_RANGE, why) if math.isfinite(value) else NOT_A_NUMBER


def broken(value: float, why: str) -> Refusal:
    """The refusal of a value that only a broken sensor or line gives."""
    return Refusal(Reason.SENSOR_CODE, why) if math.isfinite(value) else NOT_A_NUMBER
