"""How a probe is (the words of NAMUR NE 107), from what its readings have been like.

=====================  ==================================================================================
normal                 good readings
out of specification   an odd reading (a jump, a stamp that can't be right); until a quiet minute of good ones
failure                three readings in a row that can't be believed, until three good ones; or no fresh one for
                       too long, until one comes
=====================  ==================================================================================

The waits keep a loose plug from filling the record.
"""

from __future__ import annotations

from rimekeeper.core.model import MINUTE, Health, Instant, Quality
from rimekeeper.core.state import ProbeSlot

BAD_IN_A_ROW = 3
GOOD_IN_A_ROW = 3
QUIET = MINUTE
SILENT = "no fresh reading"


def health_after(slot: ProbeSlot) -> tuple[Health, str]:
    """The health (and why) of a probe that was just heard in its time."""
    if slot.silent or slot.bad_run >= BAD_IN_A_ROW:
        why = SILENT if slot.silent else f"its readings can't be believed: {slot.reason.value}"
        return Health.FAILURE, why
    if slot.health is Health.FAILURE and slot.health_why != SILENT and slot.good_run < GOOD_IN_A_ROW:
        return slot.health, slot.health_why
    if slot.quality is not Quality.GOOD:
        return Health.OUT_OF_SPECIFICATION, f"a reading can't be believed: {slot.reason.value}"
    if slot.health is Health.OUT_OF_SPECIFICATION and not _quiet(slot):
        return slot.health, slot.health_why
    if slot.health is Health.FAILURE and slot.health_why != SILENT:
        return Health.OUT_OF_SPECIFICATION, "its readings could not be believed a moment ago"
    return Health.NORMAL, ""


def faulty(slot: ProbeSlot) -> bool:
    """Whether it fails although it speaks."""
    return slot.health is Health.FAILURE and slot.health_why != SILENT


def _quiet(slot: ProbeSlot) -> bool:
    at, since = slot.last_at, slot.good_since
    return at is not None and since is not None and Instant(at - since) >= QUIET
