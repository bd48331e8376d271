"""What else a person may do with a batch: hold and resume, note, end, scrap."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import EndBatch, HoldBatch, NoteBatch, ResumeBatch, ScrapBatch
from rimekeeper.core.model import Actor, Instant, Millis, StageId
from rimekeeper.core.state import BatchPhase, BatchSlot, StagePhase, StageRun
from rimekeeper.core.tracking.advancing import refuse_unmet
from rimekeeper.core.tracking.checks.target import broken
from rimekeeper.core.tracking.phases import BatchMove, StageMove, batch_after, moved
from rimekeeper.core.tracking.staging import put_in_place, quieten
from rimekeeper.core.tracking.words import listed, named


def hold(draft: Draft, batch: BatchSlot, command: HoldBatch, actor: Actor, at: Instant) -> str:
    """Pause. Timers stand still; a hold at temperature is broken; ceilings and floors are not watched.

    Raises:
        RefusedError: it isn't running.
    """
    phase = batch_after(batch, BatchMove.HOLD)
    sentence = f"Batch {batch.batch} was put on hold."
    draft.write(at, "batch.held", sentence, actor=actor, batch=batch.batch, why=command.why)
    stages = tuple(broken(run) if run.phase is StagePhase.ACTIVE else run for run in batch.stages)
    put_in_place(draft, batch, replace(batch, phase=phase, held_since=at, stages=stages, last_by=actor), at)
    for run in batch.active:
        quieten(draft, batch.batch, run.stage, at, "the batch is on hold", for_hold=True)
    return sentence


def resume(draft: Draft, batch: BatchSlot, _command: ResumeBatch, actor: Actor, at: Instant) -> str:
    """Go on.

    Raises:
        RefusedError: it isn't on hold.
    """
    phase = batch_after(batch, BatchMove.RESUME)
    held = batch.held_since if batch.held_since is not None else at
    after = replace(
        batch,
        phase=phase,
        held_since=None,
        stages=_paused(batch.stages, held, at),
        before=None if batch.before is None else _paused(batch.before, held, at),
        last_by=actor,
    )
    sentence = f"Batch {batch.batch} goes on after a hold."
    draft.write(
        at,
        "batch.resumed",
        sentence,
        actor=actor,
        batch=batch.batch,
        facts=(("held_ms", max(0, at - held)),),
    )
    put_in_place(draft, batch, after, at)
    return sentence


def note(draft: Draft, batch: BatchSlot, command: NoteBatch, actor: Actor, at: Instant) -> str:
    """Write something down; also about a batch that is over.

    Raises:
        RefusedError: there is no text.
    """
    text = command.text.strip()
    if not text:
        raise RefusedError("The note is empty; write what is to be remembered.")
    draft.write(at, "batch.noted", text, actor=actor, batch=batch.batch)
    draft.put_batch(replace(batch, notes=(*batch.notes, text)), restaged=False)
    return f"Noted for batch {batch.batch}."


def scrap(draft: Draft, batch: BatchSlot, command: ScrapBatch, actor: Actor, at: Instant) -> str:
    """Throw the batch away.

    Raises:
        RefusedError: it is over, or there is no reason.
    """
    phase = batch_after(batch, BatchMove.SCRAP)
    if not command.why.strip():
        raise RefusedError(f"To scrap batch {batch.batch}, say why: the record needs the reason.")
    sentence = f"Batch {batch.batch} was scrapped."
    draft.write(at, "batch.scrapped", sentence, actor=actor, batch=batch.batch, why=command.why)
    put_in_place(draft, batch, _over(batch, phase, StageMove.ABANDON, actor, at), at)
    return sentence


def end(draft: Draft, batch: BatchSlot, command: EndBatch, actor: Actor, at: Instant) -> str:
    """Finish the batch.

    Raises:
        RefusedError: it is over, or stages are left (or a critical limit isn't met) and there is no reason.
    """
    phase = batch_after(batch, BatchMove.END)
    sheet = draft.sheet_of(batch)
    waiting = [named(sheet, run.stage) for run in batch.stages if run.phase is StagePhase.WAITING]
    if waiting and not command.why.strip():
        raise RefusedError(
            f"Batch {batch.batch} has not been through {listed(waiting)}. To end it all the same, say why."
        )
    early: tuple[StageId, ...] = ()
    if sheet is not None:
        early = refuse_unmet(sheet, batch, tuple(run.stage for run in batch.active), command.why)
    sentence = f"Batch {batch.batch} was ended."
    if waiting:
        sentence = f"Batch {batch.batch} was ended without {listed(waiting)}."
    if early:
        sentence += f" {listed([named(sheet, stage) for stage in early])} ended before its target."
    draft.write(
        at,
        "batch.ended",
        sentence,
        actor=actor,
        batch=batch.batch,
        why=command.why,
        facts=(("early", bool(early)),),
    )
    put_in_place(draft, batch, _over(batch, phase, StageMove.END, actor, at), at)
    return sentence


def _over(batch: BatchSlot, phase: BatchPhase, move: StageMove, actor: Actor, at: Instant) -> BatchSlot:
    """The batch when it is over: nothing of it is under way and nothing can be taken back."""
    return replace(
        batch,
        phase=phase,
        ended=at,
        held_since=None,
        stages=tuple(_left(run, move, at) for run in batch.stages),
        before=None,
        before_spans=None,
        last_by=actor,
    )


def _left(run: StageRun, move: StageMove, at: Instant) -> StageRun:
    if run.phase is StagePhase.ACTIVE:
        return moved(run, move, at)
    return moved(run, StageMove.SKIP, at) if run.phase is StagePhase.WAITING else run


def _paused(runs: tuple[StageRun, ...], since: Instant, until: Instant) -> tuple[StageRun, ...]:
    return tuple(
        replace(run, paused=Millis(run.paused + max(0, until - max(since, run.began))))
        if run.phase is StagePhase.ACTIVE and run.began is not None
        else run
        for run in runs
    )
