"""Thermistors (NTC) by the equation of Steinhart and Hart, or by Beta alone.

    1/T = a + b ln R + c (ln R)³        T in kelvin, R in ohm
    1/T = 1/T0 + ln(R/R0) / Beta

Steinhart and Hart: Deep-Sea Research 15 (1968) 497. It follows a maker's table within some hundredths of a kelvin
over 100 K when its three coefficients are fitted at the ends and the middle. Beta holds near the two temperatures
it was taken from only: a 10 kohm thermistor with Beta of 25 °C and 85 °C reads 2.5 K warm at -20 °C.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.core.model import ABSOLUTE_ZERO
from rimekeeper.core.sensing.sensors.contract import (
    Fault,
    Input,
    Refusal,
    Sensor,
    SensorKind,
    broken,
    outside,
)

COLDEST, HOTTEST = -60.0, 200.0
SHORTED, OPEN = 1.0, 1e8
"""Ohms below and above which the wires are at fault and not the temperature (common practice)."""

_LOWEST_INVERSE = 1.0 / (HOTTEST - ABSOLUTE_ZERO)
_HIGHEST_INVERSE = 1.0 / (COLDEST - ABSOLUTE_ZERO)
_ROOM = 1.0 / (25.0 - ABSOLUTE_ZERO)
_SLACK = 1e-12
"""Rounding allowed at the two ends of the range, as a share."""
_RESISTANCE = Input("resistance", "ohm", "measured resistance")


@dataclass(frozen=True, slots=True)
class SteinhartHartSensor:
    """A thermistor by its three coefficients (1/K), with ``b`` above zero and ``c`` not below it."""

    a: float
    b: float
    c: float

    def to_celsius(self, value: float) -> float | Refusal:
        """From ohm to °C."""
        if not SHORTED <= value <= OPEN:
            return _wires(value)
        log = math.log(value)
        return _from_inverse(self.a + log * (self.b + self.c * log * log))

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to ohm: the one real root of the cubic, polished by Newton's method."""
        if not COLDEST <= celsius <= HOTTEST:
            return _beyond(celsius)
        wanted = 1.0 / (celsius - ABSOLUTE_ZERO) - self.a
        low, high = math.log(SHORTED), math.log(OPEN)
        log = 0.5 * (low + high)
        for _ in range(100):
            miss = log * (self.b + self.c * log * log) - wanted
            low, high = (low, log) if miss > 0.0 else (log, high)
            step = miss / (self.b + 3.0 * self.c * log * log)
            after = log - step
            log = after if low <= after <= high else 0.5 * (low + high)
            if abs(step) < 1e-12:
                break
        else:
            return outside(celsius, "at that temperature it would have less than 1 ohm or more than 100 Mohm")
        return math.exp(log)


@dataclass(frozen=True, slots=True)
class BetaSensor:
    """A thermistor by Beta (K), and its resistance (ohm) at a reference temperature (°C)."""

    beta: float
    resistance: float
    reference: float

    def to_celsius(self, value: float) -> float | Refusal:
        """From ohm to °C."""
        if not SHORTED <= value <= OPEN:
            return _wires(value)
        inverse = 1.0 / (self.reference - ABSOLUTE_ZERO) + math.log(value / self.resistance) / self.beta
        return _from_inverse(inverse)

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to ohm."""
        if not COLDEST <= celsius <= HOTTEST:
            return _beyond(celsius)
        inverse = 1.0 / (celsius - ABSOLUTE_ZERO) - 1.0 / (self.reference - ABSOLUTE_ZERO)
        log = math.log(self.resistance) + self.beta * inverse
        if not math.log(SHORTED) <= log <= math.log(OPEN):
            return outside(celsius, "at that temperature it would have less than 1 ohm or more than 100 Mohm")
        return math.exp(log)


def steinhart_hart_through(points: tuple[tuple[float, float], ...]) -> tuple[float, float, float] | None:
    """The coefficients a, b, c (1/K) through three (°C, ohm) of a table; None when no thermistor has them.

    Exact at the three points. Take them at both ends and the middle of the range that matters.
    """
    logs, inverses = [], []
    for celsius, ohm in points:
        if not (ABSOLUTE_ZERO < celsius < math.inf and 0.0 < ohm < math.inf):
            return None
        logs.append(math.log(ohm))
        inverses.append(1.0 / (celsius - ABSOLUTE_ZERO))
    (l1, l2, l3), (y1, y2, y3) = logs, inverses
    if l1 in (l2, l3) or l2 == l3 or l1 + l2 + l3 == 0.0:
        return None
    second, third = (y2 - y1) / (l2 - l1), (y3 - y1) / (l3 - l1)
    c = (third - second) / (l3 - l2) / (l1 + l2 + l3)
    b = second - c * (l1 * l1 + l1 * l2 + l2 * l2)
    found = y1 - l1 * (b + c * l1 * l1), b, c
    return found if all(map(math.isfinite, found)) else None


def _from_inverse(inverse: float) -> float | Refusal:
    if not _LOWEST_INVERSE * (1.0 - _SLACK) <= inverse <= _HIGHEST_INVERSE * (1.0 + _SLACK):
        return outside(inverse, "the resistance stands for less than -60 °C or more than 200 °C")
    return 1.0 / inverse + ABSOLUTE_ZERO


def _wires(value: float) -> Refusal:
    if value < SHORTED:
        return broken(value, "the resistance is next to nothing: the sensor or its cable is shorted")
    return broken(value, "the resistance is far too high: the sensor or its cable is open")


def _beyond(celsius: float) -> Refusal:
    return outside(celsius, "thermistors are converted from -60 °C to 200 °C")


def _build_steinhart_hart(given: Mapping[str, float]) -> Sensor | Fault:
    a, b, c = given["a"], given["b"], given["c"]
    remedy = "Copy a, b and c of the data sheet for R in ohm, or compute them with steinhart-hart-fit."
    if not 0.0 < b < 1.0:
        return Fault("b", f"with b = {b:g} the resistance would not fall as it gets warmer", remedy)
    if not 0.0 <= c < 1.0:
        return Fault(
            "c", f"with c = {c:g} the resistance would not fall as it gets warmer everywhere", remedy
        )
    top = math.log(OPEN)
    if not a < _ROOM < a + top * (b + c * top * top):
        return Fault("a", "with these coefficients no resistance from 1 ohm to 100 Mohm is 25 °C", remedy)
    return SteinhartHartSensor(a, b, c)


def _build_beta(given: Mapping[str, float]) -> Sensor | Fault:
    beta, resistance, reference = given["beta"], given["nominal"], given["reference"]
    if not 500.0 <= beta <= 10_000.0:
        return Fault(
            "beta", f"{beta:g} K is no thermistor's Beta", "Write the data sheet's, 2000 K to 5000 K."
        )
    if not SHORTED < resistance < OPEN:
        return Fault(
            "nominal", f"{resistance:g} ohm is no thermistor's resistance", 'Write one such as "10 kohm".'
        )
    if not COLDEST <= reference <= HOTTEST:
        return Fault("reference", f"{reference:g} °C is outside -60 °C to 200 °C", 'It is mostly "25 C".')
    return BetaSensor(beta, resistance, reference)


KINDS = (
    SensorKind(
        name="steinhart-hart",
        title="thermistor by Steinhart and Hart",
        signal=_RESISTANCE,
        parameters=(
            Input("a", "1/K", "first coefficient, for resistances in ohm"),
            Input("b", "1/K", "coefficient of ln R"),
            Input("c", "1/K", "coefficient of (ln R)³"),
        ),
        validity="-60 °C to 200 °C, and the span that the coefficients were fitted over",
        source="Steinhart and Hart, Deep-Sea Research 15 (1968) 497",
        build=_build_steinhart_hart,
    ),
    SensorKind(
        name="ntc-beta",
        title="thermistor by Beta alone",
        signal=_RESISTANCE,
        parameters=(
            Input("beta", "K", "Beta of the data sheet"),
            Input("nominal", "ohm", "resistance at the reference temperature"),
            Input("reference", "°C", "where it has that resistance", 25.0),
        ),
        validity="-60 °C to 200 °C by the formula; good to some tenths between the two temperatures of Beta only",
        source="the definition of Beta: IEC 60539-1",
        build=_build_beta,
        caution="Beta is some kelvin off in a freezer (2.5 K at -20 °C for a common 10 kohm one); "
        "steinhart-hart with three coefficients is not",
    ),
)
