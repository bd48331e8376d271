"""Health, silence, faults and sources: at the right instant, one alarm for one cause, only where it matters."""

from __future__ import annotations

import math
from dataclasses import replace

from rimekeeper.core.messages import EndBatch
from rimekeeper.core.model import ClockTrust, Health, ProbeId, SourceId
from rimekeeper.core.state import EngineState
from support.engine_kitchen import BROKER, STOVE, T0, Hand, ceiling, kitchen, sheet, stage, station

WATCHED = kitchen(stations=[station(ceiling())], sheets=[sheet(stage("cook"))])
SILENT, FAULT, DOWN = "probe/walkin/silent", "probe/walkin/fault", "source/broker/down"


def health(hand, probe="walkin"):
    slot = hand.state.probes[ProbeId(probe)]
    return slot.health


def changes(hand, probe="walkin"):
    return [
        (dict(e.facts)["health"], (e.at - T0) / 1000)
        for e in hand.entries
        if e.kind == "probe.health" and e.subject == probe
    ]


def test_silence_is_an_alarm_at_its_own_instant_until_it_is_heard():
    hand = Hand(WATCHED)
    hand.sample("walkin", -20.0, 10)
    hand.tick(71.9)
    assert hand.moves == []
    hand.tick(300)
    assert hand.moves == [(SILENT, "raised", 70.0)]
    assert hand.state.alarms[SILENT].began == T0 + 10_000
    assert changes(hand) == [("normal", 10.0), ("failure", 70.0)]
    hand.sample("walkin", -20.0, 301)
    assert hand.moves[1:] == [(SILENT, "returned to normal", 301.0)]
    assert health(hand) is Health.NORMAL


def test_a_silence_too_short_for_the_grace_is_still_a_silence():
    hand = Hand(WATCHED)
    hand.sample("walkin", -20.0, 0)
    hand.sample("walkin", -20.0, 60)
    assert hand.moves == []
    hand.sample("walkin", -20.0, 121)
    assert hand.moves == [(SILENT, "raised", 120.0), (SILENT, "returned to normal", 121.0)]


def test_late_and_old_messages_are_not_a_sign_of_life():
    hand = Hand(WATCHED)
    hand.sample("walkin", -20.0, 10)
    hand.sample("walkin", -20.0, 50, retained=True)
    hand.sample("walkin", -20.0, 5)
    hand.tick(73)
    assert hand.moves == [(SILENT, "raised", 70.0)]


def test_a_probe_that_nothing_depends_on_raises_no_alarm_until_a_batch_takes_it():
    hand = Hand(WATCHED)
    hand.sample("pan", 20.0, 0)
    hand.tick(500)
    assert health(hand, "pan") is Health.FAILURE
    assert hand.moves == []
    batch = hand.begin(600)
    assert hand.moves == [("probe/pan/silent", "raised", 600.0)]
    assert hand.state.alarms["probe/pan/silent"].batch == batch
    hand.give(EndBatch(batch, "never mind"), 700)
    assert hand.moves[1:] == [("probe/pan/silent", "returned to normal", 700.0)]
    assert hand.entries[-1].why
    assert {c.kind.value for c in hand.calls} == {"raised"}, "nobody is told that it is back to normal"


def test_a_probe_never_heard_is_silent_from_the_start():
    hand = Hand(WATCHED)
    hand.start_up(0)
    hand.tick(63)
    assert hand.moves == [(SILENT, "raised", 60.0)]
    hand = Hand(WATCHED)
    hand.begin(5)
    hand.tick(100)
    assert hand.moves == [("probe/pan/silent", "raised", 65.0)]


def test_three_bad_readings_are_a_fault_and_three_good_ones_end_it():
    hand = Hand(WATCHED)
    t = hand.ramp("walkin", 0, [-20.0, math.nan, math.nan])
    assert health(hand) is Health.OUT_OF_SPECIFICATION
    assert hand.moves == []
    t = hand.ramp("walkin", t, [math.nan, math.nan])
    assert hand.moves == [(FAULT, "raised", 3.0)]
    t = hand.ramp("walkin", t, [-20.0, -20.0])
    assert health(hand) is Health.FAILURE
    t = hand.ramp("walkin", t, [-20.0])
    assert health(hand) is Health.OUT_OF_SPECIFICATION
    assert hand.moves[1:] == [(FAULT, "returned to normal", 7.0)]
    hand.ramp("walkin", t, [-20.0] * 60)
    assert changes(hand) == [
        ("normal", 0.0),
        ("out of specification", 1.0),
        ("failure", 3.0),
        ("out of specification", 7.0),
        ("normal", 65.0),
    ]


def test_a_fault_of_a_probe_taken_into_use_is_an_alarm():
    hand = Hand(WATCHED)
    t = hand.ramp("pan", 0, [math.nan] * 4)
    assert hand.moves == []
    hand.begin(t)
    assert hand.moves == [("probe/pan/fault", "raised", 4.0)]


def test_readings_that_are_never_sure_are_a_fault_too():
    """Otherwise a station would not be watched and nobody would know."""
    stamped = replace(
        WATCHED, probes={k: replace(p, clock=ClockTrust.PROBE) for k, p in WATCHED.probes.items()}
    )
    hand = Hand(stamped)
    for n in range(4):
        hand.sample("walkin", -20.0, n, taken=-T0 / 1000)
    assert hand.moves == [(FAULT, "raised", 2.0)]
    assert "time stamp" in hand.state.probes[ProbeId("walkin")].health_why


def test_a_probe_whose_readings_are_long_on_their_way_is_as_good_as_silent():
    stamped = replace(
        WATCHED, probes={k: replace(p, clock=ClockTrust.PROBE) for k, p in WATCHED.probes.items()}
    )
    hand = Hand(stamped)
    hand.start_up(0)
    for n in range(100):
        hand.sample("walkin", -20.0, n, taken=n - 7_200)
    assert hand.moves == [(SILENT, "raised", 60.0)]
    assert health(hand) is Health.FAILURE
    hand.sample("walkin", -20.0, 100, taken=99.5)
    assert hand.moves[1:] == [(SILENT, "returned to normal", 100.0)]
    assert health(hand) is Health.NORMAL


def test_a_loose_plug_does_not_fill_the_record():
    hand = Hand(WATCHED)
    hand.ramp("walkin", 0, [-20.0, 99.0] * 150)
    assert changes(hand) == [("normal", 0.0), ("out of specification", 1.0), ("failure", 7.0)]


def test_a_faulty_probe_that_falls_silent_comes_back_normal():
    hand = Hand(WATCHED)
    hand.ramp("walkin", 0, [math.nan] * 3)
    hand.tick(100)
    assert [m[:2] for m in hand.moves] == [(FAULT, "raised"), (SILENT, "raised")]
    hand.sample("walkin", -20.0, 101)
    assert [m[:2] for m in hand.moves[2:]] == [(SILENT, "returned to normal"), (FAULT, "returned to normal")]
    assert health(hand) is Health.NORMAL


def test_a_source_that_is_down_is_one_alarm_for_all_its_probes():
    plan = kitchen(stations=[station(ceiling()), station(ceiling(), probe="fridge", name="fridge")])
    hand = Hand(plan)
    hand.source(BROKER, Health.NORMAL, 0)
    hand.sample("walkin", -20.0, 1)
    hand.sample("fridge", -20.0, 1)
    hand.source(BROKER, Health.FAILURE, 30, "the broker refused the password")
    hand.source(BROKER, Health.FAILURE, 40, "no route")
    hand.tick(600)
    assert hand.moves == [(DOWN, "raised", 90.0)]
    assert hand.state.sources[BROKER].why == "no route"
    assert hand.state.alarms[DOWN].began == T0 + 30_000
    hand.source(BROKER, Health.NORMAL, 700)
    assert hand.moves[1:] == [(DOWN, "returned to normal", 700.0)]
    hand.sample("walkin", -20.0, 710)
    hand.tick(780)
    assert ("probe/fridge/silent", "raised", 760.0) in hand.moves
    assert [e.kind for e in hand.entries].count("source.health") == 3


def test_a_short_break_of_a_source_is_no_alarm():
    hand = Hand(WATCHED)
    hand.source(BROKER, Health.FAILURE, 30)
    hand.source(BROKER, Health.NORMAL, 45)
    hand.tick(100)
    assert hand.moves == []


def test_a_source_without_probes_in_use_is_no_alarm_until_a_batch_depends_on_it():
    hand = Hand(WATCHED)
    hand.source(STOVE, Health.FAILURE, 0, "unplugged")
    hand.tick(500)
    assert hand.moves == []
    batch = hand.begin(500)
    hand.tick(503)
    assert hand.moves == [("source/stove/down", "raised", 500.0)]
    assert "unplugged" in hand.state.alarms["source/stove/down"].what
    hand.give(EndBatch(batch, "never mind"), 600)
    assert hand.moves[1:] == [("source/stove/down", "returned to normal", 600.0)]


def test_a_source_that_the_plan_does_not_know_is_only_recorded():
    hand = Hand(WATCHED)
    hand.source(SourceId("buttons"), Health.FAILURE, 1)
    hand.tick(500)
    assert hand.moves == []
    assert hand.entries[-1].sentence == "buttons: failure (was unknown)."


def test_an_alarm_of_silence_stands_on_when_its_source_goes_down_too():
    hand = Hand(WATCHED)
    hand.sample("walkin", -20.0, 0)
    hand.tick(70)
    hand.source(BROKER, Health.FAILURE, 80)
    hand.source(BROKER, Health.NORMAL, 90)
    assert hand.moves == [(SILENT, "raised", 60.0)]
    hand.tick(500)
    assert hand.moves == [(SILENT, "raised", 60.0)]
    hand.sample("walkin", -20.0, 501)
    assert hand.moves[1:] == [(SILENT, "returned to normal", 501.0)]


def test_nobody_is_silent_while_nobody_listened():
    hand = Hand(WATCHED)
    hand.start_up(0)
    hand.sample("walkin", -20.0, 5)
    hand.start_up(3_600, watched_until=20)
    hand.tick(3_661.9)
    assert hand.moves == []
    hand.tick(3_663)
    assert hand.moves == [(SILENT, "raised", 3_660.0)]


def test_silent_already_before_the_stop_is_silent_then():
    hand = Hand(WATCHED)
    hand.start_up(0)
    hand.sample("walkin", -20.0, 5)
    hand.start_up(3_600, watched_until=100)
    assert hand.moves == [(SILENT, "raised", 65.0)]


def test_what_the_kitchen_file_no_longer_has_is_not_watched():
    hand = Hand(kitchen(stations=[station(ceiling())]))
    hand.sample("walkin", -10.0, 0)
    hand.tick(70)
    assert {m[0] for m in hand.moves} == {"station/walkin/ceiling", SILENT}
    later = Hand(replace(hand.plan, stations={}), hand.state)
    later.start_up(100, watched_until=71)
    assert [(k, m) for k, m, _ in later.moves] == [
        (SILENT, "returned to normal"),
        ("station/walkin/ceiling", "returned to normal"),
    ]
    assert later.state.watches == {}


def test_a_sample_of_no_known_probe_is_passed_over():
    hand = Hand(kitchen())
    hand.sample("nobody", 1.0, 0)
    assert hand.outcomes == []
    assert isinstance(hand.state, EngineState)
