"""A recorded curve through the same engine as a live one: verdicts, events, and each forecast beside what came."""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import (
    Tick,
)
from rimekeeper.core.model import (
    Instant,
    ProbeId,
    Quality,
    Reading,
    StageId,
)
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.process.forecast import Outlook
from rimekeeper.core.state import BatchSlot, StagePhase, StageRun
from rimekeeper.keeping.rows import StoredReading
from rimekeeper.review.counting import counted_words
from rimekeeper.review.examining_walk import CurvePoint, Foreseen, Happening, Question, Tap, Walk
from rimekeeper.review.facts import Evidence, Verdict, judge, stage_facts, weigh
from rimekeeper.review.wording import Wording, exact_length

__all__ = [
    "CurvePoint", "Examined", "Foreseen", "Happening", "Judged", "Question", "Tap", "examine", "judged_view",
    "known_errors",
]  # fmt: skip

_CUT = "the recording ends before the stage does"


@dataclass(frozen=True, slots=True)
class Judged:
    """A stage with what the curve shows of it."""

    plan: StagePlan
    run: StageRun
    evidence: Evidence
    verdict: Verdict
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Examined:
    """Everything found. ``notes`` says what could not be done as asked."""

    question: Question
    begins: Instant
    ends: Instant
    batch: BatchSlot
    readings: tuple[Reading, ...]
    stages: tuple[Judged, ...]
    events: tuple[Happening, ...]
    forecasts: tuple[Foreseen, ...]
    notes: tuple[str, ...]


def examine(question: Question, curve: Sequence[CurvePoint]) -> Examined:
    """Take the curve through the engine.

    Args:
        question: sheet, bindings and how stages go on.
        curve: oldest first, all channels mixed.

    Raises:
        RefusedError: there are no readings, or the batch can't begin so.
    """
    if not curve:
        raise RefusedError("There are no readings.")
    walk = Walk(question, curve[0].at)
    taps = sorted(question.taps, key=lambda tap: tap.at)
    for instant, points in itertools.groupby(curve, key=lambda point: point.at):
        due = [tap for tap in taps if tap.at <= instant]
        del taps[: len(due)]
        for tap in due:
            if tap.at < instant or walk.by_hand(tap):
                walk.tap(tap)
        for point in points:
            walk.hear(point)
        for tap in due:
            walk.tap(tap)  # what the sheet's own rule should have done by this reading
    for tap in taps:
        walk.notes.append(
            f"{tap.begins or tap.ends}: its instant lies after the last reading, so it is left out."
        )
    last = curve[-1].at
    walk.step([Tick(Instant(last + walk.plan.tick_grace))])
    return _found(walk, last)


def _found(walk: Walk, last: Instant) -> Examined:
    stages = tuple(
        _judged(walk, plan, run, last)
        for plan, run in zip(walk.question.sheet.stages, walk.batch.stages, strict=True)
    )
    doubtful = _doubtful(walk.readings, walk.doubts)
    gaps = [gap for one in stages for gap in _gaps(walk, one, last)]
    events = sorted((*walk.events, *doubtful, *gaps), key=lambda event: event.at)
    pairs = zip(walk.forecasts, walk.goals, strict=True)
    seen = tuple(replace(one, arrived_at=_arrival(walk, one.stage, number)) for one, number in pairs)
    return Examined(
        walk.question, walk.begins, last, walk.batch, tuple(walk.readings), stages, tuple(events), seen,
        tuple(walk.notes),
    )  # fmt: skip


def _arrival(walk: Walk, stage: StageId, number: int | None) -> Instant | None:
    run = walk.batch.run(stage)
    if run is None:
        return None
    if number is None:
        return run.reached_at
    return run.cooling.met[number] if run.cooling is not None and run.cooling.met else None


def _within(walk: Walk, plan: StagePlan, run: StageRun, last: Instant) -> tuple[list[Reading], Instant]:
    probe = next((p for role, p in walk.batch.bindings if role == plan.role), None)
    until = run.ended if run.ended is not None else Instant(last + 1)
    began = run.began
    if began is None:
        return [], until
    return [r for r in walk.readings if r.probe == probe and began <= r.taken_at < until], until


def _judged(walk: Walk, plan: StagePlan, run: StageRun, last: Instant) -> Judged:
    readings, until = _within(walk, plan, run, last)
    end = min(until, last) if run.ended is None else until
    evidence = Evidence() if run.began is None else weigh(map(_stored, readings), run.began, end)
    verdict, reasons = judge(plan, run, evidence, walk.question.allowed_gap)
    if run.phase is StagePhase.ACTIVE and verdict is Verdict.UNDER_WAY:
        verdict, reasons = _cut_off(walk, plan, run, evidence, last)
    return Judged(plan, run, evidence, verdict, tuple(reasons))


def _cut_off(
    walk: Walk, plan: StagePlan, run: StageRun, evidence: Evidence, last: Instant
) -> tuple[Verdict, list[str]]:
    """Of a stage under way at the last reading: what it must do may be shown by then, what it must keep not."""
    as_if = replace(run, phase=StagePhase.DONE, ended=last)
    verdict, reasons = judge(plan, as_if, evidence, walk.question.allowed_gap)
    if verdict is Verdict.PASSED and not (plan.ceiling or plan.floor):
        return verdict, [*reasons, f"judged up to the last reading: {_CUT}"]
    if verdict is Verdict.PASSED:
        return Verdict.NOT_PROVEN, [f"in order as far as the curve goes, but {_CUT}"]
    return Verdict.NOT_PROVEN, [*reasons, _CUT]


def _gaps(walk: Walk, judged: Judged, last: Instant) -> Iterable[Happening]:
    run = judged.run
    if run.began is None:
        return
    readings, until = _within(walk, judged.plan, run, last)
    before = run.began
    good = [r.taken_at for r in readings if r.quality is Quality.GOOD]
    for at in (*good, min(until, max(last, before))):
        if at - before > walk.question.allowed_gap:
            words = f"{judged.plan.name}: no good reading for {exact_length(at - before)}."
            yield Happening(before, "gap", words, run.stage, until=at)
        before = at


def _stored(reading: Reading) -> StoredReading:
    return StoredReading(
        reading.probe, reading.taken_at, reading.arrived_at, reading.raw, reading.celsius, reading.quality,
        reading.reason, reading.late, nudged=False,
    )  # fmt: skip


def _doubtful(readings: Sequence[Reading], doubts: dict[tuple[ProbeId, Instant], str]) -> list[Happening]:
    """Rows of doubtful readings of one probe for one reason, each as one happening."""
    found: list[Happening] = []
    running: dict[ProbeId, tuple[str, Instant, Instant, int]] = {}

    def close(probe: ProbeId) -> None:
        if (row := running.pop(probe, None)) is not None:
            why, first, last, count = row
            words = f"{probe}: {count} doubtful {'reading' if count == 1 else 'readings'}, {why}."
            found.append(Happening(first, "doubtful", words, until=last, readings=count))

    for reading in readings:
        if reading.quality is Quality.GOOD:
            close(reading.probe)
            continue
        why = (
            doubts.get((reading.probe, reading.taken_at))
            or reading.reason.value
            or reading.quality.name.lower()
        )
        row = running.get(reading.probe)
        if row is None or row[0] != why:
            close(reading.probe)
            running[reading.probe] = (why, reading.taken_at, reading.taken_at, 1)
        else:
            running[reading.probe] = (why, row[1], reading.taken_at, row[3] + 1)
    for probe in tuple(running):
        close(probe)
    return found


def judged_view(one: Judged, examined: Examined, wording: Wording) -> dict[str, Any]:
    """The facts of a stage as the batch page gives them, with the verdict as of the recording's end."""
    facts = stage_facts(
        one.plan, one.run, one.evidence, examined.question.allowed_gap, examined.ends, wording
    )
    return {
        **facts,
        "counted_shown": counted_words(one.plan, one.run, wording),
        "verdict": one.verdict.value,
        "verdict_code": one.verdict.name.lower(),
        "reasons": list(one.reasons),
    }


def known_errors(made: Iterable[Foreseen]) -> list[tuple[int, int, bool]]:
    """(error in ms, time truly left in ms, whether the interval held it) of forecasts whose goal then came."""
    return [
        (one.error, one.left, one.covered is True)
        for one in made
        if one.forecast.outlook is Outlook.ARRIVES
        and one.error is not None
        and one.left is not None
        and one.left > 0
    ]
