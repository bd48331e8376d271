"""A stretch of kitchen time, run faster than real time through the real engine."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from rimekeeper.core import engine
from rimekeeper.core.commit import Commit
from rimekeeper.core.messages import (
    AlarmMoved,
    CommandAnswered,
    CommandGiven,
    EntryMade,
    Event,
    Outcome,
    ProbeMeasured,
    ReadingMade,
    SampleTaken,
    SpansSet,
    StartBatch,
    Started,
    Tick,
)
from rimekeeper.core.model import HOUR, MINUTE, SECOND, ClockTrust, Instant, Millis, ProbeId, Sample
from rimekeeper.core.plan import KitchenPlan, StageKind
from rimekeeper.core.state import BatchSlot, ClockSlot, EngineState, MetrologySlot, Slot
from rimekeeper.simulation.crew import Crew, Errand, Given
from rimekeeper.simulation.following import Follower
from rimekeeper.simulation.kitchen_day import Mishap, hour_of
from rimekeeper.simulation.workshop import PROBES, Workshop

TICK = Millis(10 * SECOND)
LOOK = Millis(MINUTE)
"""How often the crew looks, and how much goes to the engine at once."""
STATION_EVERY, STAGE_EVERY, BUSY_EVERY, IDLE_EVERY = (
    Millis(MINUTE),
    Millis(20 * SECOND),
    TICK,
    Millis(5 * MINUTE),
)
FORECAST_EVERY = Millis(5 * MINUTE)
_BUSY, _LYING = (StageKind.COOK, StageKind.CHURN), (StageKind.AGE, StageKind.STORE)


def history_plan(plan: KitchenPlan) -> KitchenPlan:
    """The plan for readings that come more seldom than live ones.

    Nothing counts as silent before 15 minutes; a freezer's air may be warm for as long as a defrost takes, where
    the live scene calls out after seconds so that nobody has to wait for it; and arrivals are forecast seldom,
    because nobody is there to be told.
    """
    probes = {
        name: replace(probe, silent_after=max(probe.silent_after, Millis(15 * MINUTE)))
        for name, probe in plan.probes.items()
    }
    stations = {
        name: replace(
            station,
            limits=tuple(
                replace(limit, on_delay=max(limit.on_delay, Millis(45 * MINUTE)))
                if limit.limit.celsius < 0.0 and limit.on_delay < MINUTE
                else limit
                for limit in station.limits
            ),
        )
        for name, station in plan.stations.items()
    }
    return replace(plan, probes=probes, stations=stations, forecast_every=FORECAST_EVERY)


@dataclass
class Written:
    """What the engine had to say: everything but call-outs (history calls nobody) and prompts."""

    outcomes: list[Outcome] = field(default_factory=list)
    changed: dict[str, Slot | None] = field(default_factory=dict)
    batches: dict[str, BatchSlot] = field(default_factory=dict)
    refused: list[str] = field(default_factory=list)

    def take(self, step: engine.Step) -> None:
        """Keep what a step gave."""
        for outcome in step.outcomes:
            if isinstance(outcome, CommandAnswered):
                if not outcome.accepted:
                    self.refused.append(outcome.sentence)
            elif isinstance(outcome, ReadingMade | ProbeMeasured | EntryMade | SpansSet | AlarmMoved):
                self.outcomes.append(outcome)
        self.changed.update(step.changed)
        for key, slot in step.changed.items():
            if isinstance(slot, BatchSlot):
                self.batches[key] = slot

    def commit(self, *, history: bool, watched_until: Instant | None = None) -> Commit:
        """As one commit: batches apart for history, slots for what is to go on."""
        return Commit(
            readings=tuple(o.reading for o in self.outcomes if isinstance(o, ReadingMade)),
            entries=tuple(o.entry for o in self.outcomes if isinstance(o, EntryMade)),
            spans=tuple(o for o in self.outcomes if isinstance(o, SpansSet)),
            alarms=tuple(o for o in self.outcomes if isinstance(o, AlarmMoved)),
            measurements=tuple(o.record for o in self.outcomes if isinstance(o, ProbeMeasured)),
            batches=tuple(self.batches.values()) if history else (),
            changed={} if history else dict(self.changed),
            watched_until=watched_until,
            from_history=history,
        )


class Stretch:
    """The kitchen from one instant on."""

    def __init__(
        self,
        plan: KitchenPlan,
        workshop: Workshop,
        crew: Crew,
        begins: Instant,
        clock: ClockSlot,
        measured: Mapping[ProbeId, MetrologySlot] | None = None,
    ) -> None:
        """Begin with nothing known.

        Args:
            plan: see :func:`history_plan`.
            workshop: what is physical; goes on from its present state.
            crew: who taps.
            begins: first instant.
            clock: the engine's counters, so that ids of different stretches differ.
            measured: calibrations and plunge tests that there are already.
        """
        self.plan, self.workshop, self.crew = plan, workshop, crew
        self.follower = Follower(plan, workshop)
        self.now = begins
        self.state = EngineState(clock=replace(clock, now=begins), metrology=measured or {})
        self.written = Written()
        self.closely_from: Instant | None = None
        """From then on every probe is heard at every tick, as a daemon that goes on from here expects it."""
        self._kinds: dict[ProbeId, StageKind] = {}
        self._step([Started(at=begins)])

    def run(self, until: Instant, errands: Sequence[Errand] = (), mishaps: Sequence[Mishap] = ()) -> None:
        """Let everything happen up to ``until``."""
        ahead = sorted(errands, key=lambda errand: errand.due)
        wrong = sorted(mishaps, key=lambda mishap: mishap.due)
        heard: list[SampleTaken] = []
        hour = hour_of(self.now, self.plan.zone)
        while self.now < until:
            seconds = min(TICK, until - self.now) / 1_000.0
            self.now = Instant(min(self.now + TICK, until))
            while wrong and wrong[0].due <= self.now:
                wrong.pop(0).what(self.workshop)
            self.workshop.step(seconds, hour)
            heard += self._hear()
            due = [errand for errand in ahead if errand.due <= self.now]
            if due or self.now % LOOK < TICK or self.now >= until:
                hour = hour_of(self.now, self.plan.zone)
                ahead = ahead[len(due) :]
                self._look(heard, [self._begin(errand) for errand in due], hour)
                heard = []

    def _begin(self, errand: Errand) -> Given:
        if isinstance(errand.command, StartBatch):
            return self.crew.start(errand.command, errand.actor)
        return errand.command, errand.actor

    def _look(self, heard: list[SampleTaken], given: list[Given], hour: float) -> None:
        heard.sort(key=lambda event: event.sample.arrived_at)
        events: list[Event] = list(heard)
        events += [CommandGiven(self.now, command, actor) for command, actor in given]
        self._step([*events, Tick(self.now)])
        taps = self.crew.taps(self.state, self.now, hour)
        if taps:
            self._step([CommandGiven(self.now, command, actor) for command, actor in taps])
        self.follower.follow(self.state)
        self._kinds = self.follower.kinds

    def _step(self, events: Sequence[Event]) -> None:
        step = engine.step(self.plan, self.state, events)
        self.state = step.state
        self.written.take(step)

    def _hear(self) -> list[SampleTaken]:
        noise = self.workshop.noise
        due = [
            probe for probe in PROBES if probe in self.plan.probes and self.now % self._every(probe) < TICK
        ]
        if not due:
            return []
        early = noise.integers(0, 2_000, len(due))
        late = noise.integers(40, 350, len(due))
        return [
            self._sample(probe, Instant(self.now - 2_400 + int(early[n])), int(late[n]))
            for n, probe in enumerate(due)
        ]

    def _every(self, probe: ProbeId) -> Millis:
        if self.closely_from is not None and self.now >= self.closely_from:
            return TICK
        if probe not in self.workshop.places:
            return STATION_EVERY
        kind = self._kinds.get(probe)
        if kind is None:
            return IDLE_EVERY
        if kind in _LYING:
            return STATION_EVERY
        return BUSY_EVERY if kind in _BUSY else STAGE_EVERY

    def _sample(self, probe: ProbeId, taken_at: Instant, delay: int) -> SampleTaken:
        plan = self.plan.probes[probe]
        dated = plan.clock is ClockTrust.PROBE
        sample = Sample(
            source=plan.source,
            channel=plan.channel,
            value=self.workshop.read(probe),
            scale=None,
            arrived_at=Instant(taken_at + delay),
            taken_at=taken_at if dated else None,
        )
        return SampleTaken(probe, sample)


SETTLING = 2 * HOUR
