"""Stations: a reading of a station's probe against its limits, and the alarms that come of it."""

from __future__ import annotations

from rimekeeper.core.agenda import Matter
from rimekeeper.core.alarms.standing import Condition
from rimekeeper.core.draft import Draft
from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.core.plan import Side
from rimekeeper.core.plan_index import StationWatch
from rimekeeper.core.state import WatchSlot
from rimekeeper.core.watching.limits import Lie, elapsed, lie, observed, on_delay_end
from rimekeeper.core.watching.moving import move_watch

BEYOND = {Side.CEILING: "above its ceiling", Side.FLOOR: "below its floor"}


def watch_reading(draft: Draft, probe: ProbeId, at: Instant, celsius: float) -> None:
    """A good reading in its time of a probe that may watch a station."""
    for one in draft.index.by_probe.get(probe, ()):
        watch = draft.watches.get(one.key)
        if watch is None:
            if lie(one.limit, celsius) is not Lie.BEYOND:
                continue
            watch = WatchSlot(one.key)
        due = on_delay_end(watch)
        if due is not None and due <= at:
            watch = _move(draft, one, watch, elapsed(watch, at), due)
        _move(draft, one, watch, observed(one.limit, watch, at, celsius), at)


def due_of(draft: Draft, key: str) -> tuple[Instant, Instant] | None:
    """(when it takes effect as seen from here, its own instant) of a station's watch, or None."""
    one = draft.index.by_key.get(key)
    due = on_delay_end(draft.watches.get(key))
    if one is None or due is None:
        return None
    return Instant(due + draft.lag(one.station.probe)), due


def pass_time(draft: Draft, key: str, due: Instant) -> None:
    """The on-delay of a station's watch ended."""
    watch = draft.watches[key]
    _move(draft, draft.index.by_key[key], watch, elapsed(watch, due), due)


def _move(draft: Draft, one: StationWatch, before: WatchSlot, after: WatchSlot, at: Instant) -> WatchSlot:
    if after is not before:
        move_watch(draft, before, after, at, lambda: _condition(one, after, at))
        reschedule(draft, one.key)
    return after


def reschedule(draft: Draft, key: str) -> None:
    """Its deadline, or how it is seen from here, has changed."""
    due = due_of(draft, key)
    if due is not None:
        draft.agenda.put(*due, Matter.WATCH, key)


def _condition(one: StationWatch, watch: WatchSlot, at: Instant) -> Condition:
    return Condition(
        key=one.key,
        where=one.station.name,
        what=BEYOND[one.limit.side],
        action=one.limit.action,
        priority=one.limit.priority,
        began=watch.began if watch.began is not None else at,
        celsius=watch.last,
        worst=watch.worst,
        limit_celsius=one.limit.limit.celsius,
        probe=one.station.probe,
    )
