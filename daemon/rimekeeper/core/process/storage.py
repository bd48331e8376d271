"""What a frozen product has been through in store: degree-minutes, mean kinetic temperature, exposure, life left.

Between two readings the temperature is a straight line. Time that no good reading bounds (a gap, a reading that
couldn't be believed, silence) is counted as unknown and adds to nothing: it is shown beside every figure, because a
store that wasn't watched isn't a store that was cold. Where a limit is judged, the temperature is taken with its
uncertainty on the warm side. Adding up reading by reading and integrating a whole curve are the same sums.

Mean kinetic temperature: USP <1079.2> with 83.144 kJ/mol, hence 10 000 K, weighted by time. It is a measure for the
stability of medicines; what ice cream's would be isn't known, so here it is an index.

Exposure says how many hours of steady storage at the reference temperature one hour has been worth, as far as the
coarsening of ice goes. Mean crystal size grows about with the cube root of time (Donhowe and Hartel 1996,
Int Dairy J 6:1209), so equal times at equal rates add up; it is fast from about -6 °C to -12 °C and much slower below
(Mo and others 2019, Crystals 9:321). How much faster per kelvin no source we could confirm says. So the rate is given
as a span of Arrhenius temperatures (:class:`Sensitivity`), and exposure comes as a span. ``most`` takes the steeper one
above the reference and the flatter one below it, so whatever is true inside the span, it is not more. Swings do more
harm than this says (recrystallisation by melting and refreezing is not in it). It is an index and no crystal size.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import ABSOLUTE_ZERO, HOUR, SECOND, Instant, Millis
from rimekeeper.core.process.storage_sums import (
    COLDEST,
    WARMEST,
    Sensitivity,
    arrhenius,
    check_curve,
    exposed,
    exposed_all,
    over,
    over_all,
    rate_sum,
    rate_sums,
)

Array = NDArray[np.float64]

KINETIC = 10_000.0
"""K: 83.144 kJ/mol divided by 8.3144 J/(mol K), USP <1079.2>."""
CAUTION = "An index for comparing one storage with another; your local food code and your own tasting decide"

_LONGEST_DAYS = 36_525.0
_DAY_SECONDS = 24 * HOUR / SECOND


@dataclass(frozen=True, slots=True)
class StorageRule:
    """What a store is judged by: the limit, the steady storage it is compared with (both °C), and the life there."""

    limit: float
    reference: float = -18.0
    shelf_life_days: float | None = None
    """The kitchen's own setting at the reference temperature; None when it has none."""
    sensitivity: Sensitivity = Sensitivity()

    def __post_init__(self) -> None:
        """Refuse what no store can be judged by.

        Raises:
            OutOfRangeError: when a temperature is outside -100 °C to 100 °C, or the life isn't above 0 days.
        """
        if not (COLDEST <= self.limit <= WARMEST and COLDEST <= self.reference <= WARMEST):
            raise OutOfRangeError(f"A store's temperatures are from {COLDEST:g} °C to {WARMEST:g} °C.")
        if self.shelf_life_days is not None and not 0.0 < self.shelf_life_days <= _LONGEST_DAYS:
            raise OutOfRangeError(f"A shelf life must be above 0 and up to {_LONGEST_DAYS:g} days.")


@dataclass(frozen=True, slots=True)
class Exposure:
    """What a curve has done so far. Sums in s, and in K s."""

    known: float = 0.0
    unknown: float = 0.0
    """Seconds for which nothing can be said."""
    above: float = 0.0
    """Seconds above the limit, the uncertainty on the warm side."""
    degree_seconds: float = 0.0
    kinetic: float = 0.0
    """Sum of exp(KINETIC (1 / T0 - 1 / T)) dt with T0 = 0 °C."""
    least: float = 0.0
    likely: float = 0.0
    most: float = 0.0
    """Seconds of steady storage at the reference temperature that it has been worth."""
    warmest: float | None = None
    last_at: Instant | None = None
    last_celsius: float = 0.0
    last_uncertainty: float = 0.0
    doubtful: bool = False
    """A reading since the last good one couldn't be believed."""

    @property
    def degree_minutes(self) -> float:
        """K min above the limit in the known time."""
        return self.degree_seconds / 60.0

    @property
    def mean_kinetic(self) -> float | None:
        """Mean kinetic temperature of the known time, °C; None before two readings."""
        return _kinetic_celsius(self.kinetic / self.known) if self.known > 0.0 else None

    @property
    def index(self) -> tuple[float, float, float] | None:
        """Exposure relative to steady storage (least, likely, most): 1 is as at the reference temperature."""
        if self.known <= 0.0:
            return None
        return self.least / self.known, self.likely / self.known, self.most / self.known


@dataclass(frozen=True, slots=True)
class LifeLeft:
    """Share (0 to 1) of the kitchen's own shelf life that is left. ``least`` is the one to plan by."""

    least: float
    likely: float
    most: float
    unknown: float
    """Share of the time since the beginning of which nothing is known; it hasn't been taken off."""

    @property
    def proven(self) -> bool:
        """Whether the whole time is known. When it isn't, no more than these shares is left."""
        return self.unknown <= 0.0


def begun(at: Instant | None = None) -> Exposure:
    """A store without a reading; from ``at``, if it is known, to the first reading is unknown time."""
    return Exposure(last_at=at, doubtful=at is not None)


def stored(
    rule: StorageRule, so_far: Exposure, at: Instant, celsius: float, uncertainty: float, allowed_gap: Millis
) -> Exposure:
    """The exposure after one more good reading; one that comes late (not after the last) changes nothing.

    Args:
        rule: limit, reference temperature, sensitivity.
        so_far: up to here.
        at: instant of the reading.
        celsius: what it shows; outside -100 °C to 100 °C it is treated as :func:`interrupted`.
        uncertainty: expanded (K, k = 2), added to the temperature for the limit; not a number or negative: as above.
        allowed_gap: readings farther apart leave the time between unknown.
    """
    if so_far.last_at is not None and at <= so_far.last_at:
        return so_far
    if not (COLDEST <= celsius <= WARMEST and 0.0 <= uncertainty <= WARMEST):
        return interrupted(so_far)
    warmest = celsius if so_far.warmest is None else max(so_far.warmest, celsius)
    fresh = replace(
        so_far,
        warmest=warmest,
        last_at=at,
        last_celsius=celsius,
        last_uncertainty=uncertainty,
        doubtful=False,
    )
    if so_far.last_at is None:
        return fresh
    seconds = (at - so_far.last_at) / SECOND
    if so_far.doubtful or at - so_far.last_at > allowed_gap:
        return replace(fresh, unknown=so_far.unknown + seconds)
    first, second = so_far.last_celsius, celsius
    warm = first + so_far.last_uncertainty - rule.limit, second + uncertainty - rule.limit
    above, degree_seconds = over(seconds, *warm)
    least, likely, most = exposed(seconds, first, second, rule.reference, rule.sensitivity)
    return replace(
        fresh,
        known=so_far.known + seconds,
        above=so_far.above + above,
        degree_seconds=so_far.degree_seconds + degree_seconds,
        kinetic=so_far.kinetic + rate_sum(seconds, first, second, KINETIC, 0.0),
        least=so_far.least + least,
        likely=so_far.likely + likely,
        most=so_far.most + most,
    )


def interrupted(so_far: Exposure) -> Exposure:
    """A reading couldn't be believed: from the last good one to the next one nothing is known."""
    return so_far if so_far.last_at is None else replace(so_far, doubtful=True)


def until(so_far: Exposure, now: Instant, allowed_gap: Millis) -> Exposure:
    """How it stands at ``now``: silence that has lasted longer than the allowed gap is unknown time too."""
    if so_far.last_at is None or now <= so_far.last_at:
        return so_far
    if not so_far.doubtful and now - so_far.last_at <= allowed_gap:
        return so_far
    return replace(
        so_far, unknown=so_far.unknown + (now - so_far.last_at) / SECOND, last_at=now, doubtful=True
    )


def life_left(rule: StorageRule, so_far: Exposure) -> LifeLeft | None:
    """What is left of the kitchen's own shelf life by the exposure; None when no life is set or nothing is known."""
    days = rule.shelf_life_days
    if days is None or so_far.known <= 0.0:
        return None
    least, likely, most = (
        max(0.0, 1.0 - spent / (days * _DAY_SECONDS)) for spent in (so_far.most, so_far.likely, so_far.least)
    )
    return LifeLeft(least, likely, most, so_far.unknown / (so_far.known + so_far.unknown))


def exposure_along(
    rule: StorageRule,
    times: Array,
    celsius: Array,
    allowed_gap: float,
    uncertainty: Array | float = 0.0,
) -> Exposure:
    """The same as :func:`stored` over a whole curve, all at once.

    Args:
        rule: limit, reference temperature, sensitivity.
        times: s since 1970 or any other beginning, rising; shape (n,).
        celsius: °C, shape (n,), good readings only.
        allowed_gap: s.
        uncertainty: expanded (K, k = 2), shape (n,) or one for all.

    Raises:
        OutOfRangeError: when times don't rise, or a number is missing or outside -100 °C to 100 °C.
    """
    check_curve(times, celsius)
    unsure = np.broadcast_to(np.asarray(uncertainty, dtype=np.float64), celsius.shape)
    if not np.all((unsure >= 0.0) & (unsure <= WARMEST)):
        raise OutOfRangeError("The uncertainty of a reading must be from 0 K to 100 K.")
    if len(times) == 0:
        return Exposure()
    steps = np.diff(times)
    counted = steps <= allowed_gap
    seconds, first, second = steps[counted], celsius[:-1][counted], celsius[1:][counted]
    warm = celsius + unsure - rule.limit
    above, degree_seconds = over_all(seconds, warm[:-1][counted], warm[1:][counted])
    least, likely, most = exposed_all(seconds, first, second, rule.reference, rule.sensitivity)
    return Exposure(
        known=float(seconds.sum()),
        unknown=float(steps[~counted].sum()),
        above=above,
        degree_seconds=degree_seconds,
        kinetic=float(rate_sums(seconds, first, second, KINETIC, 0.0).sum()),
        least=least,
        likely=likely,
        most=most,
        warmest=float(celsius.max()),
        last_at=Instant(round(float(times[-1]) * SECOND)),
        last_celsius=float(celsius[-1]),
        last_uncertainty=float(unsure[-1]),
    )


def mean_kinetic_temperature(celsius: Array, weights: Array | None = None) -> float:
    """Mean kinetic temperature of single values, °C, as USP <1079.2> defines it.

    Args:
        celsius: °C, shape (n,).
        weights: how long each lasted, shape (n,), any unit; equal when None.

    Raises:
        OutOfRangeError: without a value, below absolute zero, outside -100 °C to 100 °C, or with weights that can't be.
    """
    if len(celsius) == 0 or not np.all((celsius >= COLDEST) & (celsius <= WARMEST)):
        raise OutOfRangeError(
            f"A mean kinetic temperature needs values from {COLDEST:g} °C to {WARMEST:g} °C, at least one."
        )
    lasting = np.ones(len(celsius)) if weights is None else np.asarray(weights, dtype=np.float64)
    if (
        lasting.shape != celsius.shape
        or not np.all((lasting >= 0.0) & (lasting <= 1e15))
        or lasting.max() <= 0.0
    ):
        raise OutOfRangeError("Each value lasts 0 or longer, and at least one of them longer than 0.")
    shares = lasting / lasting.max()
    rates = np.exp(arrhenius(celsius, KINETIC, 0.0))
    found = _kinetic_celsius(float((shares * rates).sum() / shares.sum()))
    counted = celsius[shares > 0.0]
    return min(max(found, float(counted.min())), float(counted.max()))


def _kinetic_celsius(mean_rate: float) -> float:
    """The temperature of that mean rate (relative to 0 °C)."""
    return KINETIC / (KINETIC / -ABSOLUTE_ZERO - math.log(mean_rate)) + ABSOLUTE_ZERO
