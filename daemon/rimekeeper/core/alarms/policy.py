"""Who is called about an alarm, when, and why: decided by pure functions of the alarm and the plan.

At the raise the first step's people are called. Each step waits its time for an answer; then the next step's
people are called too. At the last step everybody named so far is called again and again, until somebody
acknowledges or the condition ends.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rimekeeper.core.alarms.slot import AlarmSlot
from rimekeeper.core.messages import CallKind
from rimekeeper.core.model import ChannelId, Instant, PersonId
from rimekeeper.core.plan import CallPolicy, KitchenPlan, Priority

Called = tuple[tuple[PersonId, ChannelId], ...]
"""One message for each: a person and a way to reach them."""


@dataclass(frozen=True, slots=True)
class Round:
    """One round of calls: what becomes of the alarm, why, and who."""

    alarm: AlarmSlot
    kind: CallKind
    called: Called


def policy_for(plan: KitchenPlan, priority: Priority) -> CallPolicy | None:
    """The first policy that covers the priority and has a step, or None: then nobody is called."""
    return next((p for p in plan.policies if priority in p.priorities and p.steps), None)


def first_round(plan: KitchenPlan, alarm: AlarmSlot, at: Instant) -> Round | None:
    """The calls owed as the alarm is raised; None when its priority has no policy."""
    policy = policy_for(plan, alarm.priority)
    if policy is None:
        return None
    return Round(_at_step(policy, alarm, 0, at), CallKind.RAISED, _called(plan, policy, 0, 0))


def resumed(plan: KitchenPlan, alarm: AlarmSlot, at: Instant) -> AlarmSlot:
    """The alarm came back before anybody answered: the call-out goes on where it was, not from the start."""
    if policy_for(plan, alarm.priority) is None:
        return alarm
    return replace(alarm, next_call=max(at, alarm.call_not_before or at))


def next_round(plan: KitchenPlan, alarm: AlarmSlot, at: Instant) -> Round | None:
    """The calls owed when nobody answered up to ``at``; None when there is no policy (any more)."""
    policy = policy_for(plan, alarm.priority)
    if policy is None:
        return None
    last = len(policy.steps) - 1
    step = min(alarm.call_step, last)
    if step < last:
        return Round(
            _at_step(policy, alarm, step + 1, at),
            CallKind.ESCALATED,
            _called(plan, policy, step + 1, step + 1),
        )
    return Round(_at_step(policy, alarm, last, at), CallKind.REPEAT, _called(plan, policy, 0, last))


def catch_up(plan: KitchenPlan, alarm: AlarmSlot, until: Instant) -> AlarmSlot:
    """Pass over the rounds that nobody could be called in, so that only the newest one up to ``until`` is owed."""
    while alarm.next_call is not None:
        later = next_round(plan, alarm, alarm.next_call)
        if later is None or later.alarm.next_call is None or later.alarm.next_call > until:
            break
        alarm = later.alarm
    return alarm


def told_of_return(plan: KitchenPlan, alarm: AlarmSlot) -> Called:
    """Everybody who was called about the alarm."""
    policy = policy_for(plan, alarm.priority)
    if policy is None or alarm.calls_made == 0:
        return ()
    return _called(plan, policy, 0, min(alarm.call_step, len(policy.steps) - 1))


def _at_step(policy: CallPolicy, alarm: AlarmSlot, step: int, at: Instant) -> AlarmSlot:
    wait = policy.steps[step].wait if step < len(policy.steps) - 1 else policy.repeat_every
    # A wait of nothing would call without end.
    due = Instant(at + max(1_000, wait))
    return replace(alarm, call_step=step, next_call=due, call_not_before=due)


def _called(plan: KitchenPlan, policy: CallPolicy, first: int, last: int) -> Called:
    people = dict.fromkeys(person for step in policy.steps[first : last + 1] for person in step.people)
    return tuple(
        (person, channel)
        for person in people
        if person in plan.people
        for channel in plan.people[person].channels
    )
