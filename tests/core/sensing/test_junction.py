"""A thermocouple whose cold junction another probe measures."""

from __future__ import annotations

from dataclasses import replace

import pytest

from rimekeeper.core.model import Health, ProbeId, Quality, Reason
from rimekeeper.core.sensing.sensors import SENSORS
from support.engine_kitchen import Hand, kitchen

K = SENSORS["thermocouple-k"].build({"cold_junction": 0.0})
PAN, BASE = ProbeId("pan"), ProbeId("base")


def hand_of():
    plan = kitchen()
    pan = replace(plan.probes[PAN], sensor=K, junction=BASE)
    return Hand(replace(plan, probes={**plan.probes, PAN: pan}))


def test_the_junctions_temperature_is_added_as_voltage():
    hand = hand_of()
    hand.sample("base", 25.0, 0)
    # NIST Monograph 175, type K: E(100 °C) = 4.096 mV, E(25 °C) = 1.000 mV, so 3.096 mV against 25 °C is 100 °C.
    hand.sample("pan", 3.096, 1, scale=None)
    assert hand.readings[-1].celsius == pytest.approx(100.0, abs=0.03)
    hand.sample("base", 24.0, 2)
    hand.sample("pan", 3.096, 3, scale=None)
    assert hand.readings[-1].celsius == pytest.approx(99.04, abs=0.05)
    assert hand.readings[-1].raw == 3.096


@pytest.mark.parametrize(
    ("junction", "seconds"),
    [(None, 1), (25.0, 90), (float("nan"), 1), (190.0, 1)],
    ids=["never heard", "long ago", "bad", "no terminal block"],
)
def test_without_a_known_junction_there_is_no_temperature(junction, seconds):
    hand = hand_of()
    if junction is not None:
        hand.sample("base", junction, 0)
    for step in range(4):
        hand.sample("pan", 3.096, seconds + step, scale=None)
    last = hand.readings[-1]
    assert (last.celsius, last.quality, last.reason, last.raw) == (None, Quality.BAD, Reason.JUNCTION, 3.096)
    assert hand.state.probes[PAN].health is Health.FAILURE


def test_a_number_that_came_with_its_scale_needs_no_junction():
    hand = hand_of()
    hand.sample("pan", 81.0, 1)
    assert (hand.readings[-1].celsius, hand.readings[-1].quality) == (81.0, Quality.GOOD)
