"""Putting a changed batch in place: its spans, its probes, its stages' alarms and deadlines, what is said."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

from rimekeeper.core.agenda import Matter
from rimekeeper.core.alarms.standing import end_alarm
from rimekeeper.core.draft import Draft
from rimekeeper.core.messages import PromptGiven, PromptKind, Span, SpansSet
from rimekeeper.core.model import MINUTE, BatchId, Instant, Millis, ProbeId, StageId
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.state import BatchPhase, BatchSlot, StagePhase, StageRun, WatchSlot
from rimekeeper.core.tracking.checks import CHECKS
from rimekeeper.core.tracking.checks.stage_check import StageCheck, never
from rimekeeper.core.tracking.spans import spans_of
from rimekeeper.core.tracking.words import said
from rimekeeper.core.watching.probes import let_go, taken_into_use

_TIMED = tuple(check for check in CHECKS if check.due is not never)


def stage_key(batch: BatchId, stage: StageId) -> str:
    """The key under which a stage's forecast and deadlines go."""
    return f"{batch}/{stage}"


def checkpoint_key(key: str) -> str:
    """The key of the forecast of a stage's next cooling checkpoint."""
    return f"{key}/checkpoint"


@lru_cache(maxsize=4096)
def watch_key(batch: BatchId, stage: StageId, name: str) -> str:
    """The key of a check's watch and alarm."""
    return f"stage/{batch}/{stage}/{name}"


def probe_of(batch: BatchSlot, stage: StagePlan) -> ProbeId | None:
    """The probe that is bound to the stage's role."""
    return next((probe for role, probe in batch.bindings if role == stage.role), None)


def put_in_place(draft: Draft, before: BatchSlot | None, after: BatchSlot, at: Instant) -> None:
    """The batch is so from ``at`` on; everything that hangs on its stages follows."""
    sheet = draft.sheet_of(after)
    spans = spans_of(after, sheet) if sheet is not None else _closed(after)
    after = replace(after, spans=spans, changed_at=at)
    draft.put_batch(after)
    if before is None or before.spans != spans:
        draft.say(SpansSet(at, after.batch, spans))
    was = {run.stage for run in before.active} if before is not None and before.running else set()
    now = {run.stage for run in after.active} if after.running else set()
    for stage in sorted(was.difference(now)):
        quieten(draft, after.batch, stage, at, "its stage is over")
    if before is not None and before.running and not after.running:
        for _, probe in after.bindings:
            let_go(draft, probe, at)
    if after.running and (before is None or not before.running):
        for _, probe in after.bindings:
            taken_into_use(draft, probe, at)
    for run in after.active if after.running else ():
        if run.began == at and run.stage not in was:
            prompt(draft, after, run.stage, PromptKind.STAGE_BEGAN, at)
        reschedule(draft, after.batch, run.stage)
    _forget_courses(draft, after)


def quieten(
    draft: Draft, batch: BatchId, stage: StageId, at: Instant, why: str, *, for_hold: bool = False
) -> None:
    """What was watched of a stage is not watched any more: its alarms are over."""
    for check in CHECKS:
        key = watch_key(batch, stage, check.name)
        if key in draft.watches and (check.quiet_on_hold or not for_hold):
            draft.put_watch(WatchSlot(key))
            end_alarm(draft, key, at, why)


def prompt(
    draft: Draft,
    batch: BatchSlot,
    stage: StageId,
    kind: PromptKind,
    at: Instant,
    celsius: float | None = None,
    expected: Instant | None = None,
) -> None:
    """Say something at the stove."""
    plan = draft.stage_plan(batch, stage)
    if plan is not None:
        draft.say(PromptGiven(at, kind, batch.batch, stage, celsius, expected, said(kind, plan)))


def due_of(draft: Draft, key: str, *, from_here: bool = True) -> tuple[Instant, Instant, StageCheck] | None:
    """(when it takes effect as seen from here, its own instant, whose) of a stage's next deadline, or None.

    Args:
        draft: the step's working copy.
        key: of the stage.
        from_here: False when a reading of the stage's own probe is at hand: then none is on its way.
    """
    stage = found(draft, key)
    if stage is None:
        return None
    batch, run, plan = stage
    probe = probe_of(batch, plan)
    lag = draft.lag(probe) if probe is not None and from_here else 0
    gap = allowed_gap(draft, probe)
    best: tuple[Instant, Instant, StageCheck] | None = None
    for check in _TIMED:
        watch = draft.watches.get(watch_key(batch.batch, run.stage, check.name))
        due = check.due(plan, run, watch, gap)
        if due is not None:
            if batch.changed_at is not None and due < batch.changed_at:
                due = batch.changed_at
            wake = Instant(due + lag) if check.waits_for_readings else due
            if best is None or (wake, due) < (best[0], best[1]):
                best = wake, due, check
    return best


def reschedule(draft: Draft, batch: BatchId, stage: StageId) -> None:
    """The deadlines of a stage, or how they are seen from here, have changed."""
    key = stage_key(batch, stage)
    due = due_of(draft, key)
    if due is not None:
        draft.agenda.put(due[0], due[1], Matter.STAGE, key)


def allowed_gap(draft: Draft, probe: ProbeId | None) -> Millis:
    """How far apart readings may be to prove what was between them."""
    plan = draft.plan.probes.get(probe) if probe is not None else None
    return plan.silent_after if plan is not None else MINUTE


def found(draft: Draft, key: str) -> tuple[BatchSlot, StageRun, StagePlan] | None:
    """The stage under way (in a batch not on hold) of that key, or None."""
    name, _, stage = key.rpartition("/")
    batch = draft.batches.get(BatchId(name))
    if batch is None or batch.phase is not BatchPhase.RUNNING:
        return None
    run, plan = batch.run(StageId(stage)), draft.stage_plan(batch, StageId(stage))
    if run is None or plan is None or run.phase is not StagePhase.ACTIVE:
        return None
    return batch, run, plan


def _closed(batch: BatchSlot) -> tuple[Span, ...]:
    """The spans as they are, ended with the batch: its sheet is no longer known."""
    if batch.ended is None:
        return batch.spans
    return tuple(replace(s, ends=batch.ended) if s.ends is None else s for s in batch.spans)


def _forget_courses(draft: Draft, batch: BatchSlot) -> None:
    """Forecasts are kept of what is under way; courses also of what an undo would bring back."""
    active = {run.stage for run in batch.active} if batch.running else set()
    kept = active | {run.stage for run in batch.before or () if run.phase is StagePhase.ACTIVE}
    for run in batch.stages:
        key = stage_key(batch.batch, run.stage)
        for one in (key, checkpoint_key(key)):
            if run.stage not in active and one in draft.forecasts:
                draft.put_forecast(one, None)
        if key in draft.courses and (run.stage not in kept or not batch.running):
            draft.put_course(key, None)
