"""The order of a sheet's stages: what comes before what, what may begin, what a jump leaves out."""

from __future__ import annotations

from collections.abc import Iterable

from rimekeeper.core.model import StageId
from rimekeeper.core.plan import SheetPlan, StagePlan
from rimekeeper.core.state import StagePhase, StageRun
from rimekeeper.core.tracking.phases import FINISHED


def ready(sheet: SheetPlan, runs: Iterable[StageRun]) -> tuple[StageId, ...]:
    """The waiting stages whose predecessors are all finished, in the order of the sheet."""
    phases = {run.stage: run.phase for run in runs}
    return tuple(
        stage.id
        for stage in sheet.stages
        if phases.get(stage.id) is StagePhase.WAITING and not unfinished(stage, phases)
    )


def unfinished(stage: StagePlan, phases: dict[StageId, StagePhase]) -> tuple[StageId, ...]:
    """The predecessors of a stage that aren't finished."""
    return tuple(before for before in stage.after if phases.get(before) not in FINISHED)


def all_before(sheet: SheetPlan, stage: StageId) -> frozenset[StageId]:
    """Every stage that comes before this one, near and far."""
    found: set[StageId] = set()
    todo = [stage]
    while todo:
        plan = sheet.stage(todo.pop())
        for before in plan.after if plan is not None else ():
            if before not in found:
                found.add(before)
                todo.append(before)
    return frozenset(found)
