"""Ceiling and floor of a stage: the same watcher as a station's limits."""

from __future__ import annotations

from collections.abc import Callable

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import LimitPlan, StagePlan
from rimekeeper.core.state import StageRun, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import (
    AlarmWords,
    Found,
    Look,
    Moment,
    StageCheck,
    limit_words,
)
from rimekeeper.core.watching.limits import Lie, elapsed, lie, observed, on_delay_end


def _look_at(limit_of: Callable[[StagePlan], LimitPlan | None]) -> Look:
    def look(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
        limit = limit_of(stage)
        if limit is None:
            return None
        if moment.celsius is None:
            return None if watch is None else Found(run, elapsed(watch, moment.at))
        if watch is None:
            if lie(limit, moment.celsius) is not Lie.BEYOND:
                return None
            watch = WatchSlot("")
        return Found(run, observed(limit, watch, moment.at, moment.celsius))

    return look


def _due(_stage: StagePlan, _run: StageRun, watch: WatchSlot | None, _allowed_gap: Millis) -> Instant | None:
    return on_delay_end(watch)


def _ceiling(stage: StagePlan) -> LimitPlan | None:
    return stage.ceiling


def _floor(stage: StagePlan) -> LimitPlan | None:
    return stage.floor


def _words_of(
    limit_of: Callable[[StagePlan], LimitPlan | None], what: str
) -> Callable[[StagePlan], AlarmWords]:
    return lambda stage: limit_words(what, limit_of(stage))


CEILING = StageCheck(
    "ceiling", _look_at(_ceiling), _due, _words_of(_ceiling, "above its ceiling"), quiet_on_hold=True
)
FLOOR = StageCheck("floor", _look_at(_floor), _due, _words_of(_floor, "below its floor"), quiet_on_hold=True)
