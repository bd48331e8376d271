"""What a reading that can't be believed takes back of a stage.

What counts without a break is broken. A probe that turns out to be somewhere else (pulled out, swapped) is found out
some minutes late, so what it showed met just before, and what the doubted reading would show met again, is taken back.
"""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.model import MINUTE, Instant, Millis, Reading
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.sensing.health import MISPLACED
from rimekeeper.core.state import StageRun
from rimekeeper.core.tracking.checks.heat import unbelieved
from rimekeeper.core.tracking.checks.stage_check import in_band
from rimekeeper.core.tracking.checks.target import broken

REACHES_BACK = Millis(10 * MINUTE)
"""So long it may take until a probe that is somewhere else is found out (the slowest of the checks needs as much)."""


def doubted(stage: StagePlan, run: StageRun, reading: Reading) -> StageRun:
    """The run after a reading in its time that can't be believed."""
    run = unbelieved(broken(run))
    if reading.reason not in MISPLACED or reading.celsius is None:
        return run
    since, celsius = Instant(reading.taken_at - REACHES_BACK), reading.celsius
    return _without_checkpoints(stage, _without_target(stage, run, since, celsius), since, celsius)


def _without_target(stage: StagePlan, run: StageRun, since: Instant, celsius: float) -> StageRun:
    if not stage.critical or run.reached_at is None or run.reached_at < since or not in_band(stage, celsius):
        return run
    return replace(run, reached_at=None, hold_met_at=None)


def _without_checkpoints(stage: StagePlan, run: StageRun, since: Instant, celsius: float) -> StageRun:
    if stage.cooling is None or run.cooling is None:
        return run
    met = tuple(
        None if at is not None and at >= since and celsius <= point.celsius else at
        for at, point in zip(run.cooling.met, stage.cooling.checkpoints, strict=True)
    )
    return run if met == run.cooling.met else replace(run, cooling=replace(run.cooling, met=met))
