"""How far a probe lags behind, and its time constant from the times of a step."""

from __future__ import annotations

import math
from collections.abc import Mapping

from rimekeeper.core.computations.contract import Answer, Computation, within
from rimekeeper.core.sensing.lag import slope_noise
from rimekeeper.core.sensing.sensors.contract import Input

_LONGEST = 36_000.0
_STEEPEST = 6_000.0
_MOST_READINGS = 1000
_FIRST_ORDER = "for a probe of first order"
_SOURCE = "response of a first-order system: dTi/dt = (T - Ti) / tau"


def _seconds(given: Mapping[str, float], key: str) -> float:
    return within(given, key, 0.0, _LONGEST, "s")


def _ramp_lag(given: Mapping[str, float]) -> tuple[Answer, ...]:
    rate = within(given, "rate", -_STEEPEST, _STEEPEST, "K/min")
    return (Answer("lag", _seconds(given, "time_constant") * rate / 60.0, "K"),)


def _corrected(given: Mapping[str, float]) -> tuple[Answer, ...]:
    shown = within(given, "shown", -273.15, 2000.0, "°C")
    rate = within(given, "rate", -_STEEPEST, _STEEPEST, "K/min")
    return (Answer("temperature", shown + _seconds(given, "time_constant") * rate / 60.0, "°C"),)


def _from_step(given: Mapping[str, float]) -> tuple[Answer, ...]:
    share = within(given, "share", 1.0, 99.9, "%")
    return (Answer("time constant", _seconds(given, "reached_after") / -math.log1p(-share / 100.0), "s"),)


def _slope_noise(given: Mapping[str, float]) -> tuple[Answer, ...]:
    noise = within(given, "noise", 0.0, 100.0, "K")
    readings = round(within(given, "readings", 3.0, float(_MOST_READINGS), "readings"))
    every = round(within(given, "interval", 0.001, _LONGEST, "s") * 1000.0)
    return (Answer("slope noise", slope_noise([every * n for n in range(readings)], noise), "K/s"),)


_TAU = Input("time_constant", "s", "time constant of the probe in its medium")
_RATE = Input("rate", "K/min", "how fast it changes; less than 0 when it falls")

OF_LAGGING: tuple[Computation, ...] = (
    Computation(
        "ramp-lag",
        "how far a probe lags behind a steady rise",
        (_TAU, _RATE),
        "K",
        f"{_FIRST_ORDER}, once the rise has lasted some time constants",
        _SOURCE,
        _ramp_lag,
    ),
    Computation(
        "lag-corrected",
        "where the medium is while a probe lags behind",
        (Input("shown", "°C", "what the probe shows"), _TAU, _RATE),
        "°C",
        _FIRST_ORDER,
        _SOURCE,
        _corrected,
        "a guess that carries the noise of the rate; it proves no critical limit",
    ),
    Computation(
        "time-constant",
        "time constant of a probe from how long it takes to do a share of a step",
        (
            Input("reached_after", "s", "time from the plunge to that share"),
            Input("share", "%", "share of the step, such as 63.2, 50 or 90", 90.0),
        ),
        "s",
        f"{_FIRST_ORDER}; with another share another answer says that it is not one",
        _SOURCE,
        _from_step,
    ),
    Computation(
        "slope-noise",
        "standard deviation of a least-squares slope over evenly spaced readings",
        (
            Input("noise", "K", "standard deviation of one reading"),
            Input("readings", "", "how many readings"),
            Input("interval", "s", "time between two readings"),
        ),
        "K/s",
        f"3 to {_MOST_READINGS} readings",
        "ordinary least squares: noise * sqrt(12 / (n (n^2 - 1))) / interval",
        _slope_noise,
    ),
)
