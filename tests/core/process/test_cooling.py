"""Cooling through checkpoints, against the Food Code's own figures and by what must hold of any curve."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.process.cooling import (
    RULES,
    Checkpoint,
    CoolingState,
    begun,
    checkpoints_in_order,
    cooled,
    next_checkpoint,
    state_of,
)

US = RULES["two-stage-us"]


def minutes(n):
    return Instant(round(n * 60_000))


def through(curve, uncertainty=0.0, rule=US):
    course = begun(rule)
    for at, celsius in curve:
        course = cooled(rule, course, minutes(at), celsius, uncertainty)
    return course


def verdict(curve, uncertainty=0.0, **more):
    return state_of(US, through(curve, uncertainty), minutes(curve[-1][0]), **more)


@pytest.mark.parametrize(
    ("curve", "wanted"),
    [
        ([(0, 57), (120, 21), (360, 5)], CoolingState.MET),
        ([(0, 57), (121, 21), (300, 5)], CoolingState.MISSED),
        ([(0, 57), (60, 21), (361, 5)], CoolingState.MISSED),
    ],
)
def test_both_limits_of_the_food_code_at_the_minute(curve, wanted):
    # FDA Food Code 3-501.14(A), as worked in science.md section 2; the clock starts at the last hot reading.
    assert verdict(curve) is wanted


def test_the_six_hours_are_the_whole_time():
    assert verdict([(0, 57), (30, 21), (345, 5)]) is CoolingState.MET
    assert verdict([(0, 57), (119, 21), (361, 5)]) is CoolingState.MISSED


def test_the_clock_starts_when_it_last_falls_through():
    course = through([(0, 70), (10, 50), (20, 60), (30, 55), (60, 20)])
    assert course.started_at == minutes(20)
    assert course.met[0] == minutes(60)
    assert next_checkpoint(US, course) == (US.checkpoints[1], minutes(20 + 360))


def test_what_was_never_seen_hot_is_not_proven():
    assert verdict([(0, 20), (10, 4)]) is CoolingState.NOT_PROVEN
    assert verdict([(0, 20), (10, 4)], over=True) is CoolingState.NOT_PROVEN
    assert next_checkpoint(US, through([(0, 20)])) is None


def test_silence_past_a_deadline_proves_nothing_and_a_warm_reading_after_it_does():
    course = through([(0, 60), (60, 30)])
    assert state_of(US, course, minutes(119)) is CoolingState.RUNNING
    assert state_of(US, course, minutes(121)) is CoolingState.NOT_PROVEN
    assert state_of(US, through([(0, 60), (121, 30)]), minutes(121)) is CoolingState.MISSED
    assert state_of(US, through([(0, 60), (60, 20)]), minutes(90), over=True) is CoolingState.NOT_PROVEN
    assert state_of(US, begun(US), minutes(0)) is CoolingState.WAITING
    assert verdict([(0, 70)]) is CoolingState.WAITING


def test_uncertainty_starts_the_clock_earlier_and_meets_later():
    curve = [(0, 58), (5, 57.3), (60, 20.8), (70, 20.4)]
    sure, unsure = through(curve), through(curve, 0.5)
    assert (sure.started_at, unsure.started_at) == (minutes(5), minutes(0))
    assert (sure.met[0], unsure.met[0]) == (minutes(60), minutes(70))


curves = st.lists(st.tuples(st.floats(0.5, 60.0), st.floats(-5.0, 90.0)), min_size=1, max_size=40).map(
    lambda steps: [(sum(s for s, _ in steps[: n + 1]), c) for n, (_, c) in enumerate(steps)]
)


@given(curve=curves, uncertainty=st.floats(0.0, 2.0), more=st.floats(0.0, 1.0))
def test_more_uncertainty_never_meets_more(curve, uncertainty, more):
    if verdict(curve, uncertainty + more) is CoolingState.MET:
        assert verdict(curve, uncertainty) is CoolingState.MET


@given(curve=curves)
def test_met_means_that_a_reading_shows_each_checkpoint_in_time(curve):
    course = through(curve)
    if state_of(US, course, minutes(curve[-1][0])) is CoolingState.MET:
        for point, met in zip(US.checkpoints, course.met, strict=True):
            assert met - course.started_at <= point.within
            assert any(minutes(at) == met and c <= point.celsius for at, c in curve)


def test_rules_are_in_order_and_say_where_they_are_from():
    assert all(checkpoints_in_order(rule) and rule.source for rule in RULES.values())
    assert not checkpoints_in_order(replace(US, checkpoints=()))
    assert not checkpoints_in_order(replace(US, checkpoints=US.checkpoints[::-1]))
    assert not checkpoints_in_order(replace(US, checkpoints=(Checkpoint(5.0, Millis(0)),)))
