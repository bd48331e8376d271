"""How a probe is (the words of NAMUR NE 107), from what its readings have been like.

====================  ===================================================================================
normal                good readings
maintenance required  good readings, and a calibration past its due date
out of specification  an odd reading (a jump, a stamp that can't be right), until a quiet minute of good ones; or a
                      probe that works and is not where it should be, or that another one contradicts
failure               three readings in a row that can't be believed, until three good ones; or no fresh one for
                      too long, until one comes
function check        a person tests it
====================  ===================================================================================

The waits keep a loose plug from filling the record. Whatever the word: three readings in a row that can't be
believed are a fault that people are called about, because nothing is watched then.
"""

from __future__ import annotations

from datetime import UTC, datetime

from rimekeeper.core.model import MINUTE, Health, Instant, Quality, Reason
from rimekeeper.core.state import MetrologySlot, ProbeSlot

BAD_IN_A_ROW = 3
GOOD_IN_A_ROW = 3
QUIET = MINUTE
SILENT = "no fresh reading"
MISPLACED = frozenset({Reason.ROOM, Reason.SWAPPED, Reason.DISAGREES})
"""Doubts about where a probe is or which of two is right, and not about what it is: out of specification at worst."""


def health_after(slot: ProbeSlot, measured: MetrologySlot | None = None) -> tuple[Health, str]:
    """The health (and why) of a probe that was just heard in its time; ``measured``: its calibration, if any."""
    if not slot.silent and tested(slot):
        return Health.FUNCTION_CHECK, slot.tested_why
    if slot.silent:
        return Health.FAILURE, SILENT
    if slot.bad_run >= BAD_IN_A_ROW:
        word = Health.OUT_OF_SPECIFICATION if slot.reason in MISPLACED else Health.FAILURE
        return word, f"its readings can't be believed: {slot.reason.value}"
    return _recovering(slot) or _sound(measured, slot.last_at)


def tested(slot: ProbeSlot) -> bool:
    """Whether a person tested it when it was last heard."""
    return slot.last_arrived is not None and under_test(slot, slot.last_arrived)


def under_test(slot: ProbeSlot, at: Instant) -> bool:
    """Whether a person tests it at an instant (by arrival)."""
    return slot.tested_until is not None and at < slot.tested_until


def faulty(slot: ProbeSlot) -> bool:
    """Whether it speaks and what it says can't be used, so that nothing is watched."""
    if slot.silent or tested(slot):
        return False
    if slot.bad_run >= BAD_IN_A_ROW:
        return True
    return slot.health is Health.FAILURE and slot.health_why != SILENT


def _recovering(slot: ProbeSlot) -> tuple[Health, str] | None:
    """What is left of a fault or an odd reading; None when nothing is."""
    failed = slot.health is Health.FAILURE and slot.health_why != SILENT
    if failed and slot.good_run < GOOD_IN_A_ROW:
        return slot.health, slot.health_why
    if slot.quality is not Quality.GOOD:
        return Health.OUT_OF_SPECIFICATION, f"a reading can't be believed: {slot.reason.value}"
    if slot.health is Health.OUT_OF_SPECIFICATION and not _quiet(slot):
        return slot.health, slot.health_why
    if failed:
        return Health.OUT_OF_SPECIFICATION, "its readings could not be believed a moment ago"
    return None


def _sound(measured: MetrologySlot | None, at: Instant | None) -> tuple[Health, str]:
    calibration = measured.calibration if measured is not None else None
    if calibration is None or at is None or at <= calibration.due:
        return Health.NORMAL, ""
    due = datetime.fromtimestamp(calibration.due / 1_000, UTC)
    return Health.MAINTENANCE, f"calibration was due {due:%Y-%m-%d}"


def _quiet(slot: ProbeSlot) -> bool:
    at, since = slot.last_at, slot.good_since
    return at is not None and since is not None and Instant(at - since) >= QUIET
