"""One limit, watched: deadband, on-delay and off-delay as a visible transition table.

The words and what they mean are those of IEC 62682 (deadband, on-delay, off-delay) and OPC UA part 9, annex
B.1.5. A value is *beyond* the limit, *clear* of it (back by at least the deadband), or *between* the two.

=========  ===================  ==============  ==============  ========================
phase      beyond               between         clear           its delay is over
=========  ===================  ==============  ==============  ========================
normal     entering / abnormal  normal          normal          (has none)
entering   entering             normal          normal          abnormal
abnormal   abnormal             abnormal        leaving/normal  (has none)
leaving    abnormal             abnormal        leaving         normal, once a good
                                                                reading is still clear
=========  ===================  ==============  ==============  ========================

Without a delay ``entering`` and ``leaving`` are passed over. An on-delay ends at its own instant even when no
reading comes, because the last that was known was abnormal. An off-delay needs a good reading at or after its
end: missing data never calls anything normal. Readings that aren't good must not be given to ``observed``.
"""

from __future__ import annotations

import enum

from rimekeeper.core.model import Instant
from rimekeeper.core.plan import LimitPlan, Side
from rimekeeper.core.state import WatchPhase, WatchSlot


class Lie(enum.Enum):
    """Where a value lies against a limit."""

    BEYOND = "beyond"
    BETWEEN = "between"
    CLEAR = "clear"


ON_READING: dict[tuple[WatchPhase, Lie], WatchPhase] = {
    (WatchPhase.NORMAL, Lie.BEYOND): WatchPhase.ENTERING,
    (WatchPhase.NORMAL, Lie.BETWEEN): WatchPhase.NORMAL,
    (WatchPhase.NORMAL, Lie.CLEAR): WatchPhase.NORMAL,
    (WatchPhase.ENTERING, Lie.BEYOND): WatchPhase.ENTERING,
    (WatchPhase.ENTERING, Lie.BETWEEN): WatchPhase.NORMAL,
    (WatchPhase.ENTERING, Lie.CLEAR): WatchPhase.NORMAL,
    (WatchPhase.ABNORMAL, Lie.BEYOND): WatchPhase.ABNORMAL,
    (WatchPhase.ABNORMAL, Lie.BETWEEN): WatchPhase.ABNORMAL,
    (WatchPhase.ABNORMAL, Lie.CLEAR): WatchPhase.LEAVING,
    (WatchPhase.LEAVING, Lie.BEYOND): WatchPhase.ABNORMAL,
    (WatchPhase.LEAVING, Lie.BETWEEN): WatchPhase.ABNORMAL,
    (WatchPhase.LEAVING, Lie.CLEAR): WatchPhase.LEAVING,
}
"""The phase after a good reading, before delays of no length are passed over."""

ALARMING = frozenset({WatchPhase.ABNORMAL, WatchPhase.LEAVING})
"""The phases in which the alarm stands."""


def lie(limit: LimitPlan, celsius: float) -> Lie:
    """Where the value lies. On the limit itself it is not beyond; at the deadband's far edge it is clear."""
    past = celsius - limit.limit.celsius if limit.side is Side.CEILING else limit.limit.celsius - celsius
    if past > 0.0:
        return Lie.BEYOND
    return Lie.CLEAR if past <= -limit.deadband.kelvin else Lie.BETWEEN


def observed(limit: LimitPlan, watch: WatchSlot, at: Instant, celsius: float) -> WatchSlot:
    """The watch after a good reading in its time. Delays that ended before take effect first."""
    watch = elapsed(watch, at)
    where = lie(limit, celsius)
    phase = ON_READING[watch.phase, where]
    if phase is WatchPhase.NORMAL:
        return watch if watch.phase is WatchPhase.NORMAL else WatchSlot(watch.key, since=at)
    began = at if watch.began is None else watch.began
    worst = _worst(limit, watch.worst, celsius)
    since, due = watch.since, watch.due
    if phase is WatchPhase.ENTERING and watch.phase is WatchPhase.NORMAL:
        since, due = at, Instant(at + limit.on_delay)
        if limit.on_delay <= 0:
            phase, due = WatchPhase.ABNORMAL, None
    elif phase is WatchPhase.ABNORMAL and watch.phase is not WatchPhase.ABNORMAL:
        since, due = at, None
    elif phase is WatchPhase.LEAVING:
        if watch.phase is not WatchPhase.LEAVING:
            since, due = at, Instant(at + limit.off_delay)
        if due is None or due <= at:
            return WatchSlot(watch.key, since=at)
    return WatchSlot(watch.key, phase, since, began, due, worst, celsius)


def elapsed(watch: WatchSlot, until: Instant) -> WatchSlot:
    """The watch after time has passed up to and including ``until``: an on-delay may have ended."""
    due = on_delay_end(watch)
    if due is None or due > until:
        return watch
    return WatchSlot(
        watch.key, WatchPhase.ABNORMAL, since=due, began=watch.began, worst=watch.worst, last=watch.last
    )


def on_delay_end(watch: WatchSlot | None) -> Instant | None:
    """When the watch becomes abnormal by itself, or None."""
    return watch.due if watch is not None and watch.phase is WatchPhase.ENTERING else None


def _worst(limit: LimitPlan, worst: float | None, celsius: float) -> float:
    if worst is None:
        return celsius
    return max(worst, celsius) if limit.side is Side.CEILING else min(worst, celsius)
