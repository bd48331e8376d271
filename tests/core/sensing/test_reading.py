"""From sample to reading: scale, instant, quality; and what each may decide."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.model import (
    ClockTrust,
    Instant,
    ProbeId,
    Quality,
    Reason,
    Sample,
    Scale,
    SourceId,
    Temperature,
)
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.reading import EARLIEST_STAMP, Weight, read
from rimekeeper.core.state import ProbeSlot

NOW = 1_795_600_800_000
PROBE = ProbePlan(ProbeId("pan"), "Pan", SourceId("stove"), "1")
STAMPED = replace(PROBE, clock=ClockTrust.PROBE)


def sample(value, arrived=NOW, taken=None, *, scale=None, retained=False):
    stamp = None if taken is None else Instant(taken)
    return Sample(SourceId("stove"), "1", value, scale, Instant(arrived), stamp, retained=retained)


def series(probe, *samples):
    slot, found = ProbeSlot(ProbeId("pan")), []
    for one in samples:
        reading, slot, weight = read(probe, slot, one)
        found.append((reading, weight))
    return found, slot


def qualities(probe, *samples):
    return [(r.quality.name, r.reason.value, w.name) for r, w in series(probe, *samples)[0]]


@pytest.mark.parametrize(
    ("scale", "value", "celsius"),
    # F -> C figures of the Food Code's temperatures: 21 F -6.1111, 41 F 5.0, 135 F 57.2222, 185 F 85.0.
    [
        (Scale.FAHRENHEIT, 21.0, -6.1111),
        (Scale.FAHRENHEIT, 185.0, 85.0),
        (Scale.KELVIN, 273.15, 0.0),
        (None, 4.0, 4.0),
    ],
)
def test_the_samples_scale_wins_over_the_probes(scale, value, celsius):
    reading, _, weight = read(PROBE, ProbeSlot(PROBE.id), sample(value, scale=scale))
    assert reading.celsius == pytest.approx(celsius, abs=1e-4)
    assert reading.raw == value
    assert weight is Weight.COUNTS
    reading, _, _ = read(replace(PROBE, scale=Scale.FAHRENHEIT), ProbeSlot(PROBE.id), sample(41.0))
    assert reading.celsius == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("value", "reason"),
    [
        (math.nan, Reason.NOT_A_NUMBER),
        (math.inf, Reason.NOT_A_NUMBER),
        (-math.inf, Reason.NOT_A_NUMBER),
        (1e308, Reason.OUT_OF_RANGE),
        (-1e308, Reason.OUT_OF_RANGE),
        (200.1, Reason.OUT_OF_RANGE),
        (-60.1, Reason.OUT_OF_RANGE),
    ],
)
def test_what_is_no_temperature_is_bad(value, reason):
    reading, slot, weight = read(PROBE, ProbeSlot(PROBE.id), sample(value, scale=Scale.CELSIUS))
    assert (reading.quality, reading.reason, reading.celsius) == (Quality.BAD, reason, None)
    assert (slot.bad_run, slot.good_at, weight) == (1, None, Weight.BREAKS)


def test_the_edges_of_the_range_are_in_it():
    narrow = replace(PROBE, lowest=Temperature(0.0), highest=Temperature(10.0))
    assert qualities(narrow, sample(0.0))[0][0] == "GOOD"
    assert qualities(narrow, sample(10.0))[0][0] == "GOOD"


def test_a_burst_dated_by_arrival_is_not_lost():
    found, slot = series(PROBE, sample(1.0), sample(1.1), sample(1.2, NOW - 1_500), sample(1.3, NOW + 1))
    assert [r.taken_at - NOW for r, _ in found] == [0, 1, 2, 3]
    assert all(w is Weight.COUNTS for _, w in found)
    assert slot.late == 0


def test_an_arrival_long_before_the_last_is_late():
    found, slot = series(PROBE, sample(1.0), sample(50.0, NOW - 2_000))
    reading, weight = found[1]
    assert (reading.taken_at, reading.late, weight) == (NOW - 2_000, True, Weight.NOTHING)
    assert (slot.late, slot.readings, slot.celsius, slot.last_at) == (1, 2, 1.0, NOW)


def test_the_probes_stamp_is_used_when_it_can_be_right():
    found, _ = series(STAMPED, sample(1.0, taken=NOW - 300), sample(1.1, NOW + 1, taken=NOW + 240_000))
    assert [r.taken_at - NOW for r, _ in found] == [-300, 240_000]
    assert all(r.quality is Quality.GOOD for r, _ in found)


@pytest.mark.parametrize("stamp", [None, 0, EARLIEST_STAMP - 1, NOW + 300_001, 4_070_908_800_000])
def test_a_stamp_that_cannot_be_right_is_odd(stamp):
    reading, _, weight = read(STAMPED, ProbeSlot(PROBE.id), sample(1.0, taken=stamp))
    assert (reading.taken_at, reading.quality, reading.reason) == (NOW, Quality.UNCERTAIN, Reason.CLOCK_ODD)
    assert weight is Weight.BREAKS


def test_a_bad_value_stays_bad_whatever_else_is_odd():
    reading, _, _ = read(STAMPED, ProbeSlot(PROBE.id), sample(math.nan, retained=True))
    assert (reading.quality, reading.reason) == (Quality.BAD, Reason.NOT_A_NUMBER)


def test_older_by_the_probes_clock_is_late_and_the_same_instant_decides_nothing():
    found, slot = series(
        STAMPED, sample(1.0, taken=NOW), sample(9.0, NOW + 10, NOW - 1), sample(9.0, NOW + 20, NOW)
    )
    assert [(r.late, w) for r, w in found[1:]] == [(True, Weight.NOTHING), (False, Weight.NOTHING)]
    assert (slot.readings, slot.late, slot.celsius) == (3, 1, 1.0)


def test_a_retained_message_decides_nothing_and_is_not_fresh():
    found, slot = series(PROBE, sample(1.0), sample(9.0, NOW + 60_000, retained=True))
    reading, weight = found[1]
    assert (reading.quality, reading.reason, weight) == (Quality.UNCERTAIN, Reason.RETAINED, Weight.NOTHING)
    assert (slot.last_at, slot.last_arrived, slot.celsius) == (NOW, NOW, 1.0)
    _, slot = series(PROBE, sample(9.0, retained=True))
    assert (slot.last_at, slot.readings) == (None, 1)


def second(n, value):
    return sample(value, NOW + n * 1000)


def test_a_single_spike_is_uncertain_and_forgotten():
    assert qualities(PROBE, second(0, 20.0), second(1, 90.0), second(2, 20.1), second(3, 90.0)) == [
        ("GOOD", "", "COUNTS"),
        ("UNCERTAIN", Reason.JUMP.value, "BREAKS"),
        ("GOOD", "", "COUNTS"),
        ("UNCERTAIN", Reason.JUMP.value, "BREAKS"),
    ]


def test_a_jump_that_two_more_readings_agree_with_is_believed():
    found = qualities(PROBE, second(0, 20.0), *(second(n, 90.0 + n) for n in range(1, 6)))
    assert [q for q, _, _ in found] == ["GOOD", "UNCERTAIN", "UNCERTAIN", "GOOD", "GOOD", "GOOD"]


def test_suspects_that_disagree_are_never_believed():
    values = [20.0, 90.0, 150.0, 90.0, 150.0, 90.0, 150.0]
    found = qualities(PROBE, *(second(n, v) for n, v in enumerate(values)))
    assert [q for q, _, _ in found] == ["GOOD"] + ["UNCERTAIN"] * 6


def test_a_jump_is_judged_over_a_second_at_least_and_over_the_time_passed():
    assert qualities(PROBE, sample(20.0), sample(29.9, NOW + 1))[1][0] == "GOOD"
    assert qualities(PROBE, second(0, 20.0), second(8, 99.0))[1][0] == "GOOD"
    assert qualities(PROBE, second(0, 20.0), second(7, 99.0))[1][0] == "UNCERTAIN"


def test_a_bad_reading_between_two_that_agree_takes_nothing_away():
    found = qualities(
        PROBE, second(0, 20.0), second(1, 90.0), second(2, math.nan), second(3, 90.0), second(4, 90.0)
    )
    assert [q for q, _, _ in found] == ["GOOD", "UNCERTAIN", "BAD", "UNCERTAIN", "GOOD"]


@given(
    st.lists(
        st.tuples(
            st.floats(allow_nan=True, allow_infinity=True),
            st.integers(0, 100_000),
            st.one_of(st.none(), st.integers(-400_000, 400_000)),
            st.booleans(),
        ),
        max_size=30,
    ),
    st.sampled_from(list(ClockTrust)),
)
def test_whatever_comes_the_probes_time_only_grows_and_only_good_values_are_remembered(points, trust):
    probe, slot, now = replace(PROBE, clock=trust), ProbeSlot(PROBE.id), NOW
    for value, gap, offset, retained in points:
        now += gap
        taken = None if offset is None else now + offset
        before = slot
        reading, slot, weight = read(probe, slot, sample(value, now, taken, retained=retained))
        assert slot.readings == before.readings + 1
        if weight is Weight.NOTHING:
            assert replace(slot, readings=0, late=0) == replace(before, readings=0, late=0)
            continue
        assert before.last_at is None or slot.last_at > before.last_at
        assert slot.last_at == reading.taken_at
        if weight is Weight.COUNTS:
            assert reading.quality is Quality.GOOD
            assert math.isfinite(reading.celsius)
            assert (slot.good_at, slot.good_celsius) == (reading.taken_at, reading.celsius)
        else:
            assert reading.quality is not Quality.GOOD
            assert (slot.good_at, slot.good_celsius) == (before.good_at, before.good_celsius)
