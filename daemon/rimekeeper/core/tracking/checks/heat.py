"""Heat treatment: which rows of the stage's time-temperature table the cook has met, with the uncertainty against it."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.process.lethality import begun, interrupted, treated
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import Found, Moment, StageCheck


def _look(stage: StagePlan, run: StageRun, _watch: WatchSlot | None, moment: Moment) -> Found | None:
    if stage.heat is None or moment.celsius is None:
        return None
    before = run.treatment if run.treatment is not None else begun(stage.heat)
    after = treated(stage.heat, before, moment.at, moment.celsius, moment.uncertainty, moment.allowed_gap)
    first = before.met_at is None and after.met_at is not None
    # A stage that also asks for a hold says that it is done when that is met.
    prompts = (PromptKind.HOLD_DONE,) if first and stage.hold <= 0 else ()
    return Found(replace(run, treatment=after), prompts=prompts)


def unbelieved(run: StageRun) -> StageRun:
    """The run after a reading that can't be believed: every row begins anew."""
    treatment = run.treatment
    if treatment is None or treatment.last_at is None:
        return run
    return replace(run, treatment=interrupted(treatment))


CHECK = StageCheck("heat", _look)
