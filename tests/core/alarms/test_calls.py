"""Call-outs: who, when and why; until somebody answers; and no storm after a gap."""

from __future__ import annotations

from dataclasses import replace

from rimekeeper.core.alarms import policy
from rimekeeper.core.messages import Acknowledge, CallKind
from rimekeeper.core.model import MINUTE, Millis, PersonId, ProbeId
from rimekeeper.core.plan import CallPolicy, CallStep, Priority
from support.engine_kitchen import ADA_IS, POLICY, T0, Hand, ceiling, kitchen, station

KEY = "station/walkin/ceiling"
PLAN = kitchen(stations=[station(ceiling(-15.0))])
PLAN = replace(
    PLAN,
    probes={p: replace(plan, silent_after=Millis(100 * 60 * MINUTE)) for p, plan in PLAN.probes.items()},
)


def rounds(hand):
    return [(round((c.at - T0) / 60_000, 2), c.kind.value, c.person, c.channel) for c in hand.calls]


def test_step_by_step_until_somebody_answers():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.tick(27 * 60)
    assert rounds(hand) == [
        (0, "raised", "ada", "mail-ada"),
        (0, "raised", "ada", "push-ada"),
        (5, "nobody answered", "bo", "mail-bo"),
        (15, "again", "ada", "mail-ada"),
        (15, "again", "ada", "push-ada"),
        (15, "again", "bo", "mail-bo"),
        (25, "again", "ada", "mail-ada"),
        (25, "again", "ada", "push-ada"),
        (25, "again", "bo", "mail-bo"),
    ]
    ids = [c.id for c in hand.calls]
    assert ids[0] == "alarm-1-1-ada-mail-ada"
    assert len(set(ids)) == len(ids)
    alarm = hand.state.alarms[KEY]
    assert (alarm.calls_made, alarm.call_step) == (9, 1)
    assert hand.state.clock.calls == 9
    hand.give(Acknowledge(KEY), 27 * 60)
    hand.tick(90 * 60)
    assert len(hand.calls) == 9


def test_what_a_call_says():
    hand = Hand(PLAN)
    hand.sample("walkin", -20.0, 0)
    hand.sample("walkin", -14.0, 60)
    hand.sample("walkin", -12.5, 120)
    hand.tick(6 * 60 + 10)
    first, later = hand.calls[0], hand.calls[-1]
    assert (first.where, first.what, first.action) == (
        "Walk-in freezer",
        "above its ceiling",
        "Shut the door",
    )
    assert (first.celsius, first.limit_celsius, first.since) == (-14.0, -15.0, T0 + 60_000)
    assert later.celsius == -12.5, "a later call says how it is now"


def test_a_call_does_not_repeat_a_value_that_nobody_knows_any_more():
    plan = replace(PLAN, probes={p: replace(x, silent_after=Millis(60_000)) for p, x in PLAN.probes.items()})
    hand = Hand(plan)
    hand.sample("walkin", -10.0, 0)
    hand.tick(6 * 60)
    escalated = [c for c in hand.calls if c.kind is CallKind.ESCALATED and c.alarm_key == KEY]
    assert [c.celsius for c in escalated] == [None]


def test_back_to_normal_is_told_once_to_those_who_were_called():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.sample("walkin", -20.0, 60)
    assert rounds(hand)[2:] == [
        (1, "returned to normal", "ada", "mail-ada"),
        (1, "returned to normal", "ada", "push-ada"),
    ]
    hand.sample("walkin", -10.0, 61)
    hand.sample("walkin", -20.0, 62)
    assert len(hand.calls) == 4, "an alarm that flutters does not call each time"
    hand.tick(60 * 60)
    assert len(hand.calls) == 4
    hand.sample("walkin", -10.0, 3_601)
    hand.tick(3_605)
    assert len(hand.calls) == 5, "back after its time was up: the next step is called"


def test_acknowledged_and_then_normal_is_told_too():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.give(Acknowledge(KEY), 60)
    hand.sample("walkin", -20.0, 400)
    assert [k for _, k, _, _ in rounds(hand)] == [
        "raised",
        "raised",
        "returned to normal",
        "returned to normal",
    ]
    assert hand.state.alarms == {}


def test_a_priority_without_a_policy_calls_nobody_and_says_so():
    hand = Hand(kitchen(stations=[station(ceiling(-15.0, priority=Priority.LOW))]))
    hand.sample("walkin", -10.0, 0)
    hand.sample("walkin", -20.0, 5)
    assert hand.calls == []
    raised = next(e for e in hand.entries if e.kind == "alarm.raised")
    assert raised.sentence.endswith("Nobody is called: no call-out covers low alarms.")
    hand.sample("walkin", -10.0, 9)
    assert hand.state.alarms[KEY].next_call is None


def test_after_a_gap_only_the_newest_call_is_owed():
    hand = Hand(PLAN)
    hand.start_up(0)
    hand.sample("walkin", -10.0, 1)
    hand.tick(60)
    hand.start_up(8 * 3_600, watched_until=60)
    after = rounds(hand)[2:]
    assert {k for _, k, _, _ in after} == {"again"}
    assert len(after) == 3
    assert after[0][0] > 8 * 60 - 11
    assert hand.state.alarms[KEY].next_call > T0 + 8 * 3_600_000 - 10_000


def test_a_gap_of_one_step_calls_that_step():
    hand = Hand(PLAN)
    hand.start_up(0)
    hand.sample("walkin", -10.0, 1)
    hand.start_up(6 * 60, watched_until=60)
    assert [k for _, k, _, _ in rounds(hand)[2:]] == ["nobody answered"]


def test_a_plan_whose_people_changed_meanwhile():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    fewer = Hand(replace(PLAN, people={ADA_IS.id: ADA_IS}), hand.state)
    fewer.tick(16 * 60)
    assert [(c.kind.value, c.person) for c in fewer.calls] == [("again", "ada"), ("again", "ada")]
    none = Hand(replace(PLAN, policies=()), hand.state)
    none.tick(16 * 60)
    assert none.calls == []
    assert none.state.alarms[KEY].next_call is None
    none.sample("walkin", -20.0, 16 * 60 + 1)
    assert none.calls == []


def test_fewer_steps_than_the_alarm_has_been_through():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.tick(6 * 60)
    one = replace(POLICY, steps=POLICY.steps[:1])
    later = Hand(replace(PLAN, policies=(one,)), hand.state)
    later.tick(16 * 60)
    assert [(c.kind.value, c.person) for c in later.calls] == [("again", "ada")] * 2


def test_the_first_policy_that_covers_the_priority_counts():
    night = CallPolicy(frozenset({Priority.HIGH}), (CallStep((PersonId("bo"),)),))
    empty = CallPolicy(frozenset({Priority.HIGH}), ())
    plan = replace(PLAN, policies=(empty, night, POLICY))
    assert policy.policy_for(plan, Priority.HIGH) is night
    assert policy.policy_for(plan, Priority.CRITICAL) is POLICY
    assert policy.policy_for(plan, Priority.MEDIUM) is None


def test_a_wait_of_nothing_does_not_call_without_end():
    hurry = CallPolicy(frozenset(Priority), (CallStep((ADA_IS.id,), Millis(0)),), Millis(0))
    hand = Hand(replace(PLAN, policies=(hurry,)))
    hand.sample("walkin", -10.0, 0)
    hand.tick(12)
    assert len(hand.calls) == 2 * 11


def test_a_probe_that_left_the_plan_has_no_value():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    without = {p: x for p, x in PLAN.probes.items() if p != ProbeId("walkin")}
    later = Hand(replace(PLAN, probes=without), hand.state)
    later.tick(6 * 60)
    assert [c.celsius for c in later.calls] == [None]
