"""Corrections through points: inverses, order, the same to the last bit for arrays, and every absurd calibration refused."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from rimekeeper.core.errors import RefusedError
from rimekeeper.core.sensing.calibration.correction import corrected, corrected_many, errors, fit, shown_for
from rimekeeper.core.sensing.calibration.record import CalibrationPoint, Correction, Method

LOWEST, HIGHEST = -50.0, 150.0


def point(reference, off=0.0, **more):
    made = CalibrationPoint(Method.COMPARISON, reference, 0.05, reference + off, 0.02, 60, 0, 60_000)
    return replace(made, **more)


ICE, BOIL = point(0.0, 0.3, method=Method.ICE), point(94.965, -0.765, method=Method.BOILING)


@st.composite
def calibrations(draw):
    """One to five points that a technician could have taken: 20 K apart at least, off by 0.4 K at most."""
    count = draw(st.integers(1, 5))
    first = draw(st.floats(-50.0, 30.0))
    offs = draw(st.lists(st.floats(-0.4, 0.4), min_size=count, max_size=count))
    return [point(first + 24.0 * n, off) for n, off in enumerate(offs)]


numbers = st.floats(-300.0, 2000.0)


@given(calibrations(), numbers)
def test_there_and_back(points, shown):
    correction = fit(points, LOWEST, HIGHEST)
    assert shown_for(correction, corrected(correction, shown)) == pytest.approx(shown, abs=1e-9)


@given(calibrations(), numbers, st.floats(1e-6, 100.0))
def test_warmer_stays_warmer(points, shown, more):
    correction = fit(points, LOWEST, HIGHEST)
    assert corrected(correction, shown) < corrected(correction, shown + more)


@given(calibrations())
def test_it_goes_through_every_point_in_whatever_order_they_came(points):
    correction = fit(points[::-1], LOWEST, HIGHEST)
    assert correction == fit(points, LOWEST, HIGHEST)
    assert errors(points, correction) == pytest.approx([0.0] * len(points), abs=1e-9)


@given(calibrations(), st.lists(st.floats(allow_nan=False, allow_infinity=False), max_size=20))
def test_any_number_stays_a_number_and_an_array_is_the_same_to_the_last_bit(points, shown):
    correction = fit(points, LOWEST, HIGHEST)
    one_by_one = [corrected(correction, value) for value in shown]
    assert not any(math.isnan(value) for value in one_by_one)
    assert corrected_many(correction, np.array(shown, dtype=np.float64)).tolist() == one_by_one


@given(calibrations())
def test_what_is_no_number_is_never_turned_into_a_temperature(points):
    correction = fit(points, LOWEST, HIGHEST)
    assert math.isnan(corrected(correction, math.nan))
    assert math.isnan(shown_for(correction, math.nan))
    assert corrected(correction, math.inf) == math.inf
    assert corrected(correction, -math.inf) == -math.inf
    assert np.isnan(corrected_many(correction, np.array([math.nan, 1.0]))).tolist() == [True, False]


def test_nothing_is_corrected_without_a_calibration():
    array = np.array([1.0, 2.0])
    assert corrected(Correction(), 3.7) == 3.7
    assert shown_for(Correction(), 3.7) == 3.7
    assert corrected_many(Correction(), array).tolist() == [1.0, 2.0]
    assert errors([ICE, BOIL], Correction()) == pytest.approx((0.3, -0.765))


def test_one_point_is_an_offset():
    correction = fit([ICE], LOWEST, HIGHEST)
    assert [corrected(correction, shown) for shown in (-20.0, 0.3, 100.0)] == pytest.approx(
        [-20.3, 0.0, 99.7]
    )


def test_beyond_the_ends_a_wide_piece_carries_its_gain_and_a_short_one_does_not():
    """Our choice; a gain from points a few kelvin apart would be mostly noise."""
    wide = fit([point(0.0, 0.0), point(50.0, 0.5), point(100.0, 0.0)], LOWEST, HIGHEST)
    assert wide.gain_below == pytest.approx(50.0 / 50.5)
    assert wide.gain_above == pytest.approx(50.0 / 49.5)
    short = fit([point(0.0, 0.0), point(10.0, 0.1), point(90.0, 0.0), point(100.0, 0.1)], LOWEST, HIGHEST)
    assert (short.gain_below, short.gain_above) == (1.0, 1.0)
    assert corrected(short, -20.0) == -20.0
    assert corrected(short, 5.05) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("points", "says"),
    [
        ([], "There is no point to calibrate with: hold the probe in an ice bath and take one."),
        ([ICE, ICE], "less than 20 K apart: calibrate with one of them alone, or take another that is further off."),
        ([ICE, point(19.0)], "The outermost points, 0.00 °C and 19.00 °C, are less than 20 K apart"),
        ([ICE, point(4.9), BOIL], "The points 0.00 °C and 4.90 °C are the same or less than 5 K apart: leave one"),
        ([ICE, ICE, BOIL], "The points 0.00 °C and 0.00 °C are the same"),
        ([point(20.0, 5.1)], "off by +5.10 K, more than 5 K. Look whether it is the right probe"),
        ([replace(ICE, shown=3.1)], "The point ice point (0.00 °C): the probe shows 3.10 °C and is off by +3.10 K"),
        ([ICE, point(30.0, 2.0)], "the gain is 0.946, outside 0.95 to 1.05: one of the points is wrong"),
        ([point(0.0, 1.0), point(30.0, -1.0)], "the gain is 1.071, outside 0.95 to 1.05"),
        ([point(0.0), point(20.0, 4.9), point(26.0, -4.9), point(80.0)], "the gain is 0.803, outside"),
        ([point(0.0), point(50.0, 4.0, shown=54.0), point(56.0, -4.0), point(90.0)], "gain is 0.926"),
        ([ICE, point(60.0, 3.0), point(65.0, -3.0)], "shows 63.00 °C and then 62.00 °C, which does not rise"),
        ([replace(ICE, spread=0.51)], "its readings scatter by 0.51 K, more than 0.5 K: stir the bath"),
        ([replace(ICE, spread=-0.1)], "its readings scatter by -0.10 K"),
        ([point(-50.1)], "is outside what the sensor reads, -50 °C to 150 °C: take a reference within it"),
        ([point(150.1)], "is outside what the sensor reads"),
        ([replace(ICE, reference_u=0.0)], "a reference can't be unsure by 0 K (k = 1): give more than 0"),
        ([replace(ICE, reference_u=1.1)], "a reference can't be unsure by 1.1 K"),
        ([replace(ICE, readings=0)], "has no reading: take it again"),
        ([replace(ICE, reference=20.0, shown=20.0)], "melting ice is at 0.00 °C. Take it as a comparison"),
        ([replace(BOIL, reference=60.0, shown=60.0)], "water boils at no such temperature in a kitchen. Give the pressure"),
    ],
)  # fmt: skip
def test_what_is_absurd_is_refused_in_a_sentence(points, says):
    with pytest.raises(RefusedError) as refused:
        fit(points, LOWEST, HIGHEST)
    assert says in str(refused.value)


@pytest.mark.parametrize("key", ["reference", "reference_u", "shown", "spread"])
@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_no_number_makes_no_calibration(key, value):
    with pytest.raises(RefusedError, match="has a number that is none: take it again"):
        fit([BOIL, replace(ICE, **{key: value})], LOWEST, HIGHEST)


any_number = st.floats() | st.floats(-60.0, 160.0)


@given(
    st.lists(
        st.builds(
            CalibrationPoint, st.sampled_from(Method), any_number, any_number | st.just(0.05), any_number,
            any_number | st.just(0.02), st.integers(-1, 100), st.integers(), st.integers(),
        ),
        max_size=4,
    ),
    any_number,
)  # fmt: skip
def test_any_points_give_a_sound_correction_or_a_sentence(points, shown):
    try:
        correction = fit(points, LOWEST, HIGHEST)
    except RefusedError as refused:
        said, correction = str(refused), None
    if correction is None:
        assert said.endswith(".")
        return
    assert 1 <= len(correction.knots) == len(points)
    assert all(a[0] < b[0] and a[1] < b[1] for a, b in pairwise(correction.knots))
    assert all(0.95 <= gain <= 1.05 for gain in (correction.gain_below, correction.gain_above))
    if math.isfinite(shown):
        # No correction moves a temperature that a kitchen has by more than its offset and its gain.
        assert abs(corrected(correction, shown) - shown) <= 5.0 + 0.06 * (abs(shown) + 150.0)
