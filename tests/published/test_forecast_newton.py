"""Forecasts against Newton's law of cooling, heat balances worked by hand, and an independent slope estimate."""

import math
import random

import pytest
from scipy import stats

from rimekeeper.core.model import Instant, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach
from rimekeeper.core.process.forecast import Course, Outlook, forecast, observe

EXACT = TemperatureDifference(0.0)
START = 1_700_000_000_000


def watched(curve, until, step, noise=0.0, number=1):
    """The course of ``curve`` (°C of seconds) and the instant of its newest reading."""
    dice = random.Random(number)
    course, at, t = Course(), Instant(START), 0.0
    while t <= until:
        at = Instant(START + round(t * 1000.0))
        course = observe(course, at, curve(t) + (dice.gauss(0.0, noise) if noise else 0.0))
        t += step
    return course, at


def cooling(t):
    """57 °C into surroundings of 2 °C with a time constant of 112.8993 min."""
    return 2.0 + 55.0 * math.exp(-t / (112.8993 * 60.0))


@pytest.mark.parametrize(("target", "minutes"), [(21.0, 120.0), (5.0, 328.39)])
@pytest.mark.parametrize("watched_for", [0.6, 0.75, 0.9])
def test_newton_cooling_to_the_food_code_marks(target, minutes, watched_for):
    """Newton's law solved on paper: 57 to 21 °C in exactly 120 min makes 5 °C at 328.39 min (1 % of the time left).

    21 °C in 2 h and 5 °C in 6 h are the marks of the US Food Code 3-501.14.
    """
    course, at = watched(cooling, minutes * 60.0 * watched_for, 5.0)
    found = forecast(course, Temperature(target), EXACT, Approach.FALLING, at)
    left = minutes * 60.0 * (1.0 - watched_for)
    assert found.outlook is Outlook.ARRIVES
    assert (found.expected - at) / 1000.0 == pytest.approx(left, rel=0.01, abs=3.0)
    assert found.earliest <= START + minutes * 60_000.0 <= found.latest


def test_three_points_of_an_exponential():
    """Aitken's three-point formula on 80, 50, 35 at 10 min: far end 20, tau 14.427 min, 25 °C 15.850 min later."""
    tau = 14.427 * 60.0
    course, at = watched(lambda t: 20.0 + 60.0 * math.exp(-t / tau), 1200.0, 2.0)
    assert course.celsius[-1] == pytest.approx(35.0, abs=0.01)
    found = forecast(course, Temperature(25.0), EXACT, Approach.FALLING, at)
    assert (found.expected - at) / 60_000.0 == pytest.approx(15.850, rel=0.01)


def test_heating_by_the_heat_balance():
    """1500 W at 60 % into 8 kg of 3400 J/(kg K) without losses is 1.9853 K a minute: 82 °C from 40 takes 21.155 min."""
    per_second = 1500.0 * 0.6 / (8.0 * 3400.0)
    assert per_second * 60.0 == pytest.approx(1.9853, abs=1e-4)
    course, at = watched(lambda t: 20.0 + per_second * t, 20.0 / per_second, 1.0)
    found = forecast(course, Temperature(82.0), EXACT, Approach.RISING, at)
    assert found.rate == pytest.approx(1.9853, rel=0.01)
    assert (found.expected - at) / 60_000.0 == pytest.approx((82.0 - 40.0) / 1.9853, rel=0.03)


@pytest.mark.parametrize("number", range(6))
def test_rate_lies_in_the_interval_of_an_independent_estimate(number):
    """scipy.stats.theilslopes (Theil 1950, Sen 1968) on the same noisy straight line, interval of 99.9 %."""
    course, at = watched(lambda t: 10.0 + 0.03 * t, 120.0, 1.0, noise=0.1, number=number)
    slope, _, low, high = stats.theilslopes(course.celsius, [t / 1000.0 for t in course.times], 0.999)
    found = forecast(course, Temperature(82.0), EXACT, Approach.RISING, at)
    margin = 2.0 * (high - low)
    assert abs(found.rate / 60.0 - slope) < margin + 0.02 * slope


def test_a_lone_spike_does_not_move_the_forecast():
    """Theil-Sen of 0,1,2,3,4,30,6 is 1.0 where least squares says 2.786 (Sen 1968's point): so must the forecast."""
    calm, at = watched(lambda t: 20.0 + 0.03 * t, 300.0, 1.0)
    spiky = Course()
    for i in range(301):
        spiky = observe(spiky, Instant(START + i * 1000), 20.0 + 0.03 * i + (24.0 if i == 290 else 0.0))
    steady = forecast(calm, Temperature(50.0), EXACT, Approach.RISING, at)
    shaken = forecast(spiky, Temperature(50.0), EXACT, Approach.RISING, at)
    assert shaken.expected - at == pytest.approx(steady.expected - at, rel=0.01)


def test_falls_short_when_the_surroundings_are_too_warm():
    """Newton's law never passes the temperature of the surroundings (8 °C here, target 5 °C)."""
    course, at = watched(lambda t: 8.0 + 55.0 * math.exp(-t / 600.0), 1500.0, 1.0, noise=0.1)
    found = forecast(course, Temperature(5.0), TemperatureDifference(0.5), Approach.FALLING, at)
    assert found.outlook is Outlook.FALLS_SHORT
    assert found.expected is None
    assert "short of the target" in found.why
