"""From a sample to a reading: its scale, its instant, and how far it may be believed.

Pure: (probe's plan, what is known of the probe, sample) -> (reading, what is known now, what it may decide).
"""

from __future__ import annotations

import enum
import math

from rimekeeper.core.model import (
    MINUTE,
    SECOND,
    ClockTrust,
    Instant,
    Quality,
    Reading,
    Reason,
    Sample,
)
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.calibration.correction import corrected
from rimekeeper.core.sensing.sensors.contract import Refusal
from rimekeeper.core.state import MetrologySlot, ProbeSlot

EARLIEST_STAMP = Instant(1_577_836_800_000)
"""2020-01-01: a probe that dates its readings before has never had its clock set."""
FARTHEST_AHEAD = 5 * MINUTE
BURST = 2 * SECOND
"""Readings dated by arrival that are no older than this against the one before are a burst, not late."""
AGREEING = 3
"""A jump is believed with the third reading in a row that shows it (the first and two more)."""
SHORTEST_STEP = 1.0
"""Seconds over which a jump is judged at least, so that the last digit of a burst isn't a jump."""


class Weight(enum.Enum):
    """What a reading may do."""

    NOTHING = "nothing"
    """Stored and shown only: late, seen already, or an old message kept by the broker."""
    BREAKS = "breaks"
    """In its time but not to be believed: it breaks a hold, and neither raises nor clears anything."""
    COUNTS = "counts"
    """Good and in its time."""


def read(
    probe: ProbePlan, slot: ProbeSlot, sample: Sample, measured: MetrologySlot | None = None
) -> tuple[Reading, ProbeSlot, Weight]:
    """The reading that the sample stands for, corrected by the calibration in force."""
    taken, odd_clock, late = _dated(probe, slot, sample)
    uncorrected, quality, reason = _converted(probe, sample)
    calibration = measured.calibration if measured is not None else None
    celsius = uncorrected
    if calibration is not None and uncorrected is not None:
        celsius = corrected(calibration.correction, uncorrected)
    if quality is Quality.GOOD and _tested(slot, sample.arrived_at):
        quality, reason = Quality.UNCERTAIN, Reason.FUNCTION_CHECK
    if quality is Quality.GOOD and sample.retained:
        quality, reason = Quality.UNCERTAIN, Reason.RETAINED
    if quality is Quality.GOOD and odd_clock:
        quality, reason = Quality.UNCERTAIN, Reason.CLOCK_ODD
    in_time = not late and not sample.retained and (slot.last_at is None or taken > slot.last_at)
    suspects, suspect_at, suspect_celsius = slot.suspects, slot.suspect_at, slot.suspect_celsius
    if in_time and quality is Quality.GOOD and celsius is not None:
        suspects = _suspects(probe, slot, taken, celsius)
        if suspects:
            quality, reason = Quality.UNCERTAIN, Reason.JUMP
            suspect_at, suspect_celsius = taken, celsius
        else:
            suspect_at = suspect_celsius = None
    dated_here = odd_clock or probe.clock is ClockTrust.ARRIVAL
    reading = Reading(
        probe.id,
        taken,
        sample.arrived_at,
        sample.value,
        celsius,
        quality,
        reason,
        late,
        dated_here,
        0 if calibration is None else calibration.number,
    )
    if not in_time:
        return reading, _counted(slot, late=late), Weight.NOTHING
    good = quality is Quality.GOOD
    fresh = sample.arrived_at - taken <= probe.silent_after
    heard = ProbeSlot(
        probe=slot.probe,
        last_at=taken,
        last_arrived=sample.arrived_at,
        raw=sample.value,
        celsius=celsius,
        quality=quality,
        reason=reason,
        good_at=taken if good else slot.good_at,
        good_celsius=celsius if good else slot.good_celsius,
        suspects=suspects,
        suspect_at=suspect_at,
        suspect_celsius=suspect_celsius,
        bad_run=0 if good else slot.bad_run if reason is Reason.FUNCTION_CHECK else slot.bad_run + 1,
        health=slot.health,
        health_since=slot.health_since,
        health_why=slot.health_why,
        readings=slot.readings + 1,
        late=slot.late,
        listened_from=slot.listened_from,
        fresh_at=sample.arrived_at if fresh else slot.fresh_at,
        silent=slot.silent and not fresh,
        good_run=slot.good_run + 1 if good else 0,
        good_since=(slot.good_since if slot.good_run else taken) if good else None,
        uncorrected=uncorrected,
        tested_until=slot.tested_until,
        tested_why=slot.tested_why,
        trail_times=slot.trail_times,
        trail=slot.trail,
        ahead=None,
    )
    return reading, heard, Weight.COUNTS if good else Weight.BREAKS


def _tested(slot: ProbeSlot, at: Instant) -> bool:
    return slot.tested_until is not None and at < slot.tested_until


def _dated(probe: ProbePlan, slot: ProbeSlot, sample: Sample) -> tuple[Instant, bool, bool]:
    """(instant, whether the probe's stamp is odd, whether it is older than one already seen)."""
    arrived, last = sample.arrived_at, slot.last_at
    if probe.clock is ClockTrust.PROBE:
        stamp = sample.taken_at
        if stamp is not None and EARLIEST_STAMP <= stamp <= arrived + FARTHEST_AHEAD:
            return stamp, False, last is not None and stamp < last
    odd = probe.clock is ClockTrust.PROBE
    if last is None or arrived > last:
        return arrived, odd, False
    if sample.retained or last - arrived >= BURST:
        return arrived, odd, arrived < last
    return Instant(last + 1), odd, False


def _converted(probe: ProbePlan, sample: Sample) -> tuple[float | None, Quality, Reason]:
    if not math.isfinite(sample.value):
        return None, Quality.BAD, Reason.NOT_A_NUMBER
    # A number that came with its scale is a temperature already, whatever the probe usually sends.
    if probe.sensor is not None and sample.scale is None:
        found = probe.sensor.to_celsius(sample.value)
        if isinstance(found, Refusal):
            return None, Quality.BAD, found.reason
        celsius = found
    else:
        celsius = (sample.scale or probe.scale).to_celsius(sample.value)
    if not probe.lowest.celsius <= celsius <= probe.highest.celsius:
        return None, Quality.BAD, Reason.OUT_OF_RANGE
    return celsius, Quality.GOOD, Reason.NONE


def _suspects(probe: ProbePlan, slot: ProbeSlot, taken: Instant, celsius: float) -> int:
    """How many readings in a row show a jump that isn't believed yet; 0 when this one is believed."""
    if not _jumped(probe, slot.good_at, slot.good_celsius, taken, celsius):
        return 0
    if slot.suspects == 0 or _jumped(probe, slot.suspect_at, slot.suspect_celsius, taken, celsius):
        return 1
    return (slot.suspects + 1) % AGREEING


def _jumped(
    probe: ProbePlan, before_at: Instant | None, before: float | None, taken: Instant, celsius: float
) -> bool:
    if before_at is None or before is None:
        return False
    seconds = max(SHORTEST_STEP, (taken - before_at) / SECOND)
    return abs(celsius - before) > probe.max_rate_kelvin_per_second * seconds


def _counted(slot: ProbeSlot, *, late: bool) -> ProbeSlot:
    return ProbeSlot(
        slot.probe,
        slot.last_at,
        slot.last_arrived,
        slot.raw,
        slot.celsius,
        slot.quality,
        slot.reason,
        slot.good_at,
        slot.good_celsius,
        slot.suspects,
        slot.suspect_at,
        slot.suspect_celsius,
        slot.bad_run,
        slot.health,
        slot.health_since,
        slot.health_why,
        slot.readings + 1,
        slot.late + (1 if late else 0),
        slot.listened_from,
        slot.fresh_at,
        slot.silent,
        slot.good_run,
        slot.good_since,
        slot.uncorrected,
        slot.tested_until,
        slot.tested_why,
        slot.trail_times,
        slot.trail,
        slot.ahead,
    )
