"""The state while a step works on it: copied where it is written, everything that changes noted down.

Only the parts of the engine use it; what a step returns is frozen again.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from rimekeeper.core.agenda import Agenda, Matter
from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.messages import EntryMade, Outcome
from rimekeeper.core.model import (
    RIMEKEEPER,
    Actor,
    BatchId,
    Entry,
    Health,
    Instant,
    ProbeId,
    SourceId,
    StageId,
)
from rimekeeper.core.plan import KitchenPlan, SheetPlan, StagePlan
from rimekeeper.core.plan_index import PlanIndex, plan_index
from rimekeeper.core.process.forecast import Course, Forecast
from rimekeeper.core.sensing.calibration.uncertainty import counted
from rimekeeper.core.sensing.duty import NO_DUTY, Duty
from rimekeeper.core.state import (
    BatchSlot,
    ClockSlot,
    EngineState,
    MetrologySlot,
    ProbeSlot,
    Slot,
    SourceSlot,
    WatchPhase,
    WatchSlot,
)
from rimekeeper.core.watching.duties import duties

_K = TypeVar("_K")
_V = TypeVar("_V")

Fact = tuple[str, str | float | int | bool | None]


class Draft:
    """One step's working copy. Mappings of the state it began with are never written to."""

    def __init__(self, plan: KitchenPlan, state: EngineState) -> None:
        """Begin with a state."""
        self.plan = plan
        self.index: PlanIndex = plan_index(plan)
        self.clock: ClockSlot = state.clock
        self.now: Instant = state.clock.now
        self.outcomes: list[Outcome] = []
        self.changed: dict[str, Slot | None] = {}
        self.agenda = Agenda()
        self.catching_up: Instant | None = None
        """While nobody watched: up to here no call-out could be made, so that only the newest round is owed."""
        self._begin(state)

    def _begin(self, state: EngineState) -> None:
        self._state = state
        self.probes: dict[ProbeId, ProbeSlot] = _borrowed(state.probes)
        self.metrology: dict[ProbeId, MetrologySlot] = _borrowed(state.metrology)
        self.sources: dict[SourceId, SourceSlot] = _borrowed(state.sources)
        self.watches: dict[str, WatchSlot] = _borrowed(state.watches)
        self.alarms: dict[str, AlarmSlot] = _borrowed(state.alarms)
        self.batches: dict[BatchId, BatchSlot] = _borrowed(state.batches)
        self.courses: dict[str, Course] = _borrowed(state.courses)
        self.forecasts: dict[str, Forecast] = _borrowed(state.forecasts)
        self._stages_of: dict[ProbeId, list[tuple[BatchId, StageId]]] | None = None
        self._bound: dict[ProbeId, BatchId] | None = None
        self._duties: Mapping[ProbeId, Duty] | None = None

    # --- writing ------------------------------------------------------------------------------------------

    def put_probe(self, slot: ProbeSlot) -> None:
        """Remember a probe."""
        if self.probes is self._state.probes:
            self.probes = dict(self.probes)
        self.probes[slot.probe] = slot
        self.changed[f"probe/{slot.probe}"] = slot

    def put_metrology(self, slot: MetrologySlot) -> None:
        """Remember what was measured of a probe."""
        if self.metrology is self._state.metrology:
            self.metrology = dict(self.metrology)
        self.metrology[slot.probe] = slot
        self.changed[f"metrology/{slot.probe}"] = slot

    def put_source(self, slot: SourceSlot) -> None:
        """Remember a source."""
        if self.sources is self._state.sources:
            self.sources = dict(self.sources)
        self.sources[slot.source] = slot
        self.changed[f"source/{slot.source}"] = slot

    def put_watch(self, slot: WatchSlot) -> None:
        """Remember a watch; one that is normal needs no remembering."""
        if self.watches is self._state.watches:
            self.watches = dict(self.watches)
        if slot.phase is WatchPhase.NORMAL:
            self.watches.pop(slot.key, None)
            self.changed[f"watch/{slot.key}"] = None
        else:
            self.watches[slot.key] = slot
            self.changed[f"watch/{slot.key}"] = slot

    def put_alarm(self, key: str, slot: AlarmSlot | None) -> None:
        """Remember an alarm, or that there is none any more."""
        if self.alarms is self._state.alarms:
            self.alarms = dict(self.alarms)
        if slot is None:
            self.alarms.pop(key, None)
        else:
            self.alarms[key] = slot
            if slot.next_call is not None:
                self.agenda.put(slot.next_call, slot.next_call, Matter.CALL, key)
        self.changed[f"alarm/{key}"] = slot

    def put_batch(self, slot: BatchSlot, *, restaged: bool = True) -> None:
        """Remember a batch. ``restaged``: stages began or ended, or probes were bound or freed."""
        if self.batches is self._state.batches:
            self.batches = dict(self.batches)
        self.batches[slot.batch] = slot
        self.changed[f"batch/{slot.batch}"] = slot
        if restaged:
            self._stages_of = self._bound = self._duties = None

    def forget_batch(self, batch: BatchId) -> None:
        """Drop a batch that ended long ago; the store keeps it."""
        if self.batches is self._state.batches:
            self.batches = dict(self.batches)
        del self.batches[batch]
        self.changed[f"batch/{batch}"] = None

    def put_course(self, key: str, course: Course | None) -> None:
        """Remember a forecast's course (not stored)."""
        if self.courses is self._state.courses:
            self.courses = dict(self.courses)
        if course is None:
            self.courses.pop(key, None)
        else:
            self.courses[key] = course

    def put_forecast(self, key: str, made: Forecast | None) -> None:
        """Remember a forecast (not stored)."""
        if self.forecasts is self._state.forecasts:
            self.forecasts = dict(self.forecasts)
        if made is None:
            self.forecasts.pop(key, None)
        else:
            self.forecasts[key] = made

    def put_clock(self, slot: ClockSlot) -> None:
        """Remember the counters."""
        self.clock = slot
        self.changed["clock"] = slot

    def follow(self, at: Instant) -> None:
        """Engine time goes on; never back."""
        self.now = max(self.now, at)

    def say(self, outcome: Outcome) -> None:
        """Add an outcome."""
        self.outcomes.append(outcome)

    def write(
        self,
        at: Instant,
        kind: str,
        sentence: str,
        *,
        actor: Actor = RIMEKEEPER,
        batch: BatchId | None = None,
        subject: str = "",
        why: str = "",
        facts: tuple[Fact, ...] = (),
    ) -> None:
        """Add an entry of the record."""
        self.outcomes.append(EntryMade(Entry(at, kind, actor, sentence, batch, subject, why, facts)))

    # --- looking up ---------------------------------------------------------------------------------------

    def sheet_of(self, batch: BatchSlot) -> SheetPlan | None:
        """The sheet of a batch, if it is still known."""
        return self.plan.sheets.get(batch.sheet)

    def stage_plan(self, batch: BatchSlot, stage: StageId) -> StagePlan | None:
        """The plan of a stage of a batch, if it is still known."""
        sheet = self.sheet_of(batch)
        return None if sheet is None else sheet.stage(stage)

    def stages_of(self, probe: ProbeId) -> list[tuple[BatchId, StageId]]:
        """The active stages (of batches not on hold) that watch the probe."""
        if self._stages_of is None:
            self._stages_of = {}
            for batch in self.batches.values():
                if batch.running and batch.held_since is None:
                    bound = dict(batch.bindings)
                    for run in batch.active:
                        plan = self.stage_plan(batch, run.stage)
                        watcher = bound.get(plan.role) if plan is not None else None
                        if watcher is not None:
                            self._stages_of.setdefault(watcher, []).append((batch.batch, run.stage))
        return self._stages_of.get(probe, [])

    def batch_holding(self, probe: ProbeId) -> BatchId | None:
        """The running batch to which the probe is bound."""
        if self._bound is None:
            self._bound = {
                probe: batch.batch
                for batch in self.batches.values()
                if batch.running
                for _, probe in batch.bindings
            }
        return self._bound.get(probe)

    def duty_of(self, probe: ProbeId) -> Duty:
        """What depends on the probe."""
        if self._duties is None:
            self._duties = duties(self.plan, self.index, self.batches.values())
        return self._duties.get(probe, NO_DUTY)

    def in_use(self, probe: ProbeId) -> bool:
        """Whether a station or a running batch depends on the probe."""
        return probe in self.index.station_probes or self.batch_holding(probe) is not None

    def probe_name(self, probe: ProbeId) -> str:
        """The probe's name for people."""
        plan = self.plan.probes.get(probe)
        return plan.name if plan is not None else str(probe)

    def uncertainty(self, probe: ProbeId, celsius: float, at: Instant) -> float:
        """Expanded uncertainty (K, k = 2) of the probe at a temperature, as it is counted against critical limits."""
        plan = self.plan.probes.get(probe)
        slot = self.metrology.get(probe)
        accuracy = plan.accuracy.kelvin if plan is not None else 1.0
        return counted(slot.calibration if slot is not None else None, accuracy, celsius, at)

    def source_down(self, source: SourceId) -> bool:
        """Whether the source said that it failed."""
        slot = self.sources.get(source)
        return slot is not None and slot.health is Health.FAILURE

    def lag(self, probe: ProbeId) -> int:
        """How far the probe's readings lie behind their arrival, in ms, by the newest."""
        slot = self.probes.get(probe)
        if slot is None or slot.last_at is None or slot.last_arrived is None:
            return 0
        return max(0, slot.last_arrived - slot.last_at)

    # --- the end ------------------------------------------------------------------------------------------

    def state(self) -> EngineState:
        """The state as it is now."""
        if self.now != self.clock.now:
            self.put_clock(replace(self.clock, now=self.now))
        return EngineState(
            clock=self.clock,
            probes=self.probes,
            metrology=self.metrology,
            sources=self.sources,
            watches=self.watches,
            alarms=self.alarms,
            batches=self.batches,
            courses=self.courses,
            forecasts=self.forecasts,
        )

    def begin_again(self, state: EngineState) -> None:
        """Go on with another state (after the clock was stepped); what was noted down stays."""
        self.clock, self.now = state.clock, state.clock.now
        self.agenda = Agenda()
        self._begin(state)


def _borrowed(mapping: Mapping[_K, _V]) -> dict[_K, _V]:
    return mapping  # type: ignore[return-value]  # written to only after it was copied
