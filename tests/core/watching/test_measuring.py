"""A probe under test, its calibrations and plunge tests, and when the next one is due."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.engine import next_deadline, restore
from rimekeeper.core.messages import (
    BeginTest,
    Calibrate,
    EndBatch,
    EndTest,
    KeepPlunge,
    ProbeMeasured,
    StartBatch,
    UndoAdvance,
)
from rimekeeper.core.model import (
    HOUR,
    MINUTE,
    Actor,
    Health,
    Millis,
    ProbeId,
    Quality,
    Reason,
    RoleId,
    SheetId,
)
from rimekeeper.core.sensing.calibration.record import CalibrationPoint, Method, PlungeTest, Written
from rimekeeper.core.watching.measuring import DRIFT, due_key
from support.engine_kitchen import T0, Hand, at, ceiling, kitchen, sheet, stage, station

DAY = 24 * 3600
WALKIN = ProbeId("walkin")
LIMIT = ceiling(-15.0)


def point(reference, shown, *, method=Method.COMPARISON, until=0.0):
    return CalibrationPoint(
        method, reference, 0.03, shown, 0.02, 60, Written(at(until - 90)), Written(at(until)), "reference 7"
    )


def ice(shown=0.3, until=0.0):
    return point(0.0, shown, method=Method.ICE, until=until)


def hand_of(**more):
    hand = Hand(kitchen(stations=[station(LIMIT)], **more))
    hand.start_up(-1)
    return hand


# --- under test -----------------------------------------------------------------------------------------------


def test_a_probe_in_the_ice_bath_raises_nothing_and_is_kept_in_full():
    hand = hand_of()
    hand.sample("walkin", -20.0, 0)
    answer = hand.give(BeginTest(WALKIN, "calibration"), 1)
    assert answer.sentence == (
        "Probe Walkin is being tested (calibration): its readings decide nothing until that is over. "
        "Walk-in freezer: not watched meanwhile. Look after it by hand."
    )
    hand.ramp("walkin", 2, [0.2] * 30, every=10)
    assert hand.moves == []
    tested = hand.readings[1:]
    assert {(r.quality, r.reason, r.celsius) for r in tested} == {
        (Quality.UNCERTAIN, Reason.FUNCTION_CHECK, 0.2)
    }
    assert hand.state.probes[WALKIN].good_celsius == -20.0
    assert hand.give(EndTest(WALKIN), 310).sentence == (
        "The test of probe Walkin is over: its readings count again."
    )
    hand.ramp("walkin", 320, [0.2] * 5, every=10)
    assert ("station/walkin/ceiling", "raised") in {(key, move) for key, move, _ in hand.moves}


def test_a_test_that_somebody_forgot_ends_by_itself_at_its_own_instant():
    hand = hand_of()
    hand.give(BeginTest(WALKIN, "plunge test", Millis(10 * MINUTE)), 0)
    hand.tick(599)
    assert hand.state.probes[WALKIN].tested_until == at(600)
    hand.tick(900)
    assert hand.state.probes[WALKIN].tested_until is None
    ended = next(e for e in hand.entries if e.kind == "probe.test ended")
    assert (ended.at, ended.actor.who) == (at(600), "Rimekeeper")


def test_a_probe_that_falls_silent_under_test_is_still_missed():
    hand = hand_of()
    hand.sample("walkin", -20.0, 0)
    hand.give(BeginTest(WALKIN, "calibration"), 1)
    hand.tick(200)
    assert hand.state.probes[WALKIN].health is Health.FAILURE


@pytest.mark.parametrize("command", [BeginTest(ProbeId("pan"), "x"), Calibrate(ProbeId("pan"), (ice(),))])
def test_a_probe_that_a_batch_needs_is_not_taken_away(command):
    hand = Hand(kitchen(sheets=[sheet(stage("cook", target=82.0))]))
    hand.begin(0)
    answer = hand.give(command, 1)
    assert not answer.accepted
    assert answer.sentence == (
        "Probe Pan is in batch barley-1, which needs it. Test it when the batch is over."
    )


@pytest.mark.parametrize(
    ("command", "sentence"),
    [
        (BeginTest(ProbeId("sink"), "x"), 'There is no probe "sink" in this kitchen. Its probes: base, fridge, pan, walkin.'),
        (BeginTest(WALKIN, "x", Millis(5 * HOUR)), "A test lasts up to four hours. Say a shorter time; it can be begun again."),
        (BeginTest(WALKIN, "x", Millis(0)), "A test lasts up to four hours. Say a shorter time; it can be begun again."),
        (EndTest(WALKIN), "Probe Walkin is not being tested."),
        (EndTest(ProbeId("sink")), "Probe sink is not being tested."),
        (Calibrate(WALKIN, (ice(until=-25 * 3600),)), "A point must have been taken within the last day. Take the points anew."),
        (Calibrate(WALKIN, (ice(until=60),)), "A point must have been taken within the last day. Take the points anew."),
    ],
)  # fmt: skip
def test_what_makes_no_sense_is_refused_and_changes_nothing(command, sentence):
    hand = hand_of()
    before = hand.state
    answer = hand.give(command, 0)
    assert not answer.accepted
    assert answer.sentence == sentence
    assert hand.state.metrology == before.metrology
    assert hand.state.probes == before.probes


def test_an_absurd_calibration_is_refused():
    hand = hand_of()
    answer = hand.give(Calibrate(WALKIN, (ice(shown=9.0),)), 0)
    assert not answer.accepted
    assert "off by +9.00 K" in answer.sentence
    assert hand.state.metrology == {}


# --- calibrations ---------------------------------------------------------------------------------------------


def test_a_calibration_corrects_what_comes_after_it_and_nothing_before():
    hand = hand_of()
    hand.sample("walkin", -20.0, -60)
    answer = hand.give(Calibrate(WALKIN, (ice(), point(94.965, 94.2)), " before the season "), 0)
    assert answer.accepted
    made = next(o.record for o in hand.outcomes if isinstance(o, ProbeMeasured))
    assert (made.number, made.due, made.drift, made.note) == (1, at(365 * DAY), DRIFT, "before the season")
    assert made.as_found == pytest.approx((0.3, -0.765))
    assert made.as_left == pytest.approx((0.0, 0.0), abs=1e-12)
    # science.md section 4, worked example: raw -18 -> -18.5076 with these two points.
    hand.sample("walkin", -18.0, 10)
    before, after = hand.readings[0], hand.readings[-1]
    assert (before.celsius, before.calibration) == (-20.0, 0)
    assert (round(after.celsius, 4), after.raw, after.calibration) == (-18.5076, -18.0, 1)
    assert hand.state.probes[WALKIN].uncorrected == -18.0


def test_the_next_one_says_how_it_found_the_probe_with_the_correction_before():
    hand = hand_of()
    hand.give(Calibrate(WALKIN, (ice(0.3),)), 0)
    hand.give(Calibrate(WALKIN, (ice(0.5, until=100),)), 100)
    first, second = (o.record for o in hand.outcomes if isinstance(o, ProbeMeasured))
    assert (first.number, second.number) == (1, 2)
    assert second.as_found == pytest.approx((0.2,))
    assert second.as_left == pytest.approx((0.0,))
    entry = [e for e in hand.entries if e.kind == "probe.calibrated"][-1]
    assert dict(entry.facts)["number"] == 2
    assert dict(entry.facts)["as found 1"] == 0.2


def test_a_stored_calibration_is_in_force_after_a_start():
    hand = hand_of()
    hand.give(Calibrate(WALKIN, (ice(0.3),)), 0)
    again = Hand(hand.plan, restore((k, s) for k, s in hand.changed.items() if s is not None))
    again.sample("walkin", -19.7, 5)
    assert again.readings[-1].celsius == pytest.approx(-20.0)
    assert again.give(Calibrate(WALKIN, (ice(0.3, until=9),)), 9).accepted
    assert again.state.metrology[WALKIN].calibration.number == 2


def test_a_clock_that_is_set_moves_no_date_of_a_record():
    hand = hand_of()
    hand.give(Calibrate(WALKIN, (ice(0.3),)), 0)
    before = hand.state.metrology
    hand.step_clock(7200, 3_600_000)
    assert hand.state.metrology == before


# --- due dates ------------------------------------------------------------------------------------------------


def calibrated():
    hand = hand_of()
    hand.sample("walkin", -20.0, -5)
    hand.give(Calibrate(WALKIN, (ice(0.0),)), 0)
    return hand


def silent(hand):
    return replace(hand.state, probes={})


def test_it_says_a_fortnight_before_that_a_calibration_runs_out_and_once_that_it_has():
    hand = calibrated()
    hand.feed()
    assert next_deadline(hand.plan, silent(hand)) == at((365 - 14) * DAY)
    hand.tick(400 * DAY)
    coming = next(e for e in hand.entries if e.kind == "probe.calibration due")
    assert (coming.at, coming.subject) == (at(351 * DAY), "walkin")
    raised = [m for m in hand.moves if m[0] == due_key(WALKIN)]
    assert raised == [("probe/walkin/calibration", "raised", 365.0 * DAY)]
    hand.tick(500 * DAY)
    assert [m for m in hand.moves if m[0] == due_key(WALKIN)] == raised


def test_calibrating_ends_the_alarm():
    hand = calibrated()
    hand.tick(366 * DAY)
    hand.give(Calibrate(WALKIN, (ice(0.0, until=366 * DAY),)), 366 * DAY)
    assert [m[1] for m in hand.moves if m[0] == due_key(WALKIN)][:2] == ["raised", "returned to normal"]
    assert hand.state.metrology[WALKIN].calibration.due == at((366 + 365) * DAY)


def test_nobody_is_told_of_a_probe_that_nothing_depends_on_until_a_batch_takes_it():
    hand = Hand(kitchen(sheets=[sheet(stage("cook", target=82.0))]))
    hand.give(Calibrate(ProbeId("pan"), (ice(0.0),)), 0)
    hand.tick(370 * DAY)
    assert hand.moves == []
    hand.begin(371 * DAY)
    assert ("probe/pan/calibration", "raised", 371.0 * DAY) in hand.moves


def test_a_start_long_after_the_date_says_it_once():
    hand = calibrated()
    again = Hand(hand.plan, restore((k, s) for k, s in hand.changed.items() if s is not None))
    again.start_up(380 * DAY, watched_until=10)
    assert [m for m in again.moves if m[0] == due_key(WALKIN)] == [
        ("probe/walkin/calibration", "raised", 365.0 * DAY)
    ]


# --- plunge tests ---------------------------------------------------------------------------------------------


def plunge(seconds=4.2):
    nobody = Actor("", "")
    return PlungeTest(
        0, WALKIN, Written(0), nobody, seconds, 0.3, "stirred ice water", 22.0, 0.1, 0.05, 40,
        Written(T0 - 60_000), Written(T0),
    )  # fmt: skip


def test_a_plunge_test_is_numbered_signed_and_kept():
    hand = hand_of()
    answer = hand.give(KeepPlunge(plunge()), 5)
    assert answer.sentence == (
        "Probe Walkin follows with a time constant of 4.2 s ± 0.30 s in stirred ice water (plunge test 1). "
        "Prompts and forecasts allow for it; limits don't."
    )
    kept = hand.state.metrology[WALKIN].plunge
    assert (kept.number, kept.at, kept.by.who) == (1, at(5), "Ada")


@pytest.mark.parametrize("seconds", [0.0, -1.0, 1e6, float("nan"), float("inf")])
def test_a_time_constant_that_no_probe_has_is_refused(seconds):
    hand = hand_of()
    assert not hand.give(KeepPlunge(plunge(seconds)), 5).accepted
    assert hand.state.metrology == {}


def test_a_calibration_due_again_is_said_again_though_nobody_acknowledged_the_first():
    plan = kitchen(stations=[station(LIMIT)])
    walkin = replace(plan.probes[WALKIN], calibrate_every=Millis(30 * DAY * 1000))
    hand = Hand(replace(plan, probes={**plan.probes, WALKIN: walkin}))
    hand.give(Calibrate(WALKIN, (ice(0.0),)), 0)
    hand.tick(33 * DAY)
    hand.give(Calibrate(WALKIN, (ice(0.0, until=33 * DAY),)), 33 * DAY)
    hand.tick(80 * DAY)
    said = [(move, when / DAY) for key, move, when in hand.moves if key == due_key(WALKIN)]
    assert said == [("raised", 30.0), ("returned to normal", 33.0), ("raised", 63.0)]


def test_a_short_interval_is_not_said_to_run_out_before_it_began():
    plan = kitchen(stations=[station(LIMIT)])
    walkin = replace(plan.probes[WALKIN], calibrate_every=Millis(7 * DAY * 1000))
    hand = Hand(replace(plan, probes={**plan.probes, WALKIN: walkin}))
    hand.give(Calibrate(WALKIN, (ice(0.0),)), 0)
    hand.tick(8 * DAY)
    assert "probe.calibration due" not in hand.kinds()
    assert ("probe/walkin/calibration", "raised", 7.0 * DAY) in hand.moves


def test_a_probe_that_came_into_use_with_a_new_plan_is_said_to_be_past_due_from_then():
    hand = Hand(kitchen())
    hand.give(Calibrate(WALKIN, (ice(0.0),)), 0)
    hand.tick(400 * DAY)
    again = Hand(kitchen(stations=[station(LIMIT)]), hand.state)
    again.start_up(401 * DAY, watched_until=400 * DAY)
    assert [m for m in again.moves if m[0] == due_key(WALKIN)] == [
        ("probe/walkin/calibration", "raised", 401.0 * DAY)
    ]


def test_a_test_makes_no_faulty_probe_normal_and_calls_nobody_about_it():
    hand = hand_of()
    hand.ramp("walkin", 0, [float("nan")] * 4)
    hand.give(BeginTest(WALKIN, "calibration"), 10)
    before = len(hand.calls)
    hand.sample("walkin", float("nan"), 11)
    assert len(hand.calls) == before
    ended = next(e for e in hand.entries if e.kind == "alarm.returned")
    assert "no longer watched" in ended.sentence
    assert ended.why == "it is being tested"


def test_what_was_only_entering_is_not_watched_on_during_a_test_and_what_stands_stays():
    slow = Hand(kitchen(stations=[station(ceiling(-15.0, on_delay=Millis(60_000)))]))
    slow.sample("walkin", -14.0, 0)
    slow.give(BeginTest(WALKIN, "calibration"), 2)
    slow.tick(300)
    assert not any(key.startswith("station/") for key, _, _ in slow.moves)
    hand = hand_of()
    hand.sample("walkin", -10.0, 0)
    hand.give(BeginTest(WALKIN, "calibration"), 2)
    assert "station/walkin/ceiling" in hand.state.alarms


def test_a_probe_under_test_is_not_taken_into_a_batch():
    hand = Hand(kitchen(sheets=[sheet(stage("cook", target=82.0))]))
    hand.give(BeginTest(ProbeId("pan"), "calibration"), 0)
    answer = hand.give(StartBatch(SheetId("barley"), ((RoleId("pan"), ProbeId("pan")),)), 1)
    assert not answer.accepted
    assert answer.sentence == ("Probe Pan is being tested (calibration). Put it back and end the test first.")
    hand.give(EndTest(ProbeId("pan")), 2)
    batch = hand.begin(3)
    hand.give(EndBatch(batch, "done"), 4)
    hand.give(BeginTest(ProbeId("pan"), "plunge test"), 5)
    undone = hand.give(UndoAdvance(batch), 6)
    assert not undone.accepted


def test_the_offset_of_a_probes_clock_is_found_anew_after_ours_was_set():
    hand = hand_of()
    for second in range(20):
        hand.sample("walkin", -20.0, second, taken=second - 0.5)
    assert hand.state.probes[WALKIN].pace.offset == -500
    hand.step_clock(3621, 3_600_000)
    assert hand.state.probes[WALKIN].pace.offset is None
    assert hand.state.probes[WALKIN].pace.interval == 1000
