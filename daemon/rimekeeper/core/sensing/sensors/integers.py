"""Numbers that stand for a temperature without being one: tenths, sixteenths, any factor and offset.

One-wire digital thermometers send a signed 16-bit integer of sixteenths of a degree (the register as their data
sheets describe it), from -55 °C to 125 °C. It is taken as it is or as its unsigned twin (65 374 is -162). The code
-127 °C, by which many readers say "not there", is a fault. 85 °C after power-on, and -0.0625 °C (65 535) of a bus
held high by a fault, are also true temperatures: one number can't tell them apart, so they are left to the
judgement of what came before.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.core.model import ABSOLUTE_ZERO, Scale
from rimekeeper.core.sensing.sensors.contract import (
    Fault,
    Input,
    Refusal,
    Sensor,
    SensorKind,
    broken,
    outside,
)

LARGEST = 1e4
"""°C beyond which no number is a temperature."""
COLDEST_WIRE, HOTTEST_WIRE = -55.0, 125.0
_SIXTEENTHS = 16.0
_WRAP = 65_536.0
_NOT_THERE = -127.0 * _SIXTEENTHS


@dataclass(frozen=True, slots=True)
class ScaledSensor:
    """``factor * count + offset`` on a scale; the factor is not zero."""

    scale: Scale
    factor: float
    offset: float

    def to_celsius(self, value: float) -> float | Refusal:
        """From counts to °C."""
        celsius = self.scale.to_celsius(value * self.factor + self.offset)
        if not ABSOLUTE_ZERO <= celsius <= LARGEST:
            return outside(value, "no temperature is below absolute zero or above 10 000 °C")
        return celsius

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to counts, not rounded."""
        if not ABSOLUTE_ZERO <= celsius <= LARGEST:
            return outside(celsius, "no temperature is below absolute zero or above 10 000 °C")
        return (self.scale.from_celsius(celsius) - self.offset) / self.factor


@dataclass(frozen=True, slots=True)
class OneWireSensor:
    """The register of a one-wire digital thermometer, signed or unsigned."""

    def to_celsius(self, value: float) -> float | Refusal:
        """From the register to °C (exact)."""
        if not -0.5 * _WRAP <= value < _WRAP:
            return outside(value, "the register has 16 bits: -32768 to 32767, or 0 to 65535")
        if value != math.floor(value):
            return outside(value, "the register is a whole number; this one is not")
        signed = value - _WRAP if value >= 0.5 * _WRAP else value
        if signed == _NOT_THERE:
            return broken(value, "-127 °C is how readers say that the sensor is not there")
        celsius = signed / _SIXTEENTHS
        if not COLDEST_WIRE <= celsius <= HOTTEST_WIRE:
            return outside(value, "one-wire thermometers measure from -55 °C to 125 °C")
        return celsius

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to the signed register, rounded to the nearest sixteenth."""
        if not COLDEST_WIRE <= celsius <= HOTTEST_WIRE:
            return outside(celsius, "one-wire thermometers measure from -55 °C to 125 °C")
        return float(round(celsius * _SIXTEENTHS))


def _tenths(scale: Scale, _given: Mapping[str, float]) -> Sensor | Fault:
    return ScaledSensor(scale, 0.1, 0.0)


def _scaled(scale: Scale, given: Mapping[str, float]) -> Sensor | Fault:
    factor, offset = given["factor"], given["offset"]
    if not 1e-9 <= abs(factor) <= 1e6:
        return Fault(
            "factor", f"{factor:g} is not how much one count can stand for", "Write one such as 0.1."
        )
    if not abs(offset) <= LARGEST:
        return Fault(
            "offset", f"{offset:g} is more than any temperature", "Write what a count of 0 stands for."
        )
    return ScaledSensor(scale, factor, offset)


def _one_wire(_given: Mapping[str, float]) -> Sensor | Fault:
    return OneWireSensor()


_COUNT = Input("count", "", "the number as it comes")


def _kinds_of(scale: Scale) -> tuple[SensorKind, SensorKind]:
    letter = scale.value
    unit = "K" if scale is Scale.KELVIN else f"°{letter}"
    return (
        SensorKind(
            name=f"tenths-{letter.lower()}",
            title=f"tenths of {unit}",
            signal=_COUNT,
            parameters=(),
            validity="absolute zero to 10 000 °C",
            source="by definition; scales as in NIST SP 811",
            build=functools.partial(_tenths, scale),
        ),
        SensorKind(
            name=f"scaled-{letter.lower()}",
            title=f"count times a factor plus an offset, in {unit}",
            signal=_COUNT,
            parameters=(
                Input("factor", "", f"{unit} for each count"),
                Input("offset", "", f"{unit} at a count of 0", 0.0),
            ),
            validity="absolute zero to 10 000 °C",
            source="by definition; scales as in NIST SP 811",
            build=functools.partial(_scaled, scale),
        ),
    )


KINDS = (
    *(kind for scale in Scale for kind in _kinds_of(scale)),
    SensorKind(
        name="one-wire",
        title="register of a one-wire digital thermometer (sixteenths, 16 bits)",
        signal=Input("register", "", "the 16-bit register, signed or unsigned"),
        parameters=(),
        validity="-55 °C to 125 °C; 85 °C may be the power-on value, -0.0625 °C a bus held high",
        source="data sheets of one-wire digital thermometers (register in 1/16 °C, two's complement)",
        build=_one_wire,
    ),
)
