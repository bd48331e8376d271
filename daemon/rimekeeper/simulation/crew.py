"""Ada and Bo: invented people who start batches at their time and go on when a stage is done.

They look at the same state that a screen shows and give the same commands. The patience differs: in history they
answer soon, in the live scene they leave whoever watches the time to tap first.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from rimekeeper.core.messages import Acknowledge, AdvanceStage, Command, EndBatch, StartBatch
from rimekeeper.core.model import HOUR, MINUTE, SECOND, Actor, Instant, Millis
from rimekeeper.core.plan import Advance, KitchenPlan, StageKind, StagePlan
from rimekeeper.core.state import BatchPhase, BatchSlot, EngineState, StageRun

ADA = Actor("Ada", "simulated kitchen")
BO = Actor("Bo", "simulated kitchen")

Given = tuple[Command, Actor]


@dataclass(frozen=True, slots=True)
class Manners:
    """How long they let things stand."""

    after_done: Mapping[StageKind, Millis] = field(
        default_factory=lambda: {
            StageKind.COOK: Millis(20 * SECOND),
            StageKind.CHILL: Millis(3 * MINUTE),
            StageKind.CHURN: Millis(MINUTE),
            StageKind.HARDEN: Millis(25 * MINUTE),
        }
    )
    """From a target (and its hold) to the tap."""
    lasts: Mapping[StageKind, Millis] = field(
        default_factory=lambda: {
            StageKind.AGE: Millis(4 * HOUR),
            StageKind.COMBINE: Millis(4 * MINUTE),
            StageKind.STORE: Millis(15 * MINUTE),
        }
    )
    """Length of stages that have no target."""
    ends_at: Mapping[StageKind, str] = field(default_factory=dict)
    """Stages at which a batch is ended, with the reason."""
    hours: tuple[float, float] | None = (7.0, 22.0)
    """Local hours between which somebody is there to tap; None: always."""
    acknowledges_after: Millis | None = Millis(17 * MINUTE)
    """From an alarm to the answer of whoever was called, at any hour; None: that is left to others."""


@dataclass(frozen=True, slots=True)
class Errand:
    """Something to be done at its time."""

    due: Instant
    command: Command
    actor: Actor = ADA


class Crew:
    """Looks after the batches it started itself (known by their lots); everybody else's it leaves alone."""

    def __init__(self, plan: KitchenPlan, manners: Manners | None = None) -> None:
        self.manners = manners or Manners()
        self.lots: set[str] = set()
        self._plan = plan

    def start(self, command: StartBatch, actor: Actor = ADA) -> Given:
        """The command that begins a batch; from now on its lot is ours."""
        self.lots.add(command.lot)
        return command, actor

    def taps(self, state: EngineState, now: Instant, hour: float) -> list[Given]:
        """What they ask for at ``now`` (``hour``: local time of day); at most one thing a batch."""
        found = self._answers(state, now)
        opens, closes = self.manners.hours or (0.0, 24.0)
        if not opens <= hour < closes:
            return found
        for batch in state.batches.values():
            if batch.lot in self.lots and batch.phase is BatchPhase.RUNNING:
                tap = self._tap(batch, now)
                if tap is not None:
                    found.append(tap)
        return found

    def _answers(self, state: EngineState, now: Instant) -> list[Given]:
        patience = self.manners.acknowledges_after
        if patience is None:
            return []
        return [
            (Acknowledge(key, "On my way."), BO)
            for key, alarm in state.alarms.items()
            if alarm.acknowledged_at is None and now - alarm.raised_at >= patience
        ]

    def _tap(self, batch: BatchSlot, now: Instant) -> Given | None:
        sheet = self._plan.sheets.get(batch.sheet)
        if sheet is None:
            return None
        for run in batch.active:
            stage = sheet.stage(run.stage)
            if stage is None or not self._is_done(batch, stage, run, now):
                continue
            actor = BO if stage.kind in (StageKind.CHURN, StageKind.STORE) else ADA
            if stage.kind in self.manners.ends_at:
                return EndBatch(batch.batch, self.manners.ends_at[stage.kind]), actor
            if sheet.followers(stage.id):
                return AdvanceStage(batch.batch, stage.id), actor
            return EndBatch(batch.batch), actor
        return None

    def _is_done(self, batch: BatchSlot, stage: StagePlan, run: StageRun, now: Instant) -> bool:
        if stage.kind in self.manners.lasts:
            waiting_for = [
                before
                for other in self._plan.sheets[batch.sheet].followers(stage.id)
                for before in other.after
                if before != stage.id
            ]
            others_done = all(
                (other := batch.run(name)) is not None and other.ended is not None for name in waiting_for
            )
            long_enough = run.began is not None and now - run.began >= self.manners.lasts[stage.kind]
            return long_enough and (others_done or stage.kind in self.manners.ends_at)
        if stage.advance is Advance.TARGET:
            return False
        done = run.hold_met_at if stage.hold else run.reached_at
        patience = self.manners.after_done.get(stage.kind, Millis(MINUTE))
        return done is not None and now - done >= patience
