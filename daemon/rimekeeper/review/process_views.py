"""What a heat table and a cooling rule say about a stage, in words for the lane, the batch page and the record."""

from __future__ import annotations

from typing import Any

from rimekeeper.core.model import Instant, TemperatureDifference
from rimekeeper.core.plan import MixPlan, StageKind, StagePlan
from rimekeeper.core.process.cooling import Checkpoint, CoolingCourse, CoolingState, next_checkpoint, state_of
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.core.process.freezing import frozen_percent
from rimekeeper.core.process.heat_tables import HeatRow
from rimekeeper.core.process.lethality import REFERENCE, RowClock, Z
from rimekeeper.core.sensing.lag import slope
from rimekeeper.core.state import ProbeSlot, StageRun
from rimekeeper.review.metrology import heading
from rimekeeper.review.wording import Wording, exact_length

SMALLEST_SHOWN = 0.05
"""Equivalent seconds below this say nothing."""
SLOWEST_PACE = 0.005
"""K/s. Slower, a cook stands still as far as anybody can tell (0.3 K a minute)."""
LEAST_FROZEN = 0.5
"""Percent; less rounds to nothing."""
FARTHEST = 600.0
"""Seconds. An edge farther off than this at the present pace is not worth counting down to."""


def heat_view(plan: StagePlan | None, run: StageRun, now: Instant, wording: Wording) -> dict[str, Any] | None:
    """Each row of the stage's heat table with how long it was held; None without a table.

    ``lethality_shown`` stands beside the rows and is never a verdict.
    """
    if plan is None or plan.heat is None:
        return None
    treatment = run.treatment
    clocks = treatment.clocks if treatment is not None else tuple(RowClock() for _ in plan.heat.rows)
    seconds = treatment.seconds if treatment is not None else 0.0
    return {
        "title": plan.heat.title,
        "source": plan.heat.source,
        "met": treatment is not None and treatment.met_at is not None,
        "met_shown": wording.when(treatment.met_at, now) if treatment is not None else "",
        "rows": [
            _row(row, clock, now, wording, over=run.ended is not None)
            for row, clock in zip(plan.heat.rows, clocks, strict=True)
        ],
        "lethality_shown": ""
        if seconds < SMALLEST_SHOWN
        else f"as {seconds:.1f} s at {wording.shown(REFERENCE)} (z {Z:g} K): information, not a verdict",
    }


def _row(row: HeatRow, clock: RowClock, now: Instant, wording: Wording, *, over: bool) -> dict[str, Any]:
    wanted = f"{wording.shown(row.celsius)} for {exact_length(row.hold)}"
    if clock.met_at is not None:
        words = f"met at {wording.when(clock.met_at, now)}"
    elif over and clock.longest:
        words = f"held {exact_length(clock.longest // 1_000 * 1_000)} at most"
    elif clock.since is not None and clock.last is not None:
        # Whole seconds that are surely over.
        words = f"held {exact_length((clock.last - clock.since) // 1_000 * 1_000)}"
    elif clock.longest:
        words = f"broken off after {exact_length(clock.longest // 1_000 * 1_000)}"
    else:
        words = "not yet"
    return {
        "wanted": wanted,
        "printed": row.printed,
        "words": words,
        "met": clock.met_at is not None,
        "running": clock.met_at is None and clock.since is not None and not over,
    }


def edge_words(plan: StagePlan | None, slot: ProbeSlot | None, wording: Wording) -> str:
    """How long until the far edge of a cook at the present pace, by the lag-corrected temperature; "" when unknown."""
    if plan is None or slot is None or plan.kind is not StageKind.COOK or plan.ceiling is None:
        return ""
    pace = slope(slot.trail_times, slot.trail)
    ahead = heading(slot, fresh=True)
    if pace is None or ahead is None:
        return ""
    edge = plan.ceiling.limit.celsius
    felt = f"{wording.shown(ahead)} with the probe's lag"
    left = edge - ahead
    if left <= 0.0:
        return f"{felt}: past {wording.shown(edge)} now"
    if pace <= SLOWEST_PACE or left / pace > FARTHEST:
        return f"{felt}, {wording.step(TemperatureDifference(left))} below {wording.shown(edge)}"
    return f"{felt}: {wording.shown(edge)} in {exact_length(max(1, int(left / pace + 1e-6)) * 1_000)} at this pace"


def frozen_words(plan: StagePlan | None, mix: MixPlan | None, celsius: float | None) -> str:
    """How much of the mix's water is ice at a temperature the probe shows; "" where none is, or it isn't claimed.

    At equilibrium, and only where the probe sits in the mix and not in a pan.
    """
    if plan is None or mix is None or celsius is None or plan.kind in (StageKind.COOK, StageKind.HOLD):
        return ""
    share = frozen_percent(mix, celsius)
    if share is None or share < LEAST_FROZEN:
        return ""
    return f"about {share:.0f} % of the water frozen"


def cooling_view(
    plan: StagePlan | None, run: StageRun, ahead: Forecast | None, now: Instant, wording: Wording
) -> dict[str, Any] | None:
    """Where the cooling stands at each checkpoint and whether it will make the next; None without a rule."""
    if plan is None or plan.cooling is None:
        return None
    rule, course = plan.cooling, run.cooling
    over = run.ended is not None
    state = CoolingState.WAITING if course is None else state_of(rule, course, now, over=over)
    if over and state is CoolingState.WAITING:
        state = CoolingState.NOT_PROVEN
    started = course.started_at if course is not None else None
    met = course.met if course is not None else (None,) * len(rule.checkpoints)
    following = next_checkpoint(rule, course) if course is not None and not over else None
    return {
        "title": rule.title,
        "source": rule.source,
        "state": state.value,
        "state_code": state.name.lower(),
        "start_shown": wording.shown(rule.start),
        "started": started,
        "started_shown": wording.when(started, now) if started is not None else "",
        "checkpoints": [
            _checkpoint(point, at, course, now, wording, over=over)
            for point, at in zip(rule.checkpoints, met, strict=True)
        ],
        "ahead": _ahead(following, ahead, now, wording) if following is not None else "",
        "late": following is not None and _late(following[1], ahead),
    }


def _checkpoint(
    point: Checkpoint,
    met: Instant | None,
    course: CoolingCourse | None,
    now: Instant,
    wording: Wording,
    *,
    over: bool,
) -> dict[str, Any]:
    started, seen = (None, None) if course is None else (course.started_at, course.last_at)
    deadline = None if started is None else Instant(started + point.within)
    if met is not None and deadline is not None:
        left = deadline - met
        words = f"met at {wording.when(met, now)}, " + (
            f"{exact_length(left)} to spare" if left >= 0 else f"{exact_length(-left)} too late"
        )
    elif deadline is not None and (over or now > deadline):
        # Only a reading after the deadline shows a checkpoint missed; silence shows nothing.
        words = f"no reading shows it by {wording.when(deadline, now)}"
    elif deadline is not None:
        words = f"until {wording.when(deadline, now)}"
    else:
        words = "its clock has not begun"
    return {
        "wanted": f"{wording.shown(point.celsius)} within {exact_length(point.within)}",
        "words": words,
        "met": met is not None and deadline is not None and met <= deadline,
        "missed": deadline is not None
        and (met > deadline if met is not None else seen is not None and seen > deadline),
        "deadline": deadline,
        "celsius": point.celsius,
    }


def _late(deadline: Instant, ahead: Forecast | None) -> bool:
    if ahead is None:
        return False
    if ahead.outlook is Outlook.ARRIVES and ahead.expected is not None:
        return ahead.expected > deadline
    return ahead.outlook in (Outlook.FALLS_SHORT, Outlook.AWAY, Outlook.PLATEAU)


def _ahead(
    following: tuple[Checkpoint, Instant], ahead: Forecast | None, now: Instant, wording: Wording
) -> str:
    point, deadline = following
    goal = wording.shown(point.celsius)
    if ahead is None or ahead.outlook in (Outlook.UNSETTLED, Outlook.STALE):
        return f"whether it makes {goal} in time can't be said yet"
    if ahead.outlook is Outlook.THERE:
        return f"{goal} is there"
    if ahead.outlook is not Outlook.ARRIVES or ahead.expected is None:
        return f"as it stands it does not reach {goal}: {ahead.outlook.value}. Help it: an ice bath, smaller portions"
    left = deadline - ahead.expected
    when = wording.when(ahead.expected, now)
    if left >= 0:
        return f"{goal} at about {when}, {exact_length(left // 60_000 * 60_000)} to spare"
    return (
        f"{goal} only at about {when}, {exact_length(-left // 60_000 * 60_000)} too late. "
        "Help it now: an ice bath, smaller portions, a shallow pan"
    )
