"""Too long: a stage must be over within a time. The alarm stands until it is."""

from __future__ import annotations

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import Priority, StagePlan
from rimekeeper.core.state import StageRun, WatchPhase, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import AlarmWords, Found, Moment, StageCheck, running_since


def _look(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
    due = _due(stage, run, watch, moment.allowed_gap)
    if due is None or due > moment.at or moment.celsius is not None:
        return None
    return Found(run, WatchSlot("", WatchPhase.ABNORMAL, since=moment.at, began=moment.at))


def _due(stage: StagePlan, run: StageRun, watch: WatchSlot | None, _allowed_gap: Millis) -> Instant | None:
    return None if watch is not None else running_since(run, stage.stay_at_most)


def _words(_stage: StagePlan) -> AlarmWords:
    return AlarmWords(
        "in this stage for longer than the sheet allows", "Go on to the next stage.", Priority.MEDIUM
    )


CHECK = StageCheck("long", _look, _due, _words)
