"""What is doubted, through the engine: it decides nothing, is stored, shows in the health, and people are called."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.messages import AdvanceStage, AlarmMoved, BeginTest, EndTest, PromptGiven, ReadingMade
from rimekeeper.core.model import Health, Millis, ProbeId, Quality, Reason
from rimekeeper.core.plan import Approach, RolePlan, StageKind
from rimekeeper.core.sensing.health import SILENT
from rimekeeper.keeping.codec import slot_from_json, slot_kind, to_json
from support.engine_kitchen import Hand, ceiling, kitchen, sheet, stage, station

FAULT = "probe/walkin/fault"
LIMIT = "station/walkin/ceiling"


def freezer(**more):
    """A kitchen whose walk-in probe is judged by the keys given; ``fridge`` hangs in the room."""
    plan = kitchen(stations=[station(ceiling(on_delay=Millis(30_000)))])
    probes = dict(plan.probes)
    probes[ProbeId("walkin")] = replace(probes[ProbeId("walkin")], **more)
    return replace(plan, probes=probes)


def reasons(hand, probe="walkin"):
    found = [o.reading for o in hand.outcomes if isinstance(o, ReadingMade) and o.reading.probe == probe]
    return [reading.reason for reading in found]


def raised(hand):
    return [key for key, move, _ in hand.moves if move == "raised"]


def moves(hand):
    return [move for key, move, _ in hand.moves if key == FAULT and not move.startswith("called")]


def health(hand, probe="walkin"):
    return hand.state.probes[probe].health


def stored(hand):
    """The probes' slots survive being stored."""
    return all(slot_from_json(slot_kind(slot), to_json(slot)) == slot for slot in hand.state.probes.values())


def test_power_on_codes_raise_a_fault_and_no_temperature_alarm():
    hand = Hand(freezer(one_wire=True))
    hand.ramp("walkin", 0, [-20.0, *[85.0] * 30], every=10.0)
    assert set(reasons(hand)[1:]) == {Reason.SENSOR_CODE}
    assert raised(hand) == [FAULT]
    assert health(hand) is Health.FAILURE
    assert stored(hand)


def test_a_stuck_probe_raises_a_fault():
    hand = Hand(freezer(stuck_after=Millis(600_000)))
    hand.ramp("walkin", 0, [-20.0] * 80, every=10.0)
    assert reasons(hand)[-1] is Reason.STUCK
    assert raised(hand) == [FAULT]
    assert health(hand) is Health.FAILURE
    hand.sample("walkin", -20.1, 800)
    hand.ramp("walkin", 801, [-20.2, -20.1])
    assert moves(hand) == ["raised", "returned to normal"]
    assert stored(hand)


def test_noise_raises_a_fault_and_no_temperature_alarm():
    hand = Hand(freezer())
    hand.ramp("walkin", 0, [-20.0, -28.0] * 60)
    assert reasons(hand)[-1] is Reason.NOISE
    assert raised(hand) == [FAULT]
    assert health(hand) is Health.FAILURE
    assert stored(hand)


def test_a_probe_pulled_out_of_the_freezer():
    hand = Hand(freezer(room=ProbeId("fridge")))
    now = 0.0
    for n in range(900):
        now = float(n)
        if n % 30 == 0:
            hand.sample("fridge", 21.0, now)
        celsius = -20.0 if n < 120 else 21.0 - 41.0 * math.exp(-(n - 120) / 45.0)
        hand.sample("walkin", round(celsius, 1), now)
    assert reasons(hand)[-1] is Reason.ROOM
    assert FAULT in hand.state.alarms
    assert health(hand) is Health.OUT_OF_SPECIFICATION
    assert stored(hand)
    hand.ramp("walkin", now + 1, [round(-20.0 + 41.0 * math.exp(-n / 5.0), 1) for n in range(40)])
    assert reasons(hand)[-1] is Reason.NONE
    assert moves(hand) == ["raised", "returned to normal"]


def test_two_in_one_place_that_disagree():
    plan = freezer(beside=ProbeId("base"))
    probes = dict(plan.probes)
    probes[ProbeId("base")] = replace(probes[ProbeId("base")], beside=ProbeId("walkin"))
    hand = Hand(replace(plan, probes=probes))
    for n in range(40):
        hand.sample("walkin", -20.0 + 0.1 * (n % 2), 5.0 * n)
        hand.sample("base", -17.5, 5.0 * n + 1)
    assert reasons(hand)[-1] is reasons(hand, "base")[-1] is Reason.DISAGREES
    assert health(hand) is health(hand, "base") is Health.OUT_OF_SPECIFICATION
    assert raised(hand) == [FAULT]  # nothing depends on the other one
    assert stored(hand)


def test_exchanged_plugs_of_two_stations():
    plan = kitchen(
        stations=[
            station(ceiling(on_delay=Millis(600_000))),
            station(ceiling(8.0, on_delay=Millis(600_000)), probe="fridge", name="fridge"),
        ]
    )
    hand = Hand(plan)
    for n in range(60):
        there = n >= 30
        hand.sample("walkin", 4.0 if there else -20.0, 10.0 * n)
        hand.sample("fridge", -20.0 if there else 4.0, 10.0 * n + 3)
    assert reasons(hand)[-1] is reasons(hand, "fridge")[-1] is Reason.SWAPPED
    assert set(raised(hand)) == {FAULT, "probe/fridge/fault"}
    assert stored(hand)


def test_a_role_s_rate_holds_only_while_the_probe_is_bound():
    cook = sheet(
        stage("cook", StageKind.COOK, target=82.0, approach=Approach.RISING), stage("chill", after=("cook",))
    )
    slow = replace(cook, roles=(replace(cook.roles[0], fastest=0.5),))
    assert isinstance(slow.roles[0], RolePlan)
    hand = Hand(kitchen(sheets=[slow]))
    hand.ramp("pan", 0, [20.0, 25.0, 30.0])
    assert set(reasons(hand, "pan")) == {Reason.NONE}
    batch = hand.begin(3)
    hand.ramp("pan", 4, [30.2, 35.0, 30.4, 30.8])
    assert reasons(hand, "pan")[3:] == [Reason.NONE, Reason.JUMP, Reason.NONE, Reason.NONE]
    hand.give(AdvanceStage(batch, why="tasted"), 9)
    hand.ramp("pan", 10, [31.2, 35.0, 31.0])
    assert reasons(hand, "pan")[7:] == [Reason.NONE, Reason.JUMP, Reason.NONE]


def test_a_test_is_a_function_check_without_a_fault_and_clears_what_was_held_against_the_probe():
    hand = Hand(freezer(stuck_after=Millis(600_000)))
    hand.ramp("walkin", 0, [-20.0] * 80, every=10.0)
    assert FAULT in hand.state.alarms
    hand.give(BeginTest(ProbeId("walkin"), "ice point", Millis(600_000)), 801)
    hand.ramp("walkin", 802, [0.1, 0.0, math.nan, math.nan, math.nan, math.nan, 0.0])
    assert health(hand) is Health.FUNCTION_CHECK
    assert hand.state.probes["walkin"].health_why == "ice point"
    assert moves(hand) == ["raised", "returned to normal"]
    hand.give(EndTest(ProbeId("walkin")), 815)
    hand.ramp("walkin", 816, [-20.0, -20.0, -20.0], every=20.0)
    assert reasons(hand)[-1] is Reason.NONE
    assert health(hand) is Health.NORMAL
    assert raised(hand) == [FAULT]


def test_pace_is_learnt_by_the_engine_and_a_gap_is_counted():
    hand = Hand(freezer())
    now = hand.ramp("walkin", 0, [-20.0 - 0.1 * (n % 3) for n in range(20)], every=2.0)
    hand.ramp("walkin", now + 20, [-20.0, -20.1], every=2.0)
    pace = hand.state.probes["walkin"].pace
    assert (pace.interval, pace.gaps, pace.gap_length) == (2_000, 1, 22_000)
    hand.sample("walkin", -20.0, 100, taken=103)
    assert hand.state.probes["walkin"].pace.offset == 3_000
    assert health(hand) is not Health.FAILURE or hand.state.probes["walkin"].health_why == SILENT


# --- a single spike -------------------------------------------------------------------------------------------

PLAN = kitchen(
    stations=[station(ceiling(-15.0), probe="walkin")],
    sheets=[
        sheet(
            stage("cook", StageKind.COOK, target=60.0, approach=Approach.RISING, settle=Millis(0)),
            stage("chill", after=("cook",)),
        )
    ],
)


def decided(values, probe):
    """Alarms and prompts of a series, with the readings left out."""
    hand = Hand(PLAN)
    hand.begin(0)
    hand.ramp(probe, 1, values)
    hand.tick(len(values) + 30)
    return [
        (type(o).__name__, getattr(o, "move", None), getattr(o, "kind", None))
        for o in hand.outcomes
        if isinstance(o, AlarmMoved | PromptGiven) and "silent" not in str(o)
    ], hand


@settings(max_examples=60, deadline=None)
@given(
    place=st.integers(1, 38),
    height=st.floats(12.0, 2_000.0) | st.just(math.inf) | st.just(math.nan),
    way=st.sampled_from([1, -1]),
    rate=st.floats(-0.9, 0.9),
    probe=st.sampled_from(["walkin", "pan"]),
)
def test_a_single_spike_in_a_smooth_curve_changes_nothing_and_is_stored(place, height, way, rate, probe):
    """A spike: further off than the probe can move in the time (10 K in a second). Once, and not the very first."""
    start = -20.0 if probe == "walkin" else 40.0
    smooth = [start + rate * n for n in range(40)]
    spiky = [*smooth]
    spiky[place] = smooth[place] + way * height
    without, _ = decided(smooth, probe)
    with_it, hand = decided(spiky, probe)
    found = [o.reading for o in hand.outcomes if isinstance(o, ReadingMade)]
    kept = [reading for reading in found if reading.quality is not Quality.GOOD]
    assert len(found) == 40
    assert len(kept) == 1
    assert kept[0].raw == spiky[place] or math.isnan(spiky[place])
    crossing = place in _crossings(smooth)
    assert with_it == without or crossing


def _crossings(smooth):
    """Places where the spike takes the place of the very reading that decides; the next one decides then."""
    return {
        n
        for n in range(1, 40)
        for limit in (-15.0, -15.5, 60.0)
        if (smooth[n - 1] < limit) != (smooth[n] < limit)
    }


@pytest.mark.parametrize("pause", [30, 59])
def test_a_step_of_more_than_80_kelvin_is_a_jump_however_long_the_pause(pause):
    hand = Hand(freezer())
    hand.ramp("walkin", 0, [-20.0, -20.0, 61.0, -20.1], every=float(pause))
    assert reasons(hand) == [Reason.NONE, Reason.NONE, Reason.JUMP, Reason.NONE]
    assert raised(hand) == []
