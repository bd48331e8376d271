"""Forecasts never mislead: what they say in every situation, and what holds for any curve whatever."""

import itertools
import math
import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.model import Instant, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach, MixPlan
from rimekeeper.core.process import freezing
from rimekeeper.core.process.forecast import Course, Outlook, forecast, observe
from rimekeeper.core.process.thinning import MOST_POINTS

START = 1_700_000_000_000
HALF = TemperatureDifference(0.5)


def watched(curve, seconds, step=1.0, noise=0.1, number=1):
    dice = random.Random(number)
    course, at = Course(), Instant(START)
    for i in range(int(seconds / step) + 1):
        at = Instant(START + round(i * step * 1000.0))
        course = observe(course, at, round(curve(i * step) + dice.gauss(0.0, noise), 2))
    return course, at


def pan(t):
    return 20.0 + 0.03 * t


def ask(course, at, target=82.0, approach=Approach.RISING, **more):
    return forecast(course, Temperature(target), HALF, approach, at, **more)


def test_nothing_seen_nothing_said():
    found = ask(Course(), Instant(START))
    assert found.outlook is Outlook.UNSETTLED
    assert found.why == "There is no reading yet."


@pytest.mark.parametrize("seconds", [0, 3, 10])
def test_too_little_seen(seconds):
    course, at = watched(pan, seconds)
    found = ask(course, at)
    assert found.outlook is Outlook.UNSETTLED
    assert "so far" in found.why


def test_stale_readings_give_no_arrival():
    course, at = watched(pan, 300)
    assert ask(course, Instant(at + 59_000)).outlook is Outlook.ARRIVES
    found = ask(course, Instant(at + 61_000))
    assert found.outlook is Outlook.STALE
    assert found.expected is None
    assert found.why == "The last reading is 61 s old."


def test_slow_probes_go_stale_later():
    course, at = watched(pan, 1200, step=30.0)
    assert ask(course, Instant(at + 140_000)).outlook is Outlook.ARRIVES
    assert ask(course, Instant(at + 151_000)).outlook is Outlook.STALE


@pytest.mark.parametrize(
    ("approach", "inside", "outside"),
    [(Approach.RISING, 83.0, 81.0), (Approach.FALLING, 80.0, 83.0), (Approach.WITHIN, 82.4, 83.0)],
)
def test_there_when_in_the_band_by_its_approach(approach, inside, outside):
    course, at = watched(lambda _: inside, 60, noise=0.01)
    assert ask(course, at, approach=approach).outlook is Outlook.THERE
    course, at = watched(lambda _: outside, 60, noise=0.01)
    assert ask(course, at, approach=approach).outlook is not Outlook.THERE


def test_one_reading_in_the_band_is_not_there():
    course, at = watched(lambda _: 70.0, 60, noise=0.01)
    course = observe(course, Instant(at + 1000), 82.0)
    found = ask(course, Instant(at + 1000))
    assert found.outlook is Outlook.UNSETTLED
    assert "single reading" in found.why


@pytest.mark.parametrize(
    ("approach", "slope", "edge"),
    [
        (Approach.RISING, 0.03, 81.5),
        (Approach.WITHIN, 0.03, 81.5),
        (Approach.FALLING, -0.03, 82.5),
        (Approach.WITHIN, -0.03, 82.5),
    ],
)
def test_arrival_is_the_near_edge_of_the_band(approach, slope, edge):
    course, at = watched(lambda t: edge - slope * 900.0 + slope * t, 600, noise=0.02)
    found = ask(course, at, approach=approach)
    assert (found.expected - at) / 1000.0 == pytest.approx(300.0, rel=0.06)
    assert found.earliest - at < 300_000 < found.latest - at


def test_moves_away():
    course, at = watched(lambda t: 60.0 - 0.02 * t, 120)
    found = ask(course, at)
    assert found.outlook is Outlook.AWAY
    assert found.expected is None
    assert "moves away from the target at 1.2 K a minute" in found.why


def test_a_cold_pan_that_does_not_move_is_not_said_to_level_off():
    course, at = watched(lambda _: 20.0, 300)
    found = ask(course, at)
    assert found.outlook is Outlook.UNSETTLED
    assert found.why == "The temperature is not clearly moving."


def test_a_core_that_is_still_speeding_up_gives_no_arrival():
    """Deep in a tub nothing happens at first; going by that slope would put the arrival hours too late."""
    course, at = watched(lambda t: -5.5 - 1.0e-7 * t**2, 3000, step=10.0, noise=0.03)
    found = ask(course, at, -18.0, Approach.FALLING, freezing_point=Temperature(-2.5))
    assert found.outlook is Outlook.UNSETTLED
    assert "still speeding up" in found.why


def test_more_readings_make_a_narrower_interval():
    widths = []
    for seconds in (60, 300, 1200):
        course, at = watched(pan, seconds)
        found = ask(course, at)
        widths.append((found.latest - found.earliest) / (found.expected - at))
    assert widths[0] > widths[1] > widths[2]


def churned(mix, until):
    """A mix in a batch freezer by its own heat content: wall at -26 °C, one reading a second."""
    heat = freezing.specific_enthalpy(mix, Temperature(4.0))
    celsius, dice = 4.0, random.Random(5)
    course, outcome, i = Course(), [], 0
    freezing_point = freezing.initial_freezing_point(mix)
    while celsius > until and i < 4000:
        at = Instant(START + i * 1000)
        course = observe(course, at, celsius + dice.gauss(0.0, 0.05))
        if i % 20 == 0 and i >= 40:
            found = forecast(course, Temperature(-6.1), HALF, Approach.FALLING, at, freezing_point)
            outcome.append((i, celsius, found))
        heat -= 0.011 * (celsius + 26.0)
        celsius = freezing.temperature_at_enthalpy(mix, heat).celsius
        i += 1
    return i, outcome


def test_the_freezing_plateau_is_neither_never_nor_in_ten_seconds():
    mix = MixPlan(water=60.0, fat=10.0, msnf=10.0, sucrose=15.0)
    start = freezing.initial_freezing_point(mix).celsius
    arrival, outcome = churned(mix, -5.6)
    on_it = [(i, f) for i, c, f in outcome if start - 1.0 < c < start - 0.1]
    assert len(on_it) > 5
    assert Outlook.PLATEAU in {f.outlook for _, f in on_it}
    for i, found in on_it:
        assert found.outlook in (Outlook.PLATEAU, Outlook.ARRIVES, Outlook.UNSETTLED)
        if found.outlook is Outlook.PLATEAU:
            assert found.expected is None
            assert found.why.startswith("Ice is forming")
        if found.earliest is not None:
            assert (found.earliest - START) / 1000.0 <= arrival
        if found.expected is not None:
            assert 0.4 * (arrival - i) < (found.expected - START) / 1000.0 - i < 2.5 * (arrival - i)
    after = [(i, f) for i, c, f in outcome if c < start - 1.7]
    assert after
    for i, found in after:
        assert found.outlook is Outlook.ARRIVES
        assert (found.expected - START) / 1000.0 - i == pytest.approx(arrival - i, rel=0.25, abs=12.0)


def test_supercooling_is_a_plateau_and_not_a_move_away():
    def curve(t):
        if t < 200.0:
            return 4.0 - 0.035 * t
        return min(-2.6, -3.0 + 0.02 * (t - 200.0))

    course, at = watched(curve, 215, noise=0.03)
    found = ask(course, at, -6.1, Approach.FALLING, freezing_point=Temperature(-2.5))
    assert found.outlook is Outlook.PLATEAU


def test_a_hint_of_the_freezing_point_does_not_matter_above_it():
    course, at = watched(lambda t: 2.0 + 60.0 * math.exp(-t / 900.0), 900)
    plain = ask(course, at, 5.0, Approach.FALLING)
    assert ask(course, at, 5.0, Approach.FALLING, freezing_point=Temperature(-2.5)) == plain


def test_memory_is_bounded_and_keeps_the_whole_curve():
    course, _ = watched(pan, 20_000)
    assert len(course.times) == len(course.celsius) == len(course.counts) <= MOST_POINTS
    assert sum(course.counts) == 20_001
    assert course.times[0] < START + 3_000_000
    steps = [b - a for a, b in itertools.pairwise(course.times)]
    assert all(s > 0 for s in steps)
    assert steps[-20:] == [1000] * 20


def test_out_of_order_and_unreal_values_are_ignored():
    course, at = watched(pan, 30)
    assert observe(course, at, 5.0) is course
    assert observe(course, Instant(at - 1), 5.0) is course
    for value in (math.nan, math.inf, -math.inf):
        assert observe(course, Instant(at + 1), value) is course


def test_a_course_without_counts_is_understood():
    course, at = watched(pan, 100)
    bare = Course(course.times, course.celsius)
    assert ask(bare, at).outlook is Outlook.ARRIVES


@pytest.mark.parametrize("value", [1e9, 1e300, -1e300])
def test_absurd_numbers_are_not_forecast(value):
    course, at = watched(lambda t: value + t, 60, noise=0.0)
    found = ask(course, at, target=-18.0)
    assert found.expected is None


anything = st.lists(
    st.tuples(st.integers(1, 200_000), st.floats(allow_nan=False, allow_infinity=False)),
    min_size=0,
    max_size=60,
)
kitchen = st.lists(st.tuples(st.integers(200, 20_000), st.floats(-40, 100)), min_size=5, max_size=200)
drifting = st.tuples(
    st.floats(-40, 90), st.floats(-0.2, 0.2), st.floats(0, 0.5), st.integers(6, 300), st.integers(200, 30_000)
)
approaches = st.sampled_from(list(Approach))
points_of_freezing = st.none() | st.builds(Temperature, st.floats(-10, 1))


def check_sound(found, at):
    instants = (found.earliest, found.expected, found.latest)
    if found.outlook is Outlook.ARRIVES:
        assert None not in instants
        assert at <= found.earliest <= found.expected <= found.latest
    elif found.outlook is Outlook.PLATEAU:
        assert found.expected is None
        assert found.latest is None
        assert found.earliest is None or found.earliest >= at
    else:
        assert instants == (None, None, None)
    assert found.rate is None or math.isfinite(found.rate)
    assert found.why.endswith(".")
    assert found.made_at == at


@settings(max_examples=150, deadline=None)
@given(
    anything | kitchen,
    st.floats(allow_nan=False, allow_infinity=False),
    st.floats(0, 1e6),
    approaches,
    st.integers(-100_000, 10**9),
    points_of_freezing,
)
def test_any_finite_input_gives_a_sound_answer(readings, target, band, approach, after, freezing_point):
    course, at = Course(), Instant(START)
    for step, celsius in readings:
        at = Instant(at + step)
        course = observe(course, at, celsius)
    at = Instant(at + after)
    check_sound(
        forecast(course, Temperature(target), TemperatureDifference(band), approach, at, freezing_point), at
    )


@settings(max_examples=150, deadline=None)
@given(drifting, st.floats(-25, 90), approaches, points_of_freezing, st.integers(-(10**12), 10**12))
def test_drifting_curves_are_sound_rebuilt_alike_and_shifted_alike(
    drift, target, approach, freezing_point, shift
):
    first, slope, noise, count, step = drift
    dice = random.Random(count)
    readings = [(i * step, first + slope * i * step / 1000.0 + dice.gauss(0.0, noise)) for i in range(count)]
    course = shifted = again = Course()
    for t, celsius in readings:
        course = observe(course, Instant(START + t), celsius)
        shifted = observe(shifted, Instant(START + shift + t), celsius)
    for t, celsius in readings:
        again = observe(again, Instant(START + t), celsius)
    assert again == course
    at = Instant(START + readings[-1][0])
    found = forecast(course, Temperature(target), HALF, approach, at, freezing_point)
    check_sound(found, at)
    moved = forecast(shifted, Temperature(target), HALF, approach, Instant(at + shift), freezing_point)
    assert moved.outlook is found.outlook
    if found.expected is not None:
        assert moved.expected == found.expected + shift
        assert moved.earliest == found.earliest + shift
        assert moved.latest == found.latest + shift


@settings(max_examples=40, deadline=None)
@given(st.integers(2, 30), st.integers(0, 1000))
def test_a_slower_clock_gives_a_proportional_answer(factor, number):
    dice = random.Random(number)
    readings = [(i * 1000, 2.0 + 60.0 * math.exp(-i / 700.0) + dice.gauss(0.0, 0.1)) for i in range(500)]
    course = slow = Course()
    for t, celsius in readings:
        course = observe(course, Instant(START + t), celsius)
        slow = observe(slow, Instant(START + t * factor), celsius)
    at, late = Instant(START + 499_000), Instant(START + 499_000 * factor)
    found, scaled = ask(course, at, 5.0, Approach.FALLING), ask(slow, late, 5.0, Approach.FALLING)
    assert scaled.outlook is found.outlook
    assert found.expected is not None
    assert scaled.expected - late == pytest.approx((found.expected - at) * factor, rel=0.01)
