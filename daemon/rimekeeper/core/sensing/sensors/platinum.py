"""Platinum resistance thermometers, Pt100 and Pt1000 (IEC 60751).

    R(t) = R0 (1 + A t + B t²)                      0 °C to 850 °C
    R(t) = R0 (1 + A t + B t² + C (t - 100) t³)     -200 °C to 0 °C

The inverse is the quadratic formula from 0 °C up and Newton's method below, to better than 1e-6 °C.
Source: the reference function and coefficients of IEC 60751 (A 3.9083e-3 /K, B -5.775e-7 /K², C -4.183e-12 /K⁴).
"""

from __future__ import annotations

import functools
import math
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

A, B, C = 3.9083e-3, -5.775e-7, -4.183e-12
COLDEST, HOTTEST = -200.0, 850.0
SHORTED, OPEN = 0.02, 10.0
"""Shares of R0 below and above which the wires are at fault and not the temperature (common practice)."""

_STEPS = 3
_EDGE = 1e-12
"""Rounding allowed at the two ends of the range, as a share of R0."""


def ratio_at(celsius: float) -> float:
    """R(t)/R0 at a temperature from -200 to 850 °C (not checked)."""
    ratio = 1.0 + celsius * (A + celsius * B)
    return ratio if celsius >= 0.0 else ratio + C * (celsius - 100.0) * celsius * celsius * celsius


_LEAST, _MOST = ratio_at(COLDEST) - _EDGE, ratio_at(HOTTEST) + _EDGE


@dataclass(frozen=True, slots=True)
class PlatinumSensor:
    """A platinum thermometer. ``ice_resistance`` is R0 and ``lead`` what the wires add, both in ohm."""

    ice_resistance: float
    lead: float = 0.0

    def to_celsius(self, value: float) -> float | Refusal:
        """From ohm to °C."""
        ratio = (value - self.lead) / self.ice_resistance
        if not _LEAST <= ratio <= _MOST:
            return _refused(ratio)
        celsius = (-A + math.sqrt(A * A - 4.0 * B * (1.0 - ratio))) / (2.0 * B)
        if ratio >= 1.0:
            return celsius
        # The quadratic guess is at most 2.5 K off, and each step squares what is left of that.
        for _ in range(_STEPS):
            celsius -= (ratio_at(celsius) - ratio) / (
                A + celsius * (2.0 * B + celsius * (4.0 * C * celsius - 300.0 * C))
            )
        return celsius

    def from_celsius(self, celsius: float) -> float | Refusal:
        """From °C to ohm."""
        if not COLDEST <= celsius <= HOTTEST:
            return outside(celsius, "platinum thermometers are defined from -200 °C to 850 °C")
        return self.ice_resistance * ratio_at(celsius) + self.lead


def _refused(ratio: float) -> Refusal:
    if ratio <= SHORTED:
        return broken(ratio, "the resistance is next to nothing: the sensor or its cable is shorted")
    if ratio >= OPEN:
        return broken(ratio, "the resistance is far too high: the sensor or its cable is open")
    return outside(ratio, "the resistance is outside the -200 °C to 850 °C of platinum thermometers")


def _build(nominal: float, given: Mapping[str, float]) -> Sensor | Fault:
    ice, lead = given["ice_resistance"], given["lead"]
    if not 0.9 * nominal <= ice <= 1.1 * nominal:
        return Fault(
            "ice_resistance",
            f"{ice:g} ohm at 0 °C is no Pt{nominal:.0f}",
            f"Write what it measures in an ice bath, near {nominal:.0f} ohm, or leave it out.",
        )
    if not 0.0 <= lead <= 0.5 * nominal:
        return Fault(
            "lead",
            f"{lead:g} ohm is not the resistance of a lead",
            'Write what both wires have together, such as "0.4 ohm".',
        )
    return PlatinumSensor(ice, lead)


def _kind(nominal: float) -> SensorKind:
    return SensorKind(
        name=f"pt{nominal:.0f}",
        title=f"platinum thermometer Pt{nominal:.0f}",
        signal=Input("resistance", "ohm", "measured resistance"),
        parameters=(
            Input("ice_resistance", "ohm", "its resistance at 0 °C", nominal),
            Input("lead", "ohm", "resistance of both wires together, for two wires", 0.0),
        ),
        validity="-200 °C to 850 °C",
        source="IEC 60751",
        build=functools.partial(_build, nominal),
    )


KINDS = (_kind(100.0), _kind(1000.0))
