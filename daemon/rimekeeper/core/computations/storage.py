"""What a frozen product has been through in store."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from rimekeeper.core.computations.contract import Answer, Computation
from rimekeeper.core.process.buffered import product_after
from rimekeeper.core.process.storage import CAUTION, mean_kinetic_temperature
from rimekeeper.core.process.storage_sums import Sensitivity, degree_seconds, exposed_seconds
from rimekeeper.core.sensing.sensors.contract import Input

_VALUES = 4
_USUAL = Sensitivity()
_VALIDITY = "-100 °C to 100 °C"
_LINE = (
    Input("begins", "°C", "temperature at the beginning"),
    Input("ends", "°C", "temperature at the end; the same when it is held"),
    Input("time", "s", "how long"),
)


def _kinetic(given: Mapping[str, float]) -> tuple[Answer, ...]:
    numbers = range(1, _VALUES + 1)
    celsius = np.array([given[f"t{n}"] for n in numbers])
    lasting = np.array([given[f"d{n}"] for n in numbers])
    return (Answer("temperature", mean_kinetic_temperature(celsius, lasting), "°C"),)


def _degree_minutes(given: Mapping[str, float]) -> tuple[Answer, ...]:
    above, sum_ = degree_seconds(given["time"], given["begins"], given["ends"], given["limit"])
    return (Answer("degree-minutes", sum_ / 60.0, "K min"), Answer("time above", above, "s"))


def _exposure(given: Mapping[str, float]) -> tuple[Answer, ...]:
    by = Sensitivity(given["flattest"], given["likely"], given["steepest"])
    found = exposed_seconds(given["time"], given["begins"], given["ends"], given["reference"], by)
    return tuple(
        Answer(name, seconds, "s at the reference")
        for name, seconds in zip(("least", "likely", "most"), found, strict=True)
    )


def _product(given: Mapping[str, float]) -> tuple[Answer, ...]:
    found = product_after(
        given["time"], given["product"], given["begins"], given["ends"], given["time_constant"]
    )
    return (Answer("temperature", found, "°C"),)


OF_STORAGE: tuple[Computation, ...] = (
    Computation(
        "mean-kinetic-temperature",
        "mean kinetic temperature of up to four values",
        tuple(
            one
            for n in range(1, _VALUES + 1)
            for one in (
                Input(f"t{n}", "°C", f"temperature {n}", None if n == 1 else 0.0),
                Input(
                    f"d{n}", "s", f"how long temperature {n} lasted; 0 leaves it out", 1.0 if n == 1 else 0.0
                ),
            )
        ),
        "°C",
        _VALIDITY,
        "USP <1079.2>: 83.144 kJ/mol, hence 10000 K; weighted by time",
        _kinetic,
        "made for the stability of medicines; for ice cream an index. " + CAUTION,
    ),
    Computation(
        "degree-minutes",
        "degrees above a limit by minutes, on a straight line of temperature",
        (*_LINE, Input("limit", "°C", "the limit")),
        "K min, and the time above",
        f"{_VALIDITY}; exact on a straight line",
        "integral of max(0, T - limit) dt, the crossing on the line",
        _degree_minutes,
    ),
    Computation(
        "buffered-temperature",
        "temperature of a product behind the air around it",
        (
            Input("product", "°C", "temperature of the product at the beginning"),
            Input("begins", "°C", "temperature of the air at the beginning"),
            Input("ends", "°C", "temperature of the air at the end; the same when it is steady"),
            Input("time", "s", "how long"),
            Input("time_constant", "s", "time constant of the product in its place"),
        ),
        "°C",
        f"{_VALIDITY}; time constant 1 s to 30 days; exact when the air goes in a straight line; no freezing between",
        "response of a first-order system (Newton's law of cooling): dTp/dt = (Ta - Tp) / tau",
        _product,
        "an estimate that proves no limit; the air's own record stays",
    ),
    Computation(
        "exposure-index",
        "steady storage at a reference temperature that a straight line of temperature is worth, as ice coarsens",
        (
            *_LINE,
            Input("reference", "°C", "temperature of the steady storage", -18.0),
            Input(
                "flattest",
                "K",
                "activation energy / R of the growth of size cubed, at the least (our assumption)",
                _USUAL.flattest,
            ),
            Input(
                "likely",
                "K",
                "the same, likely: three times that of size itself (our assumption)",
                _USUAL.likely,
            ),
            Input("steepest", "K", "the same, at the most (our assumption)", _USUAL.steepest),
        ),
        "s: least, likely and most",
        f"{_VALIDITY}; no confirmed rates, so it comes as a span",
        "Arrhenius, with crystal size by the cube root of time: Donhowe and Hartel 1996, Int Dairy J 6:1209",
        _exposure,
        "an index and no crystal size; swings do more harm than it says. " + CAUTION,
    ),
)
