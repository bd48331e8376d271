"""A number with its unit, as a person writes it for an input that a conversion declares: "100 ohm", "23 C"."""

from __future__ import annotations

import math
import re
from collections.abc import Mapping

from rimekeeper.config.quantities import shown, temperature
from rimekeeper.core.sensing.sensors.contract import Input

UNITS: Mapping[str, Mapping[str, float]] = {
    "ohm": {"ohm": 1.0, "Ω": 1.0, "mohm": 1e-3, "kohm": 1e3, "kΩ": 1e3},
    "mV": {"mV": 1.0, "uV": 1e-3, "µV": 1e-3, "V": 1e3},
    "mA": {"mA": 1.0, "A": 1e3},
    "K": {"K": 1.0, "mK": 1e-3},
    "K/min": {"K/min": 1.0, "K/s": 60.0, "K/h": 1.0 / 60.0},
    "kPa": {"kPa": 1.0, "hPa": 0.1, "mbar": 0.1, "Pa": 1e-3, "bar": 100.0},
    "m": {"m": 1.0, "km": 1e3, "cm": 1e-2, "mm": 1e-3, "ft": 0.3048, "in": 0.0254},
    "s": {"s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86_400.0},
    "%": {"%": 1.0},
    "kg/m3": {"kg/m3": 1.0, "kg/m³": 1.0, "g/ml": 1e3},
    "kJ/kg": {"kJ/kg": 1.0, "J/kg": 1e-3, "J/g": 1.0},
    "kJ/kgK": {"kJ/kgK": 1.0, "J/kgK": 1e-3},
    "W/mK": {"W/mK": 1.0},
    "W/m2K": {"W/m2K": 1.0, "W/m²K": 1.0},
    "m2K/W": {"m2K/W": 1.0, "m²K/W": 1.0},
}
"""For each declared unit the units that may be written, and how many of the declared one they are."""
EXAMPLES: Mapping[str, str] = {
    "ohm": '"100.2 ohm" or "10 kohm"',
    "mV": '"3.35 mV"',
    "mA": '"12.4 mA"',
    "K": '"3435 K"',
    "K/min": '"2 K/min"',
    "kPa": '"101.3 kPa" or "1013 hPa"',
    "m": '"650 m" or "2100 ft"',
    "s": '"12 s"',
    "%": '"90 %"',
    "kg/m3": '"1080 kg/m3"',
    "kJ/kg": '"250 kJ/kg"',
    "kJ/kgK": '"3.6 kJ/kgK"',
    "W/mK": '"1.2 W/mK"',
    "W/m2K": '"15 W/m2K"',
    "m2K/W": '"0.017 m2K/W"',
    "°C": '"23 C" or "73 F"',
}
_NUMBER = re.compile(r"\s*([+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d{1,3})?)\s*(\S*)\s*")


def quantity(declared: Input, given: object, *, bare: bool = False) -> float:
    """The number in the declared unit.

    Args:
        declared: the input.
        given: what was written, of any type.
        bare: whether a number without a unit is taken to be in the declared one (a technician's computation that
            shows the unit), or refused (a file, where nobody could know).

    Raises:
        ValueError: with a sentence for whoever wrote it.
    """
    if declared.unit in EXAMPLES:
        return _physical(declared.unit, given, bare=bare)
    if isinstance(given, str) and bare and (match := _NUMBER.fullmatch(given)) is not None and not match[2]:
        given = float(match[1])
    if isinstance(given, bool) or not isinstance(given, int | float) or not abs(given) < math.inf:
        in_quotes = "" if bare else ", without quotes"
        unit = f" of {declared.unit}" if declared.unit else ""
        raise ValueError(f"{shown(given)} is not a number{unit}; write one such as 0.1{in_quotes}")
    return float(given)


def _physical(unit: str, given: object, *, bare: bool) -> float:
    match = _NUMBER.fullmatch(given) if isinstance(given, str) else None
    if match is not None and bare and not match[2]:
        return _finite(given, float(match[1]))
    if unit == "°C" and match is not None and match[2]:
        return temperature(given).celsius
    sizes = UNITS.get(unit, {})
    if match is None or match[2] not in sizes:
        name = "temperature" if unit == "°C" else f"number of {unit}"
        raise ValueError(f"{shown(given)} is not a {name}; write it with its unit, such as {EXAMPLES[unit]}")
    return _finite(given, float(match[1]) * sizes[match[2]])


def _finite(given: object, number: float) -> float:
    if not math.isfinite(number):
        raise ValueError(f"{shown(given)} is too large a number")
    return number
