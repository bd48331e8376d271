"""The facts of a stage, from its stored readings: reached at, took, held for, extremes, and the verdict.

A verdict is *passed* only when good readings show it. A crossed limit or a target missed in front of an unbroken
row of good readings is *not passed*. Where readings are missing or not good and would be needed to decide, the
verdict is *not proven*, and says why.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rimekeeper.core.model import Instant, Millis, Quality
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.process.cooling import CoolingState, all_met, state_of
from rimekeeper.core.state import StagePhase, StageRun
from rimekeeper.core.tracking.checks.stage_check import has_limit, target_met
from rimekeeper.keeping.rows import StoredReading
from rimekeeper.review.process_views import cooling_view, heat_view
from rimekeeper.review.wording import UNKNOWN, Wording, exact_length, length, target_words


class Verdict(enum.StrEnum):
    """What the readings show about a stage."""

    PASSED = "passed"
    NOT_PASSED = "not passed"
    NOT_PROVEN = "not proven"
    UNDER_WAY = "under way"
    NOTHING_ASKED = "nothing to prove"
    NOT_BEGUN = "not begun"


@dataclass(frozen=True, slots=True)
class Evidence:
    """How complete the readings of a stage are. ``longest_gap`` counts the edges of the stage too."""

    readings: int = 0
    good: int = 0
    uncertain: int = 0
    bad: int = 0
    longest_gap: Millis = Millis(0)
    gap_at: Instant | None = None

    def sound(self, allowed: int) -> bool:
        """Whether good readings cover the stage without a gap longer than ``allowed`` ms."""
        return self.good > 0 and self.longest_gap <= allowed


def weigh(readings: Iterable[StoredReading], began: Instant, ended: Instant) -> Evidence:
    """Count the readings and find the longest time without a good one between ``began`` and ``ended``."""
    total = good = uncertain = bad = 0
    last_good, longest, gap_at = began, 0, began
    for reading in readings:
        total += 1
        if reading.quality is Quality.GOOD and reading.celsius is not None:
            good += 1
            if reading.taken_at - last_good > longest:
                longest, gap_at = reading.taken_at - last_good, last_good
            last_good = reading.taken_at
        elif reading.quality is Quality.UNCERTAIN:
            uncertain += 1
        else:
            bad += 1
    if ended - last_good > longest:
        longest, gap_at = ended - last_good, last_good
    return Evidence(total, good, uncertain, bad, Millis(max(0, longest)), gap_at if longest > 0 else None)


def judge(plan: StagePlan, run: StageRun, evidence: Evidence, allowed_gap: int) -> tuple[Verdict, list[str]]:
    """The verdict on a stage, with its reasons in plain sentences."""
    if run.phase in (StagePhase.WAITING, StagePhase.SKIPPED):
        return Verdict.NOT_BEGUN, []
    if not has_limit(plan) and plan.ceiling is None and plan.floor is None:
        return Verdict.NOTHING_ASKED, []
    wrong = [*_crossed(plan, run), *_too_late(plan, run), *_checkpoint_missed(plan, run)]
    if wrong:
        return Verdict.NOT_PASSED, wrong
    if run.phase is StagePhase.ACTIVE:
        return Verdict.UNDER_WAY, []
    return _weighed(plan, run, evidence, sound=evidence.sound(allowed_gap))


def _weighed(plan: StagePlan, run: StageRun, evidence: Evidence, *, sound: bool) -> tuple[Verdict, list[str]]:
    """The verdict on an ended stage that is not known to have gone wrong."""
    if not target_met(plan, run):
        missed = "the target was not reached" if run.reached_at is None else _short_hold(plan, run)
        return (Verdict.NOT_PASSED, [missed]) if sound else (Verdict.NOT_PROVEN, [missed, _hole(evidence)])
    if plan.heat is not None and (run.treatment is None or run.treatment.met_at is None):
        missed = f"no row of {plan.heat.title} was met"
        return (Verdict.NOT_PASSED, [missed]) if sound else (Verdict.NOT_PROVEN, [missed, _hole(evidence)])
    if plan.cooling is not None and (run.cooling is None or not all_met(plan.cooling, run.cooling)):
        return Verdict.NOT_PROVEN, [f"no reading shows every checkpoint of {plan.cooling.title} met in time"]
    if (plan.ceiling or plan.floor) and not sound:
        return Verdict.NOT_PROVEN, [f"the limits can't be vouched for: {_hole(evidence)}"]
    return Verdict.PASSED, []


def stage_facts(
    plan: StagePlan | None,
    run: StageRun,
    evidence: Evidence,
    allowed_gap: int,
    now: Instant,
    wording: Wording,
) -> dict[str, Any]:
    """The facts of one stage for a page."""
    verdict, reasons = (
        judge(plan, run, evidence, allowed_gap)
        if plan is not None
        else (Verdict.NOT_PROVEN, ["the sheet of this batch is no longer there"])
    )
    ended = run.ended if run.ended is not None else now
    took = None if run.began is None else max(0, ended - run.began)
    reach = None if run.reached_at is None or run.began is None else max(0, run.reached_at - run.began)
    return {
        "id": run.stage,
        "name": plan.name if plan else run.stage,
        "kind": plan.kind.value if plan else "",
        "portion": plan.portion if plan else "",
        "phase": run.phase.value,
        "began": run.began,
        "began_shown": wording.when(run.began, now),
        "ended": run.ended,
        "ended_shown": wording.when(run.ended, now),
        "took_ms": took,
        "took_shown": UNKNOWN if took is None else length(took),
        "target_celsius": plan.target.celsius if plan and plan.target else None,
        "target_shown": target_words(plan, wording),
        "ceiling_shown": wording.shown(plan.ceiling.limit.celsius) if plan and plan.ceiling else "",
        "floor_shown": wording.shown(plan.floor.limit.celsius) if plan and plan.floor else "",
        "reached_at": run.reached_at,
        "reached_shown": wording.when(run.reached_at, now),
        "reach_took_shown": "" if reach is None else f"after {exact_length(reach)}",
        "hold_wanted_shown": exact_length(plan.hold) if plan and plan.hold else "",
        "held_shown": exact_length(run.longest_in_band) if run.longest_in_band else UNKNOWN,
        "lowest_shown": wording.shown(run.lowest),
        "highest_shown": wording.shown(run.highest),
        "readings": evidence.readings,
        "good": evidence.good,
        "uncertain": evidence.uncertain,
        "bad": evidence.bad,
        "longest_gap_shown": exact_length(evidence.longest_gap) if evidence.readings else UNKNOWN,
        "heat": heat_view(plan, run, now, wording),
        "cooling": cooling_view(plan, run, None, now, wording),
        "verdict": verdict.value,
        "verdict_code": verdict.name.lower(),
        "reasons": reasons,
    }


def _crossed(plan: StagePlan, run: StageRun) -> list[str]:
    found = []
    if plan.ceiling and run.highest is not None and run.highest > plan.ceiling.limit.celsius:
        found.append("it went above the ceiling")
    if plan.floor and run.lowest is not None and run.lowest < plan.floor.limit.celsius:
        found.append("it went below the floor")
    return found


def _too_late(plan: StagePlan, run: StageRun) -> list[str]:
    if plan.reach_within is None or run.began is None or run.reached_at is None:
        return []
    took = run.reached_at - run.began - run.paused
    if took <= plan.reach_within:
        return []
    return [f"the target came after {exact_length(took)}; the sheet allows {exact_length(plan.reach_within)}"]


def _checkpoint_missed(plan: StagePlan, run: StageRun) -> list[str]:
    if plan.cooling is None or run.cooling is None or run.cooling.last_at is None:
        return []
    # What a reading shows: at the last one, not by the clock on the wall.
    state = state_of(plan.cooling, run.cooling, run.cooling.last_at)
    return [f"a checkpoint of {plan.cooling.title} was missed"] if state is CoolingState.MISSED else []


def _short_hold(plan: StagePlan, run: StageRun) -> str:
    return f"it was held for {exact_length(run.longest_in_band)} at most; the sheet asks for {exact_length(plan.hold)}"


def _hole(evidence: Evidence) -> str:
    if not evidence.readings:
        return "there are no readings"
    if not evidence.good:
        return "there are no good readings"
    return f"no good reading for {exact_length(evidence.longest_gap)}"
