"""Let the engine decide, sort its outcomes into what is to be written, and keep one bad event from stopping it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Protocol

from rimekeeper.core import engine
from rimekeeper.core.commit import Commit
from rimekeeper.core.messages import (
    AlarmMoved,
    CallOwed,
    CommandAnswered,
    EntryMade,
    Event,
    Outcome,
    ProbeMeasured,
    PromptGiven,
    ReadingMade,
    SpansSet,
)
from rimekeeper.core.model import Entry, Instant, Reading
from rimekeeper.core.plan import KitchenPlan
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.state import EngineState, Slot


class Engine(Protocol):
    """The shape of ``core.engine``, so that tests can put a small one in its place."""

    def step(self, plan: KitchenPlan, state: EngineState, events: Sequence[Event]) -> engine.Step:
        """Apply the events in order."""

    def next_deadline(self, plan: KitchenPlan, state: EngineState) -> Instant | None:
        """The next instant at which something happens by itself."""

    def restore(self, slots: Iterable[tuple[str, Slot]]) -> EngineState:
        """The state from stored slots."""

    def rewarm(self, plan: KitchenPlan, state: EngineState, readings: Iterable[Reading]) -> EngineState:
        """Rebuild what is not stored from stored readings."""


@dataclass(frozen=True, slots=True)
class Decided:
    """What a group of events led to."""

    state: EngineState
    outcomes: tuple[Outcome, ...]
    changed: dict[str, Slot | None]


def decide(
    step: Callable[[KitchenPlan, EngineState, Sequence[Event]], engine.Step],
    plan: KitchenPlan,
    state: EngineState,
    events: Sequence[Event],
    set_aside: Callable[[Event, Exception], None],
) -> Decided:
    """Step through the events; one at which the engine fails is set aside and the others still count.

    Finding it costs about ``log2(n)`` further steps, and only when there is one.
    """
    if not events:
        return Decided(state, (), {})
    try:
        done = step(plan, state, events)
    except Exception as fault:  # noqa: BLE001 - whatever is wrong with one event, the others go on
        if len(events) == 1:
            set_aside(events[0], fault)
            return Decided(state, (), {})
        middle = len(events) // 2
        first = decide(step, plan, state, events[:middle], set_aside)
        second = decide(step, plan, first.state, events[middle:], set_aside)
        return Decided(second.state, first.outcomes + second.outcomes, {**first.changed, **second.changed})
    return Decided(done.state, done.outcomes, done.changed)


@dataclass
class _Sorted:
    readings: list[Reading]
    entries: list[Entry]
    spans: list[SpansSet]
    alarms: list[AlarmMoved]
    calls: list[CallOwed]
    measurements: list[Calibration | PlungeTest]


def to_write(decided: Decided) -> Commit:
    """What is to be written of a decision."""
    heap = _Sorted([], [], [], [], [], [])
    for outcome in decided.outcomes:
        match outcome:
            case ReadingMade(reading):
                heap.readings.append(reading)
            case EntryMade(entry):
                heap.entries.append(entry)
            case ProbeMeasured(record):
                heap.measurements.append(record)
            case SpansSet():
                heap.spans.append(outcome)
            case AlarmMoved():
                heap.alarms.append(outcome)
            case CallOwed():
                heap.calls.append(outcome)
            case PromptGiven() | CommandAnswered():
                pass
    return Commit(
        readings=tuple(heap.readings),
        changed=decided.changed,
        entries=tuple(heap.entries),
        spans=tuple(heap.spans),
        alarms=tuple(heap.alarms),
        calls=tuple(heap.calls),
        measurements=tuple(heap.measurements),
    )
