"""The stages under way: each good reading and each deadline goes through the stage checks."""

from __future__ import annotations

from rimekeeper.core.alarms.standing import Condition
from rimekeeper.core.draft import Draft
from rimekeeper.core.messages import PromptKind
from rimekeeper.core.model import BatchId, Instant, ProbeId, Reading
from rimekeeper.core.plan import StagePlan
from rimekeeper.core.state import BatchSlot, StageRun, WatchSlot
from rimekeeper.core.tracking.advancing import advance_by_itself
from rimekeeper.core.tracking.assess import noted
from rimekeeper.core.tracking.checks import CHECKS
from rimekeeper.core.tracking.checks.doubted import doubted
from rimekeeper.core.tracking.checks.stage_check import Moment, StageCheck
from rimekeeper.core.tracking.looking_ahead import look_ahead
from rimekeeper.core.tracking.staging import (
    allowed_gap,
    due_of,
    found,
    probe_of,
    prompt,
    reschedule,
    stage_key,
    watch_key,
)
from rimekeeper.core.watching.moving import move_watch

_MOST_AT_ONCE = 100
_ENTRIES = {
    PromptKind.TARGET_REACHED: ("stage.reached", "the target is reached"),
    PromptKind.HOLD_DONE: ("stage.held", "held for long enough"),
    PromptKind.TIME_UP: ("stage.time up", "the time is up"),
}


def watch_reading(draft: Draft, reading: Reading, celsius: float) -> None:
    """A good reading in its time of a probe that stages may watch. What was due before takes effect first."""
    probe, at = reading.probe, reading.taken_at
    if not draft.stages_of(probe):
        return
    _settle_probe(draft, probe, at)
    for batch, stage in tuple(draft.stages_of(probe)):
        key = stage_key(batch, stage)
        known = found(draft, key)
        if known is None or known[1].began is None or at < known[1].began:
            continue
        slot, run, plan = known
        made, checkpoint = look_ahead(draft, key, slot, run, plan, reading, celsius)
        run = noted(run, at, celsius)
        counts = plan.critical or plan.heat is not None or plan.cooling is not None
        unsure = draft.uncertainty(probe, celsius, at) if counts else 0.0
        moment = Moment(at, celsius, allowed_gap(draft, probe), made, unsure, checkpoint)
        _look(draft, slot, run, plan, moment, CHECKS)


def break_holds(draft: Draft, reading: Reading) -> None:
    """A reading in its time can't be believed: what counts without a break is broken."""
    for batch, stage in tuple(draft.stages_of(reading.probe)):
        known = found(draft, stage_key(batch, stage))
        if known is not None and (after := doubted(known[2], known[1], reading)) is not known[1]:
            _put(draft, known[0], after)
        reschedule(draft, batch, stage)


def pass_time(draft: Draft, key: str, *, from_here: bool = True) -> None:
    """The deadline of a stage that comes first has been reached."""
    due = due_of(draft, key, from_here=from_here)
    known = found(draft, key)
    if due is None or known is None:
        return
    slot, run, plan = known
    moment = Moment(due[1], None, allowed_gap(draft, probe_of(slot, plan)))
    _look(draft, slot, run, plan, moment, (due[2],))


def settle_batch(draft: Draft, batch: BatchId, at: Instant) -> None:
    """Everything of the batch's stages that takes effect up to ``at`` does so now."""
    for _ in range(_MOST_AT_ONCE):  # pragma: no branch - a bound that no sheet comes near
        slot = draft.batches[batch]
        dues = [(due[0], due[1], key) for key in _keys(slot) if (due := due_of(draft, key)) is not None]
        if not dues or min(dues)[0] > at:
            return
        pass_time(draft, min(dues)[2])


def _settle_probe(draft: Draft, probe: ProbeId, at: Instant) -> None:
    for _ in range(_MOST_AT_ONCE):  # pragma: no branch - a bound that no sheet comes near
        keys = [stage_key(batch, stage) for batch, stage in draft.stages_of(probe)]
        dues = [(due[1], key) for key in keys if (due := due_of(draft, key, from_here=False)) is not None]
        if not dues or min(dues)[0] > at:
            return
        pass_time(draft, min(dues)[1], from_here=False)


def _keys(slot: BatchSlot) -> list[str]:
    return [stage_key(slot.batch, run.stage) for run in slot.active]


def _look(
    draft: Draft,
    slot: BatchSlot,
    run: StageRun,
    plan: StagePlan,
    moment: Moment,
    checks: tuple[StageCheck, ...],
) -> None:
    """Let the checks look, one after the other, and do what they find."""
    ends = stuck = False
    for check in checks:
        key = watch_key(slot.batch, run.stage, check.name)
        watch = draft.watches.get(key)
        seen = check.look(plan, run, watch, moment)
        if seen is None:
            stuck = moment.celsius is None
            continue
        run = seen.run
        if seen.watch is not None:
            _move(draft, slot, plan, check, key, watch, seen.watch, moment.at)
        for kind in seen.prompts:
            _say(draft, slot, run, plan, kind, moment)
        ends = ends or seen.ends
    slot = _put(draft, slot, run)
    if ends:
        advance_by_itself(draft, slot, run.stage, moment.at)
    elif not stuck:
        # A check that was due and found nothing would be due again at once, for ever.
        reschedule(draft, slot.batch, run.stage)


def _put(draft: Draft, slot: BatchSlot, run: StageRun) -> BatchSlot:
    after = BatchSlot(
        slot.batch,
        slot.sheet,
        slot.lot,
        slot.phase,
        slot.began,
        slot.bindings,
        tuple(run if r.stage == run.stage else r for r in slot.stages),
        slot.spans,
        slot.ended,
        slot.held_since,
        slot.before,
        slot.before_spans,
        slot.last_by,
        slot.notes,
        slot.changed_at,
    )
    draft.put_batch(after, restaged=False)
    return after


def _move(
    draft: Draft,
    slot: BatchSlot,
    plan: StagePlan,
    check: StageCheck,
    key: str,
    before: WatchSlot | None,
    found_watch: WatchSlot,
    at: Instant,
) -> None:
    after = WatchSlot(
        key,
        found_watch.phase,
        found_watch.since,
        found_watch.began,
        found_watch.due,
        found_watch.worst,
        found_watch.last,
    )
    move_watch(
        draft, before or WatchSlot(key), after, at, lambda: _condition(draft, slot, plan, check, after, at)
    )


def _condition(
    draft: Draft, slot: BatchSlot, plan: StagePlan, check: StageCheck, watch: WatchSlot, at: Instant
) -> Condition:
    words = check.words(plan)
    sheet = draft.sheet_of(slot)
    return Condition(
        key=watch.key,
        where=f"{sheet.name if sheet else slot.sheet} ({slot.batch}), {plan.name}",
        what=words.what,
        action=words.action,
        priority=words.priority,
        began=watch.began if watch.began is not None else at,
        celsius=watch.last,
        worst=watch.worst,
        limit_celsius=words.limit_celsius,
        batch=slot.batch,
        stage=plan.id,
        probe=probe_of(slot, plan),
    )


def _say(
    draft: Draft, slot: BatchSlot, run: StageRun, plan: StagePlan, kind: PromptKind, moment: Moment
) -> None:
    made = moment.forecast
    expected = made.expected if kind is PromptKind.HEADS_UP and made is not None else None
    prompt(draft, slot, plan.id, kind, moment.at, moment.celsius, expected)
    if kind in _ENTRIES:
        word, sentence = _ENTRIES[kind]
        draft.write(
            moment.at,
            word,
            f"{plan.name}: {sentence}.",
            batch=slot.batch,
            subject=plan.id,
            facts=(
                ("celsius", moment.celsius),
                ("reached_at", run.reached_at),
                ("target_celsius", plan.target.celsius if plan.target is not None else None),
            ),
        )
