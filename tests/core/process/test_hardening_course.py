"""A hardening as it goes: the factor of the run, its finish and interval, the zone, the plateau, and what is unknown."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.errors import OutOfRangeError
from rimekeeper.core.model import Instant, Millis
from rimekeeper.core.plan import MixPlan
from rimekeeper.core.process.hardening import FILMS, AirSpeed, Hardening, conductivity, density
from rimekeeper.core.process.hardening_course import (
    HardeningRule,
    WillBeHard,
    begun,
    finish,
    hard_by,
    hardened,
    interrupted,
    zone_along,
)
from rimekeeper.core.process.hardening_layers import WayDown, way_down
from rimekeeper.core.process.vessels import Tray
from support.layers import Substance, middle_of

BASE = MixPlan(water=60.0, fat=12.0, msnf=10.0, whey_solids=2.0, sucrose=12.0, syrup_solids=4.0)
CASE = Hardening(BASE, Tray(0.05), -5.5, -30.0, FILMS[AirSpeed.FAN])
RULE = HardeningRule(-18.0, way_down(CASE))
STRAIGHT = HardeningRule(-18.0, WayDown((-6.0, -18.0), (0.0, 12_000.0), 9_000.0, 12_000.0, 16_000.0))
GAP = Millis(600_000)


def seconds(n):
    return Instant(round(n * 1000))


def through(curve, rule=STRAIGHT, uncertainty=0.0, gap=GAP):
    course = begun(Instant(0))
    for at, celsius in curve:
        course = (
            interrupted(course)
            if celsius is None
            else hardened(rule, course, seconds(at), celsius, uncertainty, gap)
        )
    return course


def down(slower=1.0, until=-18.0, every=60.0):
    """A straight way down at 1 K in 1000 s times ``slower``."""
    total = (-6.0 - until) * 1000.0 * slower
    return [
        (n * every, -6.0 - n * every / 1000.0 / slower) for n in range(math.floor(total / every + 1e-9) + 1)
    ]


# --- this run against the prediction ---------------------------------------------------------------------------


@pytest.mark.parametrize("slower", [0.7, 1.0, 1.6])
def test_the_factor_of_the_run_is_found_and_the_finish_with_it(slower):
    course = through(down(slower, -12.0))
    assert course.factor == pytest.approx(slower, abs=0.05)
    now = course.last_at
    coming = finish(STRAIGHT, course, now, GAP)
    assert coming.of_this_run
    assert coming.expected / 1000 == pytest.approx(12_000 * slower, rel=0.03)
    assert coming.earliest < seconds(12_000 * slower) < coming.latest


@settings(max_examples=12, deadline=None)
@given(every=st.sampled_from([10.0, 30.0, 60.0, 300.0]), slower=st.floats(0.6, 1.8))
def test_the_factor_does_not_hang_on_how_often_a_reading_comes(every, slower):
    once, often = through(down(slower, -13.0, every)), through(down(slower, -13.0, 10.0))
    assert once.factor == pytest.approx(often.factor, abs=0.02)


def test_before_its_own_readings_say_anything_the_prediction_does():
    course = through([(0.0, -6.0), (60.0, -6.05)])
    coming = finish(STRAIGHT, course, seconds(60), GAP)
    assert not coming.of_this_run
    assert coming.expected / 1000 == pytest.approx(12_000, rel=0.02)
    assert coming.earliest / 1000 < 9_500
    assert coming.latest / 1000 > 15_500


def test_the_finish_holds_in_simulated_runs_with_other_air_other_mix_and_open_doors():
    """Median error and coverage on 40 runs; the wider bench measures it against the plain extrapolation."""
    rng = np.random.default_rng(7)
    base = Substance(BASE, density(BASE, 0.3), lambda celsius: conductivity(BASE, celsius, 0.3))
    conducting, heavy = base.conductivity, base.density
    errors, covered = [], []
    for _ in range(40):
        film = FILMS[AirSpeed.FAN if rng.random() < 0.5 else AirSpeed.BLAST]
        thick, start, air = rng.uniform(0.025, 0.05), rng.uniform(-7.0, -4.5), rng.uniform(-35.0, -25.0)
        base.conductivity = conducting * math.exp(rng.normal(0.0, 0.15))
        base.density = heavy * math.exp(rng.normal(0.0, 0.08))
        wrong, every, door = rng.normal(0.0, 1.0), rng.uniform(1200.0, 4000.0), rng.uniform(0.0, 6000.0)

        def room(now, air=air + wrong, every=every, door=door):
            opened = 8.0 if door < now < door + 400.0 else 0.0
            return air + 1.5 * math.sin(2.0 * math.pi * now / every) + opened

        true = math.exp(rng.uniform(math.log(film.least), math.log(film.most)))
        times, middle = middle_of(base, thick / 2, 1, start, room, true, -18.0, layers=8)
        rule = HardeningRule(-18.0, way_down(Hardening(BASE, Tray(thick), start, air, film)))
        now = np.arange(0.0, times[-1] / 2.0, 60.0)
        shown = np.interp(now, times, middle) + rng.normal(0.0, 0.1, len(now))
        coming = finish(rule, through(zip(now, shown.tolist(), strict=True), rule), seconds(now[-1]), GAP)
        errors.append(abs(coming.expected / 1000 - times[-1]) / (times[-1] - now[-1]))
        covered.append(coming.earliest / 1000 <= times[-1] <= coming.latest / 1000)
    assert np.median(errors) < 0.12
    assert np.mean(covered) >= 0.8


# --- in time or not --------------------------------------------------------------------------------------------


def test_each_verdict():
    half = through(down(1.0, -12.0))
    now = half.last_at
    for deadline, wanted in (
        (20_000, WillBeHard.IN_TIME),
        (12_000, WillBeHard.UNSURE),
        (8_000, WillBeHard.LATE),
    ):
        assert hard_by(STRAIGHT, half, seconds(deadline), now, GAP) is wanted
    whole = through(down())
    assert whole.hard_at == seconds(12_000)
    assert hard_by(STRAIGHT, whole, seconds(12_000), seconds(99_999), GAP) is WillBeHard.HARD
    assert hard_by(STRAIGHT, whole, seconds(11_999), seconds(12_000), GAP) is WillBeHard.MISSED
    assert hard_by(STRAIGHT, half, seconds(5_000), now, GAP) is WillBeHard.MISSED
    assert finish(STRAIGHT, whole, seconds(12_000), GAP) is None


def test_what_is_not_known_is_unknown():
    half = through(down(1.0, -12.0))
    now, late = half.last_at, seconds(50_000)
    assert hard_by(STRAIGHT, half, late, Instant(now + GAP + 1), GAP) is WillBeHard.UNKNOWN
    assert hard_by(STRAIGHT, interrupted(half), late, now, GAP) is WillBeHard.UNKNOWN
    assert hard_by(HardeningRule(), half, late, now, GAP) is WillBeHard.UNKNOWN
    assert hard_by(STRAIGHT, begun(Instant(0)), late, Instant(0), GAP) is WillBeHard.UNKNOWN
    # Silence up to the deadline proves neither.
    assert hard_by(STRAIGHT, half, seconds(7_000), seconds(7_001), GAP) is WillBeHard.UNKNOWN


def test_hard_is_what_the_uncertainty_leaves_hard():
    assert through(down(), uncertainty=0.3).hard_at is None
    assert through(down(1.0, -18.4), uncertainty=0.3).hard_at == seconds(12_300)


# --- the zone and the plateau ----------------------------------------------------------------------------------

ZONED = HardeningRule(-18.0)


def test_the_passage_is_from_one_end_of_the_zone_to_the_other():
    curve = [(0.0, -4.0), (600.0, -6.0), (1200.0, -12.0), (1800.0, -20.0)]
    course = through(curve, ZONED)
    assert (course.entered_at, course.left_at) == (seconds(300), seconds(1650))
    assert course.passage == 1350.0
    assert course.in_zone == pytest.approx(1350.0)


def test_a_passage_with_a_gap_in_it_has_no_time():
    course = through([(0.0, -4.0), (600.0, -6.0), (1800.0, -12.0), (2400.0, -20.0)], ZONED)
    assert (course.passage, course.unknown) == (None, 1200.0)
    assert course.in_zone == pytest.approx(300.0 + 450.0)
    broken = through([(0.0, -4.0), (300.0, -6.0), (400.0, None), (600.0, -8.0), (900.0, -20.0)], ZONED)
    assert (broken.passage, broken.unknown) == (None, 300.0)
    assert through([(700.0, -6.0)], ZONED).unknown == 700.0


curves = st.lists(
    st.tuples(st.integers(1_000, 900_000), st.floats(-40.0, 10.0)), min_size=2, max_size=40
).map(
    lambda steps: list(
        zip((np.cumsum([s for s, _ in steps]) / 1000.0).tolist(), [c for _, c in steps], strict=True)
    )
)


@given(curve=curves)
def test_reading_by_reading_is_the_same_as_the_whole_curve(curve):
    course = through(curve)
    times, celsius = (np.array(column) for column in zip(*curve, strict=True))
    inside, unknown = zone_along(times, celsius, GAP / 1000)
    assert course.in_zone == pytest.approx(inside, abs=1e-6)
    assert course.unknown == pytest.approx(unknown + curve[0][0], abs=1e-6)
    if course.passage is not None:
        assert 0.0 <= course.passage <= curve[-1][0]
    assert math.isfinite(course.factor)


@given(curve=curves, place=st.integers(0, 39), bad=st.sampled_from([math.nan, math.inf, -math.inf, 500.0]))
def test_a_reading_that_cant_be_believed_is_no_reading_and_never_shortens_what_is_unknown(curve, place, bad):
    at = curve[min(place, len(curve) - 1)][0]
    broken = through([*curve[: place + 1], (at + 0.5, bad), *curve[place + 1 :]])
    whole = through(curve)
    assert broken.unknown >= whole.unknown - 1e-9
    assert broken.in_zone <= whole.in_zone + 1e-9


def test_a_mix_that_goes_in_unfrozen_shows_its_plateau():
    rule = HardeningRule(-18.0, freezing_point=-2.6)
    curve = [(n * 60.0, 4.0 - n * 0.33) for n in range(20)]  # falls to -2.3
    curve += [(1200.0 + n * 60.0, -2.6 - n * 0.01) for n in range(30)]
    curve += [(3000.0 + n * 60.0, -2.9 - n * 0.3) for n in range(20)]
    course = through(curve, rule)
    assert course.plateau_from is not None
    assert 1000.0 <= course.plateau_from / 1000 <= 1500.0
    assert 2900.0 <= course.plateau_until / 1000 <= 3400.0
    assert through(down(), replace(STRAIGHT, freezing_point=-2.6)).plateau_from is None


@pytest.mark.parametrize(
    ("times", "celsius"),
    [
        ([0.0, 0.0], [0.0, 0.0]),
        ([0.0, math.nan], [0.0, 0.0]),
        ([0.0, 1.0], [0.0, math.inf]),
        ([0.0], [0.0, 1.0]),
    ],
)
def test_what_is_no_curve_is_said(times, celsius):
    with pytest.raises(OutOfRangeError):
        zone_along(np.array(times), np.array(celsius), 60.0)
