"""A hardening as it goes: where it stands, how long it was in the zone, when it will be hard, and whether in time.

The prediction (``hardening_layers``) says after how long the middle should pass each temperature. This run passes them sooner
or later by about one factor, which is found from its own readings: every newly reached temperature gives elapsed time
by predicted time, and the factor is their mean, weighted by the square of the progress, so it doesn't hang on how often
a reading comes. The very beginning, where noise is as large as the fall, isn't used.

Hard is what a reading shows with its uncertainty to be at the target or below. Nothing is taken to happen across a gap:
time without a good reading is counted apart, and a verdict without fresh readings is "unknown".
"""

from __future__ import annotations

import enum
import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from rimekeeper.core.model import MINUTE, SECOND, Instant, Millis
from rimekeeper.core.process.hardening_layers import WayDown
from rimekeeper.core.process.storage_sums import COLDEST, WARMEST, check_curve

Array = NDArray[np.float64]

ZONE = (-5.0, -18.0)
"""°C, from the draw to the store: what is passed slowly here, coarsens."""

_FROM_SHARE = 0.05
_PRIOR = 0.01
_LEAST_DOUBT = 0.10
"""Standard deviation of the time left from doors and fans, as a share of it, once the run is known (by simulation)."""
_NINETY = 1.645
_SMOOTHING = 150.0
_NOISE = 0.15
"""K, of one reading and of what the air's swings do to the middle (by simulation)."""
_MARK_EVERY, _MARKS = MINUTE, 6
_NEAR, _FLAT, _CLEAR_FALL = 1.5, 0.2, 0.05
_STEEPEST_FACTOR = 20.0


@dataclass(frozen=True, slots=True)
class HardeningRule:
    """What a run is held against. ``expected`` is None where no prediction can be made (no mix, air unknown …)."""

    target: float = -18.0
    expected: WayDown | None = None
    freezing_point: float | None = None
    """°C, for the plateau of a mix that goes in unfrozen; one drawn half frozen shows none."""
    zone: tuple[float, float] = ZONE


@dataclass(frozen=True, slots=True)
class HardeningCourse:
    """What a run has done so far."""

    drawn_at: Instant
    last_at: Instant | None = None
    celsius: float = 0.0
    uncertainty: float = 0.0
    doubtful: bool = False
    """A reading since the last good one couldn't be believed."""
    in_zone: float = 0.0
    """Known seconds between the temperatures of the zone."""
    unknown: float = 0.0
    """Seconds since the draw of which nothing is known."""
    entered_at: Instant | None = None
    """When it last fell through the upper end of the zone, on the line between two readings."""
    left_at: Instant | None = None
    """When it first fell through the lower end after that."""
    hard_at: Instant | None = None
    """When a reading first showed it to be hard."""
    weight: float = 0.0
    weighted: float = 0.0
    place: float = 0.0
    """Where the middle is on the predicted way down, s after the draw, smoothed."""
    reached: float = 0.0
    """Furthest share of the predicted way."""
    marks: tuple[tuple[int, float], ...] = ()
    """A reading a minute, the newest six without a gap: (ms, °C)."""
    steepest: float = 0.0
    """Fastest fall over five minutes so far, K/s (negative)."""
    plateau_from: Instant | None = None
    plateau_until: Instant | None = None

    @property
    def passage(self) -> float | None:
        """Seconds from one end of the zone to the other; None until both were seen to be passed."""
        if self.entered_at is None or self.left_at is None:
            return None
        return (self.left_at - self.entered_at) / SECOND

    @property
    def factor(self) -> float:
        """How much slower than predicted this run is (1 as predicted), as far as is known."""
        return (_PRIOR + self.weighted) / (_PRIOR + self.weight)


class WillBeHard(enum.StrEnum):
    """Whether it is hard by a deadline."""

    HARD = "hard in time"
    IN_TIME = "will be hard in time"
    UNSURE = "may not be hard in time"
    LATE = "will not be hard in time"
    MISSED = "was not hard in time"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Finish:
    """When it will be hard; ``earliest`` to ``latest`` is meant to hold it 9 times out of 10."""

    earliest: Instant
    expected: Instant
    latest: Instant
    factor: float
    of_this_run: bool
    """Whether this run's own readings outweigh the prediction."""


def begun(drawn_at: Instant) -> HardeningCourse:
    """A run without a reading."""
    return HardeningCourse(drawn_at)


def hardened(
    rule: HardeningRule,
    so_far: HardeningCourse,
    at: Instant,
    celsius: float,
    uncertainty: float,
    allowed_gap: Millis,
) -> HardeningCourse:
    """The course after one more good reading of the middle; one that comes late changes nothing.

    Args:
        rule: target, prediction, zone.
        so_far: up to here.
        at: instant of the reading.
        celsius: what it shows; outside -100 °C to 100 °C it is treated as :func:`interrupted`.
        uncertainty: expanded (K, k = 2), on the warm side for "hard"; not a number or negative: as above.
        allowed_gap: readings farther apart leave the time between unknown.
    """
    since = so_far.drawn_at if so_far.last_at is None else so_far.last_at
    if at < since or at == so_far.last_at:
        return so_far
    if not (COLDEST <= celsius <= WARMEST and 0.0 <= uncertainty <= WARMEST):
        return interrupted(so_far)
    together = so_far.last_at is not None and not so_far.doubtful and at - since <= allowed_gap
    course = replace(so_far, last_at=at, celsius=celsius, uncertainty=uncertainty, doubtful=False)
    seconds = (at - since) / SECOND
    if together:
        course = _passing(rule, course, since, so_far.celsius, seconds)
    else:
        course = _lost(replace(course, unknown=so_far.unknown + seconds, marks=()))
    if course.hard_at is None and celsius + uncertainty <= rule.target:
        course = replace(course, hard_at=at)
    if rule.expected is not None:
        course = _fitted(rule.expected, _placed(rule.expected, course, seconds, together=together), at)
    return _plateau(rule, course, at)


def interrupted(so_far: HardeningCourse) -> HardeningCourse:
    """A reading couldn't be believed: from the last good one to the next one nothing is known."""
    return so_far if so_far.last_at is None else replace(so_far, doubtful=True)


def finish(rule: HardeningRule, course: HardeningCourse, now: Instant, allowed_gap: Millis) -> Finish | None:
    """When it will be hard, as seen at ``now``; None when it is, or when nothing fresh or predicted says so."""
    expected, last = rule.expected, course.last_at
    if expected is None or last is None or course.hard_at is not None or _stale(course, now, allowed_gap):
        return None
    left = max(0.0, _reached_after(expected, rule.target - course.uncertainty) - course.place)
    share = course.weight / (course.weight + _PRIOR)
    likely = left * course.factor
    # One reading is off by a little, which is some time where the fall is slow, however near the end is.
    unsure = max(_NOISE, course.uncertainty / 2.0)
    warm, cold = (_reached_after(expected, course.celsius + by) for by in (unsure, -unsure))
    noise = _NINETY * course.factor * (cold - warm) / 2.0
    early, late = (
        _NINETY * math.hypot(math.log(far / near) / _NINETY * math.sqrt(1.0 - share), _LEAST_DOUBT)
        for near, far in ((expected.least, expected.likely), (expected.likely, expected.most))
    )
    before = math.hypot(likely * -math.expm1(-early), noise)
    after = math.hypot(likely * math.expm1(late), noise)
    earliest, middle, latest = (
        Instant(max(int(now), last + round(seconds * SECOND)))
        for seconds in (likely - before, likely, likely + after)
    )
    return Finish(earliest, middle, latest, course.factor, share > 0.5)


def hard_by(
    rule: HardeningRule, course: HardeningCourse, deadline: Instant, now: Instant, allowed_gap: Millis
) -> WillBeHard:
    """Whether it is, or will be, hard by the deadline, as seen at ``now``."""
    if course.hard_at is not None:
        return WillBeHard.HARD if course.hard_at <= deadline else WillBeHard.MISSED
    if now > deadline:
        # Silence up to the deadline proves neither; a reading after it that is still soft does.
        seen_after = course.last_at is not None and course.last_at > deadline
        return WillBeHard.MISSED if seen_after else WillBeHard.UNKNOWN
    coming = finish(rule, course, now, allowed_gap)
    if coming is None:
        return WillBeHard.UNKNOWN
    if coming.latest <= deadline:
        return WillBeHard.IN_TIME
    return WillBeHard.LATE if coming.earliest > deadline else WillBeHard.UNSURE


def zone_along(
    times: Array, celsius: Array, allowed_gap: float, zone: tuple[float, float] = ZONE
) -> tuple[float, float]:
    """Known seconds in the zone and unknown seconds of a whole curve: the same sums as :func:`hardened`.

    Args:
        times: s, rising; shape (n,).
        celsius: °C, shape (n,), good readings only.
        allowed_gap: s.
        zone: °C, upper and lower end.

    Raises:
        OutOfRangeError: when times don't rise or a temperature is missing or outside -100 °C to 100 °C.
    """
    check_curve(times, celsius)
    steps = np.diff(times)
    counted = steps <= allowed_gap
    shares = _share_below(celsius[:-1], celsius[1:], zone[0]) - _share_below(
        celsius[:-1], celsius[1:], zone[1]
    )
    return float((steps * shares)[counted].sum()), float(steps[~counted].sum())


def _share_below(first: Array, second: Array, limit: float) -> Array:
    """Share of each straight line that lies at ``limit`` or below."""
    low, high = np.minimum(first, second), np.maximum(first, second)
    crosses = (low < limit) & (high > limit)
    share: Array = np.where(
        crosses, (limit - low) / np.where(crosses, high - low, 1.0), np.where(high <= limit, 1.0, 0.0)
    )
    return share


def _below(first: float, second: float, limit: float) -> float:
    """:func:`_share_below` of one line."""
    low, high = min(first, second), max(first, second)
    if low < limit < high:
        return (limit - low) / (high - low)
    return 1.0 if high <= limit else 0.0


def _passing(
    rule: HardeningRule, course: HardeningCourse, since: Instant, before: float, seconds: float
) -> HardeningCourse:
    """Time in the zone, and when its ends were passed, on the straight line since the last reading."""
    now = course.celsius
    upper, lower = rule.zone
    inside = _below(before, now, upper) - _below(before, now, lower)
    entered, left = course.entered_at, course.left_at
    if before > upper >= now:
        entered = _crossing(since, seconds, before, now, upper)
        left = None
    if entered is not None and left is None and before > lower >= now:
        left = _crossing(since, seconds, before, now, lower)
    if now > upper:
        entered, left = None, None
    return replace(course, in_zone=course.in_zone + seconds * inside, entered_at=entered, left_at=left)


def _crossing(since: Instant, seconds: float, before: float, now: float, limit: float) -> Instant:
    return Instant(since + round(seconds * SECOND * (before - limit) / (before - now)))


def _lost(course: HardeningCourse) -> HardeningCourse:
    """After a gap: what ended in it isn't known, so a passage that wasn't over by then has no time."""
    entered = course.entered_at if course.left_at is not None else None
    plateau = course.plateau_from if course.plateau_until is not None else None
    return replace(course, entered_at=entered, plateau_from=plateau)


def _placed(expected: WayDown, course: HardeningCourse, seconds: float, *, together: bool) -> HardeningCourse:
    """Where the middle is: gone on at the pace of this run, drawn towards the reading (a filter of first order)."""
    shown = _reached_after(expected, course.celsius)
    if not together:
        return replace(course, place=shown)
    going_on = course.place + seconds / course.factor
    return replace(course, place=going_on + (shown - going_on) * -math.expm1(-seconds / _SMOOTHING))


def _fitted(expected: WayDown, course: HardeningCourse, at: Instant) -> HardeningCourse:
    """The factor of this run, where the reading is further down than any before."""
    first, last = expected.celsius[0], expected.celsius[-1]
    after = _reached_after(expected, course.celsius)
    share = min(1.0, after / expected.likely)
    if share <= course.reached:
        return course
    if course.celsius > first + (last - first) * _FROM_SHARE or after <= 0.0:
        return replace(course, reached=share)
    gained = share**3 - course.reached**3
    factor = (at - course.drawn_at) / SECOND / after
    factor = min(max(factor, 1.0 / _STEEPEST_FACTOR), _STEEPEST_FACTOR)
    return replace(
        course, weight=course.weight + gained, weighted=course.weighted + gained * factor, reached=share
    )


def _reached_after(expected: WayDown, celsius: float) -> float:
    """Predicted seconds until the middle passes ``celsius``; the last slope goes on below the end."""
    falling, after = expected.celsius, expected.seconds
    if celsius >= falling[-1]:
        return float(np.interp(-celsius, [-one for one in falling], after))
    slope = (after[-1] - after[-2]) / (falling[-2] - falling[-1])
    return after[-1] + slope * (falling[-1] - celsius)


def _plateau(rule: HardeningRule, course: HardeningCourse, at: Instant) -> HardeningCourse:
    """Near the freezing point and, over five minutes, five times slower than the fastest fall before."""
    if rule.freezing_point is None or (course.marks and at - course.marks[-1][0] < _MARK_EVERY):
        return course
    marks = (*course.marks, (int(at), course.celsius))[-_MARKS:]
    course = replace(course, marks=marks)
    lasting = (marks[-1][0] - marks[0][0]) / SECOND
    if len(marks) < _MARKS or lasting <= 0.0:
        return course
    slope = (marks[-1][1] - marks[0][1]) / lasting
    fell = course.steepest * 60.0 < -_CLEAR_FALL
    near = all(abs(celsius - rule.freezing_point) <= _NEAR for _, celsius in marks)
    flat = fell and near and slope > _FLAT * course.steepest
    if flat and course.plateau_from is None:
        course = replace(course, plateau_from=Instant(marks[0][0]))
    elif course.plateau_from is not None and course.plateau_until is None and not flat:
        course = replace(course, plateau_until=at)
    return replace(course, steepest=min(course.steepest, slope))


def _stale(course: HardeningCourse, now: Instant, allowed_gap: Millis) -> bool:
    return course.doubtful or course.last_at is None or now - course.last_at > allowed_gap
