"""The facts of a stage from its readings: one function for each reading, used live and for what is past."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rimekeeper.core.model import MINUTE, Instant, Millis, Quality, Reading, Reason
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.state import StagePhase, StageRun
from rimekeeper.core.tracking.checks import cooling, heat, hold, target
from rimekeeper.core.tracking.checks.doubted import doubted
from rimekeeper.core.tracking.checks.stage_check import Moment

_FACTS = (target.CHECK, hold.CHECK, heat.CHECK, cooling.CHECK)


def noted(run: StageRun, at: Instant, celsius: float) -> StageRun:
    """The run with one more good reading in its extremes."""
    return StageRun(
        run.stage,
        run.phase,
        run.began,
        run.ended,
        run.paused,
        run.in_band_since,
        run.in_band_last,
        run.reached_at,
        run.hold_met_at,
        run.longest_in_band,
        run.heads_up_at,
        celsius if run.lowest is None or celsius < run.lowest else run.lowest,
        celsius if run.highest is None or celsius > run.highest else run.highest,
        at,
        celsius,
        run.awaiting_confirm,
        run.uncertainty,
        run.margin,
        run.treatment,
        run.cooling,
    )


def assess_stage(
    stage: StagePlan,
    began: Instant,
    ended: Instant | None,
    readings: Iterable[Reading],
    allowed_gap: Millis = MINUTE,
    uncertainty: Callable[[Reading, float], float] | None = None,
) -> StageRun:
    """What the readings show about a stage that lasted from ``began`` up to but not including ``ended``.

    Args:
        stage: what the sheet asks for.
        began: begin of the stage.
        ended: its end, or None while it is under way.
        readings: of the probe that watched it, oldest first; those outside of its time are passed over.
            Readings that came late count here, because the order is known now.
        allowed_gap: the probe's ``silent_after``; a longer gap breaks a hold.
        uncertainty: expanded uncertainty (K, k = 2) of a reading's temperature, for critical limits.

    Time on hold isn't known here; ``paused`` is 0.
    """
    run = StageRun(stage.id, StagePhase.ACTIVE if ended is None else StagePhase.DONE, began, ended)
    for reading in readings:
        if reading.taken_at < began or (ended is not None and reading.taken_at >= ended):
            continue
        if reading.quality is not Quality.GOOD or reading.celsius is None:
            # An old message kept by a broker says nothing about its time, so it breaks nothing.
            run = run if reading.reason is Reason.RETAINED else doubted(stage, run, reading)
            continue
        run = noted(run, reading.taken_at, reading.celsius)
        unsure = 0.0 if uncertainty is None else uncertainty(reading, reading.celsius)
        moment = Moment(reading.taken_at, reading.celsius, allowed_gap, uncertainty=unsure)
        for check in _FACTS:
            found = check.look(stage, run, None, moment)
            run = run if found is None else found.run
    return run
