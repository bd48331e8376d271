"""Beginning a batch: its sheet, its probes, its first stages."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import StartBatch
from rimekeeper.core.model import Actor, BatchId, Instant, ProbeId, RoleId
from rimekeeper.core.plan import SheetPlan
from rimekeeper.core.state import BatchPhase, BatchSlot, StageRun
from rimekeeper.core.tracking.order import ready
from rimekeeper.core.tracking.phases import StageMove, moved
from rimekeeper.core.tracking.staging import put_in_place
from rimekeeper.core.tracking.words import listed, named
from rimekeeper.core.watching.measuring import refuse_tested

FINISHED_KEPT = 50
"""So many finished batches stay in the state; the store keeps them all."""


def start(draft: Draft, command: StartBatch, actor: Actor, at: Instant) -> tuple[str, BatchId]:
    """Begin a batch. Returns what was done and its id.

    Raises:
        RefusedError: unknown sheet, role or probe; a role left unbound; a probe that is not free.
    """
    sheet = draft.plan.sheets.get(command.sheet)
    if sheet is None:
        known = ", ".join(sorted(draft.plan.sheets)) or "none"
        raise RefusedError(f'There is no batch sheet "{command.sheet}". Sheets here: {known}.')
    bindings = _bindings(draft, sheet, command)
    number = draft.clock.batches + 1
    draft.put_clock(replace(draft.clock, batches=number))
    batch = BatchId(f"{sheet.id}-{number}")
    waiting = tuple(StageRun(stage.id) for stage in sheet.stages)
    first = ready(sheet, waiting)
    slot = BatchSlot(
        batch=batch,
        sheet=sheet.id,
        lot=command.lot,
        phase=BatchPhase.RUNNING,
        began=at,
        bindings=bindings,
        stages=tuple(moved(run, StageMove.BEGIN, at) if run.stage in first else run for run in waiting),
        last_by=actor,
        notes=(command.note,) if command.note else (),
    )
    lot = f", lot {command.lot}" if command.lot else ""
    began = listed([named(sheet, stage) for stage in first])
    sentence = f"{sheet.name} was started as batch {batch}{lot}. {began} began."
    draft.write(
        at,
        "batch.started",
        sentence,
        actor=actor,
        batch=batch,
        why=command.note,
        facts=(
            ("sheet", sheet.id),
            ("lot", command.lot),
            *((f"probe of {role}", probe) for role, probe in bindings),
        ),
    )
    put_in_place(draft, None, slot, at)
    _forget_finished(draft)
    return sentence, batch


def _bindings(draft: Draft, sheet: SheetPlan, command: StartBatch) -> tuple[tuple[RoleId, ProbeId], ...]:
    roles = {role.id: role.name for role in sheet.roles}
    bound: dict[RoleId, ProbeId] = {}
    for role, probe in command.bindings:
        if role not in roles:
            raise RefusedError(f'{sheet.name} has no role "{role}". Its roles: {", ".join(roles)}.')
        if role in bound:
            raise RefusedError(f"{roles[role]} ({role}) is given two probes. Give it one.")
        if probe not in draft.plan.probes:
            known = ", ".join(sorted(draft.plan.probes)) or "none"
            raise RefusedError(f'There is no probe "{probe}". Probes here: {known}.')
        if probe in bound.values():
            raise RefusedError(
                f"Probe {draft.probe_name(probe)} is given to two roles. Give every role a probe of its own."
            )
        holder = draft.batch_holding(probe)
        if holder is not None:
            raise RefusedError(
                f"Probe {draft.probe_name(probe)} belongs to batch {holder}, which is still running. "
                "Take another probe, or end that batch first."
            )
        refuse_tested(draft, probe)
        bound[role] = probe
    unbound = [f"{name} ({role})" for role, name in roles.items() if role not in bound]
    if unbound:
        raise RefusedError(f"No probe is named for {listed(unbound)}. Say which probe it is for every role.")
    return tuple((role, bound[role]) for role in roles)


def _forget_finished(draft: Draft) -> None:
    finished = [b for b in draft.batches.values() if not b.running]
    finished.sort(key=lambda b: (b.ended if b.ended is not None else b.began, b.batch))
    for batch in finished[:-FINISHED_KEPT]:
        # One that ended in this very step must first be stored as ended.
        if f"batch/{batch.batch}" not in draft.changed:
            draft.forget_batch(batch.batch)
