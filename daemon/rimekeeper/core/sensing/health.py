"""How a probe is (the words of NAMUR NE 107), from what its readings have been like.

=====================  ==================================================================================
normal                 good readings
out of specification   an odd reading (a jump, a stamp that can't be right); until a quiet minute of good ones
failure                three bad readings in a row, until three good ones; or silent for too long, until heard
=====================  ==================================================================================

The waits keep a loose plug from filling the record.
"""

from __future__ import annotations

from rimekeeper.core.model import MINUTE, Health, Instant, Quality
from rimekeeper.core.state import ProbeSlot

BAD_IN_A_ROW = 3
GOOD_IN_A_ROW = 3
QUIET = MINUTE
SILENT = "it is silent"


def health_after(slot: ProbeSlot) -> tuple[Health, str]:
    """The health (and why) of a probe that was just heard in its time."""
    if slot.bad_run >= BAD_IN_A_ROW:
        return Health.FAILURE, f"its readings are bad: {slot.reason.value}"
    if slot.health is Health.FAILURE and slot.health_why != SILENT and slot.good_run < GOOD_IN_A_ROW:
        return slot.health, slot.health_why
    if slot.quality is not Quality.GOOD:
        return Health.OUT_OF_SPECIFICATION, f"a reading {_odd(slot)}"
    if slot.health is Health.OUT_OF_SPECIFICATION and not _quiet(slot):
        return slot.health, slot.health_why
    if slot.health is Health.FAILURE and slot.health_why != SILENT:
        return Health.OUT_OF_SPECIFICATION, "its readings were bad a moment ago"
    return Health.NORMAL, ""


def faulty(slot: ProbeSlot) -> bool:
    """Whether it fails although it speaks."""
    return slot.health is Health.FAILURE and slot.health_why != SILENT


def _odd(slot: ProbeSlot) -> str:
    return f"can't be believed: {slot.reason.value}"


def _quiet(slot: ProbeSlot) -> bool:
    at, since = slot.last_at, slot.good_since
    return at is not None and since is not None and Instant(at - since) >= QUIET
