"""Cooling: the checkpoints of the stage's rule. An alarm stands from the first one that is missed."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import Priority, StagePlan
from rimekeeper.core.process.cooling import begun, cooled, next_checkpoint
from rimekeeper.core.state import StageRun, WatchPhase, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import AlarmWords, Found, Moment, StageCheck


def _look(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
    rule = stage.cooling
    if rule is None:
        return None
    if moment.celsius is None:
        due = _due(stage, run, watch, moment.allowed_gap)
        return None if due is None or due > moment.at else Found(run, _missed(moment.at))
    course = cooled(
        rule,
        run.cooling if run.cooling is not None else begun(rule),
        moment.at,
        moment.celsius,
        moment.uncertainty,
    )
    after = replace(run, cooling=course)
    following = next_checkpoint(rule, course)
    late = following is not None and moment.at > following[1]
    if late and watch is None:
        return Found(after, _missed(moment.at))
    if watch is not None and course.started_at is None:
        # It was heated again, so that the clock waits for it to fall through once more.
        return Found(after, WatchSlot(""))
    return Found(after)


def _missed(at: Instant) -> WatchSlot:
    return WatchSlot("", WatchPhase.ABNORMAL, since=at, began=at)


def _due(stage: StagePlan, run: StageRun, watch: WatchSlot | None, _allowed_gap: Millis) -> Instant | None:
    """The moment after the next checkpoint's deadline, by which a reading should have shown it met."""
    if stage.cooling is None or run.cooling is None or watch is not None:
        return None
    following = next_checkpoint(stage.cooling, run.cooling)
    return None if following is None else Instant(following[1] + 1)


def _words(stage: StagePlan) -> AlarmWords:
    name = stage.cooling.title if stage.cooling is not None else "its rule"
    return AlarmWords(
        f"not shown to be cold enough at a checkpoint ({name})",
        "Decide by your food-safety plan what becomes of it: reheat it as the plan says, or throw it away.",
        Priority.CRITICAL,
    )


CHECK = StageCheck("cooling", _look, _due, _words)
