"""A transmitter on a 4-20 mA loop, with the fault currents of NAMUR NE 43.

    t = at_four + (I - 4 mA) / 16 mA * (at_twenty - at_four)

NE 43: 3.8 mA to 20.5 mA carry the measurement; 3.6 mA and less, or 21 mA and more, say that the transmitter or its
sensor has failed. What lies between is a saturated output: no temperature either.
"""

from __future__ import annotations

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

FAILED_LOW, LOWEST, HIGHEST, FAILED_HIGH = 3.6, 3.8, 20.5, 21.0
FOUR, SPAN = 4.0, 16.0


@dataclass(frozen=True, slots=True)
class LoopSensor:
    """A linear transmitter: the temperatures (°C) that 4 mA and 20 mA stand for. They may fall."""

    at_four: float
    at_twenty: float

    def to_celsius(self, value: float) -> float | Refusal:
        """From mA to °C."""
        if not LOWEST <= value <= HIGHEST:
            return _refused(value)
        return self.at_four + (value - FOUR) / SPAN * (self.at_twenty - self.at_four)

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to mA."""
        current = FOUR + SPAN * ((celsius - self.at_four) / (self.at_twenty - self.at_four))
        if not LOWEST <= current <= HIGHEST:
            return outside(current, "the transmitter can't send that: it is beyond 3.8 mA to 20.5 mA")
        return current


def _refused(current: float) -> Refusal:
    if current <= FAILED_LOW:
        return broken(current, "3.6 mA or less: the loop is open, or the transmitter reports a fault (NE 43)")
    if current >= FAILED_HIGH:
        return broken(
            current, "21 mA or more: the loop is shorted, or the transmitter reports a fault (NE 43)"
        )
    return outside(current, "the transmitter is at its stop, beyond 3.8 mA to 20.5 mA (NE 43)")


def _build(given: Mapping[str, float]) -> Sensor | Fault:
    if abs(given["at_four"] - given["at_twenty"]) < 1.0:
        return Fault(
            "at_twenty", "4 mA and 20 mA stand for the same temperature", "Write the transmitter's two ends."
        )
    return LoopSensor(given["at_four"], given["at_twenty"])


KINDS = (
    SensorKind(
        name="loop",
        title="transmitter on a 4-20 mA loop",
        signal=Input("current", "mA", "loop current"),
        parameters=(
            Input("at_four", "°C", "temperature at 4 mA"),
            Input("at_twenty", "°C", "temperature at 20 mA"),
        ),
        validity="3.8 mA to 20.5 mA; 3.6 mA and less or 21 mA and more is a fault",
        source="NAMUR NE 43; IEC 60381-1",
        build=_build,
    ),
)
