"""What people ask for: each command is carried out or refused, and answered once."""

from __future__ import annotations

from typing import TypeAlias

from rimekeeper.core.alarms.slot import AlarmPhase
from rimekeeper.core.alarms.standing import acknowledge
from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import (
    Acknowledge,
    AdvanceStage,
    BeginTest,
    Calibrate,
    CommandAnswered,
    CommandGiven,
    EndBatch,
    EndTest,
    HoldBatch,
    KeepPlunge,
    NoteBatch,
    ResumeBatch,
    RetimeStage,
    ScrapBatch,
    StartBatch,
    UndoAdvance,
)
from rimekeeper.core.model import Actor, BatchId, Instant
from rimekeeper.core.state import BatchSlot
from rimekeeper.core.tracking import advancing, changing, retiming, starting
from rimekeeper.core.tracking.stages import settle_batch
from rimekeeper.core.tracking.words import listed
from rimekeeper.core.watching.measuring import carry_out_for_probe

BatchCommand: TypeAlias = (
    AdvanceStage | UndoAdvance | HoldBatch | ResumeBatch | NoteBatch | ScrapBatch | EndBatch | RetimeStage
)


def carry_out(draft: Draft, given: CommandGiven) -> None:
    """Carry out a command or refuse it with a sentence; refused, it changes nothing."""
    command, actor, at = given.command, given.actor, given.at
    batch: BatchId | None = None
    record: int | None = None
    try:
        if isinstance(command, StartBatch):
            sentence, batch = starting.start(draft, command, actor, at)
        elif isinstance(command, Acknowledge):
            sentence = _acknowledged(draft, command, actor, at)
        elif isinstance(command, BeginTest | EndTest | Calibrate | KeepPlunge):
            sentence = carry_out_for_probe(draft, command, actor, at)
            record = draft.clock.records if isinstance(command, Calibrate | KeepPlunge) else None
        else:
            batch = command.batch
            sentence = _with_batch(draft, command, actor, at)
    except RefusedError as refusal:
        draft.say(CommandAnswered(given.ticket, accepted=False, sentence=str(refusal), batch=batch))
        return
    draft.say(CommandAnswered(given.ticket, accepted=True, sentence=sentence, batch=batch, record=record))


def _with_batch(draft: Draft, command: BatchCommand, actor: Actor, at: Instant) -> str:  # noqa: PLR0911
    if command.batch in draft.batches:
        settle_batch(draft, command.batch, at)
    batch = _batch(draft, command.batch)
    match command:
        case AdvanceStage():
            return advancing.advance(draft, batch, command, actor, at)
        case UndoAdvance():
            return advancing.undo(draft, batch, command, actor, at)
        case HoldBatch():
            return changing.hold(draft, batch, command, actor, at)
        case ResumeBatch():
            return changing.resume(draft, batch, command, actor, at)
        case NoteBatch():
            return changing.note(draft, batch, command, actor, at)
        case ScrapBatch():
            return changing.scrap(draft, batch, command, actor, at)
        case EndBatch():
            return changing.end(draft, batch, command, actor, at)
        case RetimeStage():
            return retiming.retime(draft, batch, command, actor, at)


def _batch(draft: Draft, batch: BatchId) -> BatchSlot:
    found = draft.batches.get(batch)
    if found is None:
        running = ", ".join(sorted(b.batch for b in draft.batches.values() if b.running)) or "none"
        raise RefusedError(f'There is no batch "{batch}". Running now: {running}.')
    return found


def _acknowledged(draft: Draft, command: Acknowledge, actor: Actor, at: Instant) -> str:
    if not command.alarm:
        waiting = [a for a in draft.alarms.values() if a.phase is not AlarmPhase.ACKNOWLEDGED]
        if not waiting:
            raise RefusedError("No alarm is waiting to be acknowledged.")
        waiting.sort(key=lambda a: a.key)
        for alarm in waiting:
            acknowledge(draft, alarm.key, actor, at, command.note)
        return f"Acknowledged: {listed([f'{a.where}, {a.what}' for a in waiting])}."
    standing = draft.alarms.get(command.alarm)
    if standing is None:
        keys = ", ".join(sorted(draft.alarms)) or "none"
        raise RefusedError(f'There is no alarm "{command.alarm}". Standing now: {keys}.')
    if not acknowledge(draft, command.alarm, actor, at, command.note):
        raise RefusedError(f"{standing.where}: {standing.acknowledged_by} has acknowledged this already.")
    return f"Acknowledged: {standing.where}, {standing.what}."
