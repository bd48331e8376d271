"""Somebody tapped late: when a stage really began. The curve is tagged anew; no value is touched."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import RetimeStage
from rimekeeper.core.model import HOUR, Actor, Instant, StageId
from rimekeeper.core.process.cooling import CoolingCourse
from rimekeeper.core.state import BatchSlot, StageRun
from rimekeeper.core.tracking.advancing import sheet_or_refuse
from rimekeeper.core.tracking.staging import put_in_place

EARLIEST = 24 * HOUR
"""So far before its tap the first stage of a batch may be said to have begun."""


def retime(draft: Draft, batch: BatchSlot, command: RetimeStage, actor: Actor, at: Instant) -> str:
    """Move the begin of a stage, and with it the end of those that ended at that moment.

    Raises:
        RefusedError: the stage hasn't begun, or the new begin doesn't lie between what came before and after.
    """
    sheet = sheet_or_refuse(draft, batch)
    plan, run = sheet.stage(command.stage), batch.run(command.stage)
    if plan is None or run is None:
        raise RefusedError(
            f'Batch {batch.batch} has no stage "{command.stage}". Its stages: '
            f"{', '.join(r.stage for r in batch.stages)}."
        )
    if run.began is None:
        raise RefusedError(f"{plan.name} has not begun yet, so there is no begin to correct.")
    old, new = run.began, command.began
    if new == old:
        raise RefusedError(f"{plan.name} began just then already; nothing was changed.")
    latest = run.ended if run.ended is not None else at
    if new >= latest:
        raise RefusedError(
            f"{plan.name} can't have begun as late as that: it was over by then, or it lies ahead."
        )
    ended_then = {r.stage for r in batch.stages if r.ended == old and r.stage != run.stage}
    for other in batch.stages:
        if other.stage in ended_then and other.began is not None and new <= other.began:
            name = next((s.name for s in sheet.stages if s.id == other.stage), other.stage)
            raise RefusedError(
                f"{plan.name} can't have begun as early as that: {name} before it would have had no time at all."
            )
    if not ended_then:
        _refuse_too_early(draft, batch, plan.name, old, new)
    stages = tuple(_moved(r, command, ended_then) for r in batch.stages)
    began = [r.began for r in stages if r.began is not None]
    after = replace(
        batch,
        began=min(began, default=batch.began),
        stages=stages,
        before=None,
        before_spans=None,
        last_by=actor,
    )
    sentence = f"{plan.name} really began at another time than was tapped; its curve was tagged anew."
    draft.write(
        at,
        "stage.retimed",
        sentence,
        actor=actor,
        batch=batch.batch,
        subject=run.stage,
        why=command.why,
        facts=(("from", old), ("to", new)),
    )
    put_in_place(draft, batch, after, at)
    return sentence


def _refuse_too_early(draft: Draft, batch: BatchSlot, name: str, old: Instant, new: Instant) -> None:
    if new < old - EARLIEST:
        raise RefusedError(f"{name} can't be said to have begun more than a day before it was tapped.")
    if old > batch.began:
        if new < batch.began:
            raise RefusedError(f"{name} can't have begun before the batch did.")
        return
    probes = {probe for _, probe in batch.bindings}
    for other in draft.batches.values():
        for span in other.spans:
            theirs = other.batch != batch.batch and span.probe in probes and span.begins < old
            if theirs and (span.ends is None or span.ends > new):
                raise RefusedError(
                    f"{name} can't have begun as early as that: probe {draft.probe_name(span.probe)} "
                    f"still belonged to batch {other.batch}."
                )


def _moved(run: StageRun, command: RetimeStage, ended_then: set[StageId]) -> StageRun:
    if run.stage in ended_then:
        return replace(run, ended=command.began)
    if run.stage != command.stage:
        return run
    # What was found before the stage really began wasn't this stage's; what was missed is for the review.
    began = command.began
    later = run.began is not None and began > run.began
    return replace(
        run,
        began=began,
        treatment=None if later else run.treatment,
        cooling=_since(run.cooling, began),
        reached_at=run.reached_at if run.reached_at is None or run.reached_at >= began else None,
        hold_met_at=None if run.reached_at is not None and run.reached_at < began else run.hold_met_at,
        in_band_since=None if run.in_band_since is None or run.in_band_since < began else run.in_band_since,
        in_band_last=None if run.in_band_since is None or run.in_band_since < began else run.in_band_last,
    )


def _since(course: CoolingCourse | None, began: Instant) -> CoolingCourse | None:
    """Its clock is the product's and stays; a checkpoint counts only from where the stage began."""
    if course is None:
        return None
    return replace(course, met=tuple(None if at is None or at < began else at for at in course.met))
