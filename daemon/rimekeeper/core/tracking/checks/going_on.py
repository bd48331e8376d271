"""Going on by itself: when the target is there (and held), after a confirmation, or when the time is up.

A stage that somebody brought back by an undo waits for a person (``awaiting_confirm``), whatever its sheet says.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import Advance, StagePlan
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import (
    Found,
    Moment,
    StageCheck,
    has_limit,
    met,
    running_since,
)


def _look(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
    if run.awaiting_confirm or stage.advance is Advance.HAND:
        return None
    if stage.advance is Advance.TIME:
        due = _due(stage, run, watch, moment.allowed_gap)
        if moment.celsius is not None or due is None or due > moment.at:
            return None
        return Found(run, prompts=(PromptKind.TIME_UP,), ends=True)
    if moment.celsius is None or not has_limit(stage) or not met(stage, run):
        return None
    if stage.advance is Advance.TARGET:
        return Found(run, ends=True)
    return Found(replace(run, awaiting_confirm=True), prompts=(PromptKind.CONFIRM,))


def _due(stage: StagePlan, run: StageRun, _watch: WatchSlot | None, _allowed_gap: Millis) -> Instant | None:
    if stage.advance is not Advance.TIME or run.awaiting_confirm:
        return None
    return running_since(run, stage.lasts)


CHECK = StageCheck("going-on", _look, _due, waits_for_readings=False)
