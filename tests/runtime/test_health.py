"""Health: alive and current, or one sentence that says what is wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import Instant
from rimekeeper.core.state import EngineState
from rimekeeper.runtime.health import judge
from rimekeeper.runtime.ports import Glance, Pulse
from support.parts import NOON, Daemon, delivery, plan, sample

WELL = Pulse(alive=True, last_commit=NOON, last_reading=NOON, backlog=0, started_at=Instant(NOON - 10**6))


def view(**changes):
    plan_ = changes.pop("plan", plan())
    return Glance(1, NOON, plan_, EngineState(), replace(WELL, **changes))


@pytest.mark.parametrize(
    ("glance", "after", "says"),
    [
        (view(), 5_000, "Rimekeeper is watching."),
        (view(alive=False), 0, "The pipeline stands still."),
        (view(store_trouble="there is no space left"), 0, "Readings can't be stored: there is no space left"),
        (view(), 31_000, "Nothing was stored for 31 s."),
        (
            view(last_commit=Instant(NOON + 120_000)),
            121_000,
            "No reading came from any probe for 121 s. Look at the probes page.",
        ),
        (view(last_reading=None, started_at=NOON), 5_000, "Rimekeeper is watching."),
        (view(last_reading=None, last_commit=None, started_at=NOON), 40_000, "Nothing was stored for 40 s."),
    ],
)
def test_verdicts(glance, after, says):
    verdict = judge(glance, Instant(NOON + after))
    assert verdict.says.startswith(says)
    assert verdict.ok is (says == "Rimekeeper is watching.")
    assert verdict.facts["last_commit"] == glance.pulse.last_commit


def test_a_kitchen_without_probes_needs_no_readings():
    quiet = replace(view(last_reading=None), plan=replace(plan(), probes={}))
    assert judge(quiet, Instant(NOON + 10_000)).ok


def test_a_slow_probe_is_given_its_time():
    slow = plan()
    slow = replace(
        slow, probes={name: replace(probe, silent_after=900_000) for name, probe in slow.probes.items()}
    )
    assert judge(view(plan=slow, last_commit=Instant(NOON + 10**6)), Instant(NOON + 10**6)).ok


def test_of_a_real_pipeline(tmp_path):
    with Daemon(tmp_path) as daemon:
        daemon.give(delivery(sample("pan", 20.0, NOON)))
        daemon.pipeline.turn()
        assert judge(daemon.pipeline.glance(), daemon.clock.now()).ok
        daemon.steady.at += 11
        assert judge(daemon.pipeline.glance(), daemon.clock.now()).says.startswith(
            "The pipeline stands still"
        )
