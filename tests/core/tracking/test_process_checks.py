"""Heat tables and cooling rules of a stage, through the engine: verdict, prompt, alarm, and what ending early asks."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import pytest

from rimekeeper.core.messages import AdvanceStage, PromptGiven, PromptKind, RetimeStage
from rimekeeper.core.model import Millis
from rimekeeper.core.plan import Advance, Approach, StageKind
from rimekeeper.core.process.cooling import RULES, CoolingState, state_of
from rimekeeper.core.process.heat_tables import TABLES
from rimekeeper.core.process.lethality import begun, treated
from rimekeeper.core.tracking.assess import assess_stage
from support.engine_kitchen import Hand, at, kitchen, sheet, stage

US = TABLES["frozen-dessert-mix-us"]
TWO_STAGE = RULES["two-stage-us"]
COOK = stage("cook", StageKind.COOK, critical=True, heat=US)
CHILL = stage(
    "chill",
    target=5.0,
    band=0.0,
    approach=Approach.FALLING,
    critical=True,
    cooling=TWO_STAGE,
    settle=Millis(0),
)


def hand_with(plan, accuracy=0.0):
    hand = Hand(
        kitchen(sheets=[sheet(plan, stage("age", StageKind.AGE, after=(plan.id,)))], accuracy=accuracy)
    )
    hand.begin(0)
    return hand


def said(hand):
    return [o.kind for o in hand.outcomes if isinstance(o, PromptGiven)]


# --- cook -----------------------------------------------------------------------------------------------------


def test_a_row_held_with_the_uncertainty_against_it_is_said_and_counts():
    hand = hand_with(COOK, accuracy=0.3)
    hand.ramp("pan", 1, [80.2] * 40)  # 80 °C for 25 s (21 CFR 1240.61(c)), but 0.3 K unsure
    assert hand.run("cook").treatment.met_at is None
    assert PromptKind.HOLD_DONE not in said(hand)
    hand.ramp("pan", 41, [80.4] * 26)
    assert hand.run("cook").treatment.met_at == at(66)
    assert said(hand).count(PromptKind.HOLD_DONE) == 1
    assert hand.give(AdvanceStage(hand.batch().batch), 70).accepted


def test_ending_a_cook_that_met_no_row_needs_a_reason():
    hand = hand_with(COOK)
    hand.ramp("pan", 1, [75.0] * 30)
    answer = hand.give(AdvanceStage(hand.batch().batch), 40)
    assert not answer.accepted
    assert answer.sentence == (
        "Cook has met no row of Frozen-dessert mix and eggnog (United States), which is a critical limit. "
        "To end it all the same, say why."
    )
    assert hand.give(AdvanceStage(hand.batch().batch, why="thrown away"), 41).accepted


def test_a_reading_that_cant_be_believed_begins_the_row_anew():
    hand = hand_with(COOK)
    hand.ramp("pan", 1, [80.5] * 20)
    hand.sample("pan", float("nan"), 21)
    hand.ramp("pan", 22, [80.5] * 20)
    assert hand.run("cook").treatment.met_at is None
    hand.ramp("pan", 42, [80.5] * 6)
    assert hand.run("cook").treatment.met_at == at(47)


def test_it_goes_on_by_itself_once_a_row_is_met():
    hand = hand_with(replace(COOK, advance=Advance.TARGET))
    hand.ramp("pan", 1, [83.5] * 17)
    assert [run.phase.value for run in hand.batch().stages] == ["done", "active"]


def test_live_and_looking_back_are_the_same():
    hand = hand_with(COOK)
    hand.ramp("pan", 1, [70.0, 78.0, 81.0, *[82.0] * 30, 79.0])
    readings = [r for r in hand.readings if r.probe == "pan"]
    live = hand.run("cook").treatment
    assert assess_stage(COOK, at(0), None, readings).treatment == live
    by_hand = begun(US)
    for r in readings:
        by_hand = treated(US, by_hand, r.taken_at, r.celsius, 0.0, Millis(60_000))
    assert by_hand == live


# --- chill ----------------------------------------------------------------------------------------------------


def course(hand, points):
    for minutes, celsius in points:
        hand.sample("pan", celsius, minutes * 60)


def steady(*points, every=0.5):
    """Straight lines between (minute, °C)."""
    found = []
    for (m0, c0), (m1, c1) in pairwise(points):
        n = round((m1 - m0) / every)
        found += [(m0 + k * every, c0 + (c1 - c0) * k / n) for k in range(n)]
    return [*found, points[-1]]


def test_a_cooling_that_meets_both_checkpoints():
    hand = hand_with(CHILL)
    course(hand, steady((1, 80), (10, 57), (100, 21), (300, 4.5)))
    run = hand.run("chill")
    assert state_of(TWO_STAGE, run.cooling, at(300 * 60)) is CoolingState.MET
    assert not any(key.endswith("/cooling") for key, _, _ in hand.moves)
    assert hand.give(AdvanceStage(hand.batch().batch), 301 * 60).accepted


def test_a_missed_checkpoint_is_an_alarm_at_its_own_instant():
    hand = hand_with(CHILL)
    course(hand, steady((1, 80), (10, 57), (140, 25)))
    started = hand.run("chill").cooling.started_at
    raised = [(key, (when * 1000) + at(0) - started) for key, move, when in hand.moves if move == "raised"]
    assert raised[1:] == [("stage/barley-1/chill/cooling", 2 * 3_600_000 + 1)]
    course(hand, [(m, c) for m, c in steady((140.5, 25), (300, 4.5))])
    answer = hand.give(AdvanceStage(hand.batch().batch), 301 * 60)
    assert answer.sentence.startswith("Chill is not shown to have met its cooling checkpoints")


def test_heated_again_the_clock_waits_and_the_alarm_ends():
    hand = hand_with(CHILL)
    course(hand, steady((1, 80), (10, 57), (140, 25)))
    course(hand, steady((140.5, 25), (150, 75)))
    assert hand.run("chill").cooling.started_at is None
    assert ("stage/barley-1/chill/cooling", "returned to normal") in {(k, m) for k, m, _ in hand.moves}


@pytest.mark.parametrize("silent", [False, True])
def test_silence_over_a_deadline_is_no_proof(silent):
    hand = hand_with(CHILL)
    course(hand, steady((1, 80), (10, 57), (100, 24)))
    if not silent:
        course(hand, steady((100.5, 24), (140, 23)))
    hand.tick(200 * 60)
    assert any(key.endswith("/cooling") and move == "raised" for key, move, _ in hand.moves)


def test_what_a_stage_did_before_it_really_began_is_not_its_doing():
    hand = hand_with(COOK)
    hand.ramp("pan", 1, [84.0] * 30)
    assert hand.run("cook").treatment.met_at is not None
    answer = hand.give(RetimeStage(hand.batch().batch, COOK.id, at(28), "tapped early"), 32)
    assert answer.accepted, answer.sentence
    assert hand.run("cook").treatment is None


def newton(minutes, tau, ambient=3.0, start=80.0, every=0.5):
    """Newton cooling as in science.md section 2."""
    return [
        (m * every, ambient + (start - ambient) * math.exp(-m * every / tau))
        for m in range(1, round(minutes / every))
    ]


def warned(hand):
    return [(move, round(when / 60)) for key, move, when in hand.moves if key.endswith("/cooling-ahead")]


def test_a_slow_cooling_is_warned_of_long_before_its_checkpoint():
    hand = hand_with(CHILL)
    # tau 160 min: from 57 to 21 °C takes 176 min, more than the 120 allowed.
    course(hand, newton(110, 160.0))
    (first,) = warned(hand)
    assert first[0] == "raised"
    started = (hand.run("chill").cooling.started_at - at(0)) / 60_000
    assert first[1] - started < 60  # an hour left to act
    assert not any(key.endswith("/cooling") for key, _, _ in hand.moves)


def test_a_warning_ends_when_it_is_helped_in_time():
    hand = hand_with(CHILL)
    slow = newton(95, 160.0)
    course(hand, slow)
    begins, celsius = slow[-1]
    course(hand, [(begins + m, c) for m, c in newton(40, 15.0, ambient=0.5, start=celsius)])
    assert [move for move, _ in warned(hand)][:2] == ["raised", "returned to normal"]
    assert hand.run("chill").cooling.met[0] is not None


def test_a_quick_cooling_is_not_warned_of():
    hand = hand_with(CHILL)
    course(hand, newton(300, 60.0, ambient=1.0))
    assert warned(hand) == []
    assert state_of(TWO_STAGE, hand.run("chill").cooling, at(300 * 60)) is CoolingState.MET


def test_the_margin_of_a_target_that_was_met_stays_though_the_heat_table_is_not():
    plan = stage(
        "cook", StageKind.COOK, target=82.0, band=0.0, approach=Approach.RISING, critical=True, heat=US
    )
    hand = hand_with(plan, accuracy=0.5)
    hand.ramp("pan", 1, [*[82.9] * 6, *[79.0] * 6])
    run = hand.run("cook")
    assert run.reached_at is not None
    assert run.treatment.met_at is None
    assert round(run.margin, 6) == 0.4
