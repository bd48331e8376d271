"""When will the target come? A forecast of arrival with an honest interval, or a plain reason why not.

*Arrival* is the moment the curve enters the band: at ``target - band`` when the target is met from below
(RISING), at ``target + band`` when it is met from above (FALLING), at the nearer edge when it is met from
either side (WITHIN). The law fitted is in ``approach_fit``; through freezing it works on heat content instead
of temperature (``ice_curve``). The interval holds the fit's own uncertainty, that of the far end, and an
allowance for what people do to a pan or a freezer door in the time left.
"""

from __future__ import annotations

import enum
import itertools
import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rimekeeper.core.model import Instant, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach
from rimekeeper.core.process import approach_fit, thinning
from rimekeeper.core.process.approach_fit import Fit, Points
from rimekeeper.core.process.ice_curve import IceCurve, ice_curve

Array = npt.NDArray[np.float64]

_LEAST_READINGS = 6
_LEAST_SECONDS = 15.0
_STALE_SECONDS = 60.0
_STALE_INTERVALS = 5.0
_FARTHEST_SECONDS = 4.0 * 86_400.0
_SURELY_SHORT = 0.9
_SIGNIFICANT = 3.0
_NEAR_FREEZING = 1.5
_FLAT_SHARE = 0.2
_MOVED_SHARE = 0.3
_STILL_GROWING = 0.7
_NEGLIGIBLE = 1e-4
_HOTTEST_READING = 2000.0
_NODES = np.array([-2.2, -1.5, -1.0, -0.65, -0.32, 0.0, 0.32, 0.65, 1.0, 1.5, 2.2])
_NODE_WEIGHTS = np.exp(-0.5 * _NODES**2) * np.gradient(_NODES)
_PATH = np.linspace(0.0, 1.0, 25)
_PEOPLE = 0.08
"""Standard deviation of the time left from what people do meanwhile, as a share of it (measured by the bench)."""
_TURNED_DOWN = 1.5
"""Stoves are turned down near the target more often than up, so the late side is wider when it warms."""
_FREEZING_UNKNOWN = 0.06
"""The same for not knowing how much water the mix holds."""


class Outlook(enum.StrEnum):
    """What the data say about the arrival."""

    ARRIVES = "arrives"
    THERE = "is there"
    AWAY = "moves away"
    FALLS_SHORT = "levels off before the target"
    PLATEAU = "on the freezing plateau"
    UNSETTLED = "not enough to say"
    STALE = "no fresh reading"


@dataclass(frozen=True, slots=True)
class Forecast:
    """Arrival at a target as seen from ``made_at``. The instants are None unless the outlook is ARRIVES.

    ``earliest`` to ``latest`` is meant to hold the true arrival 9 times out of 10 (5 % and 95 %).
    On PLATEAU, ``earliest`` may still be given (not before). ``rate`` is in kelvin per minute.
    """

    made_at: Instant
    outlook: Outlook
    expected: Instant | None = None
    earliest: Instant | None = None
    latest: Instant | None = None
    rate: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Course:
    """What a forecast needs to remember of a curve: thinned points, newest last. (times in ms, °C).

    ``counts`` says for how many readings each point stands; ``first`` is where the curve began (°C).
    """

    times: tuple[int, ...] = ()
    celsius: tuple[float, ...] = ()
    counts: tuple[int, ...] = ()
    first: float | None = None


def observe(course: Course, at: Instant, celsius: float) -> Course:
    """The course with one more good reading; memory stays bounded (at most 128 points).

    Readings that don't come after the newest one, and values that aren't finite, are ignored. The result
    depends only on the readings seen, so feeding stored readings again rebuilds the same course.
    """
    if (course.times and at <= course.times[-1]) or not math.isfinite(celsius):
        return course
    times = (*course.times, int(at))
    values = (*course.celsius, float(celsius))
    counts = (*course.counts, 1)
    if len(times) > thinning.MOST_POINTS:
        times, values, counts = thinning.thin(times, values, counts)
    return Course(times, values, counts, float(celsius) if course.first is None else course.first)


def forecast(
    course: Course,
    target: Temperature,
    band: TemperatureDifference,
    approach: Approach,
    at: Instant,
    freezing_point: Temperature | None = None,
) -> Forecast:
    """The arrival at ``target`` as seen at ``at``. Never raises for finite inputs.

    Args:
        course: what has been observed; newer points than ``at`` count as now.
        target: the temperature to reach.
        band: half width of the band around it (its absolute value is used).
        approach: from which side the target is met; decides which edge of the band counts as arrival.
        at: the moment of the forecast; no instant of the answer is earlier.
        freezing_point: of the mix, when it is known and the probe sits in the mix.
    """
    edge = None if not course.times else _edge(course.celsius[-1], target.celsius, abs(band.kelvin), approach)
    unready = _unready(course, edge, at)
    if unready is not None:
        return Forecast(at, unready[0], why=unready[1])
    if edge is None:
        if _settled_inside(course, target.celsius, abs(band.kelvin), approach):
            return Forecast(at, Outlook.THERE, why="The target is reached.")
        return Forecast(at, Outlook.UNSETTLED, why="Only a single reading is in the band so far.")
    with np.errstate(all="ignore"):
        return _look_ahead(course, edge, at, freezing_point)


def _unready(course: Course, edge: float | None, at: Instant) -> tuple[Outlook, str] | None:
    """Why nothing can be said before any fitting, or None."""
    if not course.times:
        return Outlook.UNSETTLED, "There is no reading yet."
    age = (at - course.times[-1]) / 1000.0
    if age > max(_STALE_SECONDS, _STALE_INTERVALS * _typical_interval(course)):
        return Outlook.STALE, f"The last reading is {_words(age)} old."
    if edge is None:
        return None
    if max(abs(edge), *(abs(c) for c in course.celsius)) > _HOTTEST_READING:
        return Outlook.UNSETTLED, "These are not temperatures of a kitchen."
    readings = sum(_counts(course))
    span = (course.times[-1] - course.times[0]) / 1000.0
    if readings < _LEAST_READINGS or span < _LEAST_SECONDS:
        return (
            Outlook.UNSETTLED,
            f"Only {readings} {'reading' if readings == 1 else 'readings'} over {_words(span)} so far.",
        )
    return None


def _look_ahead(course: Course, edge: float, at: Instant, freezing_point: Temperature | None) -> Forecast:
    last = course.times[-1]
    seconds = (np.array(course.times, dtype=np.int64) - last).astype(np.float64) / 1000.0
    points = approach_fit.clean(
        seconds, np.array(course.celsius), np.array(_counts(course), dtype=np.float64)
    )
    ice = None
    if freezing_point is not None and edge < freezing_point.celsius < math.inf:
        ice = ice_curve(round(freezing_point.celsius, 2))
    first = course.first if course.first is not None else course.celsius[0]
    found = approach_fit.fit(points, edge, first, ice)
    if found is None:
        return Forecast(at, Outlook.UNSETTLED, why="The readings don't follow any steady course.")
    rate, rate_deviation = _rate(found, ice)
    per_minute = rate * 60.0 if math.isfinite(rate) else None
    left = _arrivals(found, edge, ice)
    now = float(sorted(points.celsius[-3:].tolist())[len(points.celsius[-3:]) // 2])
    if _on_plateau(points, rate, now, edge, freezing_point):
        earliest = None if left is None else _instant(last, left[0], at)
        why = "Ice is forming, so the temperature hardly moves for now."
        return Forecast(at, Outlook.PLATEAU, earliest=earliest, rate=per_minute, why=why)
    moved = abs(now - first) > _MOVED_SHARE * abs(edge - first)
    doubt = _doubt(found, edge, now, rate, rate_deviation, left, moved=moved)
    if doubt is not None:
        return Forecast(at, doubt[0], rate=per_minute, why=doubt[1])
    early, middle, late = left or (0.0, 0.0, 0.0)
    return Forecast(
        at,
        Outlook.ARRIVES,
        expected=_instant(last, middle, at),
        earliest=_instant(last, early, at),
        latest=_instant(last, late, at),
        rate=per_minute,
        why=f"Going by the last {_words(found.span)}.",
    )


def _doubt(
    found: Fit,
    edge: float,
    now: float,
    rate: float,
    rate_deviation: float,
    left: tuple[float, float, float] | None,
    *,
    moved: bool,
) -> tuple[Outlook, str] | None:
    """Why no arrival can be named, or None."""
    wrong_way = rate * (edge - now) < 0.0
    if wrong_way and abs(rate) > _SIGNIFICANT * rate_deviation:
        return Outlook.AWAY, f"It moves away from the target at {abs(rate) * 60.0:.2g} K a minute."
    still = wrong_way or abs(rate) < 2.0 * rate_deviation
    if still and not (moved and left is None):
        return Outlook.UNSETTLED, "The temperature is not clearly moving."
    if left is None:
        return Outlook.FALLS_SHORT, f"It levels off near {_level(found, edge):.1f} °C, short of the target."
    if found.speeding_up * left[1] > _STILL_GROWING:
        return Outlook.UNSETTLED, "It is still speeding up, too early to say when."
    if left[1] > _FARTHEST_SECONDS:
        return Outlook.UNSETTLED, "At this pace it would take days."
    return None


def _arrivals(found: Fit, edge: float, ice: IceCurve | None) -> tuple[float, float, float] | None:
    """Seconds from the newest point to the arrival: 5 %, 50 % and 95 %; None when it falls short of the edge."""
    likely = found.weight > _NEGLIGIBLE * float(found.weight.max())
    weight, level, rate = found.weight[likely], found.level[likely], found.rate[likely]
    far_end, wetness = found.far_end[likely], found.wetness[likely]
    times = _time_left(level, rate, far_end, wetness, edge, ice)
    by_level = -1.0 / np.where(rate == 0.0, 1e-12, rate)
    by_rate = -times / np.where(rate == 0.0, 1e-12, rate)
    variance = (
        by_level**2 * found.level_variance[likely]
        + by_rate**2 * found.rate_variance[likely]
        + 2.0 * by_level * by_rate * found.covariance[likely]
    )
    allowance = _PEOPLE + (0.0 if ice is None else _FREEZING_UNKNOWN)
    deviation = np.sqrt(np.maximum(0.0, variance) + (allowance * times) ** 2)
    known = np.isfinite(times) & np.isfinite(deviation) & (times < _FARTHEST_SECONDS)
    short = float(weight[~known].sum() / weight.sum())
    if short > _SURELY_SHORT or not known.any():
        return None
    warming = ice is None and float(level[0]) < edge
    nodes = np.where(_NODES > 0.0, _NODES * _TURNED_DOWN, _NODES) if warming else _NODES
    values = (times[known, None] + deviation[known, None] * nodes[None, :]).ravel()
    weights = (weight[known, None] * _NODE_WEIGHTS[None, :]).ravel()
    order = np.argsort(values)
    values = np.maximum(values[order], 0.0)
    share = np.cumsum(weights[order]) - 0.5 * weights[order]
    share /= weights.sum()
    early, middle, late = np.interp((0.05, 0.5, 0.95), share, values)
    return float(early), float(middle), float(late)


def _time_left(
    level: Array, rate: Array, far_end: Array, wetness: Array, edge: float, ice: IceCurve | None
) -> Array:
    """Seconds until each candidate reaches the edge; NaN where it never does."""
    if ice is None and not wetness.any():
        return _leg(level, edge, rate, far_end, level)
    now = level if ice is None else ice.celsius_at(level)
    path = now[:, None] + (edge - now)[:, None] * _PATH[None, :]
    middle = 0.5 * (path[:, 1:] + path[:, :-1])
    here = approach_fit.loss(now, wetness)
    flow = (rate / (far_end - here))[:, None] * (
        far_end[:, None] - approach_fit.loss(middle, wetness[:, None])
    )
    legs = np.diff(path if ice is None else ice.heat_at(path), axis=1) / flow
    numeric = np.where((legs >= 0.0).all(axis=1), legs.sum(axis=1), np.nan)
    if ice is not None:
        return numeric
    return np.where(wetness > 0.0, numeric, _leg(level, edge, rate, far_end, level))


def _leg(start: Array, stop: float, rate: Array, far_end: Array, level: Array) -> Array:
    """Newton's law from ``start`` to ``stop`` when the rate at ``level`` is ``rate``: seconds, NaN if never."""
    away = far_end - level
    share = (stop - start) / away
    plain = (stop - start) / rate
    curved = np.where(share < 1.0, -np.log1p(-np.minimum(share, 1.0 - 1e-12)) * away / rate, np.nan)
    left = np.where(np.abs(share) < 1e-6, plain, curved)
    return np.where(left >= 0.0, left, np.nan)


def _rate(found: Fit, ice: IceCurve | None) -> tuple[float, float]:
    """Slope of the temperature now in K/s, averaged over the candidates, and its deviation."""
    slope = (
        1.0 if ice is None else float(ice.slope_at(ice.celsius_at(np.array([found.level @ found.weight])))[0])
    )
    mean = float(found.rate @ found.weight)
    apart = float((found.rate - mean) ** 2 @ found.weight)
    return mean / slope, math.sqrt(apart + float(found.rate_variance @ found.weight)) / slope


def _on_plateau(
    points: Points, rate: float, now: float, edge: float, freezing_point: Temperature | None
) -> bool:
    """Near the freezing point, on the way down through it, and five times slower than the curve has been."""
    if freezing_point is None or edge >= freezing_point.celsius:
        return False
    if abs(now - freezing_point.celsius) > _NEAR_FREEZING or len(points.seconds) < 4:
        return False
    before = points.celsius > freezing_point.celsius
    if np.count_nonzero(before) < 3:
        return rate >= 0.0
    t, y = points.seconds[before], points.celsius[before]
    gaps = max(1, len(t) // 4)
    earlier = float(np.min((y[gaps:] - y[:-gaps]) / (t[gaps:] - t[:-gaps])))
    return rate > _FLAT_SHARE * min(0.0, earlier)


def _edge(value: float, target: float, band: float, approach: Approach) -> float | None:
    """The edge of the band at which the curve arrives, or None when ``value`` is already inside."""
    low, high = target - band, target + band
    if value < low and approach is not Approach.FALLING:
        return low
    if value > high and approach is not Approach.RISING:
        return high
    return None


def _settled_inside(course: Course, target: float, band: float, approach: Approach) -> bool:
    """Whether the newest two readings are both in the band (one alone may be a spike)."""
    return all(_edge(v, target, band, approach) is None for v in course.celsius[-2:])


def _typical_interval(course: Course) -> float:
    recent = course.times[-12:]
    steps = sorted(b - a for a, b in itertools.pairwise(recent))
    return steps[len(steps) // 2] / 1000.0 if steps else 0.0


def _counts(course: Course) -> tuple[int, ...]:
    return course.counts if len(course.counts) == len(course.times) else (1,) * len(course.times)


def _level(found: Fit, edge: float) -> float:
    """Where the most likely candidate levels off, °C."""
    best = int(np.argmax(found.weight))
    celsius = np.linspace(min(edge, -60.0), max(edge, 150.0), 2101)
    return float(np.interp(found.far_end[best], approach_fit.loss(celsius, found.wetness[best]), celsius))


def _instant(last: int, seconds: float, at: Instant) -> Instant:
    return Instant(max(int(at), last + round(seconds * 1000.0)))


def _words(seconds: float) -> str:
    if seconds < 120.0:
        return f"{seconds:.0f} s"
    if seconds < 7200.0:
        return f"{seconds / 60.0:.0f} min"
    return f"{seconds / 3600.0:.1f} h"
