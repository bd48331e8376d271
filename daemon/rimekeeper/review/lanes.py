"""A running batch as the Now page shows it: one lane for each stage under way."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from rimekeeper.core.model import Instant, ProbeId
from rimekeeper.core.plan import SheetPlan, StagePlan
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.core.state import BatchPhase, BatchSlot, ProbeSlot, StagePhase, StageRun
from rimekeeper.core.tracking.checks.stage_check import has_limit, met
from rimekeeper.core.tracking.order import ready
from rimekeeper.core.tracking.staging import checkpoint_key, stage_key
from rimekeeper.review.arrival import sentence
from rimekeeper.review.counting import counted_words
from rimekeeper.review.probes import probe_view
from rimekeeper.review.process_views import cooling_view, edge_words, frozen_words, heat_view
from rimekeeper.review.wording import UNKNOWN, Wording, exact_length, length, target_words
from rimekeeper.runtime.ports import Glance

UNDO_FOR = 60_000
"""For this long after an advance, taking it back is offered in front."""
PHASE_WORDS = {
    BatchPhase.RUNNING: "running",
    BatchPhase.HELD: "on hold",
    BatchPhase.ENDED: "finished",
    BatchPhase.SCRAPPED: "scrapped",
}


def batch_view(glance: Glance, batch: BatchSlot, now: Instant, wording: Wording) -> dict[str, Any]:
    """One batch with its lanes, its rail of stages and what may be done."""
    sheet = glance.plan.sheets.get(batch.sheet)
    advanced_at = _advanced_at(batch)
    return {
        "id": batch.batch,
        "sheet": batch.sheet,
        "name": sheet.name if sheet else batch.sheet,
        "lot": batch.lot,
        "allergens": list(sheet.allergens) if sheet else [],
        "phase": batch.phase.value,
        "phase_shown": PHASE_WORDS[batch.phase],
        "held": batch.phase is BatchPhase.HELD,
        "held_since": batch.held_since,
        "held_shown": f"on hold for {length(now - batch.held_since)}" if batch.held_since else "",
        "began": batch.began,
        "began_shown": wording.when(batch.began, now),
        "ended": batch.ended,
        "ended_shown": wording.when(batch.ended, now),
        "can_undo": batch.before is not None and batch.running,
        "undo_until": advanced_at + UNDO_FOR if batch.before is not None and advanced_at else None,
        "rail": rail(sheet, batch),
        "stages": [lane(glance, batch, run, _stage_plan(sheet, run), now, wording) for run in batch.active],
        "notes": list(batch.notes),
    }


def rail(sheet: SheetPlan | None, batch: BatchSlot) -> list[dict[str, Any]]:
    """Every stage of the batch in order, with where it stands."""
    found = []
    for run in batch.stages:
        plan = _stage_plan(sheet, run)
        found.append(
            {
                "id": run.stage,
                "name": plan.name if plan else run.stage,
                "kind": plan.kind.value if plan else "",
                "portion": plan.portion if plan else "",
                "phase": run.phase.value,
            }
        )
    return found


def lane(
    glance: Glance,
    batch: BatchSlot,
    run: StageRun,
    plan: StagePlan | None,
    now: Instant,
    wording: Wording,
) -> dict[str, Any]:
    """One stage under way: its probe, its target, when it will be there, what to do."""
    sheet = glance.plan.sheets.get(batch.sheet)
    probe_id = next((p for role, p in batch.bindings if plan and role == plan.role), None)
    probe = probe_view(glance, probe_id or ProbeId(""), now, wording)
    order = [r.stage for r in batch.stages]
    followers = sheet.followers(run.stage) if sheet else ()
    begins, ends_batch = _after(sheet, batch, run)
    target = plan.target if plan else None
    reached, outlook, code = _outlook(glance, batch, run, plan, probe, now, wording)
    forecast = glance.state.forecasts.get(f"{batch.batch}/{run.stage}")
    known = forecast if code == "arrives" else None
    role = next((r.name for r in sheet.roles if plan and r.id == plan.role), "") if sheet else ""
    return {
        "id": run.stage,
        "name": plan.name if plan else run.stage,
        "kind": plan.kind.value if plan else "",
        "portion": plan.portion if plan else "",
        "ordinal": order.index(run.stage) + 1,
        "of": len(order),
        "next": [f.name for f in followers],
        "last": not followers,
        "role": plan.role if plan else None,
        "role_name": role,
        "probe_name": probe["name"] if probe_id else "no probe",
        **{name: probe[name] for name in _SHARED},
        "target_celsius": target.celsius if target else None,
        "target_value": wording.value(target.celsius) if target else None,
        "target_shown": target_words(plan, wording),
        "approach": plan.approach.value if plan else None,
        "ceiling_celsius": plan.ceiling.limit.celsius if plan and plan.ceiling else None,
        "ceiling_shown": wording.shown(plan.ceiling.limit.celsius) if plan and plan.ceiling else "",
        "floor_celsius": plan.floor.limit.celsius if plan and plan.floor else None,
        "floor_shown": wording.shown(plan.floor.limit.celsius) if plan and plan.floor else "",
        "beyond": _beyond(plan, probe),
        "outlook": outlook,
        "outlook_code": code,
        "expected": known.expected if known else None,
        "earliest": known.earliest if known else None,
        "latest": known.latest if known else None,
        "began": run.began,
        "began_shown": wording.when(run.began, now),
        "elapsed_ms": max(0, now - run.began) if run.began is not None else None,
        "elapsed_shown": length(now - run.began) if run.began is not None else UNKNOWN,
        "reached": reached,
        "reached_at": run.reached_at,
        "reached_shown": wording.when(run.reached_at, now) if run.reached_at else "",
        "hold_ms": plan.hold if plan else 0,
        "hold_met": run.hold_met_at is not None,
        "hold_left_ms": _hold_left(run, plan),
        "hold_shown": _hold(run, plan, fresh=probe["fresh"]),
        "counted_shown": counted_words(plan, run, wording, fresh=probe["fresh"]),
        "heat": heat_view(plan, run, now, wording),
        "cooling": cooling_view(plan, run, _checkpoint_forecast(glance, batch, run), now, wording),
        "edge_shown": edge_words(plan, _slot(glance, probe_id), wording) if probe["fresh"] else "",
        "frozen_shown": frozen_words(plan, sheet.mix if sheet else None, probe["celsius"]),
        "do_now": _do_now(batch, run, plan, probe),
        "awaiting_confirm": run.awaiting_confirm,
        "advance_label": _advance_label(run, plan, begins, batch, ends_batch=ends_batch),
        "ends_batch": ends_batch,
        "asks_why": _asks_why(run, plan),
        "do": plan.do if plan else "",
        "caution": plan.caution if plan else "",
    }


_SHARED = (
    "probe", "celsius", "value", "shown", "number", "fresh", "note", "quality", "reason", "health",
    "taken_at", "age_ms", "age_shown", "silent_after", "last_shown", "calibration_note",
)  # fmt: skip


def _outlook(
    glance: Glance,
    batch: BatchSlot,
    run: StageRun,
    plan: StagePlan | None,
    probe: dict[str, Any],
    now: Instant,
    wording: Wording,
) -> tuple[bool, str, str]:
    """(target reached, sentence, code). Without a fresh reading nothing is said about an arrival."""
    reached = run.reached_at is not None
    if not probe["fresh"]:
        return reached, f"no arrival time: {probe['note']}", "stale"
    if plan is None or plan.target is None:
        return False, *_without_target(run, plan, now, wording)
    if batch.phase is BatchPhase.HELD:
        return reached, "on hold: no arrival time", "held"
    if reached:
        there = run.in_band_since is not None
        at = wording.when(run.reached_at, now)
        text = f"target reached at {at}" if there else f"was there at {at}, outside the band now"
        return True, text, "there" if there else "left"
    forecast = glance.state.forecasts.get(f"{batch.batch}/{run.stage}")
    if forecast is not None and forecast.outlook is Outlook.THERE:
        return False, "at the target, settling", "settling"
    code = (forecast.outlook if forecast else Outlook.UNSETTLED).name.lower()
    return False, sentence(forecast, now, wording), code


def _without_target(run: StageRun, plan: StagePlan | None, now: Instant, wording: Wording) -> tuple[str, str]:
    if plan is not None and plan.lasts is not None and run.began is not None:
        ends = Instant(run.began + plan.lasts + run.paused)
        return f"time is up at {wording.when(ends, now)}", "timed"
    return "no target in this stage", "none"


def _beyond(plan: StagePlan | None, probe: dict[str, Any]) -> str:
    if plan is None or not probe["fresh"]:
        return ""
    if plan.ceiling and probe["celsius"] > plan.ceiling.limit.celsius:
        return "above the ceiling"
    if plan.floor and probe["celsius"] < plan.floor.limit.celsius:
        return "below the floor"
    return ""


def _hold_left(run: StageRun, plan: StagePlan | None) -> int | None:
    """Milliseconds still to be held, by the readings alone; None when nothing is being held."""
    if plan is None or not plan.hold or run.hold_met_at is not None or run.in_band_since is None:
        return None
    last = run.in_band_last if run.in_band_last is not None else run.in_band_since
    return max(1, plan.hold - (last - run.in_band_since))


def _hold(run: StageRun, plan: StagePlan | None, *, fresh: bool) -> str:
    if plan is None or not plan.hold:
        return ""
    wanted = exact_length(plan.hold)
    if run.hold_met_at is not None:
        return f"held for {wanted}: done"
    left = _hold_left(run, plan)
    if left is None:
        return f"then hold for {wanted}"
    if not fresh:
        return f"how long it was held is not known: hold it for {wanted} again when readings are back"
    # Whole seconds that are surely over, and whole seconds that are surely enough.
    more = -(-left // 1_000) * 1_000
    return (
        f"held {exact_length(max(0, plan.hold - more))} of {wanted}: keep it there, {exact_length(more)} more"
    )


def _do_now(batch: BatchSlot, run: StageRun, plan: StagePlan | None, probe: dict[str, Any]) -> bool:
    """Whether what the sheet says for the end of the stage is to be done at this moment."""
    if plan is None or not has_limit(plan) or batch.phase is BatchPhase.HELD or not probe["fresh"]:
        return False
    there = plan.target is None or run.hold_met_at is not None or run.in_band_since is not None
    return met(plan, run) and there


def _asks_why(run: StageRun, plan: StagePlan | None) -> str:
    """Why ending the stage now needs a reason (a critical limit is not met); "" when it needs none."""
    if plan is None or not has_limit(plan) or not plan.critical or met(plan, run):
        return ""
    if plan.target is not None and run.reached_at is None:
        return f"{plan.name} has not reached its target."
    if plan.target is not None and plan.hold and run.hold_met_at is None:
        return f"{plan.name} was not held at its target for {exact_length(plan.hold)}."
    if plan.heat is not None and (run.treatment is None or run.treatment.met_at is None):
        return f"{plan.name} has met no row of {plan.heat.title}."
    return f"{plan.name} is not shown to have met its cooling checkpoints."


def _checkpoint_forecast(glance: Glance, batch: BatchSlot, run: StageRun) -> Forecast | None:
    return glance.state.forecasts.get(checkpoint_key(stage_key(batch.batch, run.stage)))


def _slot(glance: Glance, probe: ProbeId | None) -> ProbeSlot | None:
    return glance.state.probes.get(probe) if probe is not None else None


def _after(sheet: SheetPlan | None, batch: BatchSlot, run: StageRun) -> tuple[tuple[StagePlan, ...], bool]:
    """The stages that begin when this one ends now, and whether the batch is then over."""
    if sheet is None:
        return (), False
    runs = [replace(one, phase=StagePhase.DONE) if one is run else one for one in batch.stages]
    begins = tuple(stage for name in ready(sheet, runs) if (stage := sheet.stage(name)) is not None)
    return begins, not begins and all(one is run for one in batch.active)


def _advance_label(
    run: StageRun,
    plan: StagePlan | None,
    begins: tuple[StagePlan, ...],
    batch: BatchSlot,
    *,
    ends_batch: bool,
) -> str:
    if batch.phase is BatchPhase.HELD:
        return "Go on"
    if ends_batch:
        return "Finish the batch"
    if not begins:
        return f"Finish {plan.name}" if plan else "Finish this stage"
    names = " and ".join(stage.name for stage in begins)
    return f"Confirm: {names}" if run.awaiting_confirm else f"Next: {names}"


def _stage_plan(sheet: SheetPlan | None, run: StageRun) -> StagePlan | None:
    return sheet.stage(run.stage) if sheet else None


def _advanced_at(batch: BatchSlot) -> int | None:
    instants = [run.ended for run in batch.stages if run.ended is not None and run.phase is StagePhase.DONE]
    instants += [run.began for run in batch.active if run.began is not None]
    return max(instants, default=None)
