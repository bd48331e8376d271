"""Temperatures that are known without a thermometer, and how well: melting ice, boiling water, a reference probe."""

from __future__ import annotations

import math
from dataclasses import dataclass

from rimekeeper.core.errors import OutOfRangeError

LOWEST_KILOPASCAL, HIGHEST_KILOPASCAL = 50.0, 110.0
LOWEST_METRES, HIGHEST_METRES = -500.0, 5000.0
WEATHER_KILOPASCAL = 3.0
"""Half width of what the weather does to the pressure of a place (common practice, no published source)."""
ICE_HALF_WIDTH = 0.1 / 1.8
"""K: 0.1 °F, what an extension fact sheet (Wisconsin) says a well-made ice bath repeats to."""
BOILING_HALF_WIDTH = 0.1
"""K, our choice. Depth: 3 cm of water is 0.3 kPa or 0.08 K; dissolved in hard tap water: 0.01 K to 0.02 K."""
LARGEST_U = 1.0
"""K, k = 1. What is known no better than this is no reference (our choice)."""

_N = (
    0.11670521452767e4,
    -0.72421316703206e6,
    -0.17073846940092e2,
    0.12020824702470e5,
    -0.32325550322333e7,
    0.14915108613530e2,
    -0.48232657361591e4,
    0.40511340542057e6,
    -0.23855557567849,
    0.65017534844798e3,
)


@dataclass(frozen=True, slots=True)
class Known:
    """A known temperature: °C, its standard uncertainty (k = 1, K), and what to write beside it."""

    celsius: float
    u: float
    remark: str


def boiling_point(kilopascal: float) -> float:
    """Temperature (°C) at which water boils under a pressure (kPa) that was measured where it boils.

    IAPWS-IF97, region 4, backward equation (31). Kept to 50 kPa to 110 kPa, where kitchens are.

    Raises:
        OutOfRangeError: No such pressure in a kitchen.
    """
    if not LOWEST_KILOPASCAL <= kilopascal <= HIGHEST_KILOPASCAL:
        raise OutOfRangeError(
            f"{kilopascal:g} kPa is no air pressure of a kitchen: give the pressure at the place itself, not reduced "
            f"to sea level, from {LOWEST_KILOPASCAL:g} kPa to {HIGHEST_KILOPASCAL:g} kPa (1 kPa is 10 hPa)."
        )
    n1, n2, n3, n4, n5, n6, n7, n8, n9, n10 = _N
    beta = math.pow(kilopascal / 1000.0, 0.25)
    e = beta * beta + n3 * beta + n6
    f = n1 * beta * beta + n4 * beta + n7
    g = n2 * beta * beta + n5 * beta + n8
    d = 2.0 * g / (-f - math.sqrt(f * f - 4.0 * e * g))
    return (n10 + d - math.sqrt((n10 + d) ** 2 - 4.0 * (n9 + n10 * d))) / 2.0 - 273.15


def standard_pressure(metres: float) -> float:
    """Pressure (kPa) of the standard atmosphere at an altitude (m).

    ICAO standard atmosphere (Doc 7488; ISO 2533), troposphere, from -500 m to 5000 m of geopotential altitude.

    Raises:
        OutOfRangeError: No such altitude of a kitchen.
    """
    if not LOWEST_METRES <= metres <= HIGHEST_METRES:
        raise OutOfRangeError(
            f"{metres:g} m is no altitude of a kitchen: give metres above sea level, from {LOWEST_METRES:g} m to "
            f"{HIGHEST_METRES:g} m."
        )
    return 101.325 * math.pow(1.0 - 2.25577e-5 * metres, 5.25588)


def ice_point() -> Known:
    """Crushed ice of clean water, drained and stirred."""
    return Known(0.0, ICE_HALF_WIDTH / math.sqrt(3.0), "crushed ice of clean water, stirred")


def boiling(kilopascal: float, kilopascal_u: float = 0.3) -> Known:
    """Boiling water under a measured pressure (kPa), with the standard uncertainty of the pressure (kPa, k = 1).

    Raises:
        OutOfRangeError: No such pressure in a kitchen, or known too badly.
    """
    celsius = boiling_point(kilopascal)
    if not 0.0 < kilopascal_u <= WEATHER_KILOPASCAL:
        raise OutOfRangeError(
            f"The pressure can't be unsure by {kilopascal_u:g} kPa: give more than 0 and at most "
            f"{WEATHER_KILOPASCAL:g} kPa, from the barometer's data sheet."
        )
    return Known(celsius, _boiling_u(kilopascal, kilopascal_u), f"boiling water at {kilopascal:.2f} kPa")


def boiling_at_altitude(metres: float) -> Known:
    """Boiling water where only the altitude (m) is known. Weak: the weather moves it by 0.8 K either way.

    Raises:
        OutOfRangeError: No such altitude of a kitchen.
    """
    kilopascal = standard_pressure(metres)
    known_u = WEATHER_KILOPASCAL / math.sqrt(3.0)
    return Known(
        boiling_point(kilopascal),
        _boiling_u(kilopascal, known_u),
        f"boiling water at {metres:.0f} m, pressure NOT measured: the weather alone moves this by "
        f"±{WEATHER_KILOPASCAL * _slope(kilopascal):.1f} K",
    )


def compared(celsius: float, expanded: float) -> Known:
    """A reference thermometer's temperature (°C) with its expanded uncertainty (k = 2, K) from its certificate.

    Raises:
        OutOfRangeError: No temperature, or an uncertainty that makes no reference.
    """
    if not -200.0 <= celsius <= 1000.0:
        raise OutOfRangeError(f"{celsius:g} °C can't be what the reference shows: read it again, in °C.")
    if not 0.0 < expanded <= 2.0 * LARGEST_U:
        raise OutOfRangeError(
            f"A reference can't be unsure by {expanded:g} K: give the expanded uncertainty (k = 2) from its "
            f"certificate, more than 0 and at most {2.0 * LARGEST_U:g} K."
        )
    return Known(celsius, expanded / 2.0, f"reference thermometer, U = {expanded:g} K (k = 2)")


def _slope(kilopascal: float) -> float:
    """K per kPa."""
    low, high = max(kilopascal - 0.5, LOWEST_KILOPASCAL), min(kilopascal + 0.5, HIGHEST_KILOPASCAL)
    return (boiling_point(high) - boiling_point(low)) / (high - low)


def _boiling_u(kilopascal: float, kilopascal_u: float) -> float:
    return math.hypot(_slope(kilopascal) * kilopascal_u, BOILING_HALF_WIDTH / math.sqrt(3.0))
