"""Degrees and kelvin."""

from __future__ import annotations

from collections.abc import Iterator

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import ABSOLUTE_ZERO, Scale
from rimekeeper.core.sensing.sensors.contract import Input


def _scales() -> Iterator[Computation]:
    words = {Scale.FAHRENHEIT: ("fahrenheit", "°F"), Scale.KELVIN: ("kelvin", "K")}
    for scale, (word, unit) in words.items():
        yield Computation(
            f"celsius-to-{word}",
            f"a temperature in {unit}",
            (Input("temperature", "°C", "temperature"),),
            unit,
            "absolute zero and above",
            "by definition: NIST SP 811, BIPM SI Brochure",
            lambda given, scale=scale, unit=unit: (  # type: ignore[misc]
                Answer("temperature", scale.from_celsius(_possible(given["temperature"])), unit),
            ),
        )
        yield Computation(
            f"{word}-to-celsius",
            f"°C from a number of {unit}",
            (Input("number", "", f"temperature in {unit}"),),
            "°C",
            "absolute zero and above",
            "by definition: NIST SP 811, BIPM SI Brochure",
            lambda given, scale=scale: (  # type: ignore[misc]
                Answer("temperature", _possible(scale.to_celsius(given["number"])), "°C"),
            ),
        )


def _possible(celsius: float) -> float:
    if not ABSOLUTE_ZERO <= celsius <= 1e6:
        raise OutOfRangeError(f"{celsius:g} °C is no temperature: give one from {ABSOLUTE_ZERO} °C up.")
    return celsius


OF_SCALES: tuple[Computation, ...] = tuple(_scales())
