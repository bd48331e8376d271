"""What every stage check is: one look with one signature, and when it wants to look without a reading."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import Instant, Millis, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach, LimitPlan, Priority, StagePlan
from rimekeeper.core.process.cooling import all_met
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
    uncertainty: float = 0.0
    """Expanded uncertainty (K, k = 2) of ``celsius``; counted against critical limits only."""
    checkpoint: Forecast | None = None
    """Of the next cooling checkpoint, where the stage has a cooling rule."""


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


def spare(stage: StagePlan, celsius: float, uncertainty: float = 0.0) -> float | None:
    """How far (K) the value is inside the target's band; below zero by how much it falls short.

    RISING (met from below): above the lower edge. FALLING (met from above): below the upper edge. WITHIN: from the
    nearer of both. For a critical limit the uncertainty is taken off, because the value may be that much worse.
    None for a stage without a target.
    """
    if stage.target is None:
        return None
    target, band = stage.target.celsius, stage.band.kelvin
    off = uncertainty if stage.critical else 0.0
    above, below = celsius - (target - band), (target + band) - celsius
    match stage.approach:
        case Approach.RISING:
            return above - off
        case Approach.FALLING:
            return below - off
        case Approach.WITHIN:
            return min(above, below) - off


def in_band(stage: StagePlan, celsius: float, uncertainty: float = 0.0) -> bool:
    """Whether the value meets the target, with its band and, for a critical limit, with the uncertainty against it."""
    left = spare(stage, celsius, uncertainty)
    return left is not None and left >= 0.0


def shown_target(stage: StagePlan, uncertainty: float) -> Temperature | None:
    """What the probe must show for the target to be met: beyond it by the uncertainty where it is critical."""
    if stage.target is None or not stage.critical or stage.approach is Approach.WITHIN:
        return stage.target
    step = TemperatureDifference(uncertainty)
    return stage.target + (step if stage.approach is Approach.RISING else -step)


def target_met(stage: StagePlan, run: StageRun) -> bool:
    """Whether the target was reached, and held where a hold is asked for; True where there is none."""
    return stage.target is None or (run.hold_met_at if stage.hold > 0 else run.reached_at) is not None


def met(stage: StagePlan, run: StageRun) -> bool:
    """Whether the stage did what it is for: target reached and held, a row of its heat table, every checkpoint."""
    if not target_met(stage, run):
        return False
    if stage.heat is not None and (run.treatment is None or run.treatment.met_at is None):
        return False
    return stage.cooling is None or (run.cooling is not None and all_met(stage.cooling, run.cooling))


def has_limit(stage: StagePlan) -> bool:
    """Whether there is anything that the stage must do."""
    return stage.target is not None or stage.heat is not None or stage.cooling is not None


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
