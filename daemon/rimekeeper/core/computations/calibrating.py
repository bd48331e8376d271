"""Known temperatures, a correction through two points, and what stays unsure of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from rimekeeper.core.computations.contract import Answer, Computation, within
from rimekeeper.core.errors import OutOfRangeError, RefusedError
from rimekeeper.core.sensing.calibration import correction, reference, uncertainty
from rimekeeper.core.sensing.calibration.record import CalibrationPoint, Method, Written
from rimekeeper.core.sensing.classes import CAUTION, CLASSES, INTERVALS
from rimekeeper.core.sensing.sensors.contract import Input

_COLDEST, _HOTTEST = -200.0, 1000.0
_MOST_U = 100.0
_GUM = "JCGM 100:2008 (GUM), section 5"


def _celsius(given: Mapping[str, float], *keys: str) -> tuple[float, ...]:
    return tuple(within(given, key, _COLDEST, _HOTTEST, "°C") for key in keys)


def _unsure(given: Mapping[str, float], *keys: str) -> tuple[float, ...]:
    return tuple(within(given, key, 0.0, _MOST_U, "K") for key in keys)


def _two_points(given: Mapping[str, float]) -> tuple[Answer, ...]:
    (shown,) = _celsius(given, "shown")
    points = tuple(
        CalibrationPoint(
            Method.COMPARISON,
            given[f"{which}_reference"],
            reference.LARGEST_U,
            given[f"{which}_shown"],
            0.0,
            1,
            Written(0),
            Written(0),
        )
        for which in ("low", "high")
    )
    try:
        found = correction.fit(points, _COLDEST, _HOTTEST)
    except RefusedError as refused:
        raise OutOfRangeError(str(refused)) from refused
    return (
        Answer("temperature", correction.corrected(found, shown), "°C"),
        Answer("gain", found.gain_above, ""),
    )


def _uncertainty(given: Mapping[str, float]) -> tuple[Answer, ...]:
    celsius, low, high = _celsius(given, "temperature", "low", "high")
    if high - low < correction.SHORTEST_SPAN:
        raise OutOfRangeError(
            f"low, high: the points must be {correction.SHORTEST_SPAN:g} K apart, low below high."
        )
    low_u, high_u, resolution, drift, bent = _unsure(
        given, "low_u", "high_u", "resolution", "drift", "nonlinearity"
    )
    found = uncertainty.along_line(celsius, low, low_u, high, high_u, resolution, drift, bent)
    return (Answer("expanded uncertainty", found, "K"),)


def _class(given: Mapping[str, float]) -> tuple[Answer, ...]:
    unsure, resolution = _unsure(given, "uncertainty", "resolution")
    for number, largest, step in CLASSES:
        if unsure <= largest and resolution <= step:
            return (Answer("class", float(number), ""),)
    _, largest, step = CLASSES[-1]
    raise OutOfRangeError(
        f"Neither class is satisfied: class {CLASSES[-1][0]} needs ±{largest:g} K and a resolution of {step:g} K."
    )


def _longest_interval(given: Mapping[str, float]) -> tuple[Answer, ...]:
    days = given["days"]
    if not 0.0 < days < 36525.0:
        raise OutOfRangeError(f"days: {days:g} can't be: give how many days are recorded, more than 0.")
    minutes = INTERVALS[0 if days < 1.0 else 1 if days <= 7.0 else 2][0]
    return (Answer("longest interval", float(minutes), "min"),)


def _known(
    name: str, unit: str, run: Callable[[float], float], key: str
) -> Callable[..., tuple[Answer, ...]]:
    return lambda given: (Answer(name, run(given[key]), unit),)


OF_CALIBRATING: tuple[Computation, ...] = (
    Computation(
        "boiling-point",
        "where water boils under a pressure",
        (Input("pressure", "kPa", "pressure at the place, not reduced to sea level"),),
        "°C",
        f"{reference.LOWEST_KILOPASCAL:g} kPa to {reference.HIGHEST_KILOPASCAL:g} kPa",
        "IAPWS R7-97(2012), industrial formulation 1997, region 4, equation 31",
        _known("temperature", "°C", reference.boiling_point, "pressure"),
    ),
    Computation(
        "standard-pressure",
        "pressure of the standard atmosphere at an altitude",
        (Input("altitude", "m", "height above sea level"),),
        "kPa",
        f"{reference.LOWEST_METRES:g} m to {reference.HIGHEST_METRES:g} m of geopotential altitude",
        "ICAO standard atmosphere (Doc 7488, ISO 2533)",
        _known("pressure", "kPa", reference.standard_pressure, "altitude"),
        "the weather moves the pressure by 3 kPa either way, and the boiling point by 0.8 K; measure the pressure",
    ),
    Computation(
        "two-point-correction",
        "a probe's temperature corrected by two calibration points",
        (
            Input("shown", "°C", "what the probe shows"),
            Input("low_shown", "°C", "what it showed at the lower point"),
            Input("low_reference", "°C", "what the lower point was"),
            Input("high_shown", "°C", "what it showed at the higher point"),
            Input("high_reference", "°C", "what the higher point was"),
        ),
        "°C, and the gain",
        f"points {correction.SHORTEST_SPAN:g} K apart, offsets to {correction.LARGEST_OFFSET:g} K, "
        f"gain {correction.LOWEST_GAIN:g} to {correction.HIGHEST_GAIN:g} (our choice)",
        "straight line through two points",
        _two_points,
    ),
    Computation(
        "calibration-uncertainty",
        "expanded uncertainty of a temperature corrected by two points",
        (
            Input("temperature", "°C", "the corrected temperature"),
            Input("low", "°C", "lower point"),
            Input("low_u", "K", "standard uncertainty of the lower point, k = 1"),
            Input("high", "°C", "higher point"),
            Input("high_u", "K", "standard uncertainty of the higher point, k = 1"),
            Input("resolution", "K", "smallest step of the reading"),
            Input("drift", "K", "how far it may wander until the next calibration, either way"),
            Input("nonlinearity", "K", "how far it bends off the line, k = 1", uncertainty.NONLINEARITY),
        ),
        "K, k = 2",
        f"points {correction.SHORTEST_SPAN:g} K apart; further out than the points it grows",
        _GUM,
        _uncertainty,
    ),
    Computation(
        "recorder-class",
        "accuracy class that an expanded uncertainty would satisfy",
        (
            Input("uncertainty", "K", "expanded uncertainty, k = 2"),
            Input("resolution", "K", "smallest step of the reading"),
        ),
        "the class, 1 or 2",
        "uncertainty to 2 K and resolution to 1 K",
        "EN 12830 and EN 13485, from memory",
        _class,
        CAUTION.rstrip("."),
    ),
    Computation(
        "recording-interval",
        "longest time between two readings of a record",
        (Input("days", "", "how many days are recorded"),),
        "min",
        "more than 0 days",
        "EN 12830, from memory",
        _longest_interval,
        CAUTION.rstrip("."),
    ),
)
