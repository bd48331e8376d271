"""One limit: the published example, the transition table, and a naive model that looks at the whole past."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Instant, Millis, Temperature, TemperatureDifference
from rimekeeper.core.plan import LimitPlan, Side
from rimekeeper.core.state import WatchPhase, WatchSlot
from rimekeeper.core.watching.limits import ALARMING, ON_READING, Lie, elapsed, lie, observed


def limit(celsius=5.0, band=0.5, on=0, off=0, side=Side.CEILING):
    return LimitPlan(
        side, Temperature(celsius), TemperatureDifference(band), on_delay=Millis(on), off_delay=Millis(off)
    )


def play(plan, points, until=None):
    """The phases after each (ms, value)."""
    watch, phases = WatchSlot("w"), []
    for t, value in points:
        watch = observed(plan, watch, Instant(t), value)
        phases.append(watch.phase)
    return elapsed(watch, Instant(until)) if until is not None else watch, phases


def test_deadband_holds_the_alarm_until_well_clear():
    """Deadband as OPC UA part 9 (annex B.1.5) and IEC 62682 describe it; figures of the project's own check list."""
    _, phases = play(limit(), enumerate([4.9, 5.1, 4.8, 4.4, 5.1]))
    assert [p is WatchPhase.ABNORMAL for p in phases] == [False, True, True, False, True]


@pytest.mark.parametrize(("high_for", "alarm"), [(59, False), (60, True)])
def test_on_delay_needs_the_condition_to_persist(high_for, alarm):
    """On-delay of IEC 62682: 59 s above the limit raise nothing with a delay of 60 s."""
    points = [(s * 1000, 5.1 if s < high_for else 4.0) for s in range(70)]
    seen = set()
    watch = WatchSlot("w")
    for t, value in points:
        watch = elapsed(watch, Instant(t))
        seen.add(watch.phase)
        watch = observed(limit(on=60_000), watch, Instant(t), value)
        seen.add(watch.phase)
    assert (WatchPhase.ABNORMAL in seen) is alarm


def test_on_delay_ends_at_its_own_instant_though_data_is_missing():
    watch, _ = play(limit(on=60_000), [(0, 6.0), (1_000, 7.0)], until=10**9)
    assert watch.phase is WatchPhase.ABNORMAL
    assert (watch.since, watch.began, watch.worst, watch.due) == (60_000, 0, 7.0, None)


def test_off_delay_needs_a_good_reading_at_its_end():
    plan = limit(off=60_000)
    watch, phases = play(plan, [(0, 6.0), (1_000, 4.0)], until=10**9)
    assert phases[-1] is WatchPhase.LEAVING
    assert watch.phase is WatchPhase.LEAVING, "missing data calls nothing normal"
    assert observed(plan, watch, Instant(61_000), 4.0).phase is WatchPhase.NORMAL
    assert observed(plan, watch, Instant(61_000), 4.8).phase is WatchPhase.ABNORMAL
    assert observed(plan, watch, Instant(60_999), 4.0).phase is WatchPhase.LEAVING


def test_a_floor_mirrors_a_ceiling():
    plan = limit(2.0, side=Side.FLOOR)
    watch, phases = play(plan, enumerate([2.0, 1.9, 1.0, 2.4, 2.5]))
    assert [p is WatchPhase.ABNORMAL for p in phases] == [False, True, True, True, False]
    watch, _ = play(plan, enumerate([1.9, 1.0, 2.4]))
    assert watch.worst == 1.0


def test_the_edges():
    assert lie(limit(), 5.0) is Lie.BETWEEN
    assert lie(limit(), 4.5) is Lie.CLEAR
    assert lie(limit(band=0.0), 5.0) is Lie.CLEAR


def test_the_table_is_whole():
    assert set(ON_READING) == set(itertools.product(WatchPhase, Lie))


def naive(plan, points):
    """When the alarm stands after each point, from the whole list so far and by no state machine."""
    standing, since_beyond, since_clear, found = False, None, None, []
    for t, value in points:
        if since_beyond is not None and not standing and t - since_beyond >= plan.on_delay:
            standing = True
        past = (value - plan.limit.celsius) * (1 if plan.side is Side.CEILING else -1)
        if past > 0:
            since_beyond = t if since_beyond is None else since_beyond
            since_clear = None
            standing = standing or t - since_beyond >= plan.on_delay
        elif past <= -plan.deadband.kelvin:
            since_clear = t if since_clear is None else since_clear
            if not standing or t - since_clear >= plan.off_delay:
                standing, since_beyond = False, None
        else:
            since_clear = None
            if not standing:
                since_beyond = None
        if not standing:
            since_clear = None
        found.append(standing)
    return found


@given(
    st.lists(st.tuples(st.integers(1, 40), st.sampled_from([3.0, 4.5, 4.7, 5.0, 5.2, 9.0])), max_size=60),
    st.sampled_from([0, 10, 35]),
    st.sampled_from([0, 10, 35]),
    st.sampled_from(list(Side)),
)
def test_like_a_naive_model(steps, on, off, side):
    plan = limit(on=on, off=off, side=side, celsius=5.0 if side is Side.CEILING else 4.4)
    t, points = 0, []
    for gap, value in steps:
        t += gap
        points.append((t, value))
    _, phases = play(plan, points)
    assert [p in ALARMING for p in phases] == naive(plan, points)


@given(
    st.lists(st.tuples(st.integers(1, 40), st.sampled_from([3.0, 4.7, 5.2])), min_size=1, max_size=40),
    st.lists(st.integers(0, 40), max_size=40),
)
def test_looking_at_the_clock_in_between_changes_nothing(steps, looks):
    plan = limit(on=20, off=15)
    once = often = WatchSlot("w")
    t = 0
    for (gap, value), look in itertools.zip_longest(steps, looks[: len(steps)], fillvalue=0):
        often = elapsed(often, Instant(t + min(look, gap)))
        t += gap
        once, often = observed(plan, once, Instant(t), value), observed(plan, often, Instant(t), value)
        assert once == often
