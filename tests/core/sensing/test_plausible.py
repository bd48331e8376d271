"""Readings that could be true and are not likely: each check by itself, and what it must leave alone."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Millis, ProbeId, Quality, Reason, Scale, Temperature, TemperatureDifference
from rimekeeper.core.sensing.duty import NO_DUTY, Duty
from rimekeeper.core.sensing.plausible import CHECKS
from rimekeeper.core.sensing.sensors.integers import OneWireSensor
from support.doubtful import AIR, STAGE, Watched, doubted, plan

ONE_WIRE = plan(one_wire=True)
MINUTE, HOUR = 60, 3_600


def air(probe, value=21.0, until=2 * HOUR):
    """A kitchen whose room probe speaks every minute, whenever the other one is asked."""
    watched = Watched(probe, plan("air"))
    inner, spoken = watched.say, [0.0]

    def say(name, seconds, celsius, *args, **more):
        while spoken[0] <= seconds:
            inner("air", spoken[0], value)
            spoken[0] += 60.0
        return inner(name, seconds, celsius, *args, **more)

    watched.say = say
    return watched


IN_ROOM = plan(room=AIR)


def newton(start, towards, tau, seconds, every=1.0, since=0.0):
    """(seconds, °C) of something that nears ``towards`` by Newton's law, to the tenth."""
    return [
        (since + n * every, round(towards + (start - towards) * math.exp(-n * every / tau), 1))
        for n in range(int(seconds / every))
    ]


def steady(value, seconds, every=1.0, since=0.0):
    return [
        (since + n * every, round(value + 0.1 * math.sin(n / 5.0), 1)) for n in range(int(seconds / every))
    ]


# --- codes of one-wire thermometers ---------------------------------------------------------------------------
# Codes: data sheets of one-wire digital thermometers (0x0550 = 85 °C after power-on); 0xFFFF of a bus held high is
# -0.0625 °C; an all-zero scratchpad passes CRC-8 (x^8 + x^5 + x^4 + 1 over zeros is zero); -127: a convention of
# readers, in no data sheet. 185 °F is exactly 85 °C (definition of the scale).


@pytest.mark.parametrize("code", [85.0, 0.0, -0.0625])
def test_a_code_out_of_nowhere_is_doubted(code):
    watched = Watched(ONE_WIRE)
    assert watched.say("pan", 0, code) is Reason.SENSOR_CODE
    assert watched.say("pan", 10, -18.0) is Reason.NONE
    assert watched.say("pan", 20, code) is Reason.SENSOR_CODE
    assert watched.say("pan", 30, -18.0625) is Reason.NONE
    assert watched.slots["pan"].good_celsius == -18.0625


@pytest.mark.parametrize(("code", "way"), [(85.0, 1), (0.0, -1), (0.0, 1), (-0.0625, 1), (-0.0625, -1)])
@pytest.mark.parametrize("every", [1.0, 10.0, 60.0])
def test_the_same_number_reached_by_degrees_is_a_temperature(code, way, every):
    # 12 K/min: quicker than a full pan on a strong burner.
    step = 0.2 * every
    points = [(n * every, code + way * step * (n - 3)) for n in range(7)]
    assert doubted(Watched(ONE_WIRE).run("pan", points)) == []


def test_185_fahrenheit_is_reached():
    watched = Watched(ONE_WIRE)
    points = [(n, 184.0 + 0.25 * n) for n in range(9)]
    assert doubted(watched.run("pan", points, scale=Scale.FAHRENHEIT)) == []
    assert 85.0 in [reading.celsius for reading in watched.found]


def test_a_code_right_after_a_pause_is_doubted_until_it_is_read_again():
    watched = Watched(ONE_WIRE)
    assert watched.run("pan", [(0, 84.9375), (1, 85.0), (90, 85.0), (91, 85.0)]) == [
        Reason.NONE, Reason.NONE, Reason.SENSOR_CODE, Reason.NONE,
    ]  # fmt: skip


def test_a_thermometer_that_says_nothing_but_its_code_is_never_believed():
    watched = Watched(ONE_WIRE)
    watched.say("pan", 0, -18.0)
    assert set(watched.run("pan", [(10 * n, 85.0) for n in range(1, 500)])) == {Reason.SENSOR_CODE}


def test_minus_127_is_bad_whatever_the_range():
    wide = plan(one_wire=True, lowest=Temperature(-200.0))
    watched = Watched(wide)
    assert watched.say("pan", 0, -127.0) is Reason.SENSOR_CODE
    assert watched.found[0].quality is Quality.BAD
    assert watched.found[0].celsius is None
    assert Watched(plan(lowest=Temperature(-200.0))).say("pan", 0, -127.0) is Reason.NONE


def test_the_register_itself_is_judged_too():
    watched = Watched(plan(sensor=OneWireSensor()))
    reasons = watched.run("pan", [(0, 0x0550), (10, 0x0191), (20, 0xFFFF), (30, 0x0192)], scale=None)
    assert reasons == [Reason.SENSOR_CODE, Reason.NONE, Reason.SENSOR_CODE, Reason.NONE]


def test_other_thermometers_may_say_these_numbers():
    assert doubted(
        Watched(plan()).run("pan", [(0, 85.0), (1, 85.0), (90, 0.0), (91, 0.0), (200, -0.0625)])
    ) == [Reason.JUMP]


def test_what_the_manual_calls_a_fault_is_one_before_its_scale_is_applied():
    watched = Watched(plan(fault_codes=(-999.0, 850.0), scale=Scale.FAHRENHEIT))
    assert watched.run("pan", [(0, -999.0), (1, 850.0), (2, 68.0)], scale=None) == [
        Reason.SENSOR_CODE, Reason.SENSOR_CODE, Reason.NONE,
    ]  # fmt: skip
    assert [reading.celsius for reading in watched.found] == [None, None, pytest.approx(20.0)]


# --- stuck ----------------------------------------------------------------------------------------------------


def first_doubt(points, reasons):
    return next((seconds for (seconds, _), reason in zip(points, reasons, strict=True) if reason), None)


@pytest.mark.parametrize("every", [1.0, 60.0])
def test_the_same_number_for_six_hours_is_stuck_never_before(every):
    points = [(n * every, 4.3) for n in range(int(6.3 * HOUR / every))]
    at = first_doubt(points, Watched(plan(silent_after=Millis(300_000))).run("pan", points))
    assert 6 * HOUR <= at <= 6 * HOUR * 65 / 64 + every


def test_one_step_of_the_last_digit_frees_it():
    watched = Watched(plan())
    watched.run("pan", [(30 * n, 4.3) for n in range(int(6.2 * HOUR / 30))])
    assert watched.found[-1].reason is Reason.STUCK
    assert watched.say("pan", 6.2 * HOUR + 30, 4.4) is Reason.NONE
    assert watched.say("pan", 6.2 * HOUR + 60, 4.4) is Reason.NONE


def test_it_can_be_turned_off_and_set():
    points = [(30 * n, 4.3) for n in range(int(12 * HOUR / 30))]
    assert doubted(Watched(plan(stuck_after=Millis(0))).run("pan", points)) == []
    at = first_doubt(points, Watched(plan(stuck_after=Millis(3_600_000))).run("pan", points))
    assert HOUR <= at <= 1.03 * HOUR


def test_the_time_of_a_silence_does_not_count():
    half = [(30 * n, 4.3) for n in range(int(4 * HOUR / 30))]
    later = [(seconds + 10 * HOUR, value) for seconds, value in half]
    assert doubted(Watched(plan()).run("pan", [*half, *later])) == []


@given(st.lists(st.integers(0, 3), min_size=100, max_size=400))
def test_a_coarse_number_that_moves_within_the_time_is_never_stuck(values):
    points = [(60.0 * n, float(v if n % 50 else v + 1)) for n, v in enumerate(values)]
    calm = all(
        any(points[m][1] != points[m - 1][1] for m in range(n, min(n + 55, len(points))))
        for n in range(1, len(points) - 55)
    )
    reasons = Watched(plan(stuck_after=Millis(3_600_000))).run("pan", points)
    assert not calm or Reason.STUCK not in reasons


# --- noise ----------------------------------------------------------------------------------------------------


def test_a_probe_that_jumps_to_and_fro_is_doubted_after_five_swings_back():
    watched = Watched(plan())
    reasons = watched.run("pan", [(n, 20.0 + 4.0 * (n % 2)) for n in range(12)])
    assert reasons.index(Reason.NOISE) == 6
    assert set(reasons[6:]) == {Reason.NOISE}
    calm = watched.run("pan", [(n, 20.0) for n in range(12, 24)])
    assert calm[-1] is Reason.NONE
    assert calm.count(Reason.NOISE) < 8


def test_small_or_slow_or_single_swings_are_no_noise():
    def swing(size, every=1.0, count=40):
        return [(n * every, 20.0 + size * (n % 2)) for n in range(count)]

    assert doubted(Watched(plan()).run("pan", swing(0.99))) == []
    assert doubted(Watched(plan(silent_after=Millis(900_000))).run("pan", swing(4.0, every=61.0))) == []
    coarse = plan(resolution=TemperatureDifference(1.0))
    assert doubted(Watched(coarse).run("pan", swing(5.0))) == []
    assert doubted(Watched(coarse).run("pan", swing(5.1))) == [Reason.NOISE]
    door = [(n, -18.0 + (6.0 if n % 5 == 0 else 0.0)) for n in range(60)]
    assert doubted(Watched(plan()).run("pan", door)) == []


@given(st.floats(-0.5, 0.5), st.floats(0.05, 1.0), st.floats(1.0, 30.0))
def test_no_smooth_curve_is_noisy(rate, wiggle, period):
    points = [(n, 50.0 + rate * n + wiggle * math.sin(n / period)) for n in range(100)]
    assert Reason.NOISE not in Watched(plan()).run("pan", points)


# --- two in one place -----------------------------------------------------------------------------------------

PAIR = (plan("pan", beside=ProbeId("twin")), plan("twin", beside=ProbeId("pan")))


def both(watched, pairs, since=0.0, every=5.0):
    """Each of (pan, twin) in turn; the reasons of both."""
    reasons = []
    for n, (one, other) in enumerate(pairs):
        reasons.append(watched.say("pan", since + n * every, one))
        reasons.append(watched.say("twin", since + n * every + 0.5, other))
    return reasons


def test_both_are_doubted_after_a_minute_and_believed_when_they_agree():
    watched = Watched(*PAIR)
    reasons = both(watched, [(4.0 + 0.1 * (n % 2), 6.0) for n in range(40)])
    first = reasons.index(Reason.DISAGREES)
    assert 24 <= first <= 28  # twelve rounds of five seconds, two readings each
    assert set(reasons[first + 1 :]) == {Reason.DISAGREES}
    reasons = both(watched, [(5.4, 6.0)] * 3, since=200.0)
    assert reasons[0] is Reason.NONE
    assert reasons[2:] == [Reason.NONE] * 4


def test_what_is_allowed_and_what_is_short_is_left_alone():
    assert doubted(both(Watched(*PAIR), [(4.0, 5.0)] * 100)) == []
    door = [(4.0, 4.0)] * 10 + [(9.0, 4.0)] * 11 + [(4.0, 4.0)] * 10
    assert doubted(both(Watched(*PAIR), door * 3)) == []


def test_the_other_one_must_be_fresh_and_good_to_be_compared_with():
    watched = Watched(*PAIR)
    watched.say("twin", 0, 9.0)
    assert doubted(watched.run("pan", [(30.0 * n, 4.0) for n in range(3, 40)])) == []
    reasons = [
        watched.say(name, 2_000 + 10 * n, value)
        for n in range(30)
        for name, value in (("twin", math.nan), ("pan", 4.0))
    ]
    assert Reason.DISAGREES not in reasons


def test_a_doubt_outlives_the_silence_of_the_other():
    """Somebody may have unplugged the right one."""
    watched = Watched(*PAIR)
    both(watched, [(4.0, 6.0)] * 30)
    watched.say("pan", 147.0, math.nan)
    assert set(watched.run("pan", [(150.0 + 10 * n, 4.0) for n in range(60)])) == {Reason.DISAGREES}


# --- reads the room -------------------------------------------------------------------------------------------
# Time constants of sheathed probes in air: 20 to 90 s (t90 of 51 to 200 s, a maker's table for 3 to 6 mm probes).


def after_product(level, tau, room=21.0, every=1.0):
    """A probe ten minutes in a product, then pulled out: when it is doubted, s after that."""
    watched = air(IN_ROOM, room)
    assert doubted(watched.run("pan", steady(level, 600, every))) == []
    points = newton(level, room, tau, 1_200, every, since=600.0)
    at = first_doubt(points, watched.run("pan", points))
    assert watched.found[-1].reason is Reason.ROOM
    return at - 600.0


@pytest.mark.parametrize("level", [83.0, 50.0, 4.0, -18.0, -32.0])
@pytest.mark.parametrize(("tau", "within"), [(15.0, 150.0), (30.0, 240.0), (60.0, 480.0), (90.0, 600.0)])
@pytest.mark.parametrize("every", [1.0, 10.0])
def test_a_probe_that_is_pulled_out_is_doubted_within_minutes(level, tau, within, every):
    assert after_product(level, tau, every=every) <= within


@pytest.mark.parametrize("level", [83.0, -18.0])
def test_far_from_the_room_it_takes_two_or_three_minutes(level):
    assert after_product(level, 60.0) <= 180.0


def test_it_is_believed_again_in_the_product_and_not_by_waiting():
    watched = air(IN_ROOM)
    watched.run("pan", steady(4.0, 600))
    watched.run("pan", newton(4.0, 21.0, 40.0, 600, since=600.0))
    hour = watched.run("pan", steady(21.0, HOUR, since=1_200.0))
    assert set(hour) == {Reason.ROOM}
    back = watched.run("pan", newton(21.0, 4.0, 5.0, 60, since=1_200.0 + HOUR))
    assert back.index(Reason.NONE) <= 4
    assert set(back[4:]) == {Reason.NONE}


def test_another_duty_or_a_test_forgets_it():
    def pulled():
        watched = air(IN_ROOM)
        watched.run("pan", steady(83.0, 100))
        watched.run("pan", newton(83.0, 21.0, 40.0, 400, since=100.0))
        assert watched.found[-1].reason is Reason.ROOM
        return watched

    watched = pulled()
    watched.duty = Duty("custard-1/chill")
    assert watched.say("pan", 500, 21.0) is Reason.NONE
    watched = pulled()
    watched.duty = NO_DUTY
    assert watched.say("pan", 500, 21.0) is Reason.NONE


@pytest.mark.parametrize("minutes", [4, 6, 10, 20, 40])
@pytest.mark.parametrize("bath", [0.5, 8.0, 15.0, 17.0])
@pytest.mark.parametrize("every", [1.0, 10.0])
def test_a_product_that_is_cooled_through_the_room_is_believed(minutes, bath, every):
    """From a small bag in stirred ice water (time constant 4 min) to a pan in tap water (40 min)."""
    watched = air(IN_ROOM)
    watched.run("pan", steady(85.0, 60, every))
    points = newton(85.0, bath, minutes * 60.0, minutes * 240.0, every, since=60.0)
    assert doubted(watched.run("pan", points)) == []


@pytest.mark.parametrize("minutes", [10, 60])
def test_a_product_that_is_heated_or_left_to_stand_is_believed(minutes):
    for start, towards in ((21.0, 95.0), (4.0, 95.0), (85.0, 21.0), (-18.0, 21.0)):
        points = newton(start, towards, minutes * 60.0, 2 * HOUR, 5.0)
        assert doubted(air(IN_ROOM).run("pan", points)) == []


def test_a_door_that_stands_open_is_not_a_pulled_probe():
    """Air of a freezer nears a mixture of both (here 5 °C) and comes back."""
    opened = newton(-20.0, 5.0, 60.0, 240.0, since=600.0)
    shut = newton(opened[-1][1], -20.0, 120.0, 600.0, since=840.0)
    assert doubted(air(IN_ROOM).run("pan", [*steady(-20.0, 600), *opened, *shut])) == []


def test_without_a_room_or_a_duty_or_a_fresh_room_nothing_is_judged():
    points = [*steady(83.0, 100), *newton(83.0, 21.0, 40.0, 600, since=100.0)]
    assert doubted(air(plan()).run("pan", points)) == []
    idle = air(IN_ROOM)
    idle.duty = NO_DUTY
    assert doubted(idle.run("pan", points)) == []
    old = Watched(IN_ROOM, plan("air"))
    old.say("air", 0, 21.0)
    assert doubted(old.run("pan", [(seconds + 400.0, value) for seconds, value in points])) == []


# --- swapped --------------------------------------------------------------------------------------------------

TWO = (plan("pan"), plan("base"))


def swap(watched, at, one, other, apart=5.0, seconds=600):
    reasons = []
    for n in range(int(seconds)):
        now = at + n
        reasons.append(watched.say("pan", now, one))
        reasons.append(
            watched.say("base", now + 0.4, other if n >= apart else watched.slots["base"].celsius or other)
        )
    return reasons


def test_plugs_that_were_exchanged_are_doubted_on_both_sides_until_they_are_back():
    watched = Watched(*TWO)
    assert doubted(swap(watched, 0, 83.0, 4.0, apart=0)) == []
    reasons = swap(watched, 600, 4.3, 82.6)
    assert reasons[-1] is reasons[-2] is Reason.SWAPPED
    assert set(reasons[20:]) == {Reason.SWAPPED}
    back = swap(watched, 1_200, 82.0, 4.0)
    assert set(back[20:]) == {Reason.NONE}


def test_jumps_elsewhere_or_one_alone_or_long_apart_are_no_swap():
    for one, other, apart in ((30.0, 40.0, 5), (4.3, 4.0, 5), (4.3, 82.6, 130), (83.0, 75.0, 5)):
        watched = Watched(*TWO)
        swap(watched, 0, 83.0, 4.0, apart=0)
        assert Reason.SWAPPED not in swap(watched, 600, one, other, apart=apart)


def test_a_probe_that_nothing_depends_on_cannot_be_swapped():
    watched = Watched(*TWO, duty=NO_DUTY)
    swap(watched, 0, 83.0, 4.0, apart=0)
    assert Reason.SWAPPED not in swap(watched, 600, 4.0, 83.0)


def test_the_next_stage_forgets_it():
    watched = Watched(*TWO)
    swap(watched, 0, 83.0, 4.0, apart=0)
    swap(watched, 600, 4.3, 82.6)
    watched.duty = Duty("custard-1/chill")
    assert set(swap(watched, 1_200, 4.3, 82.6, seconds=300)) == {Reason.NONE}


# --- all of them ----------------------------------------------------------------------------------------------


def test_every_check_is_in_the_registry():
    assert [check.__name__ for check in CHECKS] == ["codes", "stuck", "noise", "swapped", "room", "beside"]


@given(
    st.lists(
        st.tuples(
            st.sampled_from(["pan", "twin", "air"]),
            st.floats(-1.0, 400.0),
            st.floats(allow_nan=True, allow_infinity=True)
            | st.sampled_from([85.0, 0.0, -0.0625, 21.0, -127.0]),
        ),
        max_size=60,
    ),
    st.booleans(),
)
def test_no_series_of_numbers_breaks_them_and_what_is_doubted_is_kept(points, idle):
    probes = [
        plan("pan", beside=ProbeId("twin"), room=AIR, one_wire=True, stuck_after=Millis(60_000)),
        plan("twin", beside=ProbeId("pan"), room=AIR),
        plan("air"),
    ]
    watched, now = Watched(*probes, duty=NO_DUTY if idle else STAGE), 0.0
    for name, later, value in points:
        now += later
        watched.say(name, now, value)
    for (_, _, value), reading in zip(points, watched.found, strict=True):
        assert reading.raw == value or math.isnan(value)
        if reading.quality is Quality.UNCERTAIN:
            assert reading.celsius == value
