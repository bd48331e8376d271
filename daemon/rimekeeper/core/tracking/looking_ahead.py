"""Where a stage is heading: its target, and the next checkpoint of its cooling; from what the product feels."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from rimekeeper.core.draft import Draft
from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import MINUTE, Instant, Reading, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach, MixPlan, StagePlan
from rimekeeper.core.process.cooling import next_checkpoint
from rimekeeper.core.process.forecast import Course, Forecast, forecast, observe
from rimekeeper.core.process.freezing import initial_freezing_point
from rimekeeper.core.state import BatchSlot, StageRun
from rimekeeper.core.tracking.checks.stage_check import shown_target
from rimekeeper.core.tracking.staging import checkpoint_key, probe_of

TOO_OLD = MINUTE
"""A reading older than this on arrival makes no forecast: what lies ahead of it has already been."""
_SHARP = TemperatureDifference(0.0)


def looks_ahead(run: StageRun, plan: StagePlan) -> bool:
    """Whether there is anything ahead: a target not reached yet, or checkpoints."""
    return plan.cooling is not None or _wanted(run, plan)


def look_ahead(
    draft: Draft,
    key: str,
    slot: BatchSlot,
    run: StageRun,
    plan: StagePlan,
    reading: Reading,
    celsius: float,
) -> tuple[Forecast | None, Forecast | None]:
    """One more point of the course, and what is ahead: (the target's forecast, the next checkpoint's).

    New ones are made at most as often as the plan says; one older than that is not given.
    """
    wanted = _wanted(run, plan)
    if not wanted and draft.forecasts.get(key) is not None:
        draft.put_forecast(key, None)
    if not looks_ahead(run, plan):
        return None, None
    at = reading.taken_at
    course = observe(draft.courses.get(key, Course()), at, _felt(draft, reading, celsius))
    draft.put_course(key, course)
    target = checkpoint = None
    if plan.cooling is not None:
        checkpoint = _fresh(
            draft,
            checkpoint_key(key),
            reading,
            lambda: checkpoint_forecast(draft, slot, run, plan, course, at),
        )
    if wanted:
        target = _fresh(draft, key, reading, lambda: make_forecast(draft, slot, plan, course, at))
    return target, checkpoint


def _wanted(run: StageRun, plan: StagePlan) -> bool:
    return plan.target is not None and run.reached_at is None


def _fresh(draft: Draft, key: str, reading: Reading, make: Callable[[], Forecast | None]) -> Forecast | None:
    """The forecast of that key when it is young enough, else a new one; None while none can be made."""
    before = draft.forecasts.get(key)
    if before is not None and 0 <= reading.taken_at - before.made_at < draft.plan.forecast_every:
        return before
    if reading.arrived_at - reading.taken_at > TOO_OLD:
        return None
    made = make()
    draft.put_forecast(key, made)
    return made


def _felt(draft: Draft, reading: Reading, celsius: float) -> float:
    """What the product is at by the probe's lag, where a plunge test knows it: for looking ahead, proving nothing."""
    slot = draft.probes.get(reading.probe)
    if slot is None or slot.ahead is None or slot.good_at != reading.taken_at:
        return celsius
    return slot.ahead


def make_forecast(
    draft: Draft, slot: BatchSlot, plan: StagePlan, course: Course, at: Instant
) -> Forecast | None:
    """The arrival at the target as seen at ``at``; None for a stage without one."""
    if plan.target is None:
        return None
    probe = probe_of(slot, plan) if plan.critical else None
    unsure = draft.uncertainty(probe, plan.target.celsius, at) if probe is not None else 0.0
    target = shown_target(plan, unsure) or plan.target
    return forecast(course, target, plan.band, plan.approach, at, _freezing_of(draft, slot))


def checkpoint_forecast(
    draft: Draft, slot: BatchSlot, run: StageRun, plan: StagePlan, course: Course, at: Instant
) -> Forecast | None:
    """The arrival at the next checkpoint of the stage's cooling, uncertainty against it; None without one."""
    if plan.cooling is None or run.cooling is None:
        return None
    following = next_checkpoint(plan.cooling, run.cooling)
    if following is None:
        return None
    celsius = following[0].celsius
    probe = probe_of(slot, plan)
    unsure = draft.uncertainty(probe, celsius, at) if probe is not None else 0.0
    target = Temperature(celsius - unsure)
    return forecast(course, target, _SHARP, Approach.FALLING, at, _freezing_of(draft, slot))


def _freezing_of(draft: Draft, slot: BatchSlot) -> Temperature | None:
    sheet = draft.sheet_of(slot)
    return _freezing_point(sheet.mix) if sheet is not None and sheet.mix is not None else None


@lru_cache(maxsize=64)
def _freezing_point(mix: MixPlan) -> Temperature | None:
    """The mix's freezing point, or None where the method doesn't cover it."""
    try:
        return initial_freezing_point(mix)
    except OutOfRangeError:
        return None
