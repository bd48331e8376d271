"""Alarms that stand: what raising, acknowledging and returning do to them, to the record and to the call-outs."""

from __future__ import annotations

from dataclasses import dataclass, replace

from rimekeeper.core.alarms import policy
from rimekeeper.core.alarms.lifecycle import LIFE_CYCLE, AlarmCause, legal
from rimekeeper.core.alarms.slot import AlarmPhase, AlarmSlot
from rimekeeper.core.draft import Draft
from rimekeeper.core.messages import AlarmMove, AlarmMoved, CallKind, CallOwed
from rimekeeper.core.model import Actor, BatchId, Instant, ProbeId, Quality, StageId
from rimekeeper.core.plan import Priority


@dataclass(frozen=True, slots=True)
class Condition:
    """What is abnormal, as an alarm needs it said. ``where`` and ``what`` make a sentence: "The walk-in is …"."""

    key: str
    where: str
    what: str
    action: str
    priority: Priority
    began: Instant
    celsius: float | None = None
    worst: float | None = None
    limit_celsius: float | None = None
    batch: BatchId | None = None
    stage: StageId | None = None
    probe: ProbeId | None = None


def raise_alarm(draft: Draft, condition: Condition, at: Instant) -> None:
    """The condition began: a new alarm, or an unanswered one that comes back. Nothing when it stands already."""
    standing = draft.alarms.get(condition.key)
    phase = standing.phase if standing is not None else None
    if not legal(phase, AlarmCause.BEGINS):
        return
    if standing is None:
        number = draft.clock.alarms + 1
        draft.put_clock(replace(draft.clock, alarms=number))
        alarm = _new(condition, f"alarm-{number}", at)
    else:
        alarm = policy.resumed(
            draft.plan,
            replace(
                standing,
                phase=AlarmPhase.UNACKNOWLEDGED,
                began=condition.began,
                raised_at=at,
                celsius=condition.celsius,
                worst=condition.worst,
                returned_at=None,
            ),
            at,
        )
    called = policy.policy_for(draft.plan, alarm.priority) is not None
    word = alarm.priority.name.lower()
    sentence = f"{alarm.where}: {alarm.what} ({word} priority)."
    if standing is not None:
        sentence = f"{alarm.where}: {alarm.what} again ({word} priority)."
    if not called:
        sentence += f" Nobody is called: no call-out covers {word} alarms."
    draft.write(
        at,
        "alarm.raised",
        sentence,
        batch=alarm.batch,
        subject=alarm.key,
        facts=(
            ("alarm_id", alarm.alarm_id),
            ("priority", word),
            ("began", alarm.began),
            ("celsius", alarm.celsius),
            ("limit_celsius", alarm.limit_celsius),
            ("called", called),
        ),
    )
    draft.say(AlarmMoved(at, AlarmMove.RAISED, alarm))
    draft.put_alarm(alarm.key, alarm)
    if standing is None:
        _call(draft, alarm, policy.first_round(draft.plan, alarm, at), at)


def end_alarm(draft: Draft, key: str, at: Instant, why: str = "") -> None:
    """The condition ended (or is no longer watched, as ``why`` then says). Nothing when no alarm stands."""
    alarm = draft.alarms.get(key)
    if alarm is None or not legal(alarm.phase, AlarmCause.ENDS):
        return
    _, moves = LIFE_CYCLE[alarm.phase, AlarmCause.ENDS]
    # Nobody is told "back to normal" about what is only not watched any more.
    told = () if why or alarm.return_told else policy.told_of_return(draft.plan, alarm)
    closed = AlarmMove.CLOSED in moves
    after = replace(
        alarm,
        phase=alarm.phase if closed else AlarmPhase.RETURNED_UNACKNOWLEDGED,
        returned_at=at,
        next_call=None,
        return_told=alarm.return_told or bool(told),
    )
    ending = "no longer watched" if why else "back to normal"
    draft.write(
        at,
        "alarm.returned",
        f"{alarm.where}: {ending} (was {alarm.what})."
        + ("" if closed else " Nobody has acknowledged it yet."),
        batch=alarm.batch,
        subject=key,
        why=why,
        facts=(
            ("alarm_id", alarm.alarm_id),
            ("began", alarm.began),
            ("worst", alarm.worst),
            ("limit_celsius", alarm.limit_celsius),
        ),
    )
    for move in moves:
        draft.say(AlarmMoved(at, move, after))
    draft.put_alarm(key, None if closed else after)
    if told:
        _call(draft, after, policy.Round(after, CallKind.RETURNED, told), at, keep=not closed)


def acknowledge(draft: Draft, key: str, actor: Actor, at: Instant, note: str) -> bool:
    """Somebody has seen it; False when there is nothing to acknowledge under that key."""
    alarm = draft.alarms.get(key)
    if alarm is None or not legal(alarm.phase, AlarmCause.ACKNOWLEDGE):
        return False
    _, moves = LIFE_CYCLE[alarm.phase, AlarmCause.ACKNOWLEDGE]
    closed = AlarmMove.CLOSED in moves
    after = replace(
        alarm,
        phase=alarm.phase if closed else AlarmPhase.ACKNOWLEDGED,
        acknowledged_at=at,
        acknowledged_by=actor.who,
        next_call=None,
    )
    draft.write(
        at,
        "alarm.acknowledged",
        f"{actor.who} acknowledged {alarm.where}: {alarm.what}.",
        actor=actor,
        batch=alarm.batch,
        subject=key,
        why=note,
        facts=(("alarm_id", alarm.alarm_id), ("after", at - alarm.raised_at)),
    )
    for move in moves:
        draft.say(AlarmMoved(at, move, after))
    draft.put_alarm(key, None if closed else after)
    return True


def worsen(draft: Draft, key: str, worst: float | None) -> None:
    """The excursion of a standing alarm went further."""
    alarm = draft.alarms.get(key)
    if alarm is not None and worst is not None and alarm.worst != worst and alarm.returned_at is None:
        draft.put_alarm(key, replace(alarm, worst=worst))


def call_due(draft: Draft, key: str, at: Instant) -> None:
    """Nobody answered in the time of the present step: the next round of calls, stamped ``at``."""
    alarm = draft.alarms[key]
    if draft.catching_up is not None:
        alarm = policy.catch_up(draft.plan, alarm, draft.catching_up)
        at = alarm.next_call if alarm.next_call is not None else at
    planned = policy.next_round(draft.plan, alarm, at)
    if planned is None:
        draft.put_alarm(key, replace(alarm, next_call=None))
        return
    _call(draft, alarm, planned, at)


def _call(
    draft: Draft, alarm: AlarmSlot, planned: policy.Round | None, at: Instant, *, keep: bool = True
) -> None:
    if planned is None:
        return
    number = planned.alarm.calls_made
    celsius = _celsius_now(draft, alarm.probe, at)
    for person, channel in planned.called:
        number += 1
        draft.say(
            CallOwed(
                id=f"{alarm.alarm_id}-{number}-{person}-{channel}",
                at=at,
                kind=planned.kind,
                alarm_key=alarm.key,
                alarm_id=alarm.alarm_id,
                priority=alarm.priority,
                person=person,
                channel=channel,
                where=alarm.where,
                what=alarm.what,
                since=alarm.began,
                celsius=celsius,
                limit_celsius=alarm.limit_celsius,
                action=alarm.action,
                step=planned.alarm.call_step,
            )
        )
    draft.put_clock(replace(draft.clock, calls=draft.clock.calls + len(planned.called)))
    if planned.called:
        names = dict.fromkeys(draft.plan.people[person].name for person, _ in planned.called)
        draft.write(
            at,
            "alarm.called",
            f"{' and '.join(names)}: called about {alarm.where} ({planned.kind.value}).",
            batch=alarm.batch,
            subject=alarm.key,
            facts=(("alarm_id", alarm.alarm_id), ("step", planned.alarm.call_step)),
        )
    if keep:
        draft.put_alarm(alarm.key, replace(planned.alarm, calls_made=number))


def _celsius_now(draft: Draft, probe: ProbeId | None, at: Instant) -> float | None:
    """What the probe reads, if that may be believed at ``at``."""
    slot = draft.probes.get(probe) if probe is not None else None
    if probe is None or slot is None or slot.quality is not Quality.GOOD or slot.last_at is None:
        return None
    plan = draft.plan.probes.get(probe)
    fresh = plan is not None and not slot.silent and at - slot.last_at <= plan.silent_after
    return slot.celsius if fresh else None


def _new(condition: Condition, alarm_id: str, at: Instant) -> AlarmSlot:
    return AlarmSlot(
        key=condition.key,
        alarm_id=alarm_id,
        phase=AlarmPhase.UNACKNOWLEDGED,
        priority=condition.priority,
        where=condition.where,
        what=condition.what,
        action=condition.action,
        raised_at=at,
        began=condition.began,
        celsius=condition.celsius,
        worst=condition.worst,
        limit_celsius=condition.limit_celsius,
        batch=condition.batch,
        stage=condition.stage,
        probe=condition.probe,
    )
