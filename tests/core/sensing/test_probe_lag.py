"""Plunges that go wrong, steps that are no steps, and the trail from which a probe's heading is told."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rimekeeper.core.sensing.lag import NoStep, StepFit, ahead, ahead_uncertainty, fit_step, slope, trail

T = np.arange(0.0, 200.0, 1.0)
NOISE = np.random.default_rng(3).normal(0.0, 0.05, len(T))


def step(t=T, start=1.0, end=80.0, plunge=20.0, tau=15.0):
    return end + (start - end) * np.exp(-np.maximum(t - plunge, 0.0) / tau)


def fitted(y, t=T):
    return fit_step([round(at * 1000) for at in t], np.round(y, 1).tolist())


def assert_step(found, tau=15.0, within=0.1):
    assert isinstance(found, StepFit)
    assert found.seconds == pytest.approx(tau, abs=within)


def test_a_plunge():
    found = fitted(step() + NOISE)
    assert_step(found, within=0.03)
    assert found.began_celsius == pytest.approx(1.0, abs=0.05)
    assert found.ended_celsius == pytest.approx(80.0, abs=0.05)
    assert found.plunged_ms == pytest.approx(20_000, abs=100)
    assert found.residual == pytest.approx(0.057, abs=0.01)
    assert (found.readings, found.first_order, found.remark) == (200, True, "")


def test_the_start_may_be_missing():
    found = fitted(step(plunge=-8.0) + NOISE)
    assert_step(found)
    assert found.remark.startswith("The steady stretch before the plunge is missing")


def test_spikes_are_left_out_and_said():
    y = step() + NOISE
    y[[22, 50, 120]] = 60.0, -127.0, 85.0
    found = fitted(y)
    assert_step(found, within=0.03)
    assert found.readings == 197
    assert found.remark == "Left out as spikes: 3."


def test_readings_that_are_no_temperature_are_left_out():
    y = step() + NOISE
    y[[5, 30, 31]] = math.nan, math.inf, -math.inf
    assert_step(fitted(y), within=0.03)


@pytest.mark.parametrize("taken_out", [110.0, 150.0, 180.0])
def test_a_probe_taken_out_before_the_end_was_pressed(taken_out):
    after = step(start=80.0, end=20.0, plunge=taken_out, tau=30.0)
    found = fitted(np.where(taken_out > T, step(), after) + NOISE)
    assert_step(found, within=0.2)
    assert "taken out again" in found.remark


@pytest.mark.parametrize(("seconds", "every", "tau"), [(3600.0, 1.0, 15.0), (36_000.0, 10.0, 25.0)])
def test_a_long_wait_before_and_after_does_not_blur_it(seconds, every, tau):
    t = np.arange(0.0, seconds, every)
    assert_step(fitted(step(t, plunge=seconds / 2.0, tau=tau), t), tau, within=0.05)


@pytest.mark.parametrize(
    ("shape", "told"),
    [
        # Two layers in a row; two side by side (a sheath and a core); a bath that cools meanwhile.
        (lambda: _two_layers(15.0, 5.0), 16.9),
        (lambda: _two_layers(15.0, 14.0), 23.6),
        (lambda: 0.7 * step(tau=6.0) + 0.3 * step(tau=40.0), 12.7),
        (lambda: step() - np.maximum(T - 20.0, 0.0) * 0.02, 13.9),
    ],
    ids=["layers", "equal layers", "side by side", "cooling bath"],
)
def test_what_is_not_of_first_order_is_taken_with_less_certainty(shape, told):
    plain, found = fitted(step() + NOISE), fitted(shape() + NOISE)
    assert_step(found, told)
    assert not found.first_order
    assert "Not quite of first order (63 % after " in found.remark
    assert found.uncertainty > 10.0 * plain.uncertainty


def _two_layers(one, other):
    since = np.maximum(T - 20.0, 0.0)
    return 80.0 - 79.0 * (one * np.exp(-since / one) - other * np.exp(-since / other)) / (one - other)


@pytest.mark.parametrize(
    ("y", "says"),
    [
        (step()[:50], "had not settled: only 29 s after the plunge were there"),
        (T * 0.4, "had not settled"),
        (
            step(start=20.0, end=28.0),
            "The probe moved by 8.0 K only, which tells nothing: plunge it from ice into hot",
        ),
        (np.full(200, 20.0), "The probe moved by 0.0 K only"),
        (step(tau=0.5), "Fewer than 6 readings came during the rise: let the probe send more often"),
        (np.random.default_rng(1).uniform(0.0, 80.0, 200), "This is not one step: plunge the probe once"),
        (np.where(T < 50.0, 1.0, np.where(T < 120.0, 40.0, 80.0)), "This is not one step"),
        (np.where(T < 80.0, step(end=40.0), step(start=40.0, plunge=80.0)), "This is not one step"),
        (step()[:5], "Only 5 readings: plunge again"),
        (np.array([]), "Only 0 readings"),
    ],
    ids=["unsettled", "ramp", "small", "still", "fast", "noise", "stairs", "two steps", "few", "none"],
)
def test_what_is_no_step_is_refused_with_what_to_do(y, says):
    found = fitted(y + NOISE[: len(y)] * 0.1, T[: len(y)])
    assert isinstance(found, NoStep)
    assert says in found.why


def test_a_dip_of_a_moment_is_no_step():
    found = fitted(np.array([1.0] * 2 + [80.0] * 3 + [1.0] * 20), T[:25])
    assert isinstance(found, NoStep)
    assert found.why.startswith("This is not one step")


def test_a_small_step_with_a_spike_is_still_small():
    y = step(start=20.0, end=26.0) + NOISE
    y[120] = 85.0
    found = fitted(y)
    assert isinstance(found, NoStep)
    assert found.why.startswith("The step was 6.0 K only")


def test_readings_all_of_one_instant():
    found = fit_step([5] * 10, [10.0 * n for n in range(10)])
    assert isinstance(found, NoStep)
    assert found.why.startswith("All readings carry the same instant")


@settings(max_examples=60, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-(2**50), 2**50) | st.integers(0, 60_000), st.floats() | st.floats(-50, 150)),
        max_size=40,
    )
)
def test_any_readings_give_a_finite_fit_or_a_sentence(pairs):
    found = fit_step([at for at, _ in pairs], [value for _, value in pairs])
    if isinstance(found, NoStep):
        assert found.why.endswith(".")
        return
    numbers = (found.began_celsius, found.ended_celsius, found.seconds, found.uncertainty)
    assert all(map(math.isfinite, (*numbers, found.seconds_63, found.seconds_90, found.residual)))
    assert found.seconds > 0.0
    assert found.uncertainty > 0.0


def followed(*pairs):
    times, values = (), ()
    for at, celsius in pairs:
        times, values = trail(times, values, at, celsius)
    return times, values


def test_a_trail_keeps_the_last_few_in_order():
    assert followed(*((n, float(n)) for n in range(9))) == (
        (3, 4, 5, 6, 7, 8),
        (3.0, 4.0, 5.0, 6.0, 7.0, 8.0),
    )
    assert followed((1, 1.0), (3, 3.0), (3, 9.0), (2, 2.0), (4, math.nan), (5, math.inf)) == (
        (1, 3),
        (1.0, 3.0),
    )


def test_no_heading_of_two_readings_or_across_a_gap():
    assert ahead([], [], 20.0) is None
    assert ahead([0, 1000], [1.0, 2.0], 20.0) is None
    assert ahead([0, 1000, 2000], [1.0, 2.0, 3.0], 20.0) == pytest.approx(23.0)
    assert ahead([0, 1000, 6000], [1.0, 2.0, 3.0], 20.0) is not None
    assert ahead([0, 1000, 6001], [1.0, 2.0, 3.0], 20.0) is None
    assert ahead([0, 0, 1000], [1.0, 2.0, 3.0], 20.0) is None
    assert ahead([0, 1000, 2000], [1.0, 2.0, 3.0], math.nan) is None
    assert ahead_uncertainty([0, 1000], [1.0, 2.0], 20.0, 1.0, 0.1) is None


def test_a_probe_behind_a_steady_rise_points_at_where_the_medium_is():
    """First order: behind a ramp by tau times its rate, once it has lasted some time constants."""
    tau, rate = 20.0, 0.05
    times = tuple(1000 * n for n in range(200, 206))
    shown = tuple(10.0 + rate * (at / 1000.0 - tau + tau * math.exp(-at / 1000.0 / tau)) for at in times)
    medium = 10.0 + rate * times[-1] / 1000.0
    assert medium - shown[-1] == pytest.approx(tau * rate, abs=1e-3)
    assert ahead(times, shown, tau) == pytest.approx(medium, abs=1e-3)


def test_what_the_heading_adds_is_what_simulated_readings_scatter():
    """Standard deviation of 4000 headings of noisy readings, against the stated half."""
    dice = np.random.default_rng(2)
    times = tuple(1000 * n for n in range(6))
    scattered = dice.normal(0.0, 0.1, (4000, 6))
    rates = [slope(times, tuple(row)) for row in scattered.tolist()]
    stated = ahead_uncertainty(times, (0.0,) * 6, 20.0, 0.0, 0.1)
    assert stated / 2.0 == pytest.approx(20.0 * float(np.std(rates)), rel=0.05)
    # A steady rise of 0.1 K/s, and a time constant unsure by 2 s (k = 2).
    rising = tuple(0.1 * n for n in range(6))
    assert ahead_uncertainty(times, rising, 20.0, 2.0, 0.0) == pytest.approx(0.2)


@given(
    st.lists(st.tuples(st.integers(0, 2**50) | st.integers(0, 20_000), st.floats()), max_size=12),
    st.floats(), st.floats(), st.floats(),
)  # fmt: skip
def test_any_trail_gives_a_finite_heading_or_none(pairs, seconds, unsure, noise):
    times, values = tuple(at for at, _ in pairs), tuple(value for _, value in pairs)
    for these in ((times, values), followed(*pairs)):
        for found in (ahead(*these, seconds), ahead_uncertainty(*these, seconds, unsure, noise)):
            assert found is None or math.isfinite(found)
