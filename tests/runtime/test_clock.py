"""The clock never runs backwards, except by a step that it announces."""

from __future__ import annotations

import time

from rimekeeper.core.messages import ClockStepped
from rimekeeper.runtime.clock import EventClock, SystemClock
from support.parts import NOON


class Machine:
    def __init__(self):
        self.wall, self.steady = NOON, 5_000

    def passes(self, millis, wall=None):
        self.steady += millis
        self.wall += millis if wall is None else wall


def clock_of(machine):
    clock = SystemClock(lambda: machine.wall, lambda: machine.steady)
    steps = []
    clock.on_step = steps.append
    return clock, steps


def test_an_hour_forward_and_back_is_announced_once_each():
    machine = Machine()
    clock, steps = clock_of(machine)
    machine.passes(1_000)
    assert clock.now() == NOON + 1_000
    machine.passes(500, wall=500 + 3_600_000)
    assert clock.now() == NOON + 1_500 + 3_600_000
    machine.passes(500, wall=500 - 3_600_000)
    assert clock.now() == NOON + 2_000
    assert steps == [
        ClockStepped(NOON + 1_500 + 3_600_000, 3_600_000),
        ClockStepped(NOON + 2_000, -3_600_000),
    ]
    machine.passes(10)
    assert clock.now() == NOON + 2_010
    assert len(steps) == 2


def test_small_corrections_are_followed_gently_and_never_backwards():
    machine = Machine()
    clock, steps = clock_of(machine)
    machine.wall -= 1_500
    seen = []
    for _ in range(400):
        machine.passes(1_000)
        seen.append(clock.now())
    assert seen == sorted(seen)
    assert steps == []
    assert abs(clock.now() - machine.wall) <= 1


def test_the_real_clock_is_close_to_the_machines():
    clock = SystemClock()
    looks = [clock.now() for _ in range(1_000)]
    assert looks == sorted(looks)
    assert abs(looks[-1] - time.time() * 1_000) < 50


def test_event_time_stands_still_and_never_goes_back():
    clock = EventClock()
    clock.follow(NOON)
    clock.follow(NOON - 5)
    assert clock.now() == NOON
