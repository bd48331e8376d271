"""Sums along straight lines of temperature: time and degrees above a limit, and times weighted by an Arrhenius rate.

Each comes for one line and for many at once; both are the same numbers. Above a limit they are exact, with the
crossing found on the line. Rates are integrated by Gauss's rule with six nodes: exact for a held temperature, and off
by less than a millionth part on a line of 20 K at 10 000 K of activation energy / R.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import ABSOLUTE_ZERO

Array = NDArray[np.float64]

COLDEST, WARMEST = -100.0, 100.0
"""°C. A reading outside is no store's."""
FARTHEST = 1e12
"""s either side of a clock's beginning (thirty thousand years): no instant lies beyond."""
_STEEPEST = 40_000.0
_NODES, _WEIGHTS = (tuple(float(x) for x in half) for half in np.polynomial.legendre.leggauss(6))


@dataclass(frozen=True, slots=True)
class Sensitivity:
    """How much faster ice coarsens when it is warmer: Arrhenius temperatures (activation energy / R), K.

    Of the growth of the crystals' size *cubed*, which adds up over time; three times that of a rate constant of size.

    The default span is our assumption and no measurement: near -18 °C the rate doubles every 9 K, 4.5 K or 2.3 K.
    """

    flattest: float = 5_000.0
    likely: float = 10_000.0
    steepest: float = 20_000.0

    def __post_init__(self) -> None:
        """Refuse what isn't a span.

        Raises:
            OutOfRangeError: when the three don't rise from 0 K to 40 000 K.
        """
        if not 0.0 <= self.flattest <= self.likely <= self.steepest <= _STEEPEST:
            raise OutOfRangeError(
                "The sensitivities must rise: 0 K <= flattest <= likely <= steepest <= 40000 K."
            )


def degree_seconds(seconds: float, first: float, second: float, limit: float) -> tuple[float, float]:
    """Seconds above ``limit``, and K s above it, on a straight line from ``first`` to ``second`` °C.

    Raises:
        OutOfRangeError: when a number is no temperature of a store or no time.
    """
    _check_line(seconds, first, second, limit)
    return over(seconds, first - limit, second - limit)


def exposed_seconds(
    seconds: float, first: float, second: float, reference: float, sensitivity: Sensitivity
) -> tuple[float, float, float]:
    """Seconds at ``reference`` °C (least, likely, most) that a straight line of temperature is worth.

    Raises:
        OutOfRangeError: when a number is no temperature of a store or no time.
    """
    _check_line(seconds, first, second, reference)
    return exposed(seconds, first, second, reference, sensitivity)


def over(seconds: float, first: float, second: float) -> tuple[float, float]:
    """Seconds above 0, and K s above it, on a line from ``first`` to ``second`` K above the limit."""
    low, high = sorted((first, second))
    if high <= 0.0:
        return 0.0, 0.0
    if low >= 0.0:
        return seconds, seconds * (low + high) / 2.0
    above = seconds * high / (high - low)
    return above, above * high / 2.0


def over_all(seconds: Array, first: Array, second: Array) -> tuple[float, float]:
    """The sums of :func:`over` for lines, each of shape (n,)."""
    low, high = np.minimum(first, second), np.maximum(first, second)
    crosses = (low < 0.0) & (high > 0.0)
    share = np.where(crosses, high / np.where(crosses, high - low, 1.0), np.where(high > 0.0, 1.0, 0.0))
    height = np.where(crosses, high, low + high) / 2.0
    above = seconds * share
    return float(above.sum()), float((above * height).sum())


def rate_sum(seconds: float, first: float, second: float, kelvin: float, reference: float) -> float:
    """Integral of exp(kelvin (1 / reference - 1 / T)) dt on a straight line, by Gauss's rule with six nodes."""
    middle, half = (first + second) / 2.0, (second - first) / 2.0
    cold = kelvin / (reference - ABSOLUTE_ZERO)
    total = sum(
        weight * math.exp(cold - kelvin / (middle + half * node - ABSOLUTE_ZERO))
        for node, weight in zip(_NODES, _WEIGHTS, strict=True)
    )
    return seconds * total / 2.0


def rate_sums(seconds: Array, first: Array, second: Array, kelvin: float, reference: float) -> Array:
    """:func:`rate_sum` for lines, each of shape (n,)."""
    middle, half = (first + second) / 2.0, (second - first) / 2.0
    at_nodes = middle[:, None] + half[:, None] * np.array(_NODES)[None, :]
    rates = np.exp(arrhenius(at_nodes, kelvin, reference))
    sums: Array = seconds * (rates @ np.array(_WEIGHTS)) / 2.0
    return sums


def exposed(
    seconds: float, first: float, second: float, reference: float, by: Sensitivity
) -> tuple[float, float, float]:
    """:func:`exposed_seconds` of numbers known to be good."""
    least = likely = most = 0.0
    for share, begins, ends in _legs(first, second, reference):
        warm = begins + ends > 2.0 * reference
        lasting = seconds * share
        flat = rate_sum(lasting, begins, ends, by.flattest, reference)
        steep = rate_sum(lasting, begins, ends, by.steepest, reference)
        least += flat if warm else steep
        most += steep if warm else flat
        likely += rate_sum(lasting, begins, ends, by.likely, reference)
    return least, likely, most


def _legs(first: float, second: float, reference: float) -> tuple[tuple[float, float, float], ...]:
    """The line in one piece, or in two that meet at the reference: (share of the time, begins, ends)."""
    if (first - reference) * (second - reference) >= 0.0:
        return ((1.0, first, second),)
    share = (reference - first) / (second - first)
    return ((share, first, reference), (1.0 - share, reference, second))


def exposed_all(
    seconds: Array, first: Array, second: Array, reference: float, by: Sensitivity
) -> tuple[float, float, float]:
    """The sums of :func:`exposed` for lines, each of shape (n,)."""
    crosses = (first - reference) * (second - reference) < 0.0
    share = np.where(crosses, (reference - first) / np.where(crosses, second - first, 1.0), 1.0)
    meets = np.where(crosses, reference, second)
    lasting = np.concatenate([seconds * share, (seconds * (1.0 - share))[crosses]])
    begins = np.concatenate([first, meets[crosses]])
    ends = np.concatenate([meets, second[crosses]])
    warm = begins + ends > 2.0 * reference
    flat = rate_sums(lasting, begins, ends, by.flattest, reference)
    steep = rate_sums(lasting, begins, ends, by.steepest, reference)
    likely = rate_sums(lasting, begins, ends, by.likely, reference)
    return (
        float(np.where(warm, flat, steep).sum()),
        float(likely.sum()),
        float(np.where(warm, steep, flat).sum()),
    )


def arrhenius(celsius: Array, kelvin: float, reference: float) -> Array:
    """Logarithm of the rate at ``celsius`` relative to that at ``reference`` °C; ``kelvin`` is activation energy / R."""
    return kelvin / (reference - ABSOLUTE_ZERO) - kelvin / (celsius - ABSOLUTE_ZERO)


def _check_line(seconds: float, *celsius: float) -> None:
    if not all(COLDEST <= one <= WARMEST for one in celsius):
        raise OutOfRangeError(f"A store's temperatures are from {COLDEST:g} °C to {WARMEST:g} °C.")
    if not 0.0 <= seconds <= 1e10:
        raise OutOfRangeError(f"{seconds:g} s is no time that something is stored.")


def check_curve(times: Array, celsius: Array, shortest: float = 0.0) -> None:
    """Refuse what is no curve of a store: times in s, rising by more than ``shortest``; °C, one for each.

    Raises:
        OutOfRangeError: says what is wrong with it.
    """
    if times.shape != celsius.shape or not np.all(np.isfinite(times)):
        raise OutOfRangeError("A curve needs a time for each temperature.")
    if not np.all(np.abs(times) <= FARTHEST):
        raise OutOfRangeError(
            f"The times of a curve are seconds of a clock, within {FARTHEST:g} s of its beginning."
        )
    if not np.all((celsius >= COLDEST) & (celsius <= WARMEST)):
        raise OutOfRangeError(f"A store's temperatures are from {COLDEST:g} °C to {WARMEST:g} °C.")
    if not np.all(np.diff(times) > shortest):
        raise OutOfRangeError("The times of a curve must rise.")
