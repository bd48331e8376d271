"""A number that stays the same to its last digit for hours: the instrument repeats itself and measures nothing.

Readings while it was silent are none, so the time begins anew after a pause. A coarse instrument in a steady place
can do this by right; ``stuck_after`` of the probe is for that.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import Quality, Reason
from rimekeeper.core.sensing.doubt import Doubt
from rimekeeper.core.sensing.plausible.case import Case, Verdict

FINENESS = 64
"""The instant of the last move is noted anew after this part of the time allowed, and not with every reading."""
_STUCK = (Quality.UNCERTAIN, Reason.STUCK)


def stuck(case: Case, doubt: Doubt) -> tuple[Doubt, Verdict | None]:
    """Doubt a number that has not moved for ``stuck_after``; never before that time, and 1/64 after it at most."""
    allowed = case.probe.stuck_after
    if allowed <= 0:
        return doubt, None
    before, moved_at = case.before, doubt.moved_at
    if moved_at is None or before.last_at is None:
        return replace(doubt, moved_at=case.taken), None
    rested, grain = case.taken - moved_at, allowed // FINENESS
    if case.raw != before.raw or case.taken - before.last_at > max(grain, case.probe.silent_after):
        return doubt if rested <= grain else replace(doubt, moved_at=case.taken), None
    return doubt, _STUCK if rested >= allowed + grain else None
