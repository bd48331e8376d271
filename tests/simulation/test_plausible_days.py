"""Ordinary days of the simulated kitchen raise no doubt: doors, defrosts, thermostats, ice baths, whole days."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from rimekeeper.core import engine
from rimekeeper.core.messages import SampleTaken
from rimekeeper.core.model import Instant, Millis, ProbeId, Quality, Reason, Sample, Scale, SourceId
from rimekeeper.core.plan import ProbePlan
from rimekeeper.core.sensing.duty import Duty
from rimekeeper.simulation import stretch
from rimekeeper.simulation.cooling import IceBath, InTheOpen
from rimekeeper.simulation.history import history, opening
from rimekeeper.simulation.instruments import IN_AIR, IN_MIX, Probe
from rimekeeper.simulation.mix import Lump, curve_of
from rimekeeper.simulation.rooms import CABINET, CANISTERS, FRIDGE, WALK_IN, ColdRoom
from simulation.kitchens import NOW, demo_plan
from simulation.mixes import CUSTARD
from support.doubtful import AIR, Watched, doubted, plan

EVERY = 5.0
IN_ROOM = plan(room=AIR, one_wire=True)


def watched(points, duty="station"):
    """Reasons of a series (°C every five seconds) with a kitchen of 20 to 22 °C around it."""
    kitchen = Watched(IN_ROOM, plan("air"), duty=Duty(duty))
    reasons = []
    for n, value in enumerate(points):
        if n % 12 == 0:
            kitchen.say("air", n * EVERY, 21.0 + 0.1 * (n // 12 % 10))
        reasons.append(kitchen.say("pan", n * EVERY, value))
    return reasons


@pytest.mark.parametrize("build", [WALK_IN, CABINET, CANISTERS, FRIDGE])
def test_a_busy_day_of_a_cold_room(build):
    noise = np.random.default_rng(7)
    room = ColdRoom(build, noise)
    probe = Probe(IN_AIR, room.air, noise)
    points = []
    for n in range(int(86_400 / EVERY)):
        room.step(EVERY, busy=3.0 if 2_000 < n < 9_000 else 0.0)
        probe.step(EVERY, room.air)
        points.append(probe.read())
    assert max(points) - min(points) > 2.0
    assert doubted(watched(points)) == []


@pytest.mark.parametrize("kilograms", [0.5, 1.0, 3.0])
def test_custard_over_ice(kilograms):
    noise = np.random.default_rng(8)
    bath = IceBath(Lump(curve_of(CUSTARD), kilograms, 82.0), noise, ice=10.0, stirring=0.3)
    probe = Probe(IN_MIX, 82.0, noise)
    points = []
    for _ in range(int(5_400 / EVERY)):
        bath.step(EVERY, 21.0)
        probe.step(EVERY, bath.celsius)
        points.append(probe.read())
    assert points[-1] < 12.0
    assert doubted(watched(points, "custard-1/chill")) == []


def test_the_demo_s_probe_that_hangs_free_is_noticed():
    noise = np.random.default_rng(9)
    free, probe = InTheOpen("kitchen", 82.0), Probe(IN_MIX, 82.0, noise)
    points = [82.0 + 0.1 * (n % 2) for n in range(60)]
    for _ in range(int(900 / EVERY)):
        free.step(EVERY, 21.0)
        probe.step(EVERY, free.celsius)
        points.append(probe.read())
    reasons = watched(points, "custard-1/cook")
    assert doubted(reasons) == [Reason.ROOM]
    assert reasons.index(Reason.ROOM) - 60 <= 600 / EVERY


@pytest.fixture
def roomed(monkeypatch):
    """The demo's plan with a room probe, which the engine hears every minute beside what the kitchen sends."""
    last = [0]

    def step(kitchen, state, events):
        heard = []
        for event in events:
            at = event.sample.arrived_at if isinstance(event, SampleTaken) else last[0]
            if abs(at - last[0]) >= 60_000:
                last[0] = at
                said = Sample(
                    SourceId("house"), "air", 21.0 + 0.1 * (at // 60_000 % 10), Scale.CELSIUS, at, at
                )
                heard.append(SampleTaken(AIR, said))
            heard.append(event)
        return engine.step(kitchen, state, heard)

    monkeypatch.setattr(stretch, "engine", SimpleNamespace(step=step))
    demo = demo_plan()
    probes = {name: replace(probe, room=AIR) for name, probe in demo.probes.items()}
    probes[AIR] = ProbePlan(AIR, "Kitchen", SourceId("house"), "air", silent_after=Millis(300_000))
    return replace(demo, probes=probes)


def test_days_of_the_demo_and_its_opening_are_believed(roomed):
    opened = opening(roomed, NOW)
    days = [opened.commit, *(chunk.commit for chunk in history(roomed, Instant(opened.began), days=3))]
    for commit in days:
        doubts = Counter((r.probe, r.reason) for r in commit.readings if r.quality is not Quality.GOOD)
        assert doubts == {}
        assert sum(reading.probe == ProbeId(AIR) for reading in commit.readings) > 100
    assert any(reading.probe == ProbeId("pan") for reading in opened.commit.readings)
