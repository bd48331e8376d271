"""Too slow: the target must be reached within a time. The alarm stands until it is."""

from __future__ import annotations

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import Priority, StagePlan
from rimekeeper.core.state import StageRun, WatchPhase, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import AlarmWords, Found, Moment, StageCheck, running_since


def _look(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
    if watch is not None:
        return Found(run, WatchSlot("")) if run.reached_at is not None else None
    due = _due(stage, run, watch, moment.allowed_gap)
    if due is None or due > moment.at or moment.celsius is not None:
        return None
    return Found(run, WatchSlot("", WatchPhase.ABNORMAL, since=moment.at, began=moment.at))


def _due(stage: StagePlan, run: StageRun, watch: WatchSlot | None, allowed_gap: Millis) -> Instant | None:
    """At the end of its time; where the value is in the band by then, after it had the time to settle."""
    due = running_since(run, stage.reach_within)
    if due is None or watch is not None or run.reached_at is not None:
        return None
    if run.in_band_since is not None and run.in_band_since <= due:
        return Instant(due + stage.settle + allowed_gap)
    return due


def _words(_stage: StagePlan) -> AlarmWords:
    return AlarmWords(
        "slower to its target than the sheet allows",
        "See what holds it up, and decide what becomes of the batch.",
        Priority.MEDIUM,
    )


CHECK = StageCheck("slow", _look, _due, _words)
