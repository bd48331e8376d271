"""What every stage check is: one look with one signature, and when it wants to look without a reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import Approach, LimitPlan, Priority, StagePlan
from rimekeeper.core.process.forecast import Forecast
from rimekeeper.core.state import StageRun, WatchSlot


@dataclass(frozen=True, slots=True)
class Moment:
    """What a check sees: a good reading in its time, or (``celsius`` None) only that time has passed."""

    at: Instant
    celsius: float | None
    allowed_gap: Millis
    """Readings farther apart than this (the probe's ``silent_after``) don't prove what was between them."""
    forecast: Forecast | None = None


@dataclass(frozen=True, slots=True)
class Found:
    """What a look changes. ``ends``: the stage ends now by itself."""

    run: StageRun
    watch: WatchSlot | None = None
    prompts: tuple[PromptKind, ...] = ()
    ends: bool = False


@dataclass(frozen=True, slots=True)
class AlarmWords:
    """What an alarm of a check says."""

    what: str
    action: str
    priority: Priority
    limit_celsius: float | None = None


def no_alarm(stage: StagePlan) -> AlarmWords:
    """For checks that raise none; plain words all the same, should one ever do."""
    return AlarmWords(f"something is not as it should be in {stage.name}", "Have a look.", Priority.MEDIUM)


Look = Callable[[StagePlan, StageRun, WatchSlot | None, Moment], Found | None]
"""(stage, its run, the check's watch if it isn't normal, what is seen) -> what changes, or None for nothing."""
Due = Callable[[StagePlan, StageRun, WatchSlot | None, Millis], Instant | None]
"""(stage, its run, the check's watch, allowed gap) -> when it must look though no reading comes, or None."""


def never(
    _stage: StagePlan, _run: StageRun, _watch: WatchSlot | None, _allowed_gap: Millis
) -> Instant | None:
    """For checks that only look at readings."""
    return None


@dataclass(frozen=True, slots=True)
class StageCheck:
    """One check. ``name`` ends the key of its watch and alarm: ``stage/<batch>/<stage>/<name>``."""

    name: str
    look: Look
    due: Due = never
    words: Callable[[StagePlan], AlarmWords] = no_alarm
    waits_for_readings: bool = True
    """Whether its deadline waits for readings that are as late on their way as the probe's last one was."""
    quiet_on_hold: bool = False
    """Whether its alarm ends while the batch is on hold (what it watches is not meant to be kept then)."""


def in_band(stage: StagePlan, celsius: float) -> bool:
    """Whether the value meets the target, with its band.

    RISING (met from below): at or above the lower edge. FALLING (met from above): at or below the upper edge.
    WITHIN: between both.
    """
    if stage.target is None:
        return False
    target, band = stage.target.celsius, stage.band.kelvin
    return (stage.approach is Approach.FALLING or celsius >= target - band) and (
        stage.approach is Approach.RISING or celsius <= target + band
    )


def met(stage: StagePlan, run: StageRun) -> bool:
    """Whether the stage did what it is for: target reached, and held where a hold is asked for."""
    if stage.target is None:
        return True
    return run.reached_at is not None and (stage.hold <= 0 or run.hold_met_at is not None)


def running_since(run: StageRun, length: Millis | None) -> Instant | None:
    """When a stage has been under way for ``length``, not counting time on hold."""
    if length is None or run.began is None:
        return None
    return Instant(run.began + run.paused + length)


def limit_words(what: str, limit: LimitPlan | None) -> AlarmWords:
    """The words of a crossed limit."""
    if limit is None:
        return AlarmWords(what, "", Priority.HIGH)
    return AlarmWords(what, limit.action, limit.priority, limit.limit.celsius)
