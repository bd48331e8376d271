"""A probe that was pulled out of the product and reads the room instead.

In the room's air the distance d between a probe and the room dies away exponentially, with a time constant of some
30 to 90 s in moving air and more in still air (tables of makers of sheathed probes). A product that is cooled
*through* the room's temperature by something colder passes it with a growing share of d for each second. So:

* Three halvings of d in a row, begun 20 K away or more, each of 90 s at most and the last not much quicker than the
  first (0.6 of it): it nears the room itself, and as fast as a bare probe does. In a product over ice the third
  halving takes less than 0.4 of the first.
* Or: within 2 K of the room, less than 5 min after it was 10 K away, and there for one and a half times as long as
  the way took, and a minute at least. What passes through on its way to something 4 K or more beyond the room takes
  less for the 4 K about the room, seen against the 8 K before them.

It is believed again when it is as far from the room as 5 K and one and a half times the least distance since; when
what depends on it changes (the next stage); or when a person tested it. Not by time alone: a pulled probe is steady
too. Only a probe of an active stage or a station is judged, and only with a room probe whose good reading is no
older than 5 min. Numbers are ours, held against the simulated kitchen.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, SECOND, Instant, Millis, Quality, Reason
from rimekeeper.core.sensing.doubt import Doubt, RoomDoubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict

NEAR, AWAY = 2.0, 10.0
"""K from the room."""
SHORTLY = 5 * MINUTE
SHORTEST_STAY = MINUTE
STAY = 1.5
BEGUN = 20.0
"""K: where the first of the halvings begins."""
HALVINGS = 3
QUICK = 90 * SECOND
STEADY = 0.6
STILL, STILL_FOR = 0.93, 10 * SECOND
"""A probe that hasn't begun to near the room is marked anew, so that the first halving isn't counted too long."""
BACK, BACK_TIMES = 5.0, 1.5
FRESH = 5 * MINUTE
_GRAIN = STILL_FOR
"""When it was last far from the room is known to this: not every reading is worth a note."""
_NONE = Millis(0)
_ROOM = (Quality.UNCERTAIN, Reason.ROOM)


def room(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt a probe from when it nears the room as bare probes do until it is back in the product."""
    if case.probe.room is None:
        return doubt, None
    memory = doubt.room
    air = case.others.get(case.probe.room)
    if not doubt.duty or air is None or air.good_celsius is None or air.good_at is None:
        return doubt, None
    if abs(case.taken - air.good_at) > FRESH:
        return doubt, None if memory.nearest is None else _ROOM
    gap = abs(case.celsius - air.good_celsius)
    after = _held(memory, gap) if memory.nearest is not None else _nearing(memory, case.taken, gap)
    if after is not memory:
        doubt = replace(doubt, room=after)
    return doubt, None if after.nearest is None else _ROOM


def _held(memory: RoomDoubt, gap: float) -> RoomDoubt:
    nearest = memory.nearest or 0.0
    if gap >= max(BACK, BACK_TIMES * nearest):
        return RoomDoubt()
    return RoomDoubt(nearest=gap) if gap < nearest else memory


def _nearing(memory: RoomDoubt, taken: Instant, gap: float) -> RoomDoubt:
    after = _halved(memory, taken, gap)
    if after.halvings >= HALVINGS:
        return RoomDoubt(nearest=gap)
    if gap < AWAY:
        return _stayed(after, taken, gap)
    if after.far_at is None or after.near_since is not None or taken - after.far_at >= _GRAIN:
        return replace(after, far_at=taken, near_since=None)
    return after


def _stayed(memory: RoomDoubt, taken: Instant, gap: float) -> RoomDoubt:
    """Less than ``AWAY`` from the room: how it came there, and whether it stays."""
    far_at, near_since = memory.far_at, memory.near_since
    if gap > NEAR or far_at is None:
        return memory if near_since is None else replace(memory, near_since=None)
    if near_since is None:
        quick = taken - far_at <= SHORTLY
        return replace(memory, near_since=taken) if quick else replace(memory, far_at=None)
    if taken - near_since > max(SHORTEST_STAY, STAY * (near_since - far_at)):
        return RoomDoubt(nearest=gap)
    return memory


def _halved(memory: RoomDoubt, taken: Instant, gap: float) -> RoomDoubt:
    if memory.mark_at is None:
        return _marked(memory, taken, gap)
    took = Millis(taken - memory.mark_at)
    if took > QUICK or gap * STILL > memory.mark_gap:
        return _marked(memory, taken, gap)
    if gap > 0.5 * memory.mark_gap:
        still = memory.halvings == 0 and took >= STILL_FOR and gap > STILL * memory.mark_gap
        return _marked(memory, taken, gap) if still else memory
    first = took if memory.halvings == 0 else memory.first
    like_air = memory.mark_gap >= BEGUN if memory.halvings == 0 else took >= STEADY * first
    return (
        _marked(memory, taken, gap, memory.halvings + 1, first) if like_air else _marked(memory, taken, gap)
    )


def _marked(
    memory: RoomDoubt, taken: Instant, gap: float, halvings: int = 0, first: Millis = _NONE
) -> RoomDoubt:
    if gap >= AWAY:
        return RoomDoubt(taken, gap, halvings, first, taken, None, None)
    return RoomDoubt(taken, gap, halvings, first, memory.far_at, memory.near_since, None)
