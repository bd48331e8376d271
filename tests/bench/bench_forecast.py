"""How good are the arrival forecasts? Run: python tests/bench/bench_forecast.py [runs] [first-number]

Makes runs of cook, chill, churn and harden with its own small heat balances (pan, power, bath, cabinet, noise
and interruptions vary from run to run), feeds every reading to the forecast, and from one third of the way on
compares the expected arrival with the true one (the moment the noise-free curve enters the band). Beside it
stands the plain extrapolation of the slope of the last minute (harden: ten minutes). The generators know
nothing of the forecast's law: losses, heat capacity and the burner or bath change under way.
"""

from __future__ import annotations

import math
import random
import statistics
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass, field

from rimekeeper.core.model import Instant, Temperature, TemperatureDifference
from rimekeeper.core.plan import Approach, MixPlan
from rimekeeper.core.process import freezing
from rimekeeper.core.process.forecast import Course, Outlook, forecast, observe

BAND = TemperatureDifference(0.5)
NOISE = 0.1


@dataclass
class Run:
    """One simulated stage: true curve at one point a step, and what is asked of it."""

    kind: str
    step: float
    curve: list[float]
    target: float
    approach: Approach
    freezing_point: Temperature | None = None
    slope_window: float = 60.0
    lag: float = 0.0


@dataclass
class Score:
    """What came of the forecasts of one kind."""

    errors: list[float] = field(default_factory=list)
    slopes: list[float] = field(default_factory=list)
    inside: int = 0
    early: int = 0
    widths: list[float] = field(default_factory=list)
    outlooks: dict[Outlook, int] = field(default_factory=dict)
    missed: int = 0
    asked: int = 0
    seconds: float = 0.0
    observed: int = 0
    observing: float = 0.0


def cook(dice: random.Random) -> Run:
    """A pan of custard on a stove: power less losses and evaporation, with stirring, turns of the knob, a pause."""
    mass, start = dice.uniform(3.0, 12.0), dice.uniform(4.0, 25.0)
    power = mass * 3.5e3 * dice.uniform(1.2, 3.5) / 60.0
    loss = mass * 3.5e3 / dice.uniform(3000.0, 7000.0)
    vapour = dice.uniform(0.0, 0.35) * power / math.exp(0.055 * 82.0)
    target, step = 82.0, 1.0
    turns = [
        (dice.uniform(0.1, 0.9), dice.choice((0.75, 0.85, 1.15))) for _ in range(dice.choice((0, 0, 1, 1, 2)))
    ]
    pauses = [dice.uniform(0.15, 0.9) for _ in range(dice.choice((0, 0, 0, 1)))]
    celsius, curve, stir, pause_left = start, [start], 0.0, 0.0
    while celsius < target + 1.0 and len(curve) < 12_000:
        way = (celsius - start) / (target - start)
        while turns and way > min(turns)[0]:
            power *= min(turns)[1]
            turns.remove(min(turns))
        while pauses and way > min(pauses):
            pause_left = dice.uniform(20.0, 90.0)
            pauses.remove(min(pauses))
        pause_left -= step
        stir += (-stir + dice.gauss(0.0, 0.15)) * step / 40.0
        heat = 0.0 if pause_left > 0.0 else power * (1.0 + stir)
        heat -= loss * (celsius - 20.0) + vapour * math.exp(0.055 * celsius)
        celsius += heat * step / (mass * 3.5e3)
        curve.append(celsius)
    return Run("cook", step, curve, target, Approach.RISING, lag=dice.uniform(1.0, 8.0))


def chill(dice: random.Random) -> Run:
    """A base in an ice bath or a fridge: the bath warms a little, is stirred at times, gets new ice once in a while."""
    bath = dice.random() < 0.6
    start = dice.uniform(60.0, 82.0) if bath else dice.uniform(20.0, 40.0)
    far = dice.uniform(0.0, 1.5) if bath else dice.uniform(1.0, 3.0)
    tau = dice.uniform(400.0, 1500.0) if bath else dice.uniform(3000.0, 9000.0)
    target, step = (5.0, 1.0) if bath else (5.0, 5.0)
    celsius, curve, stir, warm = start, [start], 0.0, 0.0
    changes = [(dice.uniform(0.1, 0.8), dice.uniform(0.75, 1.3)) for _ in range(dice.choice((0, 0, 1, 1)))]
    ripple = dice.uniform(0.0, 1.0)
    while celsius > target - 1.0 and len(curve) < 20_000:
        way = (start - celsius) / (start - target)
        while changes and way > min(changes)[0]:
            tau *= min(changes)[1]
            changes.remove(min(changes))
        stir += (-stir + dice.gauss(0.0, 0.15)) * step / 60.0
        warm += ((celsius - far) * 0.03 * bath - warm) * step / 300.0
        air = 0.0 if bath else ripple * math.sin(2.0 * math.pi * len(curve) * step / 900.0)
        celsius -= (celsius - far - warm - air) * (1.0 + stir) * step / tau
        curve.append(celsius)
        if celsius < target + 0.6 and len(curve) > 15_000:
            break
    return Run("chill", step, curve, target, Approach.FALLING, lag=dice.uniform(1.0, 8.0))


def _mix(dice: random.Random) -> MixPlan:
    water = dice.uniform(56.0, 66.0)
    return MixPlan(
        water=water,
        fat=dice.uniform(4.0, 14.0),
        msnf=dice.uniform(6.0, 11.0),
        sucrose=dice.uniform(12.0, 17.0),
        syrup_solids=dice.uniform(0.0, 5.0),
    )


def _table(mix: MixPlan) -> Callable[[float], float]:
    """Temperature by heat content, kJ/kg, from a fine table."""
    celsius = [-38.0 + 0.05 * i for i in range(1001)]
    heats = [freezing.specific_enthalpy(mix, Temperature(c)) for c in celsius]

    def at(heat: float) -> float:
        low, high = 0, len(heats) - 1
        while high - low > 1:
            middle = (low + high) // 2
            if heats[middle] <= heat:
                low = middle
            else:
                high = middle
        return celsius[low] + 0.05 * (heat - heats[low]) / (heats[high] - heats[low])

    return at


def churn(dice: random.Random) -> Run:
    """A batch freezer: a cold wall, scraping heat, a mix that freezes along its own curve."""
    mix, start = _mix(dice), dice.uniform(2.0, 6.0)
    at, step = _table(mix), 1.0
    heat = freezing.specific_enthalpy(mix, Temperature(start))
    wall = dice.uniform(-30.0, -22.0)
    flow = dice.uniform(150.0, 280.0) / (dice.uniform(500.0, 1100.0) * 20.0)
    dasher = flow * dice.uniform(0.5, 2.0)
    celsius, curve, wobble = start, [start], 0.0
    while celsius > -6.8 and len(curve) < 8_000:
        wobble += (-wobble + dice.gauss(0.0, 0.15)) * step / 40.0
        heat += (-flow * (celsius - wall) * (1.0 + wobble) + dasher) * step
        celsius = at(heat)
        curve.append(celsius)
    return Run(
        "churn",
        step,
        curve,
        -6.1,
        Approach.FALLING,
        freezing.initial_freezing_point(mix),
        lag=dice.uniform(1.0, 6.0),
    )


def harden(dice: random.Random) -> Run:
    """A tub's core in a cabinet: surface and core, freezing further, with a compressor's swing and door openings."""
    mix, start = _mix(dice), dice.uniform(-6.5, -5.0)
    at, step = _table(mix), 20.0
    outer = inner = freezing.specific_enthalpy(mix, Temperature(start))
    cabinet = dice.uniform(-34.0, -25.0)
    slow = dice.uniform(3000.0, 9000.0)
    within = slow * dice.uniform(0.2, 0.7)
    doors = sorted(dice.uniform(0.0, 6.0 * 3600.0) for _ in range(dice.choice((0, 1, 2, 3))))
    swing, air_off = dice.uniform(0.0, 2.0), 0.0
    curve, t = [start], 0.0
    core = skin = start
    while core > -18.8 and len(curve) < 6_000:
        t += step
        while doors and t > doors[0]:
            air_off += dice.uniform(4.0, 12.0)
            doors.pop(0)
        air_off -= air_off * step / 600.0
        air = cabinet + air_off + swing * math.sin(2.0 * math.pi * t / 1500.0)
        outer += (-(skin - air) * 2.5 / slow + (core - skin) * 2.5 / within) * step
        inner += (skin - core) * 2.5 / within * step
        core, skin = at(inner), at(outer)
        curve.append(core)
    return Run(
        "harden",
        step,
        curve,
        -18.0,
        Approach.FALLING,
        freezing.initial_freezing_point(mix),
        slope_window=600.0,
        lag=dice.uniform(5.0, 30.0),
    )


def measure(run: Run, dice: random.Random, score: Score, asks: int = 20) -> None:
    """Feed the run's readings (0.1 °C steps, noise, probe lag) and score forecasts spread over the last two thirds."""
    edge = run.target - BAND.kelvin if run.approach is Approach.RISING else run.target + BAND.kelvin
    seen, readings = run.curve[0], []
    for celsius in run.curve:
        seen += (celsius - seen) * (1.0 - math.exp(-run.step / run.lag))
        readings.append(seen)
    rising = run.approach is Approach.RISING
    arrival = next((i for i, c in enumerate(readings) if (c >= edge if rising else c <= edge)), None)
    if arrival is None or arrival < 30:
        return
    every = max(1, (arrival - arrival // 3) // asks)
    course, recent = Course(), []
    for i in range(arrival - 1):
        at = Instant(1_700_000_000_000 + round(i * run.step * 1000.0))
        value = round(readings[i] + dice.gauss(0.0, NOISE), 1)
        began = time.thread_time()
        course = observe(course, at, value)
        score.observing += time.thread_time() - began
        score.observed += 1
        recent.append((i * run.step, value))
        if i < arrival // 3 or (i - arrival // 3) % every:
            continue
        left = (arrival - i) * run.step
        if left < 2.0 * run.step:
            continue
        began = time.thread_time()
        found = forecast(course, Temperature(run.target), BAND, run.approach, at, run.freezing_point)
        score.seconds += time.thread_time() - began
        score.asked += 1
        score.outlooks[found.outlook] = score.outlooks.get(found.outlook, 0) + 1
        if found.expected is None:
            continue
        assert found.earliest is not None
        assert found.latest is not None
        true = at + left * 1000.0
        score.errors.append(abs(found.expected - true) / (left * 1000.0) * 100.0)
        score.inside += found.earliest <= true <= found.latest
        score.early += true < found.earliest
        score.widths.append((found.latest - found.earliest) / (left * 1000.0) * 100.0)
        score.slopes.append(_slope_error(recent, edge, run, left))


def _slope_error(recent: list[tuple[float, float]], edge: float, run: Run, left: float) -> float:
    """Error in % of the plain extrapolation of the last stretch's least-squares slope (1000 when it never arrives)."""
    now = recent[-1][0]
    part = [p for p in recent[-70:] if p[0] >= now - run.slope_window]
    t0 = sum(p[0] for p in part) / len(part)
    y0 = sum(p[1] for p in part) / len(part)
    slope = sum((t - t0) * (y - y0) for t, y in part) / max(1e-9, sum((t - t0) ** 2 for t, _ in part))
    if slope * (edge - y0) <= 0.0:
        return 1000.0
    return min(1000.0, abs(t0 + (edge - y0) / slope - now - left) / left * 100.0)


def main(runs: int = 100, first: int = 1) -> None:
    """Print the table."""
    print(
        f"{runs} runs each, noise {NOISE} K, readings rounded to 0.1 °C, from one third of the way to arrival"
    )
    print(
        "kind    forecasts named  median err  mean err  90 % err  last slope  inside 5-95 %  after, before it  width  other outlooks"
    )
    for make in (cook, chill, harden, churn):
        score = Score()
        for number in range(first, first + runs):
            dice = random.Random(number)
            measure(make(dice), dice, score)
        n = max(1, len(score.errors))
        others = ", ".join(
            f"{k.name.lower()} {v}" for k, v in score.outlooks.items() if k is not Outlook.ARRIVES
        )
        print(
            f"{make.__name__:8s}{score.asked:9d} {n / score.asked:5.0%}"
            f"{statistics.median(score.errors):11.1f} %{min(999.0, statistics.fmean(score.errors)):8.1f} %"
            f"{statistics.quantiles(score.errors, n=10)[-1]:8.1f} %{statistics.median(score.slopes):10.1f} %"
            f"{score.inside / n:14.1%}{1 - score.early / n - score.inside / n:9.1%} {score.early / n:5.1%}"
            f"{statistics.median(score.widths):7.0f} %  {others}"
            f"  [{score.seconds / score.asked * 1e3:.2f} ms, observe {score.observing / score.observed * 1e6:.1f} µs]"
        )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:3]))
