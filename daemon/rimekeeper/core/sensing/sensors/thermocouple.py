"""Thermocouples of types K, T, J, N and E (ITS-90 reference functions), with cold-junction compensation.

    E(t) = sum of c_i t^i                                    each type, in two pieces, microvolt
    type K above 0 °C: + a0 exp(a1 (t - 126.9686)²)

The published inverse polynomials are up to 0.06 °C off; here the reference function itself is solved, to better
than 1e-6 °C: a cubic through a table of it gives the temperature, and where that is not proven close enough when the
table is made, it is corrected until it no longer moves.

A thermocouple measures against its cold junction, so voltages are added and never temperatures:

    t = E⁻¹( measured + E(t_cold_junction) )

Source: NIST Monograph 175 (1993), which IEC 60584-1 follows.
"""

from __future__ import annotations

import functools
import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass

from rimekeeper.core.sensing.sensors.contract import (
    Fault,
    Input,
    Refusal,
    Sensor,
    SensorKind,
    broken,
    outside,
)
from rimekeeper.core.sensing.sensors.thermocouple_data import K_EXPONENTIAL, REFERENCE, Piece

COLDEST_JUNCTION, HOTTEST_JUNCTION = -40.0, 125.0
"""°C that a connector or terminal block can have."""
OPEN_MILLIVOLTS = 100.0
"""More than any of these types gives anywhere: an open input drifts there (common practice)."""

_CLOSE = 1e-8
_MOST_STEPS = 60
_EDGE_MICROVOLTS = 3e-7
"""What rounding makes of the longest polynomial at -270 °C."""


class Curve:
    """The reference function of one type, both ways, in °C and microvolt."""

    def __init__(self, letter: str) -> None:
        self.letter = letter
        pieces = REFERENCE[letter]
        self._bump = K_EXPONENTIAL if letter == "K" else None
        colder, warmer = pieces
        self._seam = colder.highest
        self._colder = tuple(reversed(colder.coefficients))
        self._warmer = tuple(reversed(warmer.coefficients))
        self.coldest, self.hottest = pieces[0].lowest, pieces[-1].highest
        self._knots: list[float] = []
        self._cubics: list[tuple[float, float, float, float, float, float]] = []
        self._close: list[bool] = []
        for piece in pieces:
            self._tabulate(piece)
        self._knots.append(self.microvolts(self.hottest))
        self.least, self.most = self._knots[0] - _EDGE_MICROVOLTS, self._knots[-1] + _EDGE_MICROVOLTS

    def microvolts(self, celsius: float) -> float:
        """E(t) with the cold junction at 0 °C; t within the range (not checked)."""
        falling = self._colder if celsius <= self._seam else self._warmer
        total = 0.0
        for coefficient in falling:
            total = total * celsius + coefficient
        if self._bump is not None and celsius > 0.0:
            a0, a1, a2 = self._bump
            total += a0 * math.exp(a1 * (celsius - a2) * (celsius - a2))
        return total

    def celsius(self, microvolts: float) -> float:
        """The temperature at which E is so many microvolts, within ``least`` to ``most`` (not checked)."""
        place = bisect_right(self._knots, microvolts) - 1
        place = min(max(place, 0), len(self._cubics) - 1)
        low, high, first, second, third, slope = self._cubics[place]
        along = microvolts - self._knots[place]
        found = low + along * (first + along * (second + along * third))
        if self._close[place]:
            return found
        for _ in range(_MOST_STEPS):  # pragma: no branch - it is close long before; the bound is for safety
            step = (self.microvolts(found) - microvolts) * slope
            found -= step
            if found <= low or found >= high:
                found = low if found <= low else high
            if -_CLOSE < step < _CLOSE:
                break
        return found

    def _tabulate(self, piece: Piece) -> None:
        """For each kelvin the cubic in E that has the function's values and slopes at both ends."""
        for number in range(round(piece.highest - piece.lowest)):
            low = piece.lowest + number
            high = low + 1.0
            start, end = self.microvolts(low), self.microvolts(high)
            width = end - start
            secant = (high - low) / width
            here, there = 1.0 / self._slope(piece, low), 1.0 / self._slope(piece, high)
            second = (3.0 * secant - 2.0 * here - there) / width
            third = (here + there - 2.0 * secant) / (width * width)
            self._knots.append(start)
            # Corrections use the flattest inverse of the two ends, so that they never overshoot to and fro.
            self._cubics.append((low, high, here, second, third, min(here, there, secant)))
            # A cubic through both ends with both slopes is farthest off in the middle.
            half = self.microvolts(low + 0.5) - start
            off = low + half * (here + half * (second + half * third)) - (low + 0.5)
            self._close.append(abs(off) < _CLOSE)

    def _slope(self, piece: Piece, celsius: float) -> float:
        total = sum(
            power * coefficient * celsius ** (power - 1)
            for power, coefficient in enumerate(piece.coefficients)
            if power
        )
        if self._bump is not None and piece.lowest >= 0.0:
            a0, a1, a2 = self._bump
            off = celsius - a2
            total += 2.0 * a1 * off * a0 * math.exp(a1 * off * off)
        return total


@functools.cache
def curve(letter: str) -> Curve:
    """The curve of a type, made when it is first asked for (some milliseconds)."""
    return Curve(letter)


@dataclass(frozen=True, slots=True)
class ThermocoupleSensor:
    """A thermocouple whose cold junction, at a known temperature, gives ``junction`` microvolts by itself."""

    curve: Curve
    junction: float

    def to_celsius(self, value: float) -> float | Refusal:
        """From the measured millivolts to °C."""
        microvolts = value * 1000.0 + self.junction
        if not self.curve.least <= microvolts <= self.curve.most:
            return self._refused(value)
        return self.curve.celsius(microvolts)

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to the millivolts measured against the cold junction."""
        if not self.curve.coldest <= celsius <= self.curve.hottest:
            return outside(celsius, f"type {self.curve.letter} is defined over {span(self.curve)}")
        return (self.curve.microvolts(celsius) - self.junction) / 1000.0

    def _refused(self, value: float) -> Refusal:
        if abs(value) >= OPEN_MILLIVOLTS:
            return broken(value, "no thermocouple gives that voltage: it is open, or an input is broken")
        return outside(value, f"the voltage is outside type {self.curve.letter}, {span(self.curve)}")


def span(of: Curve) -> str:
    """The range of a type in words."""
    return f"{of.coldest:.0f} °C to {of.hottest:.0f} °C"


def _build(letter: str, given: Mapping[str, float]) -> Sensor | Fault:
    junction = given["cold_junction"]
    if not COLDEST_JUNCTION <= junction <= HOTTEST_JUNCTION:
        return Fault(
            "cold_junction",
            f"{junction:g} °C is not the temperature of a terminal block",
            'Write where the thermocouple ends in copper, such as "23 C".',
        )
    of = curve(letter)
    return ThermocoupleSensor(of, of.microvolts(junction))


def _kind(letter: str) -> SensorKind:
    pieces = REFERENCE[letter]
    return SensorKind(
        name=f"thermocouple-{letter.lower()}",
        title=f"thermocouple type {letter}",
        signal=Input("voltage", "mV", "measured voltage"),
        parameters=(
            Input(
                "cold_junction",
                "°C",
                "temperature of the cold junction; 0 °C only for ice or an instrument that compensates",
            ),
        ),
        validity=f"{pieces[0].lowest:.0f} °C to {pieces[-1].highest:.0f} °C",
        source="NIST Monograph 175 (ITS-90), IEC 60584-1",
        build=functools.partial(_build, letter),
    )


KINDS = tuple(_kind(letter) for letter in REFERENCE)
