"""Equivalent lethality of a held or changing temperature, and how long a rule's cooling may take."""

from __future__ import annotations

import math
from collections.abc import Mapping

from rimekeeper.core.computations.contract import Answer, Computation, within
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.process.lethality import HOTTEST, REFERENCE, Z, segment
from rimekeeper.core.sensing.sensors.contract import Input

_COLDEST, _LONGEST = -40.0, 864_000.0
_LEAST_Z, _MOST_Z = 1.0, 50.0


def _celsius(given: Mapping[str, float], key: str) -> float:
    return within(given, key, _COLDEST, HOTTEST, "°C")


def _lethality(given: Mapping[str, float]) -> tuple[Answer, ...]:
    begins, ends = _celsius(given, "begins"), _celsius(given, "ends")
    reference = _celsius(given, "reference")
    z = within(given, "z", _LEAST_Z, _MOST_Z, "K")
    seconds = within(given, "time", 0.0, _LONGEST, "s")
    return (Answer("equivalent time", segment(seconds, begins, ends, reference, z), "s"),)


def _newton(given: Mapping[str, float]) -> tuple[Answer, ...]:
    begins, ends, around = (_celsius(given, key) for key in ("begins", "ends", "around"))
    tau = within(given, "time_constant", 1.0, _LONGEST, "s")
    share = (ends - around) / (begins - around) if begins != around else 0.0
    if not 0.0 < share <= 1.0:
        raise OutOfRangeError(
            f"From {begins:g} °C it never gets to {ends:g} °C in surroundings of {around:g} °C: give an end "
            "between the two."
        )
    return (Answer("time", -tau * math.log(share), "s"),)


OF_HEATING: tuple[Computation, ...] = (
    Computation(
        "lethality",
        "equivalent lethality of a straight line of temperature",
        (
            Input("begins", "°C", "temperature at the beginning"),
            Input("ends", "°C", "temperature at the end; the same when it is held"),
            Input("time", "s", "how long"),
            Input("reference", "°C", "reference temperature", REFERENCE),
            Input("z", "K", "kelvin for a tenth of the time", Z),
        ),
        "s at the reference",
        f"up to {HOTTEST:g} °C; exact on a straight line",
        "log-linear (Bigelow) inactivation; z 7.0 K for Listeria in ice-cream mix: Bradshaw 1987, J Food Prot 50:543",
        _lethality,
        "For information beside a table's verdict and never instead of it: no single z gives the rows of the tables. "
        "Your local food code decides",
    ),
    Computation(
        "newton-cooling",
        "time to cool or warm by Newton's law",
        (
            Input("begins", "°C", "temperature at the beginning"),
            Input("ends", "°C", "temperature at the end"),
            Input("around", "°C", "temperature of the surroundings"),
            Input("time_constant", "s", "time constant of the product in them"),
        ),
        "s",
        "steady surroundings, no freezing between",
        "Newton's law of cooling: t = -tau ln((T - Ta) / (T0 - Ta))",
        _newton,
    ),
)
