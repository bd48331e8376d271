"""Portions of mix stirred together, and how a mix scoops where it is served."""

from __future__ import annotations

from collections.abc import Mapping

from rimekeeper.core.computations.contract import Answer, Computation, within
from rimekeeper.core.computations.freezing import MIX_INPUTS, mix_of
from rimekeeper.core.model import Temperature
from rimekeeper.core.process import combining, scooping
from rimekeeper.core.process.freezing import COLDEST
from rimekeeper.core.sensing.sensors.contract import Input

_SOURCE = "balance of heat with the freezing curve of the mix"
_VALIDITY = f"{COLDEST.celsius:g} °C to {combining.WARMEST:g} °C, each portion in balance with its ice"
_CAUTION = "heat from the room, the bowl and the stirring is left out; it makes the result warmer"
_MOST_KILOGRAMS = 10_000.0


def _mass(given: Mapping[str, float], key: str) -> float:
    return within(given, key, 0.0, _MOST_KILOGRAMS, "kg")


def _combined(given: Mapping[str, float]) -> tuple[Answer, ...]:
    mix = mix_of(given)
    result = combining.combined(
        [
            combining.Portion(_mass(given, mass), Temperature(given[temperature]), mix)
            for mass, temperature in (("mass", "temperature"), ("other_mass", "other_temperature"))
        ]
    )
    return (
        Answer("temperature", result.temperature.celsius, "°C"),
        Answer("uncertainty either way", result.uncertainty, "K"),
        Answer("share of the water frozen", result.frozen, ""),
    )


def _to_freeze(given: Mapping[str, float]) -> tuple[Answer, ...]:
    found = combining.portion_to_freeze(
        mix_of(given),
        _mass(given, "mass"),
        Temperature(given["unfrozen"]),
        Temperature(given["frozen"]),
        Temperature(given["wanted"]),
    )
    return (
        Answer("portion", found.kilograms, "kg"),
        Answer("uncertainty either way", found.uncertainty, "kg"),
        Answer("share of the batch", found.share, ""),
    )


def _scoop(given: Mapping[str, float]) -> tuple[Answer, ...]:
    found = scooping.scoop(mix_of(given), Temperature(given["temperature"]))
    return (
        Answer("share of the water frozen", found.fraction, ""),
        Answer("uncertainty either way", found.uncertainty, ""),
        Answer("hardness, 0 too soft, 1 soft, 2 scoops, 3 firm, 4 too hard", _rank(found.verdict), ""),
    )


def _rank(verdict: scooping.Scooping) -> float:
    return float(list(scooping.Scooping).index(verdict))


OF_COMBINING: tuple[Computation, ...] = (
    Computation(
        "combined-temperature",
        "temperature of two portions of a mix stirred together, one of them frozen or not",
        (
            Input("mass", "", "of one portion, kg"),
            Input("temperature", "°C", "of that portion"),
            Input("other_mass", "", "of the other portion, kg"),
            Input("other_temperature", "°C", "of the other portion"),
            *MIX_INPUTS,
        ),
        "°C",
        _VALIDITY,
        _SOURCE,
        _combined,
        _CAUTION,
    ),
    Computation(
        "portion-to-freeze",
        "how much of a batch to freeze so that, stirred into the rest, all of it has a wanted temperature",
        (
            Input("mass", "", "of the whole batch, kg"),
            Input("unfrozen", "°C", "temperature of the rest"),
            Input("frozen", "°C", "temperature of the frozen portion"),
            Input("wanted", "°C", "temperature of all of it afterwards"),
            *MIX_INPUTS,
        ),
        "kg",
        _VALIDITY,
        _SOURCE,
        _to_freeze,
        _CAUTION,
    ),
    Computation(
        "scooping",
        "how a mix scoops at the temperature it is served at",
        (Input("temperature", "°C", "where it is served"), *MIX_INPUTS),
        "a share of 1",
        "to -40 °C",
        "65 % to 70 % frozen at serving: dairy-science article on freezing curves; the other bands are our choice",
        _scoop,
        "air, fat and stabilisers make it softer or firmer than its ice alone",
    ),
)
