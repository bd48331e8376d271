"""One alarm of the life cycle, as the engine state, the store and the screens hold it."""

from __future__ import annotations

import enum
from dataclasses import dataclass

from rimekeeper.core.model import BatchId, Instant, ProbeId, StageId
from rimekeeper.core.plan import Priority


class AlarmPhase(enum.StrEnum):
    """Life cycle of an alarm (IEC 62682 / ISA-18.2 state names)."""

    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED_UNACKNOWLEDGED = "returned, unacknowledged"


@dataclass(frozen=True, slots=True)
class AlarmSlot:
    """A standing alarm, or one that is over but not yet acknowledged."""

    key: str
    alarm_id: str
    """New for every raise; call-outs carry it."""
    phase: AlarmPhase
    priority: Priority
    where: str
    what: str
    action: str
    raised_at: Instant
    began: Instant
    """When the condition began (before the on-delay)."""
    celsius: float | None = None
    worst: float | None = None
    limit_celsius: float | None = None
    batch: BatchId | None = None
    stage: StageId | None = None
    probe: ProbeId | None = None
    acknowledged_at: Instant | None = None
    acknowledged_by: str = ""
    returned_at: Instant | None = None
    call_step: int = 0
    calls_made: int = 0
    next_call: Instant | None = None
    call_not_before: Instant | None = None
    """When the present step of the call-out has had its time; an alarm that comes back keeps to it."""
    return_told: bool = False
    """Whether those who were called were told that it returned to normal."""
