"""Lag and step fit against the first-order response worked by hand and an independent fit (scipy)."""

import math

import numpy as np
import pytest
from scipy.optimize import curve_fit

from rimekeeper.core.computations import COMPUTATIONS
from rimekeeper.core.sensing.lag import StepFit, ahead, fit_step, slope_noise


def run(name, **values):
    chosen = COMPUTATIONS[name]
    defaults = {one.name: one.default for one in chosen.inputs if one.default is not None}
    (answer,) = chosen.run(defaults | values)
    return answer.value


def test_lag_worked_by_hand():
    """First-order response, dTi/dt = (T - Ti) / tau, worked on paper."""
    assert run("ramp-lag", time_constant=30.0, rate=2.0) == pytest.approx(1.0)
    assert run("lag-corrected", shown=70.0, time_constant=20.0, rate=3.0) == pytest.approx(71.0)
    assert run("time-constant", reached_after=80.0) == pytest.approx(34.743, abs=1e-3)
    assert run("time-constant", reached_after=20.0, share=50.0) == pytest.approx(20.0 / math.log(2.0))
    assert run("slope-noise", noise=0.1, readings=5.0, interval=1.0) == pytest.approx(0.031623, abs=1e-6)


def test_ahead_worked_by_hand():
    """70.0 °C shown, rising by 0.05 K/s, tau 20 s: the medium is at 71.0 °C."""
    times = [0, 1000, 2000, 3000, 4000]
    assert ahead(times, [69.80, 69.85, 69.90, 69.95, 70.0], 20.0) == pytest.approx(71.0)
    assert slope_noise(times, 0.1) == pytest.approx(0.1 * math.sqrt(12 / (5 * 24)))


@pytest.mark.parametrize(
    ("t50", "t90", "tau"),
    # Response times of mineral-insulated probes, a maker's table: in water at 0.2 m/s, 3 mm and 6 mm.
    [(1.2, 2.9, 1.5), (4.0, 9.6, 5.0)],
)
def test_time_constant_of_a_published_response(t50, t90, tau):
    """Both times tell about one time constant, for these probes are nearly of first order."""
    assert run("time-constant", reached_after=t50, share=50.0) == pytest.approx(tau, rel=0.2)
    assert run("time-constant", reached_after=t90, share=90.0) == pytest.approx(tau, rel=0.2)


def response(t, start, end, plunge, tau):
    return end + (start - end) * np.exp(-np.maximum(t - plunge, 0.0) / tau)


@pytest.mark.parametrize("tau", [4.0, 12.0, 60.0])
@pytest.mark.parametrize("resolution", [0.01, 0.1, 0.5])
@pytest.mark.parametrize("noise", [0.02, 0.2])
@pytest.mark.parametrize("levels", [(0.5, 82.0), (60.0, 1.0)])
def test_a_step_as_an_independent_fit_finds_it(tau, resolution, noise, levels):
    """scipy.optimize.curve_fit from the true values, on the same uneven, noisy, coarse readings."""
    dice = np.random.default_rng(int(tau * 100 + resolution * 10 + noise * 1000))
    t = np.arange(0.0, 20.0 + 7.0 * tau, 1.0)
    t += dice.uniform(0.0, 0.6, len(t))
    y = response(t, *levels, 17.3, tau) + dice.normal(0.0, noise, len(t))
    y = np.round(y / resolution) * resolution
    found = fit_step([round(x * 1000) for x in t], y.tolist())
    assert isinstance(found, StepFit)
    theirs, spread = curve_fit(response, t, y, p0=(*levels, 17.3, tau))
    assert found.seconds == pytest.approx(theirs[3], abs=0.004 * tau)
    assert found.began_celsius == pytest.approx(theirs[0], abs=0.02)
    assert found.ended_celsius == pytest.approx(theirs[1], abs=0.02)
    assert found.plunged_ms / 1000.0 == pytest.approx(theirs[2], abs=0.02)
    # Never surer than theirs; less sure where the readings are coarser than they scatter.
    assert 0.97 * 2.0 * math.sqrt(spread[3, 3]) <= found.uncertainty < 0.05 * tau
    assert abs(found.seconds - tau) < 2.0 * found.uncertainty
    assert found.first_order
    assert found.remark == ""
    assert found.seconds_63 == pytest.approx(tau, rel=0.12)
    assert found.seconds_90 == pytest.approx(2.3026 * tau, rel=0.12)


def test_the_stated_uncertainty_covers_the_truth():
    """k = 2 is to cover about 95 % (GUM, annex G): at least 90 % of 200 simulated plunges."""
    dice = np.random.default_rng(5)
    covered = 0
    for _ in range(200):
        tau = float(dice.uniform(3.0, 30.0))
        t = np.arange(0.0, 10.0 + 6.0 * tau, 1.0)
        y = np.round(response(t, 0.0, 80.0, 8.4, tau) + dice.normal(0.0, 0.1, len(t)), 1)
        found = fit_step([round(x * 1000) for x in t], y.tolist())
        assert isinstance(found, StepFit)
        covered += abs(found.seconds - tau) <= found.uncertainty
    assert 180 <= covered <= 200
