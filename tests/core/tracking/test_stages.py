"""The stage checks: target, hold, heads-up, limits, time; from readings that prove it and never from a lack of them."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.engine import rewarm
from rimekeeper.core.messages import AdvanceStage, HoldBatch, PromptKind, ResumeBatch, UndoAdvance
from rimekeeper.core.model import (
    Instant,
    Millis,
    ProbeId,
    Quality,
    Reading,
    Reason,
    StageId,
    TemperatureDifference,
)
from rimekeeper.core.plan import Advance, Approach, MixPlan, Side, StageKind
from rimekeeper.core.process.forecast import Outlook
from rimekeeper.core.state import StagePhase, StageRun
from rimekeeper.core.tracking.assess import assess_stage
from rimekeeper.core.tracking.checks import CHECKS
from rimekeeper.core.tracking.checks.stage_check import Moment, in_band, met
from rimekeeper.core.tracking.words import listed, said
from support.engine_kitchen import T0, Hand, at, ceiling, kitchen, sheet, stage

SLOW, LONG, TOP = "stage/barley-1/cook/slow", "stage/barley-1/cook/long", "stage/barley-1/cook/ceiling"


def cook(**more):
    more = {"target": 82.0, "approach": Approach.RISING, "band": 0.0, "heads_up": Millis(0), **more}
    return stage("cook", StageKind.COOK, **more)


def hand_with(*stages, **more):
    hand = Hand(kitchen(sheets=[sheet(*stages, **more)]))
    hand.begin(0)
    return hand


def kinds(hand):
    return [(kind, second) for kind, _, second in hand.prompts if kind != "stage began"]


# --- target ---------------------------------------------------------------------------------------------------


def test_reached_is_the_instant_it_entered_the_band_once_it_has_settled():
    hand = hand_with(cook(settle=Millis(2_000), do="Take the pan off"))
    hand.ramp("pan", 1, [80.0, 82.0, 83.0])
    assert hand.run("cook").reached_at is None
    hand.sample("pan", 83.0, 4)
    assert hand.run("cook").reached_at == at(2)
    assert kinds(hand) == [("target reached", 4.0)]
    entry = next(e for e in hand.entries if e.kind == "stage.reached")
    assert entry.sentence == "Cook: the target is reached."
    assert dict(entry.facts)["celsius"] == 83.0
    prompt = next(o for o in hand.outcomes if getattr(o, "kind", None) is PromptKind.TARGET_REACHED)
    assert prompt.sentence == "Cook: the target is reached. Take the pan off."


def test_one_reading_alone_reaches_nothing():
    hand = hand_with(cook(settle=Millis(0)))
    hand.ramp("pan", 1, [80.0, 82.5, 80.0])
    assert hand.run("cook").reached_at is None
    hand.ramp("pan", 4, [82.5, 82.5])
    assert hand.run("cook").reached_at == at(4)


def test_a_spike_reaches_nothing():
    hand = hand_with(cook(settle=Millis(0)))
    hand.ramp("pan", 1, [60.0, 95.0, 95.0, 60.0])
    assert hand.run("cook").reached_at is None
    assert hand.run("cook").highest == 60.0


@pytest.mark.parametrize(
    ("approach", "inside", "outside"),
    [
        (Approach.RISING, [81.5, 99.0], [81.4]),
        (Approach.FALLING, [82.5, 3.0], [82.6]),
        (Approach.WITHIN, [81.5, 82.5], [81.4, 82.6]),
    ],
)
def test_the_band_by_its_approach(approach, inside, outside):
    plan = cook(approach=approach, band=0.5)
    assert all(in_band(plan, v) for v in inside)
    assert not any(in_band(plan, v) for v in outside)
    assert not in_band(replace(plan, target=None), 82.0)


# --- hold -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("seconds", "passed"), [(24.9, False), (25.0, True)])
def test_25_seconds_at_175_f(seconds, passed):
    """175 F (79.44 C) for 25 s: 7 CFR 58.635 and Michigan MCL 288.697 for frozen-dessert mix."""
    hand = hand_with(cook(target=79.4444, hold=Millis(25_000)))
    hand.ramp("pan", 0.5, [79.4444] * 25)
    hand.sample("pan", 79.4444, 0.5 + seconds)
    hand.ramp("pan", 1 + seconds, [70.0])
    assert met(hand.plan.sheets["barley"].stages[0], hand.run("cook")) is passed


def test_two_holds_split_by_a_dip_are_none():
    """21 CFR 1240.61 asks for a continuous hold; two of 15 s at 80 C with a dip to 78 C between do not make 25 s."""
    hand = hand_with(cook(target=79.4444, hold=Millis(25_000)))
    t = hand.ramp("pan", 1, [80.0] * 16)
    t = hand.ramp("pan", t, [78.0])
    hand.ramp("pan", t, [80.0] * 16)
    run = hand.run("cook")
    assert run.hold_met_at is None
    assert run.reached_at == at(1)
    assert run.longest_in_band == 15_000


@pytest.mark.parametrize("broken_by", [math.nan, 500.0, 150.0, None])
def test_what_is_not_known_breaks_a_hold(broken_by):
    """A value that is none, one outside of the range, a spike, and a gap longer than the probe may be silent."""
    hand = hand_with(cook(hold=Millis(25_000)))
    t = hand.ramp("pan", 1, [83.0] * 20)
    t = t + 60.0 if broken_by is None else hand.ramp("pan", t, [broken_by])
    t = hand.ramp("pan", t, [83.0] * 20)
    assert hand.run("cook").hold_met_at is None
    hand.ramp("pan", t, [83.0] * 8)
    assert hand.run("cook").hold_met_at is not None


def test_an_old_message_of_the_broker_breaks_no_hold_and_fills_none():
    hand = hand_with(cook(hold=Millis(10_000)))
    t = hand.ramp("pan", 1, [83.0] * 5)
    hand.sample("pan", 20.0, t - 0.5, retained=True)
    hand.ramp("pan", t, [83.0] * 6)
    assert hand.run("cook").hold_met_at == at(11)


def test_a_pause_breaks_a_hold():
    hand = hand_with(cook(hold=Millis(10_000)))
    hand.ramp("pan", 1, [83.0] * 5)
    hand.give(HoldBatch(hand.batch().batch), 5.5)
    hand.ramp("pan", 6, [83.0] * 3)
    assert hand.run("cook").last_at == at(5)
    hand.give(ResumeBatch(hand.batch().batch), 8.5)
    hand.ramp("pan", 9, [83.0] * 9)
    assert hand.run("cook").hold_met_at is None
    hand.ramp("pan", 18, [83.0] * 2)
    assert hand.run("cook").hold_met_at == at(19)


# --- going on ---------------------------------------------------------------------------------------------------


def test_on_target():
    hand = hand_with(cook(advance=Advance.TARGET, hold=Millis(3_000)), stage("chill", after=("cook",)))
    hand.ramp("pan", 1, [83.0] * 6)
    assert hand.run("cook").phase is StagePhase.DONE
    assert hand.run("cook").ended == hand.run("chill").began == at(4)
    entry = next(e for e in hand.entries if e.kind == "stage.advanced")
    assert (entry.actor.who, entry.sentence) == ("Rimekeeper", "Stage Cook ended, Chill began.")
    assert kinds(hand) == [("target reached", 3.0), ("hold done", 4.0)]


def test_on_target_without_a_hold():
    hand = hand_with(cook(advance=Advance.TARGET), stage("chill", after=("cook",)))
    hand.ramp("pan", 1, [83.0] * 3)
    assert hand.run("chill").began == at(3)
    hand.give(UndoAdvance(hand.batch().batch), 3.5)
    hand.ramp("pan", 4, [83.0] * 9)
    assert hand.run("cook").phase is StagePhase.ACTIVE, "brought back, it waits for a person"


def test_on_target_then_confirmed():
    hand = hand_with(cook(advance=Advance.CONFIRM), stage("chill", after=("cook",)))
    hand.ramp("pan", 1, [83.0] * 9)
    assert kinds(hand) == [("target reached", 3.0), ("confirm to go on", 3.0)]
    assert hand.run("cook").awaiting_confirm
    assert hand.give(AdvanceStage(hand.batch().batch), 10).accepted
    assert not hand.run("cook").awaiting_confirm


def test_on_time_at_its_own_instant_and_pauses_extend():
    plan = stage("age", lasts=Millis(100_000), advance=Advance.TIME)
    hand = hand_with(plan, stage("churn", after=("age",)))
    hand.give(HoldBatch(hand.batch().batch), 50)
    hand.tick(400)
    assert hand.run("age").phase is StagePhase.ACTIVE
    hand.give(ResumeBatch(hand.batch().batch), 400)
    hand.tick(451.9)
    assert hand.run("age").phase is StagePhase.ACTIVE
    hand.tick(900)
    assert hand.run("age").ended == at(450)
    assert kinds(hand) == [("time is up", 450.0)]


def test_a_reading_after_its_time_belongs_to_the_next_stage():
    plan = stage("age", lasts=Millis(10_000), advance=Advance.TIME)
    hand = hand_with(plan, stage("churn", after=("age",)))
    hand.sample("pan", 4.0, 9.9)
    hand.sample("pan", -1.0, 10.1)
    assert (hand.run("age").lowest, hand.run("churn").lowest) == (4.0, -1.0)


def test_a_reading_from_before_the_stage_is_not_its():
    hand = hand_with(cook())
    other = replace(
        hand.plan.probes[ProbeId("pan")], clock=type(hand.plan.probes[ProbeId("pan")].clock).PROBE
    )
    hand.plan = replace(hand.plan, probes={**hand.plan.probes, ProbeId("pan"): other})
    hand.sample("pan", 50.0, 0.5, taken=-0.5)
    assert hand.run("cook").lowest is None


# --- limits and times -------------------------------------------------------------------------------------------


def test_a_ceiling_of_a_stage():
    hand = hand_with(cook(ceiling=ceiling(85.0, on_delay=Millis(3_000))), stage("chill", after=("cook",)))
    hand.ramp("pan", 1, [84.0, 85.5, 86.0, 87.0, 86.5, 86.5])
    assert hand.moves == [(TOP, "raised", 5.0)]
    alarm = hand.state.alarms[TOP]
    assert (alarm.where, alarm.what) == ("Toasted-barley custard (barley-1), Cook", "above its ceiling")
    assert (alarm.began, alarm.worst, alarm.limit_celsius) == (at(2), 87.0, 85.0)
    assert (alarm.batch, alarm.stage, alarm.probe) == ("barley-1", "cook", "pan")
    hand.give(AdvanceStage(hand.batch().batch, why="burnt"), 7)
    assert hand.moves[1:] == [(TOP, "returned to normal", 7.0)]
    assert hand.state.watches == {}


def test_a_ceilings_on_delay_ends_without_a_reading():
    hand = hand_with(cook(ceiling=ceiling(85.0, on_delay=Millis(30_000))))
    hand.sample("pan", 86.0, 1)
    hand.tick(40)
    assert hand.moves == [(TOP, "raised", 31.0)]


def test_a_floor_of_a_stage_that_comes_back():
    hand = hand_with(cook(floor=ceiling(10.0, Side.FLOOR)))
    hand.ramp("pan", 1, [12.0, 9.0, 12.0])
    assert [m for _, m, _ in hand.moves] == ["raised", "returned to normal"]


def test_a_ceiling_is_quiet_on_hold_and_watched_again_after():
    hand = hand_with(cook(ceiling=ceiling(85.0), stay_at_most=Millis(5_000)))
    hand.sample("pan", 86.0, 1)
    hand.tick(8)
    hand.give(HoldBatch(hand.batch().batch), 9)
    hand.sample("pan", 86.0, 10)
    assert hand.moves == [(TOP, "raised", 1.0), (LONG, "raised", 5.0), (TOP, "returned to normal", 9.0)]
    hand.give(ResumeBatch(hand.batch().batch), 20)
    hand.sample("pan", 86.0, 21)
    assert hand.moves[3:] == [(TOP, "raised", 21.0)]


def test_too_slow_until_it_is_reached():
    hand = hand_with(cook(reach_within=Millis(30_000)))
    hand.ramp("pan", 1, [80.0])
    hand.tick(40)
    assert hand.moves == [(SLOW, "raised", 30.0)]
    hand.ramp("pan", 41, [83.0] * 4)
    assert hand.moves[1:] == [(SLOW, "returned to normal", 43.0)]


def test_settling_as_the_time_runs_out_is_not_too_slow():
    hand = hand_with(cook(reach_within=Millis(30_000), settle=Millis(10_000)))
    hand.ramp("pan", 25, [83.0] * 12)
    hand.tick(100)
    assert [m for m in hand.moves if m[0] == SLOW] == []
    hand = hand_with(cook(reach_within=Millis(30_000), settle=Millis(10_000)))
    hand.ramp("pan", 25, [83.0] * 2)
    hand.tick(110)
    assert (SLOW, "raised", 100.0) in hand.moves, "it fell silent in the band: nobody knows"
    hand = hand_with(cook(reach_within=Millis(30_000), settle=Millis(10_000)))
    hand.ramp("pan", 25, [83.0] * 7)
    hand.sample("pan", 70.0, 32)
    hand.tick(35)
    assert hand.moves == [(SLOW, "raised", 30.0)]


def test_too_long_until_it_is_over():
    hand = hand_with(cook(stay_at_most=Millis(30_000)), stage("chill", after=("cook",)))
    hand.tick(40)
    assert (LONG, "raised", 30.0) in hand.moves
    hand.give(AdvanceStage(hand.batch().batch, why="enough"), 50)
    assert (LONG, "returned to normal", 50.0) in hand.moves


def test_no_deadline_falls_into_a_pause():
    hand = hand_with(cook(stay_at_most=Millis(30_000), reach_within=Millis(20_000)))
    batch = hand.batch().batch
    hand.give(HoldBatch(batch), 10)
    hand.tick(500)
    assert [m for m in hand.moves if m[0].startswith("stage")] == []
    hand.give(ResumeBatch(batch), 500)
    hand.tick(600)
    assert [m for m in hand.moves if m[0].startswith("stage")] == [
        (SLOW, "raised", 510.0),
        (LONG, "raised", 520.0),
    ]


def test_a_late_probe_is_given_time_before_its_target_is_called_late():
    hand = hand_with(cook(reach_within=Millis(30_000), settle=Millis(1_000)))
    pan = hand.plan.probes[ProbeId("pan")]
    hand.plan = replace(
        hand.plan, probes={**hand.plan.probes, pan.id: replace(pan, clock=type(pan.clock).PROBE)}
    )
    for n in range(10):
        hand.sample("pan", 20.0 + 6 * n, n * 3 + 12, taken=n * 3)
    hand.tick(41)
    assert hand.moves == []
    hand.sample("pan", 84.0, 42, taken=29.5)
    hand.sample("pan", 84.0, 43, taken=30.5)
    hand.tick(100)
    assert [m for m in hand.moves if m[0] == SLOW] == []
    assert hand.run("cook").reached_at == at(29.5)


def test_of_two_deadlines_a_reading_settles_those_before_it():
    """A probe an hour behind: the target's time was up before its reading, though the stage ends by our clock."""
    hand = hand_with(
        cook(reach_within=Millis(50_000), lasts=Millis(5_000_000), advance=Advance.TIME),
        stage("chill", after=("cook",)),
    )
    pan = hand.plan.probes[ProbeId("pan")]
    hand.plan = replace(
        hand.plan, probes={**hand.plan.probes, pan.id: replace(pan, clock=type(pan.clock).PROBE)}
    )
    for n in range(9):
        hand.sample("pan", 83.0 if n > 5 else 70.0, 3_600 + n / 10, taken=n * 10)
    assert [m for m in hand.moves if m[0] == SLOW] == [
        (SLOW, "raised", 50.0),
        (SLOW, "returned to normal", 70.0),
    ]


# --- looking ahead ----------------------------------------------------------------------------------------------


def test_heads_up_comes_before_the_target_by_the_forecast():
    hand = hand_with(cook(heads_up=Millis(60_000), caution="It sticks"))
    hand.ramp("pan", 1, [60.0 + 0.1 * n for n in range(230)])
    found = kinds(hand)
    assert [k for k, _ in found] == ["heads-up", "target reached"]
    before, reached = found[0][1], (hand.run("cook").reached_at - T0) / 1000
    assert 30 <= reached - before <= 75
    prompt = next(o for o in hand.outcomes if getattr(o, "kind", None) is PromptKind.HEADS_UP)
    assert prompt.sentence == "Cook: nearly at its target. It sticks."
    assert abs(prompt.expected - at(reached)) < 15_000
    assert "barley-1/cook" not in hand.state.forecasts, "once reached nothing is forecast"


def test_heads_up_without_a_forecast_comes_as_it_enters_the_band():
    hand = hand_with(cook(heads_up=Millis(60_000)))
    hand.ramp("pan", 1, [78.0, 83.0, 83.0, 83.0])
    assert kinds(hand) == [("heads-up", 2.0), ("target reached", 4.0)]
    hand = hand_with(cook(heads_up=Millis(60_000)))
    hand.ramp("pan", 1, [83.0, 83.0, 83.0, 83.0])
    assert kinds(hand) == [("target reached", 3.0)]


def test_forecasts_are_made_once_in_a_second_of_event_time_and_not_of_old_readings():
    hand = hand_with(cook())
    made = set()
    for n in range(100):
        hand.sample("pan", 20.0 + n / 50, 1 + n / 10)
        made.add(hand.state.forecasts["barley-1/cook"].made_at)
    assert len(made) == 10
    pan = hand.plan.probes[ProbeId("pan")]
    plan = replace(hand.plan, probes={**hand.plan.probes, pan.id: replace(pan, clock=type(pan.clock).PROBE)})
    old = Hand(plan)
    old.begin(0)
    old.sample("pan", 20.0, 200, taken=10)
    assert old.state.forecasts == {}
    assert old.state.courses["barley-1/cook"].times == (at(10),)


def test_the_freezing_point_of_the_mix_is_used_where_it_is_known():
    mix = MixPlan(water=60.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0, other_solids=12.0)
    odd = replace(mix, water=1.0, sucrose=71.0)
    for composition in (mix, odd):
        hand = hand_with(
            stage("harden", StageKind.HARDEN, target=-18.0, approach=Approach.FALLING), mix=composition
        )
        hand.ramp("pan", 1, [4.0 - 0.05 * n for n in range(130)] + [-2.6] * 200)
        outlook = hand.state.forecasts["barley-1/harden"].outlook
        assert outlook is not Outlook.ARRIVES or composition is odd


def test_courses_are_rebuilt_after_a_start():
    hand = Hand(kitchen(sheets=[sheet(cook(), stage("free", role="base"), roles=("pan", "base"))]))
    hand.begin(0, pan="pan", base="base")
    hand.ramp("pan", 1, [20.0, 20.5, math.nan, 21.0])
    hand.sample("base", 20.0, 5)
    bare = replace(hand.state, courses={}, forecasts={})
    readings = [
        Reading(ProbeId("pan"), at(-5), at(-5), 1.0, 1.0),
        *hand.readings,
        replace(hand.readings[0], taken_at=at(2.5), late=True),
    ]
    back = rewarm(hand.plan, bare, readings)
    assert back.courses == hand.state.courses
    assert back.forecasts["barley-1/cook"].made_at == at(4)
    assert back.probes == bare.probes


def test_an_undo_finds_its_course_again():
    hand = hand_with(cook(), stage("chill", target=5.0, approach=Approach.FALLING, after=("cook",)))
    batch = hand.batch().batch
    hand.ramp("pan", 1, [20.0, 21.0])
    hand.give(AdvanceStage(batch, why="wrong"), 3)
    assert set(hand.state.courses) == {"barley-1/cook"}
    hand.ramp("pan", 4, [22.0])
    hand.give(UndoAdvance(batch), 5)
    hand.ramp("pan", 6, [23.0])
    assert hand.state.courses["barley-1/cook"].times == (at(1), at(2), at(6))
    assert set(hand.state.courses) == {"barley-1/cook"}


# --- afterwards ---------------------------------------------------------------------------------------------------


@settings(deadline=None, max_examples=60)
@given(
    st.lists(st.sampled_from([70.0, 82.0, 84.0, math.nan, 500.0]), min_size=1, max_size=60),
    st.sampled_from([1.0, 20.0, 61.0]),
)
def test_the_review_finds_what_was_found_live(values, every):
    plan = cook(hold=Millis(10_000))
    hand = Hand(kitchen(sheets=[sheet(plan)]))
    hand.begin(0)
    hand.ramp("pan", 1, values, every)
    found = assess_stage(plan, at(0), None, hand.readings)
    live = hand.run("cook")
    assert found == replace(live, heads_up_at=None, awaiting_confirm=False)


def test_a_review_looks_at_its_own_time_only_and_takes_late_readings_in():
    plan = cook(settle=Millis(0))
    readings = [
        Reading(ProbeId("pan"), at(s), at(s), v, v, late=s == 6, quality=q, reason=r)
        for s, v, q, r in [
            (1, 99.0, Quality.GOOD, Reason.NONE),
            (5, 82.0, Quality.GOOD, Reason.NONE),
            (5.5, 20.0, Quality.UNCERTAIN, Reason.RETAINED),
            (6, 83.0, Quality.GOOD, Reason.NONE),
            (10, 10.0, Quality.GOOD, Reason.NONE),
        ]
    ]
    run = assess_stage(plan, at(4), at(10), readings)
    assert (run.phase, run.reached_at, run.lowest, run.highest) == (StagePhase.DONE, at(5), 82.0, 83.0)
    assert assess_stage(plan, at(4), at(10), [], Millis(1)).lowest is None


# --- the checks themselves ------------------------------------------------------------------------------------------


def test_checks_have_names_of_their_own_and_nothing_to_say_without_a_target_or_limits():
    assert len({c.name for c in CHECKS}) == len(CHECKS)
    bare = replace(cook(), target=None, hold=Millis(5), heads_up=Millis(9), band=TemperatureDifference(0.0))
    run = StageRun(StageId("cook"), StagePhase.ACTIVE, at(0))
    for check in CHECKS:
        for celsius in (None, 50.0):
            assert check.look(bare, run, None, Moment(at(9), celsius, Millis(60_000))) is None
        assert check.due(bare, run, None, Millis(60_000)) is None
        assert check.words(bare).what
    assert met(bare, run)


def test_a_deadline_not_yet_reached_changes_nothing():
    timed = replace(
        cook(),
        reach_within=Millis(9_000),
        stay_at_most=Millis(9_000),
        lasts=Millis(9_000),
        advance=Advance.TIME,
    )
    run = StageRun(StageId("cook"), StagePhase.ACTIVE, at(0))
    for check in CHECKS:
        assert check.look(timed, run, None, Moment(Instant(at(9) - 1), None, Millis(60_000))) is None
        assert (
            check.look(timed, StageRun(StageId("cook")), None, Moment(at(99), None, Millis(60_000))) is None
        )


def test_sentences():
    plan = replace(cook(), do="Take the pan off.", caution="Hot!", hold=Millis(0))
    assert said(PromptKind.CONFIRM, plan) == "Cook: confirm to go on. Take the pan off."
    assert said(PromptKind.TIME_UP, plan) == "Cook: the time is up. Take the pan off."
    assert said(PromptKind.STAGE_BEGAN, plan) == "Cook begins. Hot!"
    held = replace(plan, hold=Millis(1))
    assert said(PromptKind.TARGET_REACHED, held) == "Cook: the target is reached. Hold it there."
    assert said(PromptKind.HOLD_DONE, held) == "Cook: held for long enough. Take the pan off."
    assert said(PromptKind.CONFIRM, held) == "Cook: confirm to go on."
    assert [listed([]), listed(["a"]), listed(["a", "b"]), listed(["a", "b", "c"])] == [
        "",
        "a",
        "a and b",
        "a, b and c",
    ]
