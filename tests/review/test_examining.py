"""A recorded curve through the engine: the same as it was live, forecasts beside what came, nothing passed unseen."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.messages import AdvanceStage
from rimekeeper.core.model import ClockTrust, Instant, Millis, ProbeId, RoleId, StageId, TemperatureDifference
from rimekeeper.core.plan import Advance, Approach, MixPlan, StageKind
from rimekeeper.core.process.cooling import RULES
from rimekeeper.core.process.forecast import Forecast, Outlook
from rimekeeper.review.examining import (
    CurvePoint,
    Foreseen,
    Question,
    Tap,
    examine,
    judged_view,
    known_errors,
)
from rimekeeper.review.facts import Verdict
from rimekeeper.review.wording import Wording
from rimekeeper.simulation.mix import Lump, curve_of
from rimekeeper.simulation.stove import Pan
from support.engine_kitchen import T0, Hand, at, ceiling, kitchen, sheet, stage

CUSTARD = MixPlan(water=60.0, fat=11.0, msnf=9.0, sucrose=16.0, other_solids=4.0)
COOK = stage(
    "cook", StageKind.COOK, target=83.0, band=0.2, approach=Approach.RISING, hold=Millis(15_000),
    advance=Advance.TARGET, ceiling=ceiling(84.5),
)  # fmt: skip
CHILL = stage("chill", target=5.0, band=0.0, approach=Approach.FALLING, after=("cook",), advance=Advance.HAND)
BOTH = sheet(COOK, CHILL)
SURE = TemperatureDifference(0.0)


def curve(values, channel="pan", every=1.0, start=0.0):
    return [CurvePoint(at(start + n * every), channel, v) for n, v in enumerate(values)]


def ask(of, **more):
    given = {"accuracy": SURE, "bindings": ((RoleId("pan"), "pan"),), **more}
    return Question(of, **given)


@pytest.fixture(scope="module")
def cooked():
    """A simulated cook, then the pan in ice: the chill by Newton's law with a time constant of 4 min."""
    pan = Pan(Lump(curve_of(CUSTARD), 3.0, 40.0), np.random.default_rng(4))
    values = []
    while len(values) < 420:
        pan.step(1.0, 21.0)
        values.append(round(pan.celsius, 2))
    values += [round(83.0 * math.exp(-n / 240.0), 2) for n in range(700)]
    return values


def live(values, until_chill_ends=None):
    """The same readings live: each arrives 0.3 s after it was taken, and ticks come between."""
    hand = Hand(kitchen(sheets=(BOTH,), clock=ClockTrust.PROBE))
    hand.start_up(0.0)
    hand.begin(0.0)
    for n, value in enumerate(values):
        hand.sample("pan", value, n + 0.3, taken=float(n))
        hand.tick(n + 0.6)
        if until_chill_ends == n:
            assert hand.give(AdvanceStage(hand.batch().batch, StageId("chill")), n + 0.7).accepted
    return hand


def test_the_curve_gives_the_same_outcomes_as_the_live_engine(cooked):
    hand, found = live(cooked), examine(ask(BOTH), curve(cooked))
    for name in ("cook", "chill"):
        was, is_now = hand.run(name), found.batch.run(StageId(name))
        assert is_now == was
        assert was.reached_at is not None
    assert found.batch.run(StageId("cook")).hold_met_at is not None
    recorded = [(e.at, e.kind) for e in hand.entries if e.kind.startswith("stage.advanced")]
    assert [(e.at, e.kind) for e in found.events if e.kind == "stage.advanced"] == recorded
    (cook, chill) = found.stages
    assert (cook.verdict, cook.reasons) == (Verdict.PASSED, ())
    assert chill.verdict is Verdict.PASSED
    assert "the recording ends before" in chill.reasons[0]
    reached = next(e for e in found.events if e.kind == "stage.reached" and e.stage == "cook")
    assert reached.at == hand.run("cook").reached_at


def test_each_forecast_is_the_one_that_stood_live_and_its_error_is_from_the_true_arrival(cooked):
    hand = Hand(kitchen(sheets=(BOTH,), clock=ClockTrust.PROBE))
    hand.start_up(0.0)
    hand.begin(0.0)
    stood = []
    for n, value in enumerate(cooked[:420]):
        hand.sample("pan", value, float(n), taken=float(n))
        stood += [f for k, f in hand.state.forecasts.items() if k.endswith("/cook") and f.made_at == at(n)]
    found = examine(ask(BOTH), curve(cooked[:420]))
    of_cook = [one for one in found.forecasts if one.stage == "cook"]
    assert [one.forecast for one in of_cook] == stood
    arrived = found.batch.run(StageId("cook")).reached_at
    named = [one for one in of_cook if one.forecast.outlook is Outlook.ARRIVES]
    assert len(named) > 80
    for one in named:
        assert one.error == one.forecast.expected - arrived
        assert one.left == arrived - one.forecast.made_at
        assert one.covered == (one.forecast.earliest <= arrived <= one.forecast.latest)
    late_half = known_errors(named)[len(named) // 2 :]
    assert np.median([abs(error) / left for error, left, _ in late_half]) < 0.2


def test_a_straight_line_arrives_when_it_must():
    """0.05 K/s from 60 °C: 82.8 °C after 456 s, by hand."""
    line = [round(60.0 + 0.05 * n, 2) for n in range(480)]
    found = examine(ask(sheet(replace(COOK, hold=Millis(0), ceiling=None))), curve(line))
    assert found.batch.run(StageId("cook")).reached_at == at(456)
    later = [one for one in found.forecasts if at(200) <= one.forecast.made_at < at(440)]
    assert later
    assert all(abs(one.error) < 0.02 * one.left + 1_000 for one in later)


def test_a_forecast_of_a_goal_that_never_came_has_no_error():
    made = Forecast(Instant(T0), Outlook.ARRIVES, at(60), at(50), at(70))
    none = Foreseen(StageId("cook"), "target", 60.0, made)
    assert (none.error, none.left, none.covered, known_errors([none])) == (None, None, None, [])
    came = replace(none, arrived_at=at(75))
    assert (came.error, came.left, came.covered) == (-15_000, 75_000, False)


def test_a_gap_and_a_curve_cut_off_are_not_passed(cooked):
    reached = next(n for n, value in enumerate(cooked) if value >= 82.8)
    holed = [p for p in curve(cooked[:420]) if not at(reached - 200) < p.at < at(reached - 90)]
    found = examine(ask(BOTH), holed)
    assert found.stages[0].verdict is Verdict.NOT_PROVEN
    assert any(e.kind == "gap" and e.until - e.at > 100_000 for e in found.events)
    assert [e.kind for e in found.events if "alarm" in e.kind][:2] == [
        "alarm raised",
        "alarm returned to normal",
    ]
    short = examine(ask(BOTH), curve(cooked[: reached - 10]))
    assert short.stages[0].verdict is Verdict.NOT_PROVEN
    assert "the recording ends before the stage does" in short.stages[0].reasons


def test_within_limits_up_to_a_cut_is_not_passed():
    age = stage("age", StageKind.AGE, ceiling=ceiling(7.0))
    found = examine(ask(sheet(age)), curve([4.0] * 100))
    assert found.stages[0].verdict is Verdict.NOT_PROVEN
    too_warm = examine(ask(sheet(age)), curve([4.0] * 50 + [9.0] * 50))
    assert too_warm.stages[0].verdict is Verdict.NOT_PASSED


def test_what_was_doubtful_when_recorded_never_counts():
    """The values alone would hold for 15 s; one of them was not good in the record."""
    values = [82.0] * 20 + [83.2] * 17
    clean = examine(ask(BOTH), curve(values))
    assert clean.stages[0].verdict is Verdict.PASSED
    points = curve(values)
    points[28] = CurvePoint(points[28].at, "pan", None, "being tested")
    found = examine(ask(BOTH), points)
    assert found.stages[0].verdict is Verdict.NOT_PROVEN
    (event,) = [e for e in found.events if e.kind == "doubtful"]
    assert (event.at, event.readings, event.sentence) == (
        at(28), 1, "pan: 1 doubtful reading, being tested.",
    )  # fmt: skip


def test_the_probe_s_accuracy_counts_against_a_critical_limit():
    critical = sheet(replace(COOK, critical=True, ceiling=None))
    values = [70.0] * 10 + [83.0] * 30
    assert examine(ask(critical), curve(values)).stages[0].verdict is Verdict.PASSED
    unsure = examine(ask(critical, accuracy=TemperatureDifference(0.5)), curve(values))
    assert unsure.stages[0].verdict is Verdict.NOT_PROVEN
    assert "0.50 °C counted" in judged_view(unsure.stages[0], unsure, Wording.of(kitchen()))["counted_shown"]


def test_stages_begin_at_the_instants_given():
    by_hand = sheet(replace(COOK, advance=Advance.CONFIRM), CHILL)
    values = [78.0] * 10 + [83.2] * 60 + [40.0] * 30
    found = examine(ask(by_hand, taps=(Tap(at(60), begins=StageId("chill")),)), curve(values))
    assert found.batch.run(StageId("cook")).ended == at(60)
    assert found.batch.run(StageId("chill")).began == at(60)
    alone = examine(ask(by_hand), curve(values))
    assert alone.batch.run(StageId("cook")).ended == alone.batch.run(StageId("cook")).hold_met_at == at(25)
    late = examine(ask(by_hand, taps=(Tap(at(900), begins=StageId("chill")),)), curve(values))
    assert "after the last reading" in late.notes[0]


def test_recorded_taps_split_the_batch_as_it_was_and_nothing_is_confirmed_before():
    split = sheet(
        replace(COOK, advance=Advance.CONFIRM),
        replace(CHILL, role=RoleId("base")),
        stage(
            "freeze",
            StageKind.HARDEN,
            role="portion",
            target=-6.0,
            approach=Approach.FALLING,
            after=("cook",),
        ),
        roles=("pan", "base", "portion"),
    )
    points = [
        *curve([78.0] * 10 + [83.2] * 60),
        *curve([60.0 - n for n in range(30)], "base", start=70.0),
        *curve([50.0 - n for n in range(30)], "portion", start=70.4),
    ]
    taps = (
        Tap(at(0), begins=StageId("cook")),
        Tap(at(70), begins=StageId("chill")),
        Tap(at(70.4), begins=StageId("freeze")),
    )
    bound = tuple((RoleId(name), name) for name in ("pan", "base", "portion"))
    found = examine(
        ask(split, bindings=bound, taps=taps, as_tapped=True), sorted(points, key=lambda point: point.at)
    )
    cook, chill, freeze = found.batch.stages
    assert (cook.hold_met_at, cook.ended) == (at(25), at(70))
    assert (chill.began, freeze.began) == (at(70), at(70))
    assert (chill.ended, freeze.ended) == (None, None)
    assert found.notes == ()


def test_cooling_checkpoints_are_foreseen_too():
    """FDA Food Code 3-501.14(A): 57 °C to 21 °C within 2 h; 80 exp(-t/40 min) is at 21 °C after 53.5 min."""
    chill = stage("chill", cooling=RULES["two-stage-us"])
    values = [round(80.0 * math.exp(-n / 80.0), 2) for n in range(230)]
    found = examine(ask(sheet(chill)), curve(values, every=30.0))
    course = found.batch.run(StageId("chill")).cooling
    assert course.met[0] == at(3210)
    first = [one for one in found.forecasts if one.goal == "21 °C" and one.forecast.expected is not None]
    assert first
    assert all(one.arrived_at == course.met[0] for one in first)
    assert abs(first[-1].error) < 30_000
    assert found.stages[0].verdict is Verdict.PASSED


def test_a_role_without_a_channel_has_no_readings_and_proves_nothing():
    two = sheet(COOK, replace(CHILL, role=RoleId("base")), roles=("pan", "base"))
    found = examine(ask(two), curve([70.0] * 10 + [83.2] * 40))
    assert found.stages[0].verdict is Verdict.PASSED
    assert found.stages[1].verdict is Verdict.NOT_PROVEN
    assert found.stages[1].evidence.readings == 0
    assert all(reading.probe == ProbeId("pan") for reading in found.readings)


def test_no_readings_are_refused():
    with pytest.raises(RefusedError, match="There are no readings"):
        examine(ask(BOTH), [])
