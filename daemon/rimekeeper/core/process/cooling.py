"""Cooling through checkpoints: by when a hot base must be how cold, and whether it was.

The clock starts by rule and not by a tap: when the product last falls through the start temperature. Everything is
judged on the safe side of the probe's uncertainty: the clock starts as soon as the product *may* be below the start
(shown minus U), and a checkpoint is met only when it *must* be (shown plus U). Times are those of readings, never
between them. A product that was never seen above the start has no clock, and its cooling is not proven.

Which rule binds a kitchen, its local food code decides.
"""

from __future__ import annotations

import enum
from collections.abc import Mapping
from dataclasses import dataclass, replace
from itertools import pairwise

from rimekeeper.core.model import HOUR, MINUTE, Instant, Millis


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """At or below ``celsius`` within ``within`` of the start of the clock (the whole time, not from the one before)."""

    celsius: float
    within: Millis


@dataclass(frozen=True, slots=True)
class CoolingRule:
    """Checkpoints by falling temperature; ``start`` in °C."""

    id: str
    title: str
    start: float
    checkpoints: tuple[Checkpoint, ...]
    source: str
    note: str = ""


def _rule(
    name: str, title: str, start: float, points: tuple[tuple[float, float], ...], source: str, note: str = ""
) -> CoolingRule:
    checkpoints = tuple(Checkpoint(celsius, Millis(round(hours * HOUR))) for celsius, hours in points)
    return CoolingRule(name, title, start, checkpoints, source, note)


_RULES = (
    _rule(
        "two-stage-us",
        "Two-stage cooling (United States)",
        57.0,
        ((21.0, 2.0), (5.0, 6.0)),
        "FDA Food Code 3-501.14(A): 57 °C to 21 °C within 2 h, and to 5 °C within 6 h in all",
        "The six hours are the whole time.",
    ),
    _rule(
        "two-stage-new-york",
        "Two-stage cooling (New York)",
        48.9,
        ((21.1, 2.0), (7.2, 6.0)),
        "10 NYCRR 14-1.40: 120 °F to 70 °F in 2 h, then to 45 °F in 4 h more",
        "Start rounded up, checkpoints down, to 0.1 °C by us.",
    ),
    _rule(
        "ice-cream-uk",
        "Ice-cream mix after heating (United Kingdom)",
        65.6,
        ((7.2, 1.5),),
        "SI 1995/1372, schedule 6 (Scotland): to 7.2 °C within 1.5 h, until it is frozen",
        "Started from the lowest heat-treatment row of the same schedule.",
    ),
)
RULES: Mapping[str, CoolingRule] = {rule.id: rule for rule in _RULES}
"""The rules by id; a kitchen may add its own."""


class CoolingState(enum.StrEnum):
    """Where a cooling stands."""

    WAITING = "not begun to cool"
    RUNNING = "cooling"
    MET = "met"
    MISSED = "missed"
    NOT_PROVEN = "not proven"


@dataclass(frozen=True, slots=True)
class CoolingCourse:
    """What a curve has done so far. ``met`` in the order of the rule's checkpoints."""

    met: tuple[Instant | None, ...] = ()
    started_at: Instant | None = None
    hot_at: Instant | None = None
    """When it was last seen to be above the start for certain."""
    last_at: Instant | None = None


def begun(rule: CoolingRule) -> CoolingCourse:
    """A curve without a reading."""
    return CoolingCourse((None,) * len(rule.checkpoints))


def cooled(
    rule: CoolingRule, so_far: CoolingCourse, at: Instant, celsius: float, uncertainty: float
) -> CoolingCourse:
    """The course after one more good reading in its time.

    Args:
        rule: its checkpoints.
        so_far: up to here.
        at: instant of the reading.
        celsius: what it shows.
        uncertainty: expanded (K, k = 2).
    """
    if celsius - uncertainty >= rule.start:
        # Hot again, or still: the clock is for the last time it falls through.
        return CoolingCourse((None,) * len(rule.checkpoints), None, at, at)
    started = so_far.started_at
    if started is None and so_far.hot_at is not None:
        # It fell through somewhere after the last reading that was hot: from there on is the safe side.
        started = so_far.hot_at
    warmest = celsius + uncertainty
    met = tuple(
        was if was is not None or started is None or warmest > point.celsius else at
        for was, point in zip(so_far.met, rule.checkpoints, strict=True)
    )
    return replace(so_far, met=met, started_at=started, last_at=at)


def state_of(rule: CoolingRule, course: CoolingCourse, now: Instant, *, over: bool = False) -> CoolingState:
    """Where it stands at ``now``; ``over``: no reading comes any more."""
    if course.started_at is None:
        if course.hot_at is not None and not over:
            return CoolingState.WAITING
        return CoolingState.NOT_PROVEN if over or course.last_at is not None else CoolingState.WAITING
    for point, met in zip(rule.checkpoints, course.met, strict=True):
        deadline = course.started_at + point.within
        if met is not None and met > deadline:
            return CoolingState.MISSED
        if met is None and now > deadline:
            # Silence up to the deadline proves neither; a reading after it that is still warm does.
            seen_after = course.last_at is not None and course.last_at > deadline
            return CoolingState.MISSED if seen_after else CoolingState.NOT_PROVEN
    if all(met is not None for met in course.met):
        return CoolingState.MET
    return CoolingState.NOT_PROVEN if over else CoolingState.RUNNING


def all_met(rule: CoolingRule, course: CoolingCourse) -> bool:
    """Whether every checkpoint was met in its time."""
    started = course.started_at
    return started is not None and all(
        met is not None and met <= started + point.within
        for point, met in zip(rule.checkpoints, course.met, strict=True)
    )


def next_checkpoint(rule: CoolingRule, course: CoolingCourse) -> tuple[Checkpoint, Instant] | None:
    """The checkpoint that comes next and its deadline; None before the clock starts and after the last."""
    if course.started_at is None:
        return None
    for point, met in zip(rule.checkpoints, course.met, strict=True):
        if met is None:
            return point, Instant(course.started_at + point.within)
    return None


def checkpoints_in_order(rule: CoolingRule) -> bool:
    """Whether a rule makes sense: colder later, all below its start, times above zero."""
    points = rule.checkpoints
    if not points or points[0].celsius >= rule.start or points[0].within < MINUTE:
        return False
    return all(a.celsius > b.celsius and a.within < b.within for a, b in pairwise(points))
