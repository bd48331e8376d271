"""The life cycle: the table itself, and any sequence of causes through the engine against it."""

from __future__ import annotations

from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.alarms.lifecycle import LIFE_CYCLE, AlarmCause, legal
from rimekeeper.core.alarms.slot import AlarmPhase
from rimekeeper.core.messages import Acknowledge, AlarmMove
from rimekeeper.core.model import Actor
from support.engine_kitchen import Hand, ceiling, kitchen, station

KEY = "station/walkin/ceiling"
PLAN = kitchen(stations=[station(ceiling(-15.0))])


def test_every_phase_can_be_left_and_closing_is_said_last():
    for phase in (None, *AlarmPhase):
        assert any(legal(phase, cause) for cause in AlarmCause)
    for after, moves in LIFE_CYCLE.values():
        assert (after is None) == (moves[-1] is AlarmMove.CLOSED)
        assert AlarmMove.CLOSED not in moves[:-1]


def test_acknowledged_then_normal():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    answer = hand.give(Acknowledge(KEY, "moving the stock"), 30)
    assert answer.accepted
    alarm = hand.state.alarms[KEY]
    assert (alarm.phase, alarm.acknowledged_by, alarm.next_call) == (AlarmPhase.ACKNOWLEDGED, "Ada", None)
    hand.sample("walkin", -12.0, 31)
    hand.sample("walkin", -9.0, 32)
    assert hand.state.alarms[KEY].worst == -9.0
    hand.sample("walkin", -20.0, 40)
    assert hand.state.alarms == {}
    assert [m for _, m, _ in hand.moves] == ["raised", "acknowledged", "returned to normal", "closed"]
    assert hand.kinds().count("alarm.acknowledged") == 1
    assert next(e for e in hand.entries if e.kind == "alarm.acknowledged").why == "moving the stock"
    returned = next(e for e in hand.entries if e.kind == "alarm.returned")
    assert dict(returned.facts)["worst"] == -9.0


def test_normal_before_anybody_answered_waits_for_an_answer():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.sample("walkin", -20.0, 10)
    alarm = hand.state.alarms[KEY]
    assert (alarm.phase, alarm.next_call) == (AlarmPhase.RETURNED_UNACKNOWLEDGED, None)
    assert "Nobody has acknowledged it yet" in hand.entries[-2].sentence
    hand.give(Acknowledge(""), 20)
    assert hand.state.alarms == {}
    assert [m for _, m, _ in hand.moves] == ["raised", "returned to normal", "acknowledged", "closed"]


def test_back_before_anybody_answered_is_the_same_alarm():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    first = hand.state.alarms[KEY]
    hand.sample("walkin", -20.0, 10)
    hand.sample("walkin", -9.0, 20)
    again = hand.state.alarms[KEY]
    assert again.alarm_id == first.alarm_id
    assert (again.phase, again.returned_at, again.began) == (
        AlarmPhase.UNACKNOWLEDGED,
        None,
        first.began + 20_000,
    )
    assert [m for _, m, _ in hand.moves] == ["raised", "returned to normal", "raised"]
    assert "again" in next(e for e in reversed(hand.entries) if e.kind == "alarm.raised").sentence


def test_a_new_excursion_after_closing_is_a_new_alarm():
    hand = Hand(PLAN)
    hand.sample("walkin", -10.0, 0)
    hand.give(Acknowledge(KEY), 1)
    hand.sample("walkin", -20.0, 10)
    hand.sample("walkin", -10.0, 20)
    assert hand.state.alarms[KEY].alarm_id == "alarm-2"


def test_refused_acknowledgements_change_nothing():
    hand = Hand(PLAN)
    assert hand.give(Acknowledge(""), 0).sentence == "No alarm is waiting to be acknowledged."
    hand.sample("walkin", -10.0, 1)
    answer = hand.give(Acknowledge("station/fridge/floor"), 2)
    assert not answer.accepted
    assert answer.sentence == f'There is no alarm "station/fridge/floor". Standing now: {KEY}.'
    hand.give(Acknowledge(KEY), 3, Actor("Bo", "button"))
    before = hand.state.alarms
    answer = hand.give(Acknowledge(KEY), 4)
    assert not answer.accepted
    assert answer.sentence == "Walk-in freezer: Bo has acknowledged this already."
    assert hand.state.alarms == before


def test_everything_at_once():
    plan = kitchen(stations=[station(ceiling(-15.0)), station(ceiling(5.0), probe="fridge", name="fridge")])
    hand = Hand(plan)
    hand.sample("walkin", -10.0, 0)
    hand.sample("fridge", 9.0, 0)
    assert hand.give(Acknowledge(""), 5).accepted
    assert {a.phase for a in hand.state.alarms.values()} == {AlarmPhase.ACKNOWLEDGED}
    assert hand.kinds().count("alarm.acknowledged") == 2


causes = st.lists(st.sampled_from(list(AlarmCause)), max_size=20)


@settings(deadline=None)
@given(causes)
def test_any_sequence_follows_the_table(sequence):
    hand = Hand(PLAN)
    phase, moves, ids = None, [], set()
    for second, cause in enumerate(sequence, 1):
        if cause is AlarmCause.BEGINS:
            hand.sample("walkin", -14.8, second)
        elif cause is AlarmCause.ENDS:
            hand.sample("walkin", -15.7, second)  # near, so that it isn't taken for noise
        else:
            answered = hand.give(Acknowledge(KEY), second)
            assert answered.accepted == legal(phase, cause)
        if legal(phase, cause):
            phase, said = LIFE_CYCLE[phase, cause]
            moves += [m.value for m in said]
        standing = hand.state.alarms.get(KEY)
        assert (standing.phase if standing else None) is phase
        assert [m for _, m, _ in hand.moves] == moves
        if standing:
            ids.add(standing.alarm_id)
    assert len(ids) <= moves.count("raised")
