"""Cooling: the checkpoints of the stage's rule. A warning while one will be missed, an alarm once one is."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, Instant, Millis
from rimekeeper.core.plan import Priority, StagePlan
from rimekeeper.core.process.cooling import begun, cooled, next_checkpoint
from rimekeeper.core.process.forecast import Outlook
from rimekeeper.core.state import StageRun, WatchPhase, WatchSlot
from rimekeeper.core.tracking.checks.stage_check import AlarmWords, Found, Moment, StageCheck
from rimekeeper.core.watching.limits import elapsed, on_delay_end

PATIENCE = Millis(5 * MINUTE)
"""So long a forecast must say that a checkpoint will be missed before somebody is called (our choice)."""

TOO_SOON = 3
"""That it never gets there at all is believed after one part in so many of the time allowed: a bowl that is stirred or
moved levels off for a while (measured on the simulated kitchen: 1 false warning in 3 cooling runs without this)."""


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


def _look_ahead(stage: StagePlan, run: StageRun, watch: WatchSlot | None, moment: Moment) -> Found | None:
    """Whether the next checkpoint will be made; a warning once it has looked bad for a while."""
    if stage.cooling is None or run.cooling is None:
        return None
    following = next_checkpoint(stage.cooling, run.cooling)
    if following is None or moment.at > following[1]:
        late: bool | None = False  # made, or missed: then the other check has the word
    else:
        point, deadline = following
        believed = Instant(deadline - point.within + point.within // TOO_SOON)
        late = _late(moment, deadline, believed) if moment.celsius is not None else None
    if watch is None:
        return Found(run, _doubted(moment.at)) if late else None
    return Found(run, WatchSlot("") if late is False else elapsed(watch, moment.at))


def _doubted(at: Instant) -> WatchSlot:
    return WatchSlot("", WatchPhase.ENTERING, since=at, began=at, due=Instant(at + PATIENCE))


def _late(moment: Moment, deadline: Instant, believed: Instant) -> bool | None:
    """Whether it comes too late as things stand; None while nobody can say."""
    made = moment.checkpoint
    if made is None or made.outlook in (Outlook.UNSETTLED, Outlook.STALE):
        return None
    if made.outlook is Outlook.ARRIVES and made.expected is not None:
        return made.expected > deadline
    return made.outlook is not Outlook.THERE and moment.at >= believed


def _due_ahead(
    stage: StagePlan, _run: StageRun, watch: WatchSlot | None, _allowed_gap: Millis
) -> Instant | None:
    return on_delay_end(watch) if stage.cooling is not None else None


def _words_ahead(_stage: StagePlan) -> AlarmWords:
    return AlarmWords(
        "cooling too slowly to make its next checkpoint",
        "Help it now: an ice bath, smaller portions, a shallow pan, a stir.",
        Priority.HIGH,
    )


AHEAD = StageCheck("cooling-ahead", _look_ahead, _due_ahead, _words_ahead, quiet_on_hold=True)
