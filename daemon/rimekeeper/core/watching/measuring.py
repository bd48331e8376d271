"""A probe under test, its calibrations and plunge tests, and when the next calibration is due.

While a person tests a probe its readings are kept but decide nothing. A probe past due raises one alarm of low
priority while something depends on it; a fortnight before, the record says that it is coming.
"""

from __future__ import annotations

import math
from dataclasses import replace

from rimekeeper.core.agenda import Matter
from rimekeeper.core.alarms.standing import Condition, end_alarm, raise_alarm
from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import (
    BeginTest,
    Calibrate,
    EndTest,
    KeepPlunge,
    ProbeCommand,
    ProbeMeasured,
)
from rimekeeper.core.model import HOUR, RIMEKEEPER, Actor, Instant, Millis, ProbeId
from rimekeeper.core.plan import Priority, ProbePlan
from rimekeeper.core.sensing.calibration.correction import errors, fit
from rimekeeper.core.sensing.calibration.record import Calibration, Correction, Written
from rimekeeper.core.sensing.calibration.uncertainty import DUE_SOON_MS, CalibrationState, expanded, state_of
from rimekeeper.core.state import MetrologySlot, ProbeSlot, WatchPhase, WatchSlot

SOON = Millis(DUE_SOON_MS)
LONGEST_TEST = Millis(4 * HOUR)
OLDEST_POINT = Millis(24 * HOUR)
DRIFT = 0.1
"""How far a probe may wander until its calibration is due, K. Our choice: ice point to ice point of a sound probe."""
QUICKEST, SLOWEST = 0.05, 1_800.0
"""Time constants, in s, that a probe of a kitchen can have."""


def due_key(probe: ProbeId) -> str:
    """The key of the alarm of a calibration past due."""
    return f"probe/{probe}/calibration"


def carry_out_for_probe(draft: Draft, command: ProbeCommand, actor: Actor, at: Instant) -> str:
    """Do what was asked for; the sentence says what was done.

    Raises:
        RefusedError: the probe isn't known or isn't free, or the result would be absurd.
    """
    match command:
        case BeginTest():
            return _begin_test(draft, command, actor, at)
        case EndTest():
            return _end_test(draft, command, actor, at)
        case Calibrate():
            return _calibrate(draft, command, actor, at)
        case KeepPlunge():
            return _keep_plunge(draft, command, actor, at)


# --- under test -----------------------------------------------------------------------------------------------


def _begin_test(draft: Draft, command: BeginTest, actor: Actor, at: Instant) -> str:
    plan = _free(draft, command.probe)
    if not 0 < command.lasts <= LONGEST_TEST:
        raise RefusedError("A test lasts up to four hours. Say a shorter time; it can be begun again.")
    why = command.why.strip() or "test"
    slot = draft.probes.get(command.probe, ProbeSlot(command.probe))
    until = Instant(at + command.lasts)
    draft.put_probe(replace(slot, tested_until=until, tested_why=why))
    draft.agenda.put(until, until, Matter.TEST, command.probe)
    for watched in draft.index.by_probe.get(command.probe, ()):
        watch = draft.watches.get(watched.key)
        if watch is not None and watch.phase is WatchPhase.ENTERING:
            draft.put_watch(WatchSlot(watched.key))  # what was entering is not watched on; what stands stays
    stations = [s.name for s in draft.plan.stations.values() if s.probe == command.probe]
    sentence = f"Probe {plan.name} is being tested ({why}): its readings decide nothing until that is over."
    if stations:
        sentence += f" {' and '.join(stations)}: not watched meanwhile. Look after it by hand."
    draft.write(
        at,
        "probe.test began",
        sentence,
        actor=actor,
        subject=command.probe,
        why=why,
        facts=(("until", until),),
    )
    return sentence


def _end_test(draft: Draft, command: EndTest, actor: Actor, at: Instant) -> str:
    slot = draft.probes.get(command.probe)
    if command.probe not in draft.plan.probes or slot is None or slot.tested_until is None:
        raise RefusedError(f"Probe {draft.probe_name(command.probe)} is not being tested.")
    return _test_over(draft, slot, actor, at)


def test_due(draft: Draft, probe: ProbeId) -> Instant | None:
    """When a test ends by itself."""
    slot = draft.probes.get(probe)
    return slot.tested_until if slot is not None else None


def end_forgotten_test(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """Nobody said that the probe is back: from here on it counts again."""
    _test_over(draft, draft.probes[probe], RIMEKEEPER, at)


def _test_over(draft: Draft, slot: ProbeSlot, actor: Actor, at: Instant) -> str:
    draft.put_probe(replace(slot, tested_until=None, tested_why=""))
    sentence = f"The test of probe {draft.probe_name(slot.probe)} is over: its readings count again."
    draft.write(at, "probe.test ended", sentence, actor=actor, subject=slot.probe)
    return sentence


def refuse_tested(draft: Draft, probe: ProbeId) -> None:
    """A batch can't begin with a probe whose readings decide nothing.

    Raises:
        RefusedError: a person tests it now.
    """
    slot = draft.probes.get(probe)
    if slot is not None and slot.tested_until is not None:
        raise RefusedError(
            f"Probe {draft.probe_name(probe)} is being tested ({slot.tested_why}). Put it back and end the test first."
        )


# --- calibrations and plunge tests ----------------------------------------------------------------------------


def _calibrate(draft: Draft, command: Calibrate, actor: Actor, at: Instant) -> str:
    plan = _free(draft, command.probe)
    if any(not at - OLDEST_POINT <= p.since <= p.until <= at for p in command.points):
        raise RefusedError("A point must have been taken within the last day. Take the points anew.")
    correction = fit(command.points, plan.lowest.celsius, plan.highest.celsius)
    before = draft.metrology.get(command.probe, MetrologySlot(command.probe))
    was = before.calibration.correction if before.calibration is not None else Correction()
    made = Calibration(
        number=_numbered(draft),
        probe=command.probe,
        at=Written(at),
        due=Written(at + plan.calibrate_every),
        by=actor,
        points=command.points,
        correction=correction,
        resolution=plan.resolution.kelvin,
        drift=DRIFT,
        as_found=errors(command.points, was),
        as_left=errors(command.points, correction),
        note=command.note.strip(),
    )
    draft.put_metrology(replace(before, calibration=made, due_said=plan.calibrate_every <= SOON))
    draft.say(ProbeMeasured(made))
    end_alarm(draft, due_key(command.probe), at, "it was calibrated")
    expect_calibration(draft, command.probe)
    worst = max(made.as_found, key=abs)
    middle = command.points[0].reference
    sentence = (
        f"Probe {plan.name} was calibrated at {len(made.points)} point{'s' if len(made.points) > 1 else ''} "
        f"(calibration {made.number}): found {worst:+.2f} K off at worst, now ±{expanded(made, middle):.2f} K "
        f"at {middle:.1f} °C (k = 2)."
    )
    facts: list[tuple[str, str | float | int | bool | None]] = [("number", made.number), ("due", made.due)]
    for place, point in enumerate(made.points, 1):
        facts += [
            (f"point {place}", point.method.value),
            (f"reference {place}", round(point.reference, 4)),
            (f"shown {place}", round(point.shown, 4)),
            (f"as found {place}", round(made.as_found[place - 1], 4)),
            (f"as left {place}", round(made.as_left[place - 1], 4)),
        ]
    draft.write(
        at,
        "probe.calibrated",
        sentence,
        actor=actor,
        subject=command.probe,
        why=made.note,
        facts=tuple(facts),
    )
    return sentence


def _keep_plunge(draft: Draft, command: KeepPlunge, actor: Actor, at: Instant) -> str:
    test = command.test
    plan = _free(draft, test.probe)
    numbers = (test.seconds, test.uncertainty, test.began_celsius, test.ended_celsius, test.residual)
    if not all(math.isfinite(n) for n in numbers) or not QUICKEST <= test.seconds <= SLOWEST:
        raise RefusedError(
            f"A time constant of {test.seconds:g} s is not that of a probe in a kitchen "
            f"({QUICKEST:g} s to {SLOWEST:g} s). Do the plunge again."
        )
    kept = replace(test, number=_numbered(draft), at=Written(at), by=actor)
    before = draft.metrology.get(test.probe, MetrologySlot(test.probe))
    draft.put_metrology(replace(before, plunge=kept))
    draft.say(ProbeMeasured(kept))
    sentence = (
        f"Probe {plan.name} follows with a time constant of {kept.seconds:.1f} s ± {kept.uncertainty:.2f} s "
        f"in {kept.medium} (plunge test {kept.number}). Prompts and forecasts allow for it; limits don't."
    )
    draft.write(
        at,
        "probe.plunged",
        sentence,
        actor=actor,
        subject=test.probe,
        why=kept.note,
        facts=(("number", kept.number), ("seconds", kept.seconds), ("medium", kept.medium)),
    )
    return sentence


def _numbered(draft: Draft) -> int:
    number = draft.clock.records + 1
    draft.put_clock(replace(draft.clock, records=number))
    return number


def _free(draft: Draft, probe: ProbeId) -> ProbePlan:
    plan = draft.plan.probes.get(probe)
    if plan is None:
        known = ", ".join(sorted(draft.plan.probes)) or "none"
        raise RefusedError(f'There is no probe "{probe}" in this kitchen. Its probes: {known}.')
    batch = draft.batch_holding(probe)
    if batch is not None:
        raise RefusedError(
            f"Probe {plan.name} is in batch {batch}, which needs it. Test it when the batch is over."
        )
    return plan


# --- due dates ------------------------------------------------------------------------------------------------


def calibration_due(draft: Draft, probe: ProbeId) -> Instant | None:
    """When something is to be said about the next calibration: that it comes, or that it is past due."""
    slot = draft.metrology.get(probe)
    if slot is None or slot.calibration is None or probe not in draft.plan.probes:
        return None
    due = Instant(slot.calibration.due)
    if not slot.due_said:
        return Instant(due - SOON)
    alarm = draft.alarms.get(due_key(probe))
    standing = alarm is not None and alarm.returned_at is None
    return None if standing or not draft.in_use(probe) else due


def expect_calibration(draft: Draft, probe: ProbeId) -> None:
    """Put what is to be said about the next calibration on the agenda."""
    due = calibration_due(draft, probe)
    if due is not None:
        draft.agenda.put(due, due, Matter.CALIBRATION, probe)


def calibration_comes(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """A calibration is due soon, or past due."""
    slot = draft.metrology[probe]
    if slot.due_said:
        raise_past_due(draft, probe, at)
        return
    draft.put_metrology(replace(slot, due_said=True))
    draft.write(
        at,
        "probe.calibration due",
        f"Probe {draft.probe_name(probe)}: its calibration runs out within a fortnight. Plan the next one.",
        subject=probe,
        facts=(("due", slot.calibration.due if slot.calibration is not None else None),),
    )
    expect_calibration(draft, probe)


def came_into_use(draft: Draft, before: Instant, at: Instant) -> None:
    """A start: what was past due ``before`` and raised nothing then came into use with the plan of now."""
    for probe, slot in draft.metrology.items():
        past = slot.calibration is not None and slot.calibration.due < before
        if past and calibration_due(draft, probe) is not None:
            raise_past_due(draft, probe, at)


def raise_past_due(draft: Draft, probe: ProbeId, at: Instant) -> None:
    """Something depends on a probe whose calibration has run out: say so, once, without hurry."""
    slot = draft.metrology.get(probe)
    if slot is None or slot.calibration is None or not draft.in_use(probe):
        return
    if state_of(slot.calibration, at) is not CalibrationState.PAST_DUE:
        return
    raise_alarm(
        draft,
        Condition(
            key=due_key(probe),
            where=f"Probe {draft.probe_name(probe)}",
            what="past its calibration date",
            action="Calibrate it. Until then its stated accuracy is counted against every critical limit.",
            priority=Priority.LOW,
            began=Instant(slot.calibration.due),
            batch=draft.batch_holding(probe),
            probe=probe,
        ),
        at,
    )
