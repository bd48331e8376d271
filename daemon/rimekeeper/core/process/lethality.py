"""Heat treatment of a curve: which rows of a table it met, and its equivalent lethality beside them.

A row's clock runs while the temperature *less its uncertainty* is at or above the row's, and starts anew after every
dip, every gap and every reading that isn't good. The verdict is the table's. The equivalent time

    F = integral of 10^((T - T_ref) / z) dt

is information beside it and never stands for it. Between two readings the temperature is taken as a straight line, and
on one the integral is exact: dt (L2 - L1) / ln(L2 / L1). (A trapezoid on L would be too high, because L is convex.)
Nothing is added across a gap. Adding up reading by reading and integrating a whole curve are the same sum.

Source: log-linear (Bigelow) inactivation as in Ball and Olson; z = 7.0 °C for Listeria monocytogenes in ice-cream mix,
Bradshaw and others 1987, J Food Prot 50:543; reference 79.44 °C (175 °F) is our choice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.model import SECOND, Instant, Millis
from rimekeeper.core.process.heat_tables import HeatRow, HeatTable

REFERENCE, Z = 79.4444, 7.0
"""°C and K. No single z gives the rows of the tables; see the caution of ``compute lethality``."""
HOTTEST = 150.0
"""°C. Beyond it nothing more is credited: no kitchen cooks a custard there, so the reading is the thing to doubt."""
_ALIKE = 1e-9


@dataclass(frozen=True, slots=True)
class RowClock:
    """One row: since when it has been held without a break, the longest, and when it was met."""

    since: Instant | None = None
    last: Instant | None = None
    longest: Millis = Millis(0)
    met_at: Instant | None = None


@dataclass(frozen=True, slots=True)
class Treatment:
    """What a curve has done so far. ``clocks`` in the order of the table's rows; ``seconds`` is F."""

    clocks: tuple[RowClock, ...] = ()
    seconds: float = 0.0
    last_at: Instant | None = None
    last_celsius: float = 0.0
    gaps: int = 0
    """How often nothing was known for too long while it was hot enough to count."""

    @property
    def met_at(self) -> Instant | None:
        """When the first row was met."""
        return min((c.met_at for c in self.clocks if c.met_at is not None), default=None)


def begun(table: HeatTable) -> Treatment:
    """A curve without a reading."""
    return Treatment(tuple(RowClock() for _ in table.rows))


def treated(
    table: HeatTable, so_far: Treatment, at: Instant, celsius: float, uncertainty: float, allowed_gap: Millis
) -> Treatment:
    """The treatment after one more good reading in its time.

    Args:
        table: whose rows count.
        so_far: up to here.
        at: instant of the reading, after the last.
        celsius: what it shows.
        uncertainty: expanded (K, k = 2), taken off the temperature.
        allowed_gap: readings farther apart prove nothing of what was between.
    """
    safe = min(celsius - uncertainty, HOTTEST)
    together = so_far.last_at is not None and 0 < at - so_far.last_at <= allowed_gap
    clocks = tuple(
        _ticked(row, clock, at, safe, together=together)
        for row, clock in zip(table.rows, so_far.clocks, strict=True)
    )
    seconds, gaps = so_far.seconds, so_far.gaps
    if together and so_far.last_at is not None:
        seconds += segment((at - so_far.last_at) / SECOND, so_far.last_celsius, safe)
    elif so_far.last_at is not None and so_far.last_celsius >= table.rows[0].celsius:
        gaps += 1
    return Treatment(clocks, seconds, at, safe, gaps)


def interrupted(so_far: Treatment) -> Treatment:
    """A reading couldn't be believed: every clock starts anew, and nothing is added up across it."""
    clocks = tuple(
        clock if clock.since is None else replace(clock, since=None, last=None) for clock in so_far.clocks
    )
    return replace(so_far, clocks=clocks, last_at=None)


def _ticked(row: HeatRow, clock: RowClock, at: Instant, safe: float, *, together: bool) -> RowClock:
    if safe < row.celsius:
        return clock if clock.since is None else RowClock(None, None, clock.longest, clock.met_at)
    if clock.since is None or not together:
        return RowClock(at, at, clock.longest, clock.met_at)
    stayed = Millis(at - clock.since)
    met_at = clock.met_at if clock.met_at is not None or stayed < row.hold else at
    return RowClock(clock.since, at, Millis(max(clock.longest, stayed)), met_at)


def segment(seconds: float, first: float, second: float, reference: float = REFERENCE, z: float = Z) -> float:
    """F (s at ``reference``) of a straight line from ``first`` to ``second`` °C in so many seconds; exact."""
    low, high = sorted((min(first, HOTTEST), min(second, HOTTEST)))
    grown = math.log(10.0) * (high - low) / z
    at_low = math.pow(10.0, max(low - reference, -300.0 * z) / z)
    if grown < _ALIKE:
        return seconds * at_low
    return seconds * at_low * math.expm1(min(grown, 700.0)) / grown


def equivalent_seconds(
    times: NDArray[np.float64],
    celsius: NDArray[np.float64],
    allowed_gap: float,
    reference: float = REFERENCE,
    z: float = Z,
) -> float:
    """F (s at ``reference``) of a whole curve.

    Args:
        times: s, rising; shape (n,).
        celsius: °C, shape (n,), each with its uncertainty taken off already.
        allowed_gap: s; longer steps add nothing.
        reference: °C.
        z: K for a tenth of the time.
    """
    if len(times) < 2:
        return 0.0
    steps = np.diff(times)
    capped = np.minimum(celsius, HOTTEST)
    low, high = np.minimum(capped[:-1], capped[1:]), np.maximum(capped[:-1], capped[1:])
    grown = np.log(10.0) * (high - low) / z
    rate = np.power(10.0, np.maximum(low - reference, -300.0 * z) / z)
    alike = grown < _ALIKE
    safe = np.where(alike, 1.0, grown)
    mean = np.where(alike, rate, rate * np.expm1(np.minimum(safe, 700.0)) / safe)
    counted = (steps > 0.0) & (steps <= allowed_gap)
    return float(np.sum(np.where(counted, steps * mean, 0.0)))
