"""One step of the kitchen: (plan, state, events) -> (state, outcomes, changed slots).

Time is that of the events. Before an event is applied, what was due up to ``arrived - tick_grace`` takes effect,
each thing at its own instant and in the order of those instants. A probe whose readings are late on their way
(by the newest: arrived minus taken) is given that much longer before its deadlines take effect, still at their
own instants: so a backlog is judged by its readings and not by the wait for them. A reading or a command also
lets everything of its own probe or batch that was due before it take effect first. So neither the size of the
batches nor the moments of the ticks change what is decided.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

from rimekeeper.core.agenda import Matter
from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.alarms.standing import call_due, end_alarm
from rimekeeper.core.clock_shift import shifted
from rimekeeper.core.draft import Draft
from rimekeeper.core.messages import (
    ClockStepped,
    CommandGiven,
    Event,
    Outcome,
    ReadingMade,
    SampleTaken,
    SourceReported,
    SpansSet,
    Started,
    Tick,
)
from rimekeeper.core.model import BatchId, Instant, Millis, ProbeId, Quality, Reading, SourceId
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.process.forecast import Course, observe
from rimekeeper.core.sensing.junction import with_junction
from rimekeeper.core.sensing.pace import without_offset
from rimekeeper.core.sensing.reading import Weight, read
from rimekeeper.core.state import (
    BatchSlot,
    ClockSlot,
    EngineState,
    MetrologySlot,
    ProbeSlot,
    Slot,
    SourceSlot,
    WatchSlot,
)
from rimekeeper.core.tracking import stages, staging
from rimekeeper.core.tracking.checks import CHECKS
from rimekeeper.core.tracking.commands import carry_out
from rimekeeper.core.tracking.looking_ahead import checkpoint_forecast, looks_ahead, make_forecast
from rimekeeper.core.watching import measuring, probes, stations


@dataclass(frozen=True, slots=True)
class Step:
    """What a step gives back. ``changed`` maps slot keys to their new slot, or None where it is gone."""

    state: EngineState
    outcomes: tuple[Outcome, ...]
    changed: dict[str, Slot | None]


def step(plan: KitchenPlan, state: EngineState, events: Sequence[Event]) -> Step:
    """Apply the events in order."""
    draft = Draft(plan, state)
    _write_agenda(draft)
    grace = plan.tick_grace
    for event in events:
        match event:
            case SampleTaken():
                at = event.sample.arrived_at
                draft.follow(at)
                _advance(draft, draft.now - grace)
                _take_sample(draft, event)
            case Tick(at):
                draft.follow(at)
                _advance(draft, draft.now - grace)
            case CommandGiven():
                draft.follow(event.at)
                _advance(draft, draft.now - grace)
                carry_out(draft, event)
            case SourceReported(reported):
                draft.follow(reported.at)
                _advance(draft, draft.now - grace)
                probes.source_reported(draft, reported)
            case Started():
                _start(draft, event)
            case ClockStepped():
                _step_clock(draft, event)
    after = draft.state()
    return Step(after, tuple(draft.outcomes), draft.changed)


def next_deadline(plan: KitchenPlan, state: EngineState) -> Instant | None:
    """The next instant (engine time) at which something happens by itself; None if nothing is pending."""
    draft = Draft(plan, state)
    _write_agenda(draft)
    return Instant(draft.agenda.items[0][0]) if draft.agenda.items else None


def restore(slots: Iterable[tuple[str, Slot]]) -> EngineState:
    """The state from stored slots (see EngineState for the keys)."""
    clock = ClockSlot()
    probe_slots: dict[ProbeId, ProbeSlot] = {}
    metrology: dict[ProbeId, MetrologySlot] = {}
    sources: dict[SourceId, SourceSlot] = {}
    watches: dict[str, WatchSlot] = {}
    alarms: dict[str, AlarmSlot] = {}
    batches: dict[BatchId, BatchSlot] = {}
    for _, slot in slots:
        match slot:
            case ClockSlot():
                clock = slot
            case ProbeSlot():
                probe_slots[slot.probe] = slot
            case MetrologySlot():
                metrology[slot.probe] = slot
            case SourceSlot():
                sources[slot.source] = slot
            case WatchSlot():
                watches[slot.key] = slot
            case AlarmSlot():
                alarms[slot.key] = slot
            case BatchSlot():
                batches[slot.batch] = slot
    return EngineState(clock, probe_slots, metrology, sources, watches, alarms, batches)


def rewarm(plan: KitchenPlan, state: EngineState, readings: Iterable[Reading]) -> EngineState:
    """Rebuild forecast courses after a start from stored readings of active stages, oldest first."""
    draft = Draft(plan, state)
    newest: dict[str, Instant] = {}
    for reading in readings:
        if reading.quality is not Quality.GOOD or reading.celsius is None or reading.late:
            continue
        for batch, stage in draft.stages_of(reading.probe):
            key = staging.stage_key(batch, stage)
            known = staging.found(draft, key)
            if known is None or not looks_ahead(known[1], known[2]):
                continue
            if known[1].began is not None and reading.taken_at >= known[1].began:
                course = draft.courses.get(key, Course())
                draft.put_course(key, observe(course, reading.taken_at, reading.celsius))
                newest[key] = reading.taken_at
    for key, at in newest.items():
        known = staging.found(draft, key)
        if known is not None:
            slot, run, stage_plan = known
            if run.reached_at is None:
                draft.put_forecast(key, make_forecast(draft, slot, stage_plan, draft.courses[key], at))
            made = checkpoint_forecast(draft, slot, run, stage_plan, draft.courses[key], at)
            draft.put_forecast(staging.checkpoint_key(key), made)
    return replace(state, courses=draft.courses, forecasts=draft.forecasts)


# --- time -----------------------------------------------------------------------------------------------------


def _write_agenda(draft: Draft) -> None:
    """Everything that will happen by itself, from the state alone."""
    agenda = draft.agenda
    for key, watch in draft.watches.items():
        due = stations.due_of(draft, key)
        if due is not None:
            agenda.put(*due, Matter.WATCH, key)
        elif watch.due is not None and key.startswith("source/"):
            agenda.put(watch.due, watch.due, Matter.SOURCE, key)
    _expect_of_probes(draft)
    for batch in draft.batches.values():
        for run in batch.active if batch.running else ():
            staging.reschedule(draft, batch.batch, run.stage)
    for key, alarm in draft.alarms.items():
        if alarm.next_call is not None:
            agenda.put(alarm.next_call, alarm.next_call, Matter.CALL, key)


def _expect_of_probes(draft: Draft) -> None:
    for probe in draft.probes:
        silent = probes.silence_of(draft, probe)
        if silent is not None:
            draft.agenda.put(silent, silent, Matter.SILENCE, probe)
        over = measuring.test_due(draft, probe)
        if over is not None:
            draft.agenda.put(over, over, Matter.TEST, probe)
    for probe in draft.metrology:
        measuring.expect_calibration(draft, probe)


def _advance(draft: Draft, until: int) -> None:
    """Let take effect what was due up to and including ``until``."""
    agenda = draft.agenda
    while (item := agenda.take(until)) is not None:
        wake, due, matter, key = item
        present = _due_of(draft, Matter(matter), key)
        if present is None:
            continue
        if present != (wake, due):
            agenda.put(*present, Matter(matter), key)
            continue
        _take_effect(draft, Matter(matter), key, Instant(due))


def _due_of(draft: Draft, matter: Matter, key: str) -> tuple[Instant, Instant] | None:
    match matter:
        case Matter.WATCH:
            return stations.due_of(draft, key)
        case Matter.STAGE:
            staged = staging.due_of(draft, key)
            return None if staged is None else staged[:2]
        case Matter.SILENCE:
            due = probes.silence_of(draft, ProbeId(key))
        case Matter.SOURCE:
            due = probes.down_due(draft, key)
        case Matter.CALL:
            alarm = draft.alarms.get(key)
            due = alarm.next_call if alarm is not None else None
        case Matter.TEST:
            due = measuring.test_due(draft, ProbeId(key))
        case Matter.CALIBRATION:
            due = measuring.calibration_due(draft, ProbeId(key))
    return None if due is None else (due, due)


def _take_effect(draft: Draft, matter: Matter, key: str, at: Instant) -> None:
    match matter:
        case Matter.WATCH:
            stations.pass_time(draft, key, at)
        case Matter.STAGE:
            stages.pass_time(draft, key)
        case Matter.SILENCE:
            probes.fall_silent(draft, ProbeId(key), at)
        case Matter.SOURCE:
            probes.stay_down(draft, key, at)
        case Matter.CALL:
            call_due(draft, key, at)
        case Matter.TEST:
            measuring.end_forgotten_test(draft, ProbeId(key), at)
        case Matter.CALIBRATION:
            measuring.calibration_comes(draft, ProbeId(key), at)


# --- events ---------------------------------------------------------------------------------------------------


def _take_sample(draft: Draft, event: SampleTaken) -> None:
    probe = draft.plan.probes.get(event.probe)
    if probe is None:
        return
    before = draft.probes.get(event.probe) or ProbeSlot(event.probe)
    arrived = event.sample.arrived_at
    if before.fresh_at is None or arrived - before.fresh_at > probe.silent_after:
        before = probes.settle_silence(draft, before, arrived)
    reading, slot, weight = read(
        with_junction(probe, draft.probes, arrived),
        before,
        event.sample,
        draft.metrology.get(probe.id),
        draft.duty_of(probe.id),
        draft.probes,
    )
    draft.say(ReadingMade(reading))
    if weight is Weight.NOTHING:
        draft.put_probe(slot)
        return
    draft.put_probe(slot)
    after = probes.heard(draft, before, slot, reading.arrived_at)
    if after is not slot:
        draft.put_probe(after)
    if weight is Weight.COUNTS and reading.celsius is not None:
        stations.watch_reading(draft, probe.id, reading.taken_at, reading.celsius)
        stages.watch_reading(draft, reading, reading.celsius)
    else:
        for one in draft.index.by_probe.get(probe.id, ()):
            stations.reschedule(draft, one.key)
        stages.break_holds(draft, reading)


def _start(draft: Draft, event: Started) -> None:
    """Nothing was watched for a while: silence counts from now, and of the calls missed only the newest is owed."""
    grace = draft.plan.tick_grace
    if event.watched_until is not None:
        measuring.came_into_use(draft, event.watched_until, event.at)
        draft.follow(min(event.watched_until, event.at))
        _advance(draft, draft.now - grace)
    for probe in draft.plan.probes:
        probes.listen(draft, probe, event.at)
    _forget_unplanned(draft, event.at)
    draft.follow(event.at)
    draft.catching_up = Instant(draft.now - grace)
    _advance(draft, draft.catching_up)
    draft.catching_up = None


def _forget_unplanned(draft: Draft, at: Instant) -> None:
    """What the plan no longer knows is not watched any more; alarms of it would stand for ever."""
    why = "the kitchen file no longer has it"
    planned = {f"source/{source}/down" for source in draft.index.by_source}
    for kind in ("silent", "fault", "calibration"):
        planned |= {f"probe/{probe}/{kind}" for probe in draft.plan.probes if draft.in_use(probe)}
    planned |= draft.index.by_key.keys()
    for batch in draft.batches.values():
        for run in batch.active if batch.running else ():
            if draft.stage_plan(batch, run.stage) is not None:
                planned |= {staging.watch_key(batch.batch, run.stage, check.name) for check in CHECKS}
    for key in sorted(draft.watches.keys() - planned):
        draft.put_watch(WatchSlot(key))
    for key in sorted(draft.alarms.keys() - planned):
        end_alarm(draft, key, at, why)


def _step_clock(draft: Draft, event: ClockStepped) -> None:
    """First what was due by the old clock, then every instant moves along."""
    draft.follow(Instant(event.at - event.by))
    _advance(draft, draft.now - draft.plan.tick_grace)
    by = event.by
    moved = _shifted(draft, by)
    draft.begin_again(moved)
    for key, slot in _slots(moved):
        draft.changed[key] = slot
    draft.write(
        event.at,
        "clock.stepped",
        f"The clock of this machine was set {'forward' if by > 0 else 'back'}; "
        "everything that was counting goes on as if it had not been.",
        facts=(("by_ms", by),),
    )
    for batch in moved.batches.values():
        if batch.running:
            draft.say(SpansSet(event.at, batch.batch, batch.spans))
    draft.now = max(moved.clock.now, event.at)
    _write_agenda(draft)


def _shifted(draft: Draft, by: Millis) -> EngineState:
    state = draft.state()
    return EngineState(
        clock=shifted(state.clock, by),
        # What a probe's clock was off by was against our clock as it stood.
        probes={
            key: shifted(replace(slot, pace=without_offset(slot.pace)), by)
            for key, slot in state.probes.items()
        },
        metrology=state.metrology,  # what is written down of a probe keeps its dates
        sources={key: shifted(slot, by) for key, slot in state.sources.items()},
        watches={key: shifted(slot, by) for key, slot in state.watches.items()},
        alarms={key: shifted(slot, by) for key, slot in state.alarms.items()},
        batches={key: shifted(slot, by) for key, slot in state.batches.items()},
        courses={
            key: replace(course, times=tuple(at + by for at in course.times))
            for key, course in state.courses.items()
        },
        forecasts={key: shifted(made, by) for key, made in state.forecasts.items()},
    )


def _slots(state: EngineState) -> Iterable[tuple[str, Slot]]:
    yield "clock", state.clock
    yield from ((f"probe/{key}", slot) for key, slot in state.probes.items())
    yield from ((f"source/{key}", slot) for key, slot in state.sources.items())
    yield from ((f"watch/{key}", slot) for key, slot in state.watches.items())
    yield from ((f"alarm/{key}", slot) for key, slot in state.alarms.items())
    yield from ((f"batch/{key}", slot) for key, slot in state.batches.items())
