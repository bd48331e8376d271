"""Which moves of a stage and of a batch are legal: two visible tables.

========  ======  =====  =======  =========
stage     begin   end    skip     abandon
========  ======  =====  =======  =========
waiting   active  --     skipped  --
active    --      done   --       abandoned
skipped   active  --     --       --
========  ======  =====  =======  =========

=======  ======  =======  =======  ========  =======
batch    hold    resume   end      scrap     restore
=======  ======  =======  =======  ========  =======
running  held    --       ended    scrapped  running
held     --      running  ended    scrapped  --
ended    --      --       --       --        running
=======  ======  =======  =======  ========  =======

What isn't there is refused. *Restore* of a batch is the undo of an advance; it puts back whole stages.
"""

from __future__ import annotations

import enum
from dataclasses import replace

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.model import Instant
from rimekeeper.core.state import BatchPhase, BatchSlot, StagePhase, StageRun


class StageMove(enum.Enum):
    """What can be done to a stage."""

    BEGIN = "begin"
    END = "end"
    SKIP = "skip"
    ABANDON = "abandon"


class BatchMove(enum.Enum):
    """What can be done to a batch; the value says that it can't."""

    HOLD = "it can't be put on hold"
    RESUME = "it can't be resumed"
    ADVANCE = "its stages can't be advanced"
    END = "it can't be ended"
    SCRAP = "it can't be scrapped"
    RESTORE = "its last advance can't be taken back"


STAGE_MOVES: dict[tuple[StagePhase, StageMove], StagePhase] = {
    (StagePhase.WAITING, StageMove.BEGIN): StagePhase.ACTIVE,
    (StagePhase.WAITING, StageMove.SKIP): StagePhase.SKIPPED,
    (StagePhase.SKIPPED, StageMove.BEGIN): StagePhase.ACTIVE,
    (StagePhase.ACTIVE, StageMove.END): StagePhase.DONE,
    (StagePhase.ACTIVE, StageMove.ABANDON): StagePhase.ABANDONED,
}

BATCH_MOVES: dict[tuple[BatchPhase, BatchMove], BatchPhase] = {
    (BatchPhase.RUNNING, BatchMove.HOLD): BatchPhase.HELD,
    (BatchPhase.RUNNING, BatchMove.ADVANCE): BatchPhase.RUNNING,
    (BatchPhase.RUNNING, BatchMove.END): BatchPhase.ENDED,
    (BatchPhase.RUNNING, BatchMove.SCRAP): BatchPhase.SCRAPPED,
    (BatchPhase.RUNNING, BatchMove.RESTORE): BatchPhase.RUNNING,
    (BatchPhase.HELD, BatchMove.RESUME): BatchPhase.RUNNING,
    (BatchPhase.HELD, BatchMove.END): BatchPhase.ENDED,
    (BatchPhase.HELD, BatchMove.SCRAP): BatchPhase.SCRAPPED,
    (BatchPhase.ENDED, BatchMove.RESTORE): BatchPhase.RUNNING,
}

FINISHED = frozenset({StagePhase.DONE, StagePhase.SKIPPED})
"""The phases that let the next stage begin."""

_HOW_IT_IS = {
    BatchPhase.RUNNING: "is running",
    BatchPhase.HELD: "is on hold",
    BatchPhase.ENDED: "has ended",
    BatchPhase.SCRAPPED: "was scrapped",
}


def batch_after(batch: BatchSlot, move: BatchMove) -> BatchPhase:
    """The phase after the move.

    Raises:
        RefusedError: the table doesn't know it.
    """
    after = BATCH_MOVES.get((batch.phase, move))
    if after is None:
        remedy = " Resume it first." if batch.phase is BatchPhase.HELD and move is not BatchMove.HOLD else ""
        raise RefusedError(f"Batch {batch.batch} {_HOW_IT_IS[batch.phase]}, so {move.value}.{remedy}")
    return after


def moved(run: StageRun, move: StageMove, at: Instant) -> StageRun:
    """The stage after the move.

    Raises:
        RefusedError: the table doesn't know it.
    """
    after = STAGE_MOVES.get((run.phase, move))
    if after is None:
        raise RefusedError(f"Stage {run.stage} is {run.phase.value}; it can't {move.value}.")
    if move is StageMove.BEGIN:
        return StageRun(run.stage, after, began=at)
    if move is StageMove.SKIP:
        return replace(run, phase=after)
    return replace(run, phase=after, ended=at, awaiting_confirm=False)
