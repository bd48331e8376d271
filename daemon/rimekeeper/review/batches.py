"""A batch as its page shows it: curves, bands, facts, events and notes; and the list of batches."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from rimekeeper.core.messages import Span
from rimekeeper.core.model import BatchId, Instant, Millis, ProbeId, Reading
from rimekeeper.core.plan import KitchenPlan, SheetPlan, StagePlan
from rimekeeper.core.sensing.calibration.record import Calibration, PlungeTest
from rimekeeper.core.sensing.calibration.uncertainty import counted
from rimekeeper.core.state import BatchSlot, StagePhase, StageRun
from rimekeeper.core.tracking.assess import assess_stage
from rimekeeper.keeping.reader import Reader
from rimekeeper.keeping.rows import StoredEntry
from rimekeeper.review.counting import counted_words, measured_with
from rimekeeper.review.curves import batch_curves, span_view
from rimekeeper.review.facts import Evidence, stage_facts, weigh
from rimekeeper.review.lanes import PHASE_WORDS, batch_view, rail
from rimekeeper.review.wording import Wording, length
from rimekeeper.runtime.ports import Glance

DEFAULT_GAP = 60_000
REWEIGHED = 30_000
"""A stage under way is weighed anew this often (ms)."""


def batch_page(
    glance: Glance, reader: Reader, batch_id: BatchId, now: Instant, points: int = 2_000
) -> dict[str, Any] | None:
    """Everything about one batch, or None when there is none of that id."""
    plan, wording = glance.plan, Wording.of(glance.plan)
    batch = glance.state.batches.get(batch_id) or reader.batch(batch_id)
    if batch is None:
        return None
    sheet = plan.sheets.get(batch.sheet)
    spans = reader.spans(batch_id) or batch.spans
    until = batch.ended if batch.ended is not None else now
    alarms = reader.alarms(batch.began, Instant(until + 1), batch_id)
    return {
        **batch_view(glance, batch, now, wording),
        "now": now,
        "unit": wording.unit,
        "curves": batch_curves(reader, plan, batch, spans, until, points),
        "bands": [span_view(s, plan, {batch.batch: batch.sheet}) for s in spans if s.stage is not None],
        "lines": _lines(sheet, spans, wording),
        "facts": [_facts(reader, plan, sheet, batch, run, now, wording) for run in batch.stages],
        "entries": [entry_view(entry, now, wording) for entry in reader.entries(batch=batch_id, limit=500)],
        "alarms": [
            {
                "key": stored.alarm.key,
                "at": stored.alarm.raised_at,
                "at_shown": wording.when(stored.alarm.raised_at, now),
                "where": stored.alarm.where,
                "what": stored.alarm.what,
                "priority": stored.alarm.priority.name.lower(),
                "closed": stored.closed,
            }
            for stored in alarms
        ],
        "retimable": [
            {"id": run.stage, "name": plan_name(sheet, run), "began": run.began}
            for run in batch.stages
            if run.began is not None
        ],
    }


def batch_list(glance: Glance, reader: Reader, now: Instant, limit: int = 50) -> list[dict[str, Any]]:
    """Running and past batches, newest first."""
    wording = Wording.of(glance.plan)
    found = {batch.batch: batch for batch in reader.batches(limit)}
    found.update({b.batch: b for b in glance.state.batches.values() if b.running or b.batch in found})
    listed = sorted(found.values(), key=lambda batch: (not batch.running, -batch.began))
    return [_listed(glance.plan, batch, now, wording) for batch in listed]


def entry_view(entry: StoredEntry, now: Instant, wording: Wording) -> dict[str, Any]:
    """One entry of the record."""
    return {
        "number": entry.number,
        "at": entry.at,
        "at_shown": wording.when(entry.at, now),
        "kind": entry.kind,
        "who": entry.actor.who,
        "where": entry.actor.where,
        "sentence": entry.sentence,
        "why": entry.why,
        "batch": entry.batch,
        "subject": entry.subject,
    }


def plan_name(sheet: SheetPlan | None, run: StageRun) -> str:
    """The stage's name where its sheet is still known."""
    stage = sheet.stage(run.stage) if sheet else None
    return stage.name if stage else str(run.stage)


def _listed(plan: KitchenPlan, batch: BatchSlot, now: Instant, wording: Wording) -> dict[str, Any]:
    sheet = plan.sheets.get(batch.sheet)
    ended = batch.ended if batch.ended is not None else now
    return {
        "id": batch.batch,
        "name": sheet.name if sheet else batch.sheet,
        "lot": batch.lot,
        "phase": batch.phase.value,
        "phase_shown": PHASE_WORDS[batch.phase],
        "running": batch.running,
        "began": batch.began,
        "began_shown": f"{wording.day(batch.began)}, {wording.clock(batch.began)}",
        "ended": batch.ended,
        "took_shown": length(ended - batch.began),
        "stage": ", ".join(plan_name(sheet, run) for run in batch.active),
        "rail": rail(sheet, batch),
    }


def _facts(
    reader: Reader,
    plan: KitchenPlan,
    sheet: SheetPlan | None,
    batch: BatchSlot,
    run: StageRun,
    now: Instant,
    wording: Wording,
) -> dict[str, Any]:
    stage = sheet.stage(run.stage) if sheet else None
    probe = _probe_of(batch, stage)
    known = plan.probes.get(probe) if probe else None
    allowed = known.silent_after if known else DEFAULT_GAP
    if stage is None or probe is None or run.began is None:
        return {
            **stage_facts(stage, run, Evidence(), allowed, now, wording),
            "counted_shown": "",
            "measured_with": "",
        }
    until = run.ended if run.ended is not None else Instant(now - now % REWEIGHED)
    accuracy = known.accuracy.kelvin if known else 1.0
    shown, evidence, made_with = _shown(
        reader.database, stage, probe, run.began, until, Millis(allowed), accuracy
    )
    if run.phase is not StagePhase.ACTIVE:
        # What is stored decides, also after the stage was given another beginning.
        run = replace(shown, phase=run.phase, began=run.began, ended=run.ended, paused=run.paused)
    return {
        **stage_facts(stage, run, evidence, allowed, now, wording),
        "counted_shown": counted_words(stage, run, wording),
        "measured_with": made_with,
    }


@lru_cache(maxsize=256)
def _shown(
    database: Path,
    stage: StagePlan,
    probe: ProbeId,
    began: Instant,
    until: Instant,
    allowed: Millis,
    accuracy: float,
) -> tuple[StageRun, Evidence, str]:
    """What the stored readings show and with which calibrations; kept, because a long stage has many and several screens may ask.

    A reading that arrives late for a stage that is over is counted after the next start of the daemon at latest.
    """
    reader = Reader(database)
    stored = list(reader.readings(probe, began, until))
    readings = (
        Reading(
            r.probe,
            r.taken_at,
            r.arrived_at,
            r.raw,
            r.celsius,
            r.quality,
            r.reason,
            r.late,
            calibration=r.calibration,
        )
        for r in stored
    )
    numbers = {r.calibration for r in stored}
    records = {number: reader.measurement(number) for number in numbers if number}
    unsure = _uncertainty(records, accuracy) if stage.critical else None
    return (
        assess_stage(stage, began, until, readings, allowed, unsure),
        weigh(stored, began, until),
        measured_with(numbers, records, until),
    )


def _uncertainty(
    found: dict[int, Calibration | PlungeTest | None], accuracy: float
) -> Callable[[Reading, float], float]:
    """What is counted against a critical limit, by the calibration that each reading was made with."""
    calibrations = {n: record for n, record in found.items() if isinstance(record, Calibration)}

    def of(reading: Reading, celsius: float) -> float:
        return counted(calibrations.get(reading.calibration), accuracy, celsius, reading.taken_at)

    return of


def _probe_of(batch: BatchSlot, stage: StagePlan | None) -> ProbeId | None:
    return next((p for role, p in batch.bindings if stage and role == stage.role), None)


def _lines(sheet: SheetPlan | None, spans: tuple[Span, ...], wording: Wording) -> list[dict[str, Any]]:
    found = []
    for span in spans:
        stage = sheet.stage(span.stage) if sheet and span.stage else None
        if stage is None:
            continue
        for kind, celsius in (
            ("target", stage.target.celsius if stage.target else None),
            ("ceiling", stage.ceiling.limit.celsius if stage.ceiling else None),
            ("floor", stage.floor.limit.celsius if stage.floor else None),
        ):
            if celsius is not None:
                found.append(
                    {
                        "kind": kind,
                        "stage": span.stage,
                        "begins": span.begins,
                        "ends": span.ends,
                        "celsius": celsius,
                        "value": wording.value(celsius),
                        "label": f"{kind} {wording.shown(celsius)}",
                    }
                )
    return found
