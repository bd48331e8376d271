"""From the phase of a watch to its alarm: raised as it becomes abnormal, ended as it becomes normal."""

from __future__ import annotations

from collections.abc import Callable

from rimekeeper.core.alarms.standing import Condition, end_alarm, raise_alarm, worsen
from rimekeeper.core.draft import Draft
from rimekeeper.core.model import Instant
from rimekeeper.core.state import WatchSlot
from rimekeeper.core.watching.limits import ALARMING


def move_watch(
    draft: Draft, before: WatchSlot, after: WatchSlot, at: Instant, condition: Callable[[], Condition]
) -> None:
    """Remember the watch as it is now, and let its alarm follow. ``condition`` is asked only for a raise."""
    draft.put_watch(after)
    if after.phase in ALARMING:
        if before.phase in ALARMING:
            worsen(draft, after.key, after.worst)
        else:
            raise_alarm(draft, condition(), at)
    elif before.phase in ALARMING:
        end_alarm(draft, after.key, at)
