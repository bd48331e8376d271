"""The criterion of steadiness, as it is stated, one part after another; and any readings at all."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.sensing.calibration.steadiness import judge, last_stretch

EVERY = list(range(0, 61_000, 1000))


def test_a_still_probe_is_steady():
    found = judge(EVERY, [0.3] * 61, 0.1)
    assert found.steady
    assert found.why == ""
    assert (found.mean, found.spread, found.drift_per_minute) == (pytest.approx(0.3), pytest.approx(0.0), 0.0)
    assert (found.readings, found.seconds) == (61, 60.0)


def test_mean_spread_and_drift_are_those_of_the_textbook():
    """1, 2, 3, 4 a minute apart: mean 2.5, sample standard deviation 1.2910, slope 1 per minute."""
    found = judge([0, 60_000, 120_000, 180_000], [1.0, 2.0, 3.0, 4.0], 0.1)
    assert found.mean == 2.5
    assert found.spread == pytest.approx(1.29099, abs=1e-5)
    assert found.drift_per_minute == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("times", "shown", "resolution", "why"),
    [
        ([], [], 0.1, "No reading yet: look whether the probe sends."),
        (EVERY[:60], [0.3] * 60, 0.1, "Hold it still: 59 s of 60 s."),
        ([0, 10_000, 20_000, 30_000, 40_000, 50_000, 60_000], [0.3] * 7, 0.1, "Hold it still: 7 of 8 readings."),
        ([*range(8), 60_000], [0.3] * 9, 0.1, "There is a long pause between the readings: wait until they come evenly."),
        (EVERY, [0.3] * 60 + [math.nan], 0.1, "Some readings are no temperature: look to the probe and its plug."),
        (EVERY, [0.3] * 60 + [math.inf], 0.1, "Some readings are no temperature: look to the probe and its plug."),
        (EVERY, [n * 0.002 for n in range(61)], 0.01, "Still rising by 0.12 K per minute; at most 0.05. Wait."),
        (EVERY, [-n * 0.004 for n in range(61)], 0.1, "Still falling by 0.24 K per minute; at most 0.15. Wait."),
        (EVERY, [(n % 2) * 0.4 for n in range(61)], 0.01,
         "The readings scatter by 0.20 K; at most 0.10. Stir, and hold it still."),
    ],
)  # fmt: skip
def test_it_says_what_is_missing(times, shown, resolution, why):
    found = judge(times, shown, resolution)
    assert not found.steady
    assert found.why == why


def test_a_coarse_probe_may_flicker_by_one_step():
    flicker = [0.5 * (n % 2) for n in range(61)]
    assert judge(EVERY, flicker, 0.5).steady
    assert not judge(EVERY, flicker, 0.1).steady
    # It may also cross into its next step on the way, wherever, but not into the one after that.
    for at in range(62):
        assert judge(EVERY, [0.0] * at + [0.1] * (61 - at), 0.1).steady
    assert not judge(EVERY, [0.0] * 20 + [0.1] * 20 + [0.2] * 21, 0.1).steady


def test_readings_out_of_order_are_put_in_order():
    shown = [n * 0.002 for n in range(61)]
    assert judge(EVERY[::-1], shown[::-1], 0.1) == judge(EVERY, shown, 0.1)


@pytest.mark.parametrize(
    ("times", "first"),
    [([], 0), ([0], 0), (EVERY, 0), ([*range(0, 300_000, 1000)], 239), ([*range(0, 600_000, 30_000)], 12),
     ([*range(0, 90_000, 30_000)], 0)],
)  # fmt: skip
def test_only_the_last_stretch_that_is_long_enough_is_judged(times, first):
    """A minute of readings a second apart; eight of those half a minute apart."""
    assert last_stretch(times) == first


def test_the_way_to_the_bath_is_not_judged_with_the_rest_in_it():
    times = [*range(0, 180_000, 1000)]
    shown = [20.0 * math.exp(-at / 10_000.0) for at in times]
    assert not judge(times, shown, 0.1).steady
    first = last_stretch(times)
    assert judge(times[first:], shown[first:], 0.1).steady


@given(
    st.lists(
        st.tuples(st.integers(-(2**60), 2**60) | st.integers(0, 100_000), st.floats() | st.floats(-50, 50))
    ),
    st.floats(),
)
def test_any_readings_give_finite_numbers_and_a_reason_or_none(pairs, resolution):
    found = judge([at for at, _ in pairs], [value for _, value in pairs], resolution)
    assert all(map(math.isfinite, (found.mean, found.spread, found.drift_per_minute, found.seconds)))
    assert found.steady == (found.why == "")
    assert found.readings == len(pairs)
