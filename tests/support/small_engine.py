"""A very small engine with the shape of the real one, so that the runtime is tested apart from the rules.

A reading above ``TOO_WARM`` raises an alarm with one call-out, an acknowledge closes it. A batch has one stage.
A reading of 666 makes it fail; a note of a lone surrogate makes an entry that no store can write.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

from rimekeeper.core.alarms.slot import AlarmPhase, AlarmSlot
from rimekeeper.core.engine import Step
from rimekeeper.core.messages import (
    Acknowledge,
    AlarmMove,
    AlarmMoved,
    CallKind,
    CallOwed,
    ClockStepped,
    CommandAnswered,
    CommandGiven,
    EntryMade,
    Event,
    NoteBatch,
    Outcome,
    PromptGiven,
    PromptKind,
    ReadingMade,
    SampleTaken,
    Span,
    SpansSet,
    StartBatch,
    Started,
    Tick,
)
from rimekeeper.core.model import RIMEKEEPER as _US
from rimekeeper.core.model import (
    BatchId,
    ChannelId,
    Entry,
    Instant,
    PersonId,
    Quality,
    Reading,
    Reason,
    StageId,
)
from rimekeeper.core.plan import KitchenPlan, Priority
from rimekeeper.core.state import (
    BatchPhase,
    BatchSlot,
    EngineState,
    ProbeSlot,
    Slot,
    StagePhase,
    StageRun,
)

TOO_WARM = 100.0


class SmallEngine:
    """See the module."""

    def __init__(self) -> None:
        self.started: list[Started] = []
        self.stepped: list[ClockStepped] = []
        self.warmed: list[Reading] = []
        self.deadline: Instant | None = None

    def step(self, plan: KitchenPlan, state: EngineState, events: Sequence[Event]) -> Step:
        return _Turn(self, state).run(events)

    def next_deadline(self, plan: KitchenPlan, state: EngineState) -> Instant | None:
        return self.deadline

    def restore(self, slots: Iterable[tuple[str, Slot]]) -> EngineState:
        state = EngineState()
        for key, slot in slots:
            state = put(state, key, slot)
        return state

    def rewarm(self, plan: KitchenPlan, state: EngineState, readings: Iterable[Reading]) -> EngineState:
        self.warmed = list(readings)
        return state


def put(state: EngineState, key: str, slot: Slot | None) -> EngineState:
    name = key.partition("/")[2]
    match key.partition("/")[0]:
        case "clock":
            return replace(state, clock=slot)
        case "probe":
            return replace(state, probes={**state.probes, name: slot})
        case "alarm":
            alarms = {k: v for k, v in state.alarms.items() if k != name}
            return replace(state, alarms=alarms if slot is None else {**alarms, name: slot})
        case "batch":
            return replace(state, batches={**state.batches, name: slot})
    raise AssertionError(f"{key}: {slot}")


class _Turn:
    def __init__(self, engine: SmallEngine, state: EngineState) -> None:
        self.engine, self.state = engine, state
        self.outcomes: list[Outcome] = []
        self.changed: dict[str, Slot | None] = {}

    def keep(self, key: str, slot: Slot | None) -> None:
        self.state = put(self.state, key, slot)
        self.changed[key] = slot

    def run(self, events: Sequence[Event]) -> Step:
        for event in events:
            match event:
                case SampleTaken():
                    self.sample(event)
                case CommandGiven():
                    self.command(event)
                case Started():
                    self.engine.started.append(event)
                case ClockStepped():
                    self.engine.stepped.append(event)
                case Tick():
                    self.keep("clock", replace(self.state.clock, now=event.at))
                case _:
                    pass
        return Step(self.state, tuple(self.outcomes), self.changed)

    def sample(self, event: SampleTaken) -> None:
        sample = event.sample
        if sample.value == 666:
            raise RuntimeError("a fault in the engine")
        reading = Reading(
            probe=event.probe,
            taken_at=sample.arrived_at if sample.taken_at is None else sample.taken_at,
            arrived_at=sample.arrived_at,
            raw=sample.value,
            celsius=sample.value,
            quality=Quality.GOOD,
            reason=Reason.NONE,
            dated_here=sample.taken_at is None,
        )
        self.outcomes.append(ReadingMade(reading))
        before = self.state.probes.get(event.probe, ProbeSlot(event.probe))
        self.keep(
            f"probe/{event.probe}",
            replace(before, last_at=reading.taken_at, celsius=sample.value, readings=before.readings + 1),
        )
        key = f"warm/{event.probe}"
        if sample.value > TOO_WARM and key not in self.state.alarms:
            self.raise_alarm(key, reading)

    def raise_alarm(self, key: str, reading: Reading) -> None:
        clock = self.state.clock
        clock = replace(clock, alarms=clock.alarms + 1, calls=clock.calls + 1)
        self.keep("clock", clock)
        alarm = AlarmSlot(
            key=key,
            alarm_id=f"a{clock.alarms}",
            phase=AlarmPhase.UNACKNOWLEDGED,
            priority=Priority.HIGH,
            where=reading.probe,
            what="too warm",
            action="look",
            raised_at=reading.taken_at,
            began=reading.taken_at,
            celsius=reading.celsius,
            worst=reading.celsius,
            probe=reading.probe,
        )
        self.keep(f"alarm/{key}", alarm)
        self.outcomes += [
            AlarmMoved(reading.taken_at, AlarmMove.RAISED, alarm),
            EntryMade(Entry(reading.taken_at, "alarm.raised", _US, f"{reading.probe} is too warm")),
            CallOwed(
                id=f"c{clock.calls}",
                at=reading.taken_at,
                kind=CallKind.RAISED,
                alarm_key=key,
                alarm_id=alarm.alarm_id,
                priority=alarm.priority,
                person=PersonId("ada"),
                channel=ChannelId("mail"),
                where=reading.probe,
                what="too warm",
                since=reading.taken_at,
                celsius=reading.celsius,
                limit_celsius=TOO_WARM,
                action="look",
                step=1,
            ),
        ]

    def command(self, event: CommandGiven) -> None:
        match event.command:
            case StartBatch(sheet=sheet, bindings=bindings, lot=lot):
                number = self.state.clock.batches + 1
                self.keep("clock", replace(self.state.clock, batches=number))
                batch = BatchId(f"{sheet}-{number}")
                stage = StageId("cook")
                spans = tuple(Span(batch, stage, role, probe, event.at) for role, probe in bindings)
                run = StageRun(stage, StagePhase.ACTIVE, began=event.at)
                self.keep(
                    f"batch/{batch}",
                    BatchSlot(batch, sheet, lot, BatchPhase.RUNNING, event.at, bindings, (run,), spans),
                )
                self.outcomes += [
                    SpansSet(event.at, batch, spans),
                    EntryMade(
                        Entry(event.at, "batch.started", event.actor, f"{batch} was started", batch=batch)
                    ),
                    PromptGiven(
                        event.at, PromptKind.STAGE_BEGAN, batch, stage, None, None, "The cook begins"
                    ),
                    CommandAnswered(event.ticket, True, f"{batch} was started", batch),
                ]
            case NoteBatch(batch=batch, text=text):
                self.outcomes += [
                    EntryMade(Entry(event.at, "batch.noted", event.actor, text, batch=batch)),
                    CommandAnswered(event.ticket, True, "noted", batch),
                ]
            case Acknowledge(alarm=key):
                alarm = self.state.alarms.get(key)
                if alarm is None:
                    self.outcomes.append(CommandAnswered(event.ticket, False, f"There is no alarm {key!r}"))
                    return
                seen = replace(
                    alarm,
                    phase=AlarmPhase.ACKNOWLEDGED,
                    acknowledged_at=event.at,
                    acknowledged_by=event.actor.who,
                )
                self.keep(f"alarm/{key}", None)
                self.outcomes += [
                    AlarmMoved(event.at, AlarmMove.ACKNOWLEDGED, seen),
                    AlarmMoved(event.at, AlarmMove.CLOSED, seen),
                    CommandAnswered(event.ticket, True, "seen"),
                ]
            case other:
                raise AssertionError(other)
