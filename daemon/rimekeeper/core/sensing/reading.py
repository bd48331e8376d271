"""From a sample to a reading: its scale, its instant, and how far it may be believed.

Pure: (probe's plan, what is known of the probe, sample) -> (reading, what is known now, what it may decide).
"""

from __future__ import annotations

import enum
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from rimekeeper.core.model import (
    MINUTE,
    SECOND,
    ClockTrust,
    Instant,
    ProbeId,
    Quality,
    Reading,
    Reason,
    Sample,
)
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.calibration.correction import corrected
from rimekeeper.core.sensing.doubt import Doubt, RoomDoubt, SwapDoubt
from rimekeeper.core.sensing.duty import NO_DUTY, Duty
from rimekeeper.core.sensing.health import under_test
from rimekeeper.core.sensing.lag import ahead, trail
from rimekeeper.core.sensing.pace import paced
from rimekeeper.core.sensing.plausible import judged
from rimekeeper.core.sensing.plausible.case import Case
from rimekeeper.core.sensing.plausible.codes import speaks_one_wire
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
LARGEST_STEP = 80.0
"""K; a larger step is a jump however long the pause before it was (from boiling water into ice, with some to spare)."""
NOT_THERE = -127.0
"""°C by which many readers say that a one-wire thermometer is not there (a convention, in no data sheet)."""
_OPEN = (Reason.NONE, Reason.JUMP)
"""A doubt of the checks says more than that it jumped; everything else weighs more than their doubts."""
_NOBODY: Mapping[ProbeId, ProbeSlot] = {}


class Weight(enum.Enum):
    """What a reading may do."""

    NOTHING = "nothing"
    """Stored and shown only: late, seen already, or an old message kept by the broker."""
    BREAKS = "breaks"
    """In its time but not to be believed: it breaks a hold, and neither raises nor clears anything."""
    COUNTS = "counts"
    """Good and in its time."""


def read(
    probe: ProbePlan,
    slot: ProbeSlot,
    sample: Sample,
    measured: MetrologySlot | None = None,
    duty: Duty = NO_DUTY,
    others: Mapping[ProbeId, ProbeSlot] = _NOBODY,
) -> tuple[Reading, ProbeSlot, Weight]:
    """The reading that the sample stands for, corrected by the calibration in force.

    Args:
        probe: its plan.
        slot: what is known of it.
        sample: what came.
        measured: its calibration and plunge test.
        duty: what depends on it.
        others: the kitchen's probes as they are now, for the checks that compare.
    """
    taken, odd_clock, late = _dated(probe, slot, sample)
    uncorrected, quality, reason = _converted(probe, sample)
    calibration = measured.calibration if measured is not None else None
    celsius = uncorrected
    if calibration is not None and uncorrected is not None:
        celsius = corrected(calibration.correction, uncorrected)
    if quality is Quality.GOOD:
        quality, reason = _admitted(slot, sample, odd_clock=odd_clock)
    in_time = not late and not sample.retained and (slot.last_at is None or taken > slot.last_at)
    weighed = _Weighed(quality, reason, slot.suspects, slot.suspect_at, slot.suspect_celsius, slot.doubt)
    if in_time and celsius is not None and uncorrected is not None:
        case = Case(probe, slot, taken, sample.value, celsius, uncorrected, others)
        _weigh(weighed, case, duty)
    dated_here = odd_clock or probe.clock is ClockTrust.ARRIVAL
    reading = Reading(
        probe.id,
        taken,
        sample.arrived_at,
        sample.value,
        celsius,
        weighed.quality,
        weighed.reason,
        late,
        dated_here,
        0 if calibration is None else calibration.number,
    )
    if not in_time:
        return reading, _counted(slot, late=late), Weight.NOTHING
    heard = _heard(probe, slot, sample, reading, weighed, uncorrected, measured)
    return reading, heard, Weight.COUNTS if weighed.quality is Quality.GOOD else Weight.BREAKS


@dataclass(slots=True)
class _Weighed:
    """What comes out of looking at a value and at those before it."""

    quality: Quality
    reason: Reason
    suspects: int
    suspect_at: Instant | None
    suspect_celsius: float | None
    doubt: Doubt


def _weigh(weighed: _Weighed, case: Case, duty: Duty) -> None:
    """The jump and the checks; both look at every temperature, and only a reading still in question is changed."""
    if weighed.reason is Reason.FUNCTION_CHECK:
        # What a person looks at is no longer held against the probe.
        clean = Doubt(duty=duty.word)
        weighed.doubt = clean if weighed.doubt != clean else weighed.doubt
        return
    if weighed.doubt.duty != duty.word:
        weighed.doubt = replace(weighed.doubt, duty=duty.word, room=RoomDoubt(), swap=SwapDoubt())
    if weighed.reason is Reason.NONE:
        weighed.suspects = _suspects(case, duty)
        if weighed.suspects:
            weighed.quality, weighed.reason = Quality.UNCERTAIN, Reason.JUMP
            weighed.suspect_at, weighed.suspect_celsius = case.taken, case.celsius
        else:
            weighed.suspect_at = weighed.suspect_celsius = None
    weighed.doubt, verdict = judged(case, weighed.doubt)
    if verdict is not None and weighed.reason in _OPEN:
        weighed.quality, weighed.reason = verdict


def _heard(
    probe: ProbePlan,
    slot: ProbeSlot,
    sample: Sample,
    reading: Reading,
    weighed: _Weighed,
    uncorrected: float | None,
    measured: MetrologySlot | None,
) -> ProbeSlot:
    """The slot after a reading in its time."""
    taken, celsius = reading.taken_at, reading.celsius
    good = reading.quality is Quality.GOOD
    tested = under_test(slot, sample.arrived_at)
    fresh = sample.arrived_at - taken <= probe.silent_after
    times, values, heading = slot.trail_times, slot.trail, None
    if good and celsius is not None and measured is not None and measured.plunge is not None:
        times, values = trail(times, values, taken, celsius)
        heading = ahead(times, values, measured.plunge.seconds)
    return ProbeSlot(
        probe=slot.probe,
        last_at=taken,
        last_arrived=sample.arrived_at,
        raw=sample.value,
        celsius=celsius,
        quality=reading.quality,
        reason=reading.reason,
        good_at=taken if good else slot.good_at,
        good_celsius=celsius if good else slot.good_celsius,
        suspects=weighed.suspects,
        suspect_at=weighed.suspect_at,
        suspect_celsius=weighed.suspect_celsius,
        bad_run=0 if good else slot.bad_run if tested else slot.bad_run + 1,
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
        trail_times=times,
        trail=values,
        ahead=heading,
        doubt=weighed.doubt,
        pace=paced(slot.pace, slot.last_at, taken, sample.arrived_at, sample.taken_at),
    )


def _admitted(slot: ProbeSlot, sample: Sample, *, odd_clock: bool) -> tuple[Quality, Reason]:
    """What stands against a temperature before its value is looked at."""
    if under_test(slot, sample.arrived_at):
        return Quality.UNCERTAIN, Reason.FUNCTION_CHECK
    if sample.retained:
        return Quality.UNCERTAIN, Reason.RETAINED
    if odd_clock:
        return Quality.UNCERTAIN, Reason.CLOCK_ODD
    return Quality.GOOD, Reason.NONE


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
    if sample.value in probe.fault_codes:
        return None, Quality.BAD, Reason.SENSOR_CODE
    # A number that came with its scale is a temperature already, whatever the probe usually sends.
    if probe.sensor is not None and sample.scale is None:
        found = probe.sensor.to_celsius(sample.value)
        if isinstance(found, Refusal):
            return None, Quality.BAD, found.reason
        celsius = found
    else:
        celsius = (sample.scale or probe.scale).to_celsius(sample.value)
    if celsius == NOT_THERE and speaks_one_wire(probe):
        return None, Quality.BAD, Reason.SENSOR_CODE
    if not probe.lowest.celsius <= celsius <= probe.highest.celsius:
        return None, Quality.BAD, Reason.OUT_OF_RANGE
    return celsius, Quality.GOOD, Reason.NONE


def _suspects(case: Case, duty: Duty) -> int:
    """How many readings in a row show a jump that isn't believed yet; 0 when this one is believed."""
    fastest, slot, taken, celsius = (
        case.probe.max_rate_kelvin_per_second,
        case.before,
        case.taken,
        case.celsius,
    )
    if duty.fastest is not None and duty.fastest < fastest:
        fastest = duty.fastest
    good = slot.good_celsius
    if good is None or (-LARGEST_STEP < celsius - good < LARGEST_STEP and abs(celsius - good) <= fastest):
        return 0  # what is no jump over the shortest step is none
    if not _jumped(fastest, slot.good_at, good, taken, celsius):
        return 0
    if slot.suspects == 0 or _jumped(fastest, slot.suspect_at, slot.suspect_celsius, taken, celsius):
        return 1
    return (slot.suspects + 1) % AGREEING


def _jumped(
    fastest: float, before_at: Instant | None, before: float | None, taken: Instant, celsius: float
) -> bool:
    if before_at is None or before is None:
        return False
    seconds = max(SHORTEST_STEP, (taken - before_at) / SECOND)
    return abs(celsius - before) > min(LARGEST_STEP, fastest * seconds)


def _counted(slot: ProbeSlot, *, late: bool) -> ProbeSlot:
    return replace(slot, readings=slot.readings + 1, late=slot.late + (1 if late else 0))
