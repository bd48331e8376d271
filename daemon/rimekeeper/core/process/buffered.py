"""The product's temperature as it follows from the air's, by a first-order model with the station's own constant.

    dTp/dt = (Ta - Tp) / tau

so that a door opening doesn't cry wolf and a warm product isn't hidden by cold air. Between two readings the air is a
straight line, and on one the answer is exact at any length of step. Nothing is known of the product where it begins
and across a gap: there the estimate starts at the air's temperature, with a doubt that fades by the same law. It is an
estimate and proves nothing; the air's own record and its limits stay.

Source: response of a first-order system (Newton's law of cooling); the constant is the station's own.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import SECOND, Instant, Millis
from rimekeeper.core.process.storage_sums import COLDEST, WARMEST, check_curve

Array = NDArray[np.float64]

SHORTEST_STEP = 0.001
"""s, what a clock of whole milliseconds can tell apart."""
LONGEST_TAU = 30 * 86_400.0
LONGEST = 3_650 * 86_400.0
DOUBT = 20.0
"""K. How far the product may be from the air where it begins (our choice)."""
SETTLED = 1.0
"""K. Below this doubt the estimate is called one."""


@dataclass(frozen=True, slots=True)
class Product:
    """The estimate so far."""

    last_at: Instant | None = None
    air: float = 0.0
    celsius: float = 0.0
    doubt: float = DOUBT
    """K, what is left of not knowing where it began."""
    broken: bool = False

    @property
    def settled(self) -> bool:
        """Whether the estimate no longer hangs on where it began."""
        return self.last_at is not None and not self.broken and self.doubt <= SETTLED


def following(
    so_far: Product, at: Instant, air: float, tau: float, allowed_gap: Millis, start: float | None = None
) -> Product:
    """The estimate after one more good reading of the air; one that comes late changes nothing.

    Args:
        so_far: up to here.
        at: instant of the reading.
        air: °C; outside -100 °C to 100 °C it is treated as :func:`broken_off`.
        tau: time constant of the product, s.
        allowed_gap: after a longer silence it begins anew.
        start: °C of the product at the first reading when it was measured; else the air's, in doubt.

    Raises:
        OutOfRangeError: when ``tau`` or ``start`` can't be.
    """
    _check_tau(tau)
    _check_start(start)
    if so_far.last_at is not None and at <= so_far.last_at:
        return so_far
    if not COLDEST <= air <= WARMEST:
        return broken_off(so_far)
    if so_far.last_at is None:
        return Product(at, air, air if start is None else start, DOUBT if start is None else 0.0)
    if so_far.broken or at - so_far.last_at > allowed_gap:
        return Product(at, air, air)
    seconds = (at - so_far.last_at) / SECOND
    kept, added = _step(seconds, so_far.air, air, tau)
    return Product(at, air, so_far.celsius * kept + added, so_far.doubt * kept)


def broken_off(so_far: Product) -> Product:
    """A reading couldn't be believed: the estimate begins anew with the next."""
    return replace(so_far, broken=True)


def product_along(
    times: Array, air: Array, tau: float, allowed_gap: float, start: float | None = None
) -> tuple[Array, Array]:
    """Estimate (°C) and doubt (K) at each reading of a whole curve: the same as :func:`following`.

    Args:
        times: s, rising; shape (n,).
        air: °C, shape (n,), good readings only.
        tau: time constant of the product, s.
        allowed_gap: s.
        start: °C of the product at the first reading when it was measured.

    Raises:
        OutOfRangeError: when ``tau`` can't be, times don't rise, or a temperature is outside -100 °C to 100 °C.
    """
    _check_tau(tau)
    check_curve(times, air, SHORTEST_STEP)
    _check_start(start)
    if len(times) == 0:
        return np.zeros(0), np.zeros(0)
    steps = np.diff(times)
    together = steps <= allowed_gap
    kept = np.where(together, np.exp(-steps / tau), 0.0)
    warmed = -np.expm1(-steps / tau)
    slope = np.where(together, np.diff(air) / steps, 0.0)
    added = np.where(together, air[1:] - air[:-1] * kept - slope * tau * warmed, air[1:])
    first = air[0] if start is None else start
    estimate = _scan(np.concatenate([[0.0], kept]), np.concatenate([[first], added]))
    doubts = np.concatenate([[DOUBT if start is None else 0.0], np.where(together, 0.0, DOUBT)])
    return estimate, _scan(np.concatenate([[0.0], kept]), doubts)


def product_after(seconds: float, product: float, begins: float, ends: float, tau: float) -> float:
    """Temperature (°C) of the product after air that went in a straight line from ``begins`` to ``ends`` °C.

    Raises:
        OutOfRangeError: when a temperature is outside -100 °C to 100 °C, or a time can't be.
    """
    _check_tau(tau)
    if not all(COLDEST <= one <= WARMEST for one in (product, begins, ends)):
        raise OutOfRangeError(f"A store's temperatures are from {COLDEST:g} °C to {WARMEST:g} °C.")
    if not 0.001 <= seconds <= LONGEST:
        raise OutOfRangeError(f"{seconds:g} s is no time for a product to follow the air.")
    kept, added = _step(seconds, begins, ends, tau)
    return product * kept + added


def _step(seconds: float, begins: float, ends: float, tau: float) -> tuple[float, float]:
    """What share of the product's temperature stays in a step, and what the air adds to it."""
    kept, warmed = math.exp(-seconds / tau), -math.expm1(-seconds / tau)
    return kept, ends - begins * kept - (ends - begins) / seconds * tau * warmed


def _scan(kept: Array, added: Array) -> Array:
    """y[n] = kept[n] y[n-1] + added[n] for all n, by doubling."""
    kept, added = kept.copy(), added.copy()
    reach = 1
    while reach < len(kept):
        added[reach:] = added[reach:] + kept[reach:] * added[:-reach]
        kept[reach:] = kept[reach:] * kept[:-reach]
        reach *= 2
    return added


def _check_start(start: float | None) -> None:
    if start is not None and not COLDEST <= start <= WARMEST:
        raise OutOfRangeError(
            f"A product's temperature is from {COLDEST:g} °C to {WARMEST:g} °C, not {start:g} °C."
        )


def _check_tau(tau: float) -> None:
    if not 1.0 <= tau <= LONGEST_TAU:
        raise OutOfRangeError(f"A product's time constant must be from 1 s to 30 days, not {tau:g} s.")
