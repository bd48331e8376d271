"""Storage: reading by reading is the same as the whole curve, unknown time is never fine, and what must hold of any."""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.process.buffered import DOUBT, Product, broken_off, following, product_along
from rimekeeper.core.process.hardening_course import zone_along
from rimekeeper.core.process.storage import (
    Exposure,
    StorageRule,
    begun,
    exposure_along,
    interrupted,
    life_left,
    mean_kinetic_temperature,
    stored,
    until,
)
from rimekeeper.core.process.storage_sums import Sensitivity, degree_seconds, exposed_seconds

RULE = StorageRule(limit=-18.0, reference=-18.0, shelf_life_days=60.0)
GAP = Millis(600_000)
HOUR = 3600.0


def through(curve, rule=RULE, uncertainty=0.0, gap=GAP, so_far=None):
    so_far = begun() if so_far is None else so_far
    for seconds, celsius in curve:
        if celsius is None:
            so_far = interrupted(so_far)
        else:
            so_far = stored(rule, so_far, Instant(round(seconds * 1000)), celsius, uncertainty, gap)
    return so_far


def steady(celsius, hours, every=300.0):
    return [(n * every, celsius) for n in range(round(hours * HOUR / every) + 1)]


curves = st.lists(
    st.tuples(st.integers(1_000, 900_000), st.floats(-60.0, 40.0)), min_size=2, max_size=40
).map(
    lambda steps: list(
        zip((np.cumsum([s for s, _ in steps]) / 1000.0).tolist(), [c for _, c in steps], strict=True)
    )
)
any_float = st.floats(allow_nan=True, allow_infinity=True)


@given(curve=curves, uncertainty=st.floats(0.0, 3.0), limit=st.floats(-30.0, 10.0), at=st.floats(-30.0, 5.0))
def test_reading_by_reading_is_the_same_as_the_whole_curve(curve, uncertainty, limit, at):
    rule = replace(RULE, limit=limit, reference=at)
    live = through(curve, rule, uncertainty)
    times, celsius = (np.array(column) for column in zip(*curve, strict=True))
    whole = exposure_along(rule, times, celsius, GAP / 1000, uncertainty)
    for name in ("known", "unknown", "above", "degree_seconds", "kinetic", "least", "likely", "most"):
        assert getattr(live, name) == pytest.approx(getattr(whole, name), rel=1e-9, abs=1e-6), name
    assert (live.warmest, live.last_at, live.last_celsius) == (
        whole.warmest,
        whole.last_at,
        whole.last_celsius,
    )


@given(curve=curves)
def test_the_mean_kinetic_temperature_lies_between_the_mean_and_the_warmest(curve):
    times, celsius = (np.array(column) for column in zip(*curve, strict=True))
    found = exposure_along(RULE, times, celsius, math.inf)
    mean = float(np.sum((celsius[1:] + celsius[:-1]) / 2 * np.diff(times)) / (times[-1] - times[0]))
    assert mean - 1e-6 <= found.mean_kinetic <= found.warmest + 1e-6
    assert float(celsius.mean()) - 1e-9 <= mean_kinetic_temperature(celsius) <= float(celsius.max())
    assert float(celsius.min()) <= mean_kinetic_temperature(celsius)


@given(curve=curves, warmer=st.floats(0.0, 20.0))
def test_warmer_is_never_less_exposure(curve, warmer):
    cold, warm = through(curve), through([(t, c + warmer) for t, c in curve])
    for name in ("above", "degree_seconds", "kinetic", "least", "likely", "most"):
        assert getattr(warm, name) >= getattr(cold, name) * (1 - 1e-9)
    assert cold.least <= cold.likely * (1 + 1e-9)
    assert cold.likely <= cold.most * (1 + 1e-9)


@given(curve=curves, inside=st.floats(5_000.0, 20_000.0))
def test_any_sensitivity_inside_the_span_gives_an_exposure_inside_the_span(curve, inside):
    times, celsius = (np.array(column) for column in zip(*curve, strict=True))
    span = exposure_along(RULE, times, celsius, math.inf)
    one = exposure_along(
        replace(RULE, sensitivity=Sensitivity(inside, inside, inside)), times, celsius, math.inf
    )
    assert span.least * (1 - 1e-6) <= one.likely <= span.most * (1 + 1e-6)


@given(
    seconds=st.floats(1.0, 1e5), a=st.floats(-60.0, 40.0), b=st.floats(-60.0, 40.0), share=st.floats(0.1, 0.9)
)
def test_a_line_cut_in_two_is_worth_the_same(seconds, a, b, share):
    middle = a + (b - a) * share
    whole = exposed_seconds(seconds, a, b, -18.0, Sensitivity())
    parts = [
        exposed_seconds(seconds * s, x, y, -18.0, Sensitivity())
        for s, x, y in ((share, a, middle), (1 - share, middle, b))
    ]
    # Six nodes on a line of 100 K at 20000 K are good to a thousandth.
    assert whole == pytest.approx(tuple(map(sum, zip(*parts, strict=True))), rel=2e-3)
    over = [
        degree_seconds(seconds * s, x, y, -18.0) for s, x, y in ((share, a, middle), (1 - share, middle, b))
    ]
    assert degree_seconds(seconds, a, b, -18.0) == pytest.approx(
        tuple(map(sum, zip(*over, strict=True))), rel=1e-6, abs=1e-6
    )


def test_the_rate_on_a_line_is_the_integral_of_a_fine_stair():
    fine = np.linspace(-25.0, -5.0, 200_001)
    middle = (fine[1:] + fine[:-1]) / 2 + 273.15
    stair = 3600.0 * float(np.mean(np.exp(10_000.0 * (1 / 273.15 - 1 / middle))))
    found = through([(0, -25.0), (3600, -5.0)], gap=Millis(4_000_000))
    assert found.kinetic == pytest.approx(stair, rel=1e-7)


def test_steady_storage_at_the_reference_is_the_measure():
    found = through(steady(-18.0, 24.0))
    assert found.index == pytest.approx((1.0, 1.0, 1.0))
    assert (found.above, found.degree_minutes) == (0.0, 0.0)
    left = life_left(RULE, found)
    assert (left.least, left.likely, left.most) == pytest.approx((59 / 60,) * 3)
    assert left.proven


def test_a_warm_day_costs_more_than_a_day_and_says_how_unsure_that_is():
    spent = through(steady(-9.0, 24.0))
    # Worked by hand: exp(E (1/255.15 - 1/264.15)), E 5000, 10000 and 20000 K.
    assert spent.index == pytest.approx((1.950, 3.801, 14.449), rel=1e-3)
    left = life_left(RULE, spent)
    assert left.least < left.likely < left.most < 59 / 60
    cold = life_left(RULE, through(steady(-28.0, 24.0)))
    assert 59 / 60 < cold.least < cold.likely < cold.most < 1.0


def test_nothing_is_added_across_a_gap_and_the_gap_is_shown():
    found = through([(0, -10.0), (300, -10.0), (7500, -10.0), (7800, -10.0)])
    assert (found.known, found.unknown) == (600.0, 7200.0)
    assert found.degree_minutes == pytest.approx(8.0 * 10.0)
    left = life_left(RULE, found)
    assert not left.proven
    assert left.unknown == pytest.approx(7200 / 7800)


def test_a_reading_that_cant_be_believed_leaves_the_time_around_it_unknown():
    found = through([(0, -20.0), (300, None), (600, -20.0), (900, -20.0)])
    assert (found.known, found.unknown) == (300.0, 600.0)
    for impossible in (math.nan, math.inf, -300.0, 101.0):
        assert through([(0, -20.0), (300, impossible), (600, -20.0), (900, -20.0)]) == found


def test_silence_before_the_first_reading_and_after_the_last_is_unknown():
    found = through([(600, -20.0), (900, -20.0)], so_far=begun(Instant(0)))
    assert (found.known, found.unknown) == (300.0, 600.0)
    assert until(found, Instant(1_500_000), GAP) == found
    silent = until(found, Instant(4_500_000), GAP)
    assert (silent.known, silent.unknown) == (300.0, 600.0 + 3600.0)
    assert through([(4800, -20.0), (5100, -20.0)], so_far=silent).unknown == 600.0 + 3600.0 + 300.0


@given(curve=curves, at=st.integers(0, 39), uncertainty=st.floats(0.0, 2.0))
def test_known_and_unknown_are_the_whole_time(curve, at, uncertainty):
    broken = [*curve[:at], (0.0, None), *curve[at:]]
    found = through(broken, uncertainty=uncertainty)
    assert found.known + found.unknown == pytest.approx(curve[-1][0] - curve[0][0], abs=1e-3)
    assert found.degree_seconds <= through(curve, uncertainty=uncertainty).degree_seconds * (1 + 1e-9)


def test_uncertainty_counts_against_the_limit():
    assert through(steady(-18.2, 1.0)).above == 0.0
    assert through(steady(-18.2, 1.0), uncertainty=0.5).above == pytest.approx(3600.0)


def test_a_reading_that_comes_late_changes_nothing():
    found = through([(0, -20.0), (300, -20.0)])
    assert through([(200, 30.0), (300, 30.0)], so_far=found) == found


def test_nothing_is_said_of_nothing():
    assert Exposure().mean_kinetic is None
    assert Exposure().index is None
    assert life_left(RULE, Exposure()) is None
    assert life_left(replace(RULE, shelf_life_days=None), through(steady(-18.0, 1.0))) is None
    assert exposure_along(RULE, np.array([]), np.array([]), 600.0) == Exposure()


def test_an_instant_beyond_any_clock_is_refused():
    for far in (1.797693134862316e305, -1.797693134862316e305):
        with pytest.raises(OutOfRangeError, match="The times of a curve are seconds of a clock"):
            exposure_along(RULE, np.array(sorted([0.0, far])), np.array([0.0, 0.0]), 600.0)


@given(numbers=st.lists(any_float, min_size=3, max_size=3), data=st.data())
def test_any_float_gives_a_finite_answer_or_a_sentence(numbers, data):
    a, b, c = numbers
    more = data.draw(any_float)
    with contextlib.suppress(OutOfRangeError):
        assert all(map(math.isfinite, exposed_seconds(a, b, c, more, Sensitivity())))
    with contextlib.suppress(OutOfRangeError):
        assert all(map(math.isfinite, degree_seconds(a, b, c, more)))
    with contextlib.suppress(OutOfRangeError):
        assert math.isfinite(mean_kinetic_temperature(np.array([a, b]), np.array([c, more])))
    with contextlib.suppress(OutOfRangeError):
        rule = StorageRule(a, b, c, Sensitivity())
        found = through([(0, -20.0), (1, a), (2, b), (3, -18.0)], rule, more)
        assert all(map(math.isfinite, (found.known, found.unknown, found.degree_seconds, found.most)))
    with contextlib.suppress(OutOfRangeError):
        found = exposure_along(RULE, np.array([0.0, a]), np.array([b, c]), 600.0, more)
        assert all(map(math.isfinite, (found.known, found.unknown, found.degree_seconds, found.most)))
    with contextlib.suppress(OutOfRangeError):
        estimates, doubts = product_along(np.array([0.0, a]), np.array([b, c]), more, 600.0)
        assert np.isfinite(estimates).all()
        assert np.isfinite(doubts).all()
    with contextlib.suppress(OutOfRangeError):
        found = following(following(Product(), Instant(0), a, b, GAP, c), Instant(1000), more, b, GAP)
        assert math.isfinite(found.celsius)


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda: StorageRule(math.nan), "A store's temperatures are from -100 °C to 100 °C."),
        (lambda: StorageRule(-18.0, shelf_life_days=0.0), "A shelf life must be above 0 and up to 36525 days."),
        (lambda: Sensitivity(2.0, 1.0, 3.0),
         "The sensitivities must rise: 0 K <= flattest <= likely <= steepest <= 40000 K."),
        (lambda: mean_kinetic_temperature(np.array([])),
         "A mean kinetic temperature needs values from -100 °C to 100 °C, at least one."),
        (lambda: mean_kinetic_temperature(np.array([1.0]), np.array([0.0])),
         "Each value lasts 0 or longer, and at least one of them longer than 0."),
        (lambda: exposure_along(RULE, np.array([1.0, 1.0]), np.array([0.0, 0.0]), 60.0),
         "The times of a curve must rise."),
        (lambda: following(Product(), Instant(0), 0.0, math.inf, GAP),
         "A product's time constant must be from 1 s to 30 days, not inf s."),
    ],
)  # fmt: skip
def test_what_can_not_be_is_said(make, says):
    with pytest.raises(OutOfRangeError) as refused:
        make()
    assert str(refused.value) == says


# --- the product behind the air --------------------------------------------------------------------------------


def follow(curve, tau, start=None):
    so_far, seen = Product(), []
    for seconds, air in curve:
        so_far = following(so_far, Instant(round(seconds * 1000)), air, tau, GAP, start)
        seen.append(so_far)
    return seen


@given(curve=curves, tau=st.floats(30.0, 1e5), start=st.none() | st.floats(-40.0, 40.0))
@example([(1.0, -1.0), (2.0, -1.0)], 30.0, 0.0)
def test_the_product_reading_by_reading_is_the_same_as_over_the_whole_curve(curve, tau, start):
    seen = follow(curve, tau, start)
    times, air = (np.array(column) for column in zip(*curve, strict=True))
    estimates, doubts = product_along(times, air, tau, GAP / 1000, start)
    assert estimates.tolist() == pytest.approx([one.celsius for one in seen], abs=1e-6)
    assert doubts.tolist() == pytest.approx([one.doubt for one in seen], abs=1e-9)
    begins = air[0] if start is None else start
    low, high = min([*air, begins]), max([*air, begins])
    assert low - 1e-6 <= estimates.min()
    assert estimates.max() <= high + 1e-6


@given(tau=st.floats(30.0, 1e5), a=st.floats(-40.0, 40.0), b=st.floats(-40.0, 40.0), cut=st.floats(0.1, 0.9))
def test_a_step_cut_in_two_comes_to_the_same(tau, a, b, cut):
    once = follow([(0, a), (600, b)], tau, -18.0)[-1]
    at = round(600_000 * cut) / 1000
    twice = follow([(0, a), (at, a + (b - a) * at / 600), (600, b)], tau, -18.0)[-1]
    assert once.celsius == pytest.approx(twice.celsius, abs=1e-9)


def test_the_estimate_begins_in_doubt_and_again_after_a_gap():
    seen = follow([(n * 300, -20.0) for n in range(100)], 3600.0)
    assert (seen[0].doubt, seen[0].settled) == (DOUBT, False)
    assert seen[-1].settled
    back = following(seen[-1], Instant(99 * 300_000 + 700_000), -5.0, 3600.0, GAP)
    assert (back.celsius, back.doubt, back.settled) == (-5.0, DOUBT, False)
    assert not broken_off(seen[-1]).settled
    assert following(broken_off(seen[-1]), Instant(100 * 300_000), -6.0, 3600.0, GAP).doubt == DOUBT


def test_no_curve_of_any_kind_overflows():
    far, air = np.array([-1.7e308, 1.7e308]), np.array([-100.0, 100.0])
    for along in (
        lambda t: product_along(t, air, 600.0, 600.0),
        lambda t: zone_along(t, air, 600.0),
        lambda t: exposure_along(RULE, t, air, 600.0),
    ):
        with pytest.raises(OutOfRangeError, match="The times of a curve are seconds of a clock"):
            along(far)
    with pytest.raises(OutOfRangeError, match="must rise"):
        product_along(np.array([0.0, 5e-324]), air, 600.0, 600.0)
