"""The engine walked along a recorded curve: what it makes of each reading, and every forecast as it stood.

Time is that of the readings; there is no clock. A reading that was doubtful when it was recorded stays so: the
engine is told that there was no number.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from rimekeeper.core import engine
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import (
    AdvanceStage,
    AlarmMove,
    AlarmMoved,
    Command,
    CommandAnswered,
    CommandGiven,
    EntryMade,
    Event,
    ReadingMade,
    SampleTaken,
    StartBatch,
    Started,
)
from rimekeeper.core.model import (
    MINUTE,
    SECOND,
    Actor,
    BatchId,
    ClockTrust,
    Instant,
    Millis,
    ProbeId,
    Reading,
    RoleId,
    Sample,
    Scale,
    SourceId,
    StageId,
    TemperatureDifference,
)
from rimekeeper.core.plan import Advance, KitchenPlan, ProbePlan, SheetPlan, SourcePlan
from rimekeeper.core.process.cooling import next_checkpoint
from rimekeeper.core.process.forecast import Forecast
from rimekeeper.core.state import BatchSlot, EngineState, StagePhase
from rimekeeper.core.tracking.order import all_before
from rimekeeper.core.tracking.staging import checkpoint_key, stage_key

RECORDING = SourceId("recording")
_WHO = Actor("the recording", "examine")
_NEVER = Millis(366 * 24 * 60 * MINUTE)


@dataclass(frozen=True, slots=True)
class CurvePoint:
    """One recorded reading. ``celsius`` None: no number, or one that was not good when recorded, and ``doubt`` why."""

    at: Instant
    channel: str
    celsius: float | None
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class Tap:
    """At that instant ``ends`` was over and ``begins`` began (either may be unknown)."""

    at: Instant
    ends: StageId | None = None
    begins: StageId | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """How a curve is to be looked at.

    ``bindings`` names the channel of each role; a role without one has no readings. ``as_tapped``: stages end as
    ``taps`` say and not by being confirmed at once.
    """

    sheet: SheetPlan
    bindings: tuple[tuple[RoleId, str], ...]
    taps: tuple[Tap, ...] = ()
    as_tapped: bool = False
    accuracy: TemperatureDifference = TemperatureDifference(1.0)
    allowed_gap: Millis = MINUTE
    """Readings farther apart (ms) prove nothing about what was between them."""
    forecast_every: Millis = SECOND
    scale: Scale = Scale.CELSIUS
    zone: str = "UTC"


@dataclass(frozen=True, slots=True)
class Happening:
    """Something found in the curve."""

    at: Instant
    kind: str
    sentence: str
    stage: str = ""
    until: Instant | None = None
    celsius: float | None = None
    readings: int = 0


@dataclass(frozen=True, slots=True)
class Foreseen:
    """A forecast as it stood, and what came: ``arrived_at`` None where the goal was never reached."""

    stage: StageId
    goal: str
    """``target``, or the checkpoint's temperature."""
    celsius: float
    """What the probe showed."""
    forecast: Forecast
    arrived_at: Instant | None = None

    @property
    def error(self) -> int | None:
        """Expected minus true arrival, ms: above zero it said too late. None where either is unknown."""
        if self.arrived_at is None or self.forecast.expected is None:
            return None
        return self.forecast.expected - self.arrived_at

    @property
    def left(self) -> int | None:
        """Time that was truly left, ms."""
        return None if self.arrived_at is None else self.arrived_at - self.forecast.made_at

    @property
    def covered(self) -> bool | None:
        """Whether the interval held the true arrival."""
        made = self.forecast
        if self.arrived_at is None or made.earliest is None or made.latest is None:
            return None
        return made.earliest <= self.arrived_at <= made.latest


def plan_of(question: Question) -> KitchenPlan:
    """A kitchen of one probe per channel; a role without a channel gets a probe that nobody ever hears."""
    probes = {}
    for role, channel in _bound(question):
        heard = any(r == role for r, _ in question.bindings)
        probes[ProbeId(channel)] = ProbePlan(
            ProbeId(channel),
            channel,
            RECORDING,
            channel,
            clock=ClockTrust.PROBE,
            silent_after=question.allowed_gap if heard else _NEVER,
            accuracy=question.accuracy,
        )
    return KitchenPlan(
        name="a recording",
        zone=question.zone,
        scale=question.scale,
        sources={RECORDING: SourcePlan(RECORDING, "the recording", "recording")},
        probes=probes,
        sheets={question.sheet.id: question.sheet},
        forecast_every=question.forecast_every,
    )


def _bound(question: Question) -> tuple[tuple[RoleId, str], ...]:
    given = dict(question.bindings)
    return tuple((role.id, given.get(role.id, f"nothing for {role.id}")) for role in question.sheet.roles)


class Walk:
    """The engine, one reading after the other, with what it says written down."""

    def __init__(self, question: Question, first: Instant) -> None:
        self.question, self.plan, self.state = question, plan_of(question), EngineState()
        self.readings: list[Reading] = []
        self.doubts: dict[tuple[ProbeId, Instant], str] = {}
        self.events: list[Happening] = []
        self.forecasts: list[Foreseen] = []
        self.goals: list[int | None] = []
        """For each forecast the number of its checkpoint; None for the target."""
        self.notes: list[str] = []
        self._last: dict[str, Forecast] = {}
        self.channels = set(self.plan.probes)
        begun = {tap.begins for tap in question.taps}
        self._waits_for_tap = {a for stage in question.sheet.stages if stage.id in begun for a in stage.after}
        self.begins = self._beginning(first)
        self.step([Started(min(first, self.begins))])
        bindings = tuple((role, ProbeId(channel)) for role, channel in _bound(question))
        answer = self.command(StartBatch(question.sheet.id, bindings), self.begins)
        if answer is None or not answer.accepted or answer.batch is None:
            raise RefusedError(answer.sentence if answer is not None else "The batch can't begin.")
        self.batch_id: BatchId = answer.batch

    def _beginning(self, first: Instant) -> Instant:
        """The first instant given for a stage that nothing comes before; else the first reading."""
        sheet = self.question.sheet
        starts = {stage.id for stage in sheet.stages if not stage.after}
        given = [tap.at for tap in self.question.taps if tap.begins in starts]
        return min(given) if given else first

    @property
    def batch(self) -> BatchSlot:
        """As it stands."""
        return self.state.batches[self.batch_id]

    def step(self, events: Sequence[Event]) -> CommandAnswered | None:
        """One step of the engine; the answer to the command among the events, if there was one."""
        step = engine.step(self.plan, self.state, events)
        self.state = step.state
        answer = None
        for outcome in step.outcomes:
            match outcome:
                case ReadingMade(reading):
                    self.readings.append(reading)
                case EntryMade(entry):
                    self._entry(entry.at, entry.kind, entry.sentence, entry.subject, dict(entry.facts))
                case AlarmMoved():
                    self._alarm(outcome)
                case CommandAnswered():
                    answer = outcome
                case _:
                    pass
        return answer

    def command(self, command: Command, at: Instant) -> CommandAnswered | None:
        """Give a command at an instant of the recording."""
        return self.step([CommandGiven(at, command, _WHO)])

    def hear(self, point: CurvePoint) -> None:
        """One reading; what waits for a confirmation after it is confirmed, unless stages go on as recorded."""
        probe = ProbeId(point.channel)
        if probe not in self.channels:
            return
        value = math.nan if point.celsius is None else point.celsius
        if point.doubt:
            self.doubts[probe, point.at] = point.doubt
        sample = Sample(RECORDING, point.channel, value, Scale.CELSIUS, point.at, point.at)
        before = self.state
        self.step([SampleTaken(probe, sample)])
        self._look_at_forecasts(before, value)
        if not self.question.as_tapped:
            for run in self.batch.active if self.batch.running else ():
                if run.awaiting_confirm and run.stage not in self._waits_for_tap:
                    self._advance(AdvanceStage(self.batch_id, run.stage), point.at)

    def tap(self, tap: Tap) -> None:
        """End and begin as was tapped, as far as it hasn't come by itself."""
        if self._phase(tap.ends) is StagePhase.ACTIVE and self._phase(tap.begins) is not StagePhase.ACTIVE:
            self._advance(AdvanceStage(self.batch_id, tap.ends, why="as recorded"), tap.at)
        if tap.begins is None or self._phase(tap.begins) is not StagePhase.WAITING:
            self._came_before(tap)
            return
        plan = self.question.sheet.stage(tap.begins)
        active = {run.stage for run in self.batch.active}
        direct = [stage for stage in (plan.after if plan else ()) if stage in active]
        for stage in direct:
            self._advance(AdvanceStage(self.batch_id, stage, why="as recorded"), tap.at)
        if self._phase(tap.begins) is StagePhase.WAITING:
            over = next((s for s in active if s in all_before(self.question.sheet, tap.begins)), None)
            still = over if self._phase(over) is StagePhase.ACTIVE else None
            self._advance(
                AdvanceStage(self.batch_id, still, begin=tap.begins, why="begun as recorded"), tap.at
            )

    def by_hand(self, tap: Tap) -> bool:
        """Whether a person ended what it ends; a stage that ends by itself ends with a reading, and that one counts."""
        begins = self.question.sheet.stage(tap.begins) if tap.begins is not None else None
        ending = (
            *(begins.after if begins is not None else ()),
            *((tap.ends,) if tap.ends is not None else ()),
        )
        plans = [
            self.question.sheet.stage(stage) for stage in ending if self._phase(stage) is StagePhase.ACTIVE
        ]
        return not any(plan is not None and plan.advance in (Advance.TARGET, Advance.TIME) for plan in plans)

    def _came_before(self, tap: Tap) -> None:
        run = self.batch.run(tap.begins) if tap.begins is not None else None
        if run is not None and not self.question.as_tapped and run.began != tap.at:
            self.notes.append(
                f"{run.stage} had begun by the sheet's own rule before the instant given for it."
            )

    def _advance(self, command: AdvanceStage, at: Instant) -> None:
        answer = self.command(command, at)
        if answer is not None and not answer.accepted and answer.sentence not in self.notes:
            self.notes.append(answer.sentence)

    def _phase(self, stage: StageId | None) -> StagePhase | None:
        run = self.batch.run(stage) if stage is not None else None
        return run.phase if run is not None else None

    def _entry(self, at: Instant, kind: str, sentence: str, subject: str, facts: dict[str, Any]) -> None:
        if kind.startswith("alarm."):
            return  # told by the alarm itself
        reached = facts.get("reached_at") if kind == "stage.reached" else None
        celsius = facts.get("celsius")
        self.events.append(
            Happening(at if reached is None else Instant(reached), kind, sentence, subject, celsius=celsius)
        )

    def _alarm(self, moved: AlarmMoved) -> None:
        if moved.move not in (AlarmMove.RAISED, AlarmMove.RETURNED):
            return
        alarm = moved.alarm
        self.events.append(
            Happening(
                moved.at,
                f"alarm {moved.move.value}",
                f"{alarm.where}: {alarm.what}.",
                alarm.stage or "",
                celsius=alarm.worst if moved.move is AlarmMove.RETURNED else alarm.celsius,
            )
        )

    def _look_at_forecasts(self, before: EngineState, celsius: float) -> None:
        for run in self.batch.stages:
            key = stage_key(self.batch_id, run.stage)
            stage = self.question.sheet.stage(run.stage)
            self._keep(key, run.stage, "target", None, celsius)
            was = before.batches[self.batch_id].run(run.stage)
            if stage is None or stage.cooling is None or was is None or was.cooling is None:
                continue
            following = next_checkpoint(stage.cooling, was.cooling)
            if following is not None:
                number = stage.cooling.checkpoints.index(following[0])
                self._keep(checkpoint_key(key), run.stage, f"{following[0].celsius:g} °C", number, celsius)

    def _keep(self, key: str, stage: StageId, goal: str, number: int | None, celsius: float) -> None:
        made = self.state.forecasts.get(key)
        if made is None or made is self._last.get(key) or math.isnan(celsius):
            return
        self._last[key] = made
        self.forecasts.append(Foreseen(stage, goal, celsius, made))
        self.goals.append(number)
