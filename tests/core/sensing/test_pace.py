"""How often a probe sends, where readings are missing, how far its clock is off.

No published source for the estimators; they are checked against series of which the answer is known.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import Instant
from rimekeeper.core.sensing.pace import LEARNT, REMEMBERED, Pace, paced

T0 = 1_795_600_800_000


def after(lengths, pace=None):
    """The pace after readings so many ms apart; they arrive when they are taken and carry no stamp."""
    pace, now = pace or Pace(), T0
    for length in lengths:
        pace = paced(pace, Instant(now), Instant(now + length), Instant(now + length), None)
        now += length
    return pace


def clocked(points, every=1_000):
    """The pace after messages with (clock error, delay), both ms."""
    pace, now, last = Pace(), T0, None
    for error, delay in points:
        arrived = Instant(now + delay)
        pace = paced(pace, last, arrived, arrived, Instant(now + error))
        last, now = arrived, now + every
    return pace


def test_an_interval_is_learnt_from_four():
    assert after([1_000] * (LEARNT - 1)).interval is None
    assert after([1_000] * LEARNT).interval == 1_000


@given(
    st.integers(50, 600_000),
    st.lists(
        st.tuples(st.floats(-0.02, 0.02), st.floats(-0.02, 0.02), st.integers(1, 10_000_000)), min_size=3
    ),
)
def test_one_wild_interval_in_three_does_not_move_it(usual, groups):
    lengths = [n for a, b, wild in groups for n in (round(usual * (1 + a)), round(usual * (1 + b)), wild)]
    pace = after(lengths)
    assert len(pace.intervals) <= REMEMBERED
    assert pace.interval == pytest.approx(usual, rel=0.05, abs=1)


def test_gaps_and_bursts_do_not_move_it_and_a_new_habit_does():
    pace = after([1_000] * 20 + [60_000, 1, 1, 1_000, 1_000, 1_000, 1_000])
    assert pace.interval == 1_000
    assert after([10_000] * 7, pace).interval == 10_000


def test_a_gap_is_counted_with_its_end_and_its_length():
    pace = after([1_000] * 10)
    assert (pace.gaps, pace.gap_at, pace.gap_length) == (0, None, None)
    pace = after([1_000] * 10 + [3_000, 3_001])
    assert (pace.gaps, pace.gap_at, pace.gap_length) == (1, T0 + 16_001, 3_001)


def test_a_quick_probe_has_no_gap_below_two_seconds():
    assert after([100] * 10 + [2_000]).gaps == 0
    assert after([100] * 10 + [2_001]).gaps == 1


def test_without_stamps_there_is_no_offset():
    assert after([1_000] * 20).offset is None


@given(
    st.integers(-10_000_000, 10_000_000),
    st.integers(0, 500),
    st.lists(st.integers(0, 20_000), min_size=10, max_size=100),
)
def test_the_offset_is_that_of_the_quickest_messages_but_one(error, least, delays):
    pace = clocked([(error, least + delay) for delay in delays])
    second = sorted(least + delay for delay in delays)[1]
    assert pace.offset == error - second


def test_one_stamp_of_another_year_says_nothing():
    pace = clocked([(-40, 60)] * 50 + [(9_999_999_999, 60)] + [(-40, 60)] * 50)
    assert pace.offset == -100


def test_a_clock_that_was_set_is_seen_within_twenty_minutes_in_either_direction():
    hour = 3_600_000
    for now in (hour, -hour):
        pace = clocked([(0, 50)] * 600 + [(now, 50)] * 1_300)
        assert pace.offset == now - 50


def test_a_long_pause_forgets_the_offset_before_it():
    pace = clocked([(0, 0)] * 100)
    at = Instant(T0 + 100 * 3_600_000)
    pace = paced(pace, Instant(at - 1_000), at, at, Instant(at - 7_000))
    assert pace.offset == -7_000


@given(
    st.lists(
        st.tuples(st.integers(-(10**15), 10**15), st.integers(0, 10**9), st.none() | st.integers(0, 10**15)),
        max_size=40,
    )
)
def test_nothing_breaks_it(points):
    pace, last = Pace(), None
    for taken, arrived, stamp in points:
        pace = paced(pace, last, Instant(taken), Instant(arrived), stamp)
        last = Instant(taken)
        assert len(pace.intervals) <= REMEMBERED


@pytest.mark.parametrize("jitter", [0, 40])
def test_steady_readings_change_nothing(jitter):
    pace = after([1_000] * 10)
    assert after([1_000 + jitter] * 5, pace) is pace
