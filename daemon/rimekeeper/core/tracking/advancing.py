"""From one stage to the next: by a person, by itself, out of order, and back again."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.draft import Draft, Fact
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import AdvanceStage, UndoAdvance
from rimekeeper.core.model import RIMEKEEPER, Actor, Instant, StageId
from rimekeeper.core.plan import Advance, SheetPlan, StagePlan
from rimekeeper.core.state import BatchPhase, BatchSlot, StagePhase, StageRun
from rimekeeper.core.tracking.checks.heat import unbelieved
from rimekeeper.core.tracking.checks.stage_check import has_limit, met
from rimekeeper.core.tracking.checks.target import broken
from rimekeeper.core.tracking.order import all_before, ready, unfinished
from rimekeeper.core.tracking.phases import BatchMove, StageMove, batch_after, moved
from rimekeeper.core.tracking.staging import put_in_place
from rimekeeper.core.tracking.words import listed, named
from rimekeeper.core.watching.measuring import refuse_tested


def advance(draft: Draft, batch: BatchSlot, command: AdvanceStage, actor: Actor, at: Instant) -> str:
    """A person ends a stage. Returns what was done.

    Raises:
        RefusedError: it isn't clear which stage, it is out of order, or a critical limit isn't met, without a
            reason.
    """
    batch_after(batch, BatchMove.ADVANCE)
    sheet = sheet_or_refuse(draft, batch)
    ending = _ending(sheet, batch, command)
    skipped: tuple[StageId, ...] = ()
    if command.begin is None:
        begin: tuple[StageId, ...] | None = None
    else:
        begin = (command.begin,)
        ending, skipped = _out_of_order(sheet, batch, ending, command)
    early = refuse_unmet(sheet, batch, ending, command.why)
    after = _gone_on(sheet, batch, ending, skipped, begin, at)
    _refuse_shared_role(sheet, after)
    return _record(draft, sheet, batch, replace(after, last_by=actor), actor, at, command.why, early, skipped)


def advance_by_itself(draft: Draft, batch: BatchSlot, stage: StageId, at: Instant) -> None:
    """A stage ends because its sheet says so."""
    sheet = draft.plan.sheets[batch.sheet]
    after = _gone_on(sheet, batch, (stage,), (), None, at)
    _record(draft, sheet, batch, replace(after, last_by=RIMEKEEPER), RIMEKEEPER, at, "", (), ())


def undo(draft: Draft, batch: BatchSlot, command: UndoAdvance, actor: Actor, at: Instant) -> str:
    """The last advance is taken back. Returns what was done.

    Raises:
        RefusedError: there is nothing to take back, or a probe has gone to another batch meanwhile.
    """
    phase = batch_after(batch, BatchMove.RESTORE)
    if batch.before is None:
        raise RefusedError(f"There is no advance of batch {batch.batch} to take back.")
    if not batch.running:
        for _, probe in batch.bindings:
            holder = draft.batch_holding(probe)
            if holder is not None:
                name = draft.probe_name(probe)
                raise RefusedError(
                    f"Probe {name} belongs to batch {holder} now, so batch {batch.batch} can't go on with it."
                )
            refuse_tested(draft, probe)
    sheet = draft.sheet_of(batch)
    restored = tuple(_restored(sheet, run) for run in batch.before)
    after = replace(
        batch, phase=phase, stages=restored, ended=None, before=None, before_spans=None, last_by=actor
    )
    back = [named(sheet, run.stage) for run in after.active]
    sentence = f"The last advance was taken back: {listed(back)} goes on."
    draft.write(at, "stage.advance undone", sentence, actor=actor, batch=batch.batch, why=command.why)
    put_in_place(draft, batch, after, at)
    return sentence


def refuse_unmet(
    sheet: SheetPlan, batch: BatchSlot, ending: tuple[StageId, ...], why: str
) -> tuple[StageId, ...]:
    """The stages that end before they have done what they are for.

    Raises:
        RefusedError: one of them has a critical limit and there is no reason.
    """
    early: list[StageId] = []
    for stage in ending:
        plan, run = sheet.stage(stage), batch.run(stage)
        if plan is None or run is None or met(plan, run):
            continue
        early.append(stage)
        if plan.critical and has_limit(plan) and not why.strip():
            lacks = _lacks(plan, run)
            raise RefusedError(
                f"{plan.name} {lacks}, which is a critical limit. To end it all the same, say why."
            )
    return tuple(early)


def _lacks(plan: StagePlan, run: StageRun) -> str:
    if plan.target is not None and run.reached_at is None:
        return "has not reached its target"
    if plan.target is not None and plan.hold > 0 and run.hold_met_at is None:
        return "was not held at its target for long enough"
    if plan.heat is not None and (run.treatment is None or run.treatment.met_at is None):
        return f"has met no row of {plan.heat.title}"
    return "is not shown to have met its cooling checkpoints"


def sheet_or_refuse(draft: Draft, batch: BatchSlot) -> SheetPlan:
    """The batch's sheet.

    Raises:
        RefusedError: the sheet is no longer there.
    """
    sheet = draft.sheet_of(batch)
    if sheet is None:
        raise RefusedError(
            f'The batch sheet "{batch.sheet}" is no longer there. Bring it back, or scrap batch {batch.batch}.'
        )
    return sheet


def _ending(sheet: SheetPlan, batch: BatchSlot, command: AdvanceStage) -> tuple[StageId, ...]:
    active = tuple(run.stage for run in batch.active)
    if command.stage is not None:
        run = batch.run(command.stage)
        if run is None:
            raise RefusedError(
                f'Batch {batch.batch} has no stage "{command.stage}". Its stages: '
                f"{', '.join(r.stage for r in batch.stages)}."
            )
        if run.phase is not StagePhase.ACTIVE:
            how = "has not begun yet" if run.phase is StagePhase.WAITING else f"is {run.phase.value}"
            raise RefusedError(f"{named(sheet, command.stage)} {how}, so it can't be ended.")
        return (command.stage,)
    if command.begin is not None and active and all_before(sheet, command.begin).issuperset(active):
        return active
    if len(active) == 1:
        return active
    if not active:
        raise RefusedError(f"No stage of batch {batch.batch} is under way.")
    names = listed([f"{named(sheet, stage)} ({stage})" for stage in active])
    raise RefusedError(f"{names} are under way side by side. Say which of them is done.")


def _out_of_order(
    sheet: SheetPlan, batch: BatchSlot, ending: tuple[StageId, ...], command: AdvanceStage
) -> tuple[tuple[StageId, ...], tuple[StageId, ...]]:
    """What ends and what is left out so that ``command.begin`` can begin."""
    begin = command.begin
    plan, run = (sheet.stage(begin), batch.run(begin)) if begin is not None else (None, None)
    if begin is None or plan is None or run is None:
        raise RefusedError(
            f'Batch {batch.batch} has no stage "{begin}". Its stages: {", ".join(r.stage for r in batch.stages)}.'
        )
    if run.phase not in (StagePhase.WAITING, StagePhase.SKIPPED):
        raise RefusedError(f"{plan.name} is {run.phase.value} already, so it can't begin.")
    phases = {r.stage: StagePhase.DONE if r.stage in ending else r.phase for r in batch.stages}
    missing = unfinished(plan, phases)
    if (missing or run.phase is StagePhase.SKIPPED) and not command.why.strip():
        behind = f"comes after {listed([named(sheet, s) for s in missing])}" if missing else "was left out"
        raise RefusedError(
            f"{plan.name} {behind}, so it would be out of order. To begin it all the same, say why."
        )
    before = all_before(sheet, begin)
    also = tuple(r.stage for r in batch.active if r.stage in before and r.stage not in ending)
    skipped = tuple(r.stage for r in batch.stages if r.stage in before and r.phase is StagePhase.WAITING)
    return ending + also, skipped


def _gone_on(
    sheet: SheetPlan,
    batch: BatchSlot,
    ending: tuple[StageId, ...],
    skipped: tuple[StageId, ...],
    begin: tuple[StageId, ...] | None,
    at: Instant,
) -> BatchSlot:
    runs = [
        moved(run, StageMove.END, at)
        if run.stage in ending
        else moved(run, StageMove.SKIP, at)
        if run.stage in skipped
        else run
        for run in batch.stages
    ]
    beginning = ready(sheet, runs) if begin is None else begin
    runs = [moved(run, StageMove.BEGIN, at) if run.stage in beginning else run for run in runs]
    after = replace(batch, stages=tuple(runs), before=batch.stages, before_spans=batch.spans)
    if after.active:
        return after
    runs = [moved(run, StageMove.SKIP, at) if run.phase is StagePhase.WAITING else run for run in runs]
    return replace(after, stages=tuple(runs), phase=BatchPhase.ENDED, ended=at)


def _refuse_shared_role(sheet: SheetPlan, after: BatchSlot) -> None:
    seen: dict[str, StagePlan] = {}
    for run in after.active:
        plan = sheet.stage(run.stage)
        if plan is None:
            continue
        other = seen.setdefault(plan.role, plan)
        if other is not plan:
            raise RefusedError(
                f"{other.name} and {plan.name} would watch the same probe side by side. End {other.name} first."
            )


def _record(
    draft: Draft,
    sheet: SheetPlan,
    before: BatchSlot,
    after: BatchSlot,
    actor: Actor,
    at: Instant,
    why: str,
    early: tuple[StageId, ...],
    skipped: tuple[StageId, ...],
) -> str:
    was = {run.stage for run in before.active}
    now = {run.stage for run in after.active}
    over = [run.stage for run in before.active if run.stage not in now]
    begun = [named(sheet, run.stage) for run in after.active if run.stage not in was]
    done = [named(sheet, stage) for stage in over if stage not in early]
    parts = [f"{listed(done)} ended"] if done else []
    parts += [f"{named(sheet, stage)} ended before its target" for stage in over if stage in early]
    if skipped:
        parts.append(f"{listed([named(sheet, stage) for stage in skipped])} left out")
    if begun:
        parts.append(f"{listed(begun)} began")
    sentence = f"{'Stages' if len(over) > 1 else 'Stage'} {', '.join(parts)}."
    if not after.running:
        sentence += f" Batch {after.batch} is finished."
    stage = over[0]
    facts: list[Fact] = [("early", bool(early)), ("out of order", bool(skipped))]
    ended_run = before.run(stage)
    if ended_run is not None:
        facts += [
            ("reached_at", ended_run.reached_at),
            ("hold_met_at", ended_run.hold_met_at),
            ("lowest", ended_run.lowest),
            ("highest", ended_run.highest),
        ]
    draft.write(
        at,
        "stage.advanced",
        sentence,
        actor=actor,
        batch=after.batch,
        subject=stage,
        why=why,
        facts=tuple(facts),
    )
    if not after.running:
        draft.write(
            at, "batch.ended", f"Batch {after.batch} is finished.", actor=actor, batch=after.batch, why=why
        )
    put_in_place(draft, before, after, at)
    return sentence


def _restored(sheet: SheetPlan | None, run: StageRun) -> StageRun:
    """As it was before; its hold doesn't go on over what nobody assessed, nor does it go on by itself again."""
    if run.phase is not StagePhase.ACTIVE:
        return run
    plan = sheet.stage(run.stage) if sheet is not None else None
    by_itself = (
        plan is not None
        and plan.advance is not Advance.HAND
        and (plan.advance is Advance.TIME or met(plan, run))
    )
    return replace(unbelieved(broken(run)), awaiting_confirm=run.awaiting_confirm or by_itself)
