"""The life cycle of an alarm as a visible table (state names of IEC 62682 / ISA-18.2).

========================  ==================  ===================  =========================
phase                     the condition       somebody             the condition
                          begins              acknowledges         ends
========================  ==================  ===================  =========================
(no alarm)                unacknowledged      --                   --
unacknowledged            --                  acknowledged         returned, unacknowledged
acknowledged              --                  --                   closed
returned, unacknowledged  unacknowledged,     closed               --
                          the same alarm
========================  ==================  ===================  =========================

Closing is always two moves: the one that led to it (returned, or acknowledged), then closed. ``--`` is illegal.
"""

from __future__ import annotations

import enum

from rimekeeper.core.alarms.slot import AlarmPhase
from rimekeeper.core.messages import AlarmMove


class AlarmCause(enum.Enum):
    """What can happen to an alarm."""

    BEGINS = "the condition begins"
    ACKNOWLEDGE = "somebody acknowledges"
    ENDS = "the condition ends"


LIFE_CYCLE: dict[tuple[AlarmPhase | None, AlarmCause], tuple[AlarmPhase | None, tuple[AlarmMove, ...]]] = {
    (None, AlarmCause.BEGINS): (AlarmPhase.UNACKNOWLEDGED, (AlarmMove.RAISED,)),
    (AlarmPhase.UNACKNOWLEDGED, AlarmCause.ACKNOWLEDGE): (
        AlarmPhase.ACKNOWLEDGED,
        (AlarmMove.ACKNOWLEDGED,),
    ),
    (AlarmPhase.UNACKNOWLEDGED, AlarmCause.ENDS): (
        AlarmPhase.RETURNED_UNACKNOWLEDGED,
        (AlarmMove.RETURNED,),
    ),
    (AlarmPhase.ACKNOWLEDGED, AlarmCause.ENDS): (None, (AlarmMove.RETURNED, AlarmMove.CLOSED)),
    (AlarmPhase.RETURNED_UNACKNOWLEDGED, AlarmCause.ACKNOWLEDGE): (
        None,
        (AlarmMove.ACKNOWLEDGED, AlarmMove.CLOSED),
    ),
    (AlarmPhase.RETURNED_UNACKNOWLEDGED, AlarmCause.BEGINS): (
        AlarmPhase.UNACKNOWLEDGED,
        (AlarmMove.RAISED,),
    ),
}
"""(phase, cause) -> (phase after, moves); the phase None stands for no alarm."""


def legal(phase: AlarmPhase | None, cause: AlarmCause) -> bool:
    """Whether the table knows this move."""
    return (phase, cause) in LIFE_CYCLE
